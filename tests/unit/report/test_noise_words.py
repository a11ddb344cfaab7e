"""Sentences about a noise that text and page share."""

import pytest

from chatter.model.noise_effects import Evening, Neighbour, NeighbourPart, OpeningShare
from chatter.report.noise_words import tell_band, tell_fit, tell_number, tell_shares, tell_spread


def evening(minutes, low, high):
    return Evening(
        limit_db=50.0, reference_h=4.0, minutes=minutes, minutes_low=low, minutes_high=high,
        minutes_per_hour=minutes / 4, asked_minutes=None, rated_db=60.0, quieter_by_db=10.0, helps=(),
    )  # fmt: skip


@pytest.mark.parametrize(("value", "digits", "shown"), [
    (-0.4, 0, "0"), (-0.04, 1, "0.0"), (-0.06, 1, "-0.1"), (-1.6, 0, "-2"), (0.0, 0, "0"), (-0.0, 1, "0.0"),
])  # fmt: skip
def test_zero_never_has_a_minus(value, digits, shown):
    assert tell_number(value, digits=digits) == shown


@pytest.mark.parametrize(
    ("down_db", "up_db", "shown"),
    [(0.0, 3.0, "0 to +3.0"), (0.8, 0.0, "-0.8 to 0"), (1.0, 2.0, "-1.0 to +2.0"), (0.0, 0.04, "")],
)
def test_range_of_a_part_has_no_zero_with_a_sign(down_db, up_db, shown):
    assert tell_spread(NeighbourPart(name="ground", db=0.0, down_db=down_db, up_db=up_db)) == shown


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        ((42.9, 3.2, 200.0), "42 minutes of cutting fit an evening of 4 h under 50 dB (between 3 and 200"),
        ((1.5, 1.2, 9.0), "1 minute of cutting fits"),
        (
            (2.0, 0.5, 9.0),
            "(9 at the low end of the level's range, not even one at the high end); less than 1",
        ),
        ((0.9, 0.1, 1.9), "Less than a minute of cutting fits an evening of 4 h under 50 dB; 1 minute if"),
        ((0.2, 0.0, 0.9), "Not even a minute of cutting fits an evening of 4 h under 50 dB."),
        ((240.0, 240.0, 240.0), "All of an evening of 4 h under 50 dB may be cutting, even at the high end"),
    ],
)
def test_minutes_that_fit_read_as_plain_words_and_never_round_up(minutes, said):
    text = tell_fit(evening(*minutes))
    assert said in text
    assert "0 minutes" not in text
    assert "between 0" not in text


def test_openings_of_one_name_share_a_sentence():
    shares = [("open window", 1.0, 60.0), ("open window", 0.5, 39.8), ("brick wall", 8.0, 0.2)]
    there = Neighbour(
        distance_m=15.0, LAeq_db=50.0, rating_db=50.0, low_db=45.0, high_db=55.0, parts=(),
        shares=tuple(OpeningShare(name=name, area_m2=area, percent=share) for name, area, share in shares),
    )  # fmt: skip
    assert tell_shares(there) == [
        "100 % gets out by 2 × open window (together 1.5 m²).",
        "Less than 1 % gets out by the brick wall (8 m²).",
    ]


@pytest.mark.parametrize(
    ("exact", "nominal"),  # IEC 61260-1:2014, annex E: base-ten midbands and their names
    [(630.957, "630 Hz"), (1258.925, "1,250 Hz"), (31.6228, "31.5 Hz"), (15848.93, "16,000 Hz")],
)
def test_band_is_told_by_its_nominal_name(exact, nominal):
    assert tell_band(exact) == nominal

"""Daily exposure against the printed durations and doses of NIOSH, OSHA and the EU."""

import math

import pytest

from chatter.errors import BadValueError
from chatter.noise.exposure import daily_exposure, niosh_percent, osha_percent


def exposed(level_db, **changes):
    given = {"mic_distance_m": 1, "ear_distance_m": 1, "minutes": 480} | changes
    return daily_exposure(level_db, **given)


@pytest.mark.parametrize(
    ("level_db", "seconds"),
    [
        # NIOSH 98-126, Table 1-1: how long a level may last for 100 %.
        (80, 25 * 3600 + 24 * 60),
        (82, 16 * 3600),
        (85, 8 * 3600),
        (88, 4 * 3600),
        (91, 2 * 3600),
        (92, 3600 + 35 * 60),
        (94, 3600),
        (95, 47 * 60 + 37),
        (97, 30 * 60),
        (100, 15 * 60),
        (103, 7 * 60 + 30),
        (112, 56),
        (115, 28),
    ],
)
def test_niosh_dose_after_the_printed_time_is_100_percent(level_db, seconds):
    # Printed to the minute or the second, 0.6 % where that is coarsest: 56 s for 56.25 s and 28 s for 28.1 s.
    assert niosh_percent(level_db, minutes=seconds / 60) == pytest.approx(100, rel=0.006)


@pytest.mark.parametrize(
    ("level_db", "hours"),
    [(80, 32), (82, 24.3), (85, 16), (88, 10.6), (90, 8), (92, 6.1), (95, 4), (100, 2), (105, 1), (110, 0.5)],
)  # 29 CFR 1910.95, Table G-16A
def test_osha_dose_after_the_printed_time_is_100_percent(level_db, hours):
    assert osha_percent(level_db, minutes=60 * hours) == pytest.approx(100, rel=0.007)  # 6.1 stands for 6.063


def test_doses_of_several_levels_add_up_to_the_worked_ones():
    # 4 h at 85, 2 h at 88, 1 h at 91, 0.5 h at 94: a half each, by hand 200 %.
    steps = [(85, 240), (88, 120), (91, 60), (94, 30)]
    assert sum(niosh_percent(level, minutes=m) for level, m in steps) == pytest.approx(200, abs=1e-9)
    # 6 h at 90 and 2 h at 95: 75 + 50 %.
    assert osha_percent(90, minutes=360) + osha_percent(95, minutes=120) == pytest.approx(125, abs=1e-9)
    # 8 h at 92 dBA: 132 % by Appendix A's formula.
    assert osha_percent(92, minutes=480) == pytest.approx(132.0, abs=0.05)


def test_sound_below_each_threshold_is_not_counted():
    # 29 CFR 1910.95: from 80 dBA for hearing conservation, from 90 dBA for the limit. NIOSH: from 80 dBA.
    assert osha_percent(79.9, minutes=480) == 0
    assert osha_percent(80, minutes=480) == pytest.approx(25, abs=1e-9)  # 32 h allowed
    assert osha_percent(89.9, minutes=480, from_db=90) == 0
    assert osha_percent(90, minutes=480, from_db=90) == pytest.approx(100, abs=1e-9)
    assert niosh_percent(79.9, minutes=480) == 0
    assert niosh_percent(80, minutes=480) == pytest.approx(31.5, abs=0.05)  # 480 / 1523.9 min


def test_exposure_of_84_db_for_8_h_is_79_percent_by_niosh_and_43_by_osha():
    exposure = exposed(84)
    assert exposure.LEX8h_db == pytest.approx(84, abs=1e-9)
    # 100 / 2^(1/3) and 100 / 2^(6/5), by hand
    assert exposure.niosh_percent == pytest.approx(79.37, abs=0.01)
    assert exposure.osha_percent == pytest.approx(43.53, abs=0.01)
    assert exposure.osha_pel_percent == 0


def test_half_the_day_is_3_db_less_and_a_double_distance_6_db():
    assert exposed(90, minutes=240).LEX8h_db == pytest.approx(90 - 3.0103, abs=1e-4)
    assert exposed(90, ear_distance_m=2).ear_db == pytest.approx(90 - 6.0206, abs=1e-4)
    assert exposed(90, mic_distance_m=2).ear_db == pytest.approx(90 + 6.0206, abs=1e-4)


def test_room_makes_the_level_fall_less_than_the_open():
    in_the_open = exposed(90, ear_distance_m=2).ear_db
    in_a_room = exposed(90, ear_distance_m=2, indoors=True, room_m3=45).ear_db
    unknown = exposed(90, ear_distance_m=2, indoors=True)
    assert in_the_open < in_a_room < 90
    assert unknown.ear_db == 90
    assert "volume is not known" in unknown.says[-1]
    # Absorption of the room 0.1 * 6.6 * 45^(2/3) = 8.350 m², so 4/A = 0.4790; by hand:
    direct = {r: 1 / (4 * math.pi * r**2) for r in (1, 2)}
    by_hand_db = 10 * math.log10((direct[2] + 0.4790) / (direct[1] + 0.4790))
    assert in_a_room - 90 == pytest.approx(by_hand_db, abs=0.001)


@pytest.mark.parametrize(
    ("level_db", "protection"),
    [(79.9, "not due"), (80.0, "must be at hand"), (84.9, "must be at hand"), (85.0, "must be worn")],
)  # Directive 2003/10/EC, Articles 3 and 6: action values of 80 and 85 dB
def test_protection_is_due_at_the_action_values(level_db, protection):
    assert exposed(level_db, lcpeak_db=100.0).protection == protection


def test_uncertain_level_asks_for_protection_at_its_high_end():
    exposure = exposed(78, uncertainty_db=10)
    assert (exposure.low_db, exposure.high_db) == pytest.approx((68, 88), abs=1e-9)
    assert exposure.protection == "must be worn"
    assert exposure.says[0].endswith("at the high end of the range (88 dB; most likely 78 dB).")


def test_peaks_alone_can_make_protection_due():
    # Directive 2003/10/EC, Article 3: 137 dB (C) is the upper action value.
    exposure = exposed(70, lcpeak_db=137)
    assert exposure.protection == "must be worn"
    assert "peaks reach 137 dB (C)" in exposure.says[0]


def test_loud_day_is_said_by_each_rule():
    says = " ".join(exposed(95).says)
    # 10 dB above 85 with 3 dB exchange: 1008 %; OSHA 100 * 2^(5/5) = 200 %.
    assert "at most 87 dB LEX,8h may reach the ear" in says
    assert "NIOSH: 1008 %" in says
    assert "OSHA: 200 %" in says


def test_time_until_protection_must_be_worn_matches_3_db_a_halving():
    # LEX,8h = 85: 88 dB for 240.6 min (10^0.3 = 1.9953); at 75 dB a day of 24 h gives 79.8.
    assert exposed(88).minutes_to_wear == pytest.approx(240.57, abs=0.01)
    assert exposed(75).minutes_to_wear is None


def test_near_field_is_said():
    assert "only a guess" in exposed(90, mic_distance_m=0.1, ear_distance_m=0.5).says[-1]


def test_document_holds_the_promised_names():
    document = exposed(84, ear_distance_m=0.7).to_dict()
    assert {"ear_distance_m", "LEX8h_db", "niosh_percent", "osha_percent"} <= set(document)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"ear_distance_m": 0}, "distance of the ear is 0"),
        ({"mic_distance_m": float("nan")}, "distance of the microphone is nan"),
        ({"minutes": 0}, "minutes of cutting is 0"),
        ({"minutes": 2000}, "minutes of cutting is 2000"),
        ({"uncertainty_db": -1}, "uncertainty is -1"),
    ],
)
def test_value_out_of_range_is_refused(wrong, named):
    with pytest.raises(BadValueError, match=named):
        exposed(84, **wrong)


def test_level_that_is_no_number_is_refused():
    with pytest.raises(BadValueError, match="level at the microphone is nan"):
        exposed(float("nan"))


def test_peaks_count_by_the_high_end_of_their_range():
    # Directive 2003/10/EC, Article 3: the upper action value is 137 dB (C); 136 dB ±2 reaches it.
    found = exposed(70, lcpeak_db=136.0, uncertainty_db=2.0)
    assert found.protection == "must be worn"
    assert "peaks reach 137 dB (C) at the ear at the high end of the range" in " ".join(found.says)
    assert exposed(70, lcpeak_db=132.0, uncertainty_db=2.0).protection == "not due"


def test_peaks_that_are_not_known_are_told():
    assert "peaks at the ear are not known" in " ".join(exposed(70).says)
    assert "not known" not in " ".join(exposed(70, lcpeak_db=100.0).says)


def test_protection_is_never_not_due_where_the_peaks_are_not_known():
    # Directive 2003/10/EC, Article 3: level and peaks each have their action value, so one of them unknown
    # leaves open whether it is due.
    found = exposed(70)
    assert (found.protection, found.peaks_known) == ("must be at hand", False)
    assert "can't be told" in found.says[0]
    assert "not due" not in " ".join(found.says)
    assert exposed(90).protection == "must be worn"  # the level alone asks for it
    known = exposed(70, lcpeak_db=100.0)
    assert (known.protection, known.peaks_known) == ("not due", True)


def test_range_at_the_ear_holds_the_calibration_only_where_the_phone_was_as_far_away():
    for indoors in (False, True):
        found = exposed(78, uncertainty_db=3, indoors=indoors)
        assert (found.low_db, found.high_db) == pytest.approx((75, 81), abs=1e-9)


def test_range_at_the_ear_holds_the_distances():
    found = exposed(90, mic_distance_m=1, ear_distance_m=2, uncertainty_db=2)
    # The sound starts up to 0.1 m from where it was measured to (own choice): by hand 20 lg(1.1) = 0.828 and
    # 20 lg(2/1.9) = 0.446 dB more, 20 lg(1/0.9) = 0.915 and 20 lg(2.1/2) = 0.424 less; in squares with 2 dB.
    assert found.high_db - found.LEX8h_db == pytest.approx(math.sqrt(4 + 0.828**2 + 0.446**2), abs=0.001)
    assert found.LEX8h_db - found.low_db == pytest.approx(math.sqrt(4 + 0.915**2 + 0.424**2), abs=0.001)


def test_range_at_the_ear_holds_the_room():
    known = exposed(90, mic_distance_m=1, ear_distance_m=2, indoors=True, room_m3=45)
    # Absorption of 5 and 25 % of 6.6 * 45^(2/3) = 83.5 m²: 4/A = 0.9580 and 0.1916; 10 % is the level itself.
    direct = {r: 1 / (4 * math.pi * r**2) for r in (1, 2)}
    bare_db, usual_db, lined_db = (
        10 * math.log10((direct[2] + room) / (direct[1] + room)) for room in (0.9580, 0.4790, 0.1916)
    )
    # Besides: 2 dB of a small room, and distances that count less than in the open, below 1 dB together.
    up_db, down_db = known.high_db - known.LEX8h_db, known.LEX8h_db - known.low_db
    assert math.hypot(bare_db - usual_db, 2) < up_db < math.hypot(bare_db - usual_db, 2, 0.95)
    assert math.hypot(usual_db - lined_db, 2) < down_db < math.hypot(usual_db - lined_db, 2, 1.01)
    unknown = exposed(90, mic_distance_m=1, ear_distance_m=2, indoors=True)
    # Reckoned as loud as at the phone, so that the truth lies rather below: 200 m³, a quarter swallowed.
    open_db = 4 / (0.25 * 6.6 * 200 ** (2 / 3))
    fall_db = -10 * math.log10((direct[2] + open_db) / (direct[1] + open_db))
    assert unknown.LEX8h_db - unknown.low_db > math.hypot(fall_db, 2)


@pytest.mark.parametrize(
    ("loudest_db", "peak_db", "said"),
    [
        # 29 CFR 1910.95, Table G-16: nothing steady above 115 dBA. NIOSH 98-126: no peak above 140 dB.
        (112.9, 137.9, "Table G-16), kept; peaks of 140 dB by NIOSH (98-126), kept."),
        (113.6, 138.6, "G-16), passed at the high end of the range (116 dB); peaks of 140 dB by NIOSH "
         "(98-126), passed at the high end of the range (141 dB)."),
        (116.0, 141.0, "G-16), passed (116 dB); peaks of 140 dB by NIOSH (98-126), passed (141 dB)."),
        (90.0, None, "kept; peaks of 140 dB by NIOSH (98-126), which can't be told here."),
    ],
)  # fmt: skip
def test_ceilings_of_osha_and_niosh_are_told_beside_the_doses(loudest_db, peak_db, said):
    found = exposed(85, lasmax_db=loudest_db, lcpeak_db=peak_db, uncertainty_db=2.0)
    (text,) = (one for one in found.says if one.startswith("Ceilings"))
    assert said in text


def test_mean_stands_in_for_the_loudest_second_where_that_is_not_given():
    assert "Table G-16), passed (118 dB)" in " ".join(exposed(118).says)


def test_level_that_is_in_doubt_calls_nothing_safe():
    told = {"mic_distance_m": 1.0, "ear_distance_m": 1.0, "minutes": 60.0, "lcpeak_db": 60.0}
    sure, doubted = (daily_exposure(40.0, **told, level_known=known) for known in (True, False))
    assert (sure.protection, doubted.protection) == ("not due", "must be at hand")
    assert "can't be told: the level is in doubt" in doubted.says[0]
    assert any(
        "115 dB(A) by OSHA (29 CFR 1910.95, Table G-16), which can't be told here" in one
        for one in doubted.says
    )
    loud = daily_exposure(90.0, **(told | {"minutes": 480.0}), level_known=False)
    assert loud.protection == "must be worn"  # what it does ask for is still said
    assert (loud.niosh_percent, loud.osha_percent, loud.osha_pel_percent) == (None, None, None)
    assert loud.minutes_to_wear is None

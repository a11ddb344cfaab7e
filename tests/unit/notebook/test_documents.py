"""Kept documents as the advice sees them, and which of many cuts are weighed."""

from chatter.model.notebook import KeptCut
from chatter.notebook.documents import noise_values, pick_telling_cuts, read_analysis
from tests.unit.notebook.made import made_cut, made_noise


def kept(number, rpm, depth_mm, verdict, *, hz=None, chance=None):
    return KeptCut(
        number=number,
        setup="a",
        sha256=str(number),
        version=1,
        is_current=True,
        added="2026-01-01",
        file="a.wav",
        set_rpm=rpm,
        measured_rpm=None,
        depth_mm=depth_mm,
        width_mm=None,
        feed_mm_min=None,
        verdict=verdict,
        chatter_probability=chance,
        chatter_hz=hz,
    )


def numbers(cuts, **options):
    return [cut.number for cut in pick_telling_cuts(tuple(cuts), **options)]


def test_analysis_read_back_has_the_documents_speed_verdict_and_lines():
    analysis = read_analysis(made_cut(rpm=11_874.2, verdict="chatter", chatter_hz=913.4))
    assert analysis.spindle.measured_rpm == 11_874.2
    assert (analysis.worst.verdict, analysis.worst.chatter_hz) == ("chatter", 913.4)
    assert [(line.frequency_hz, line.kind) for line in analysis.worst.lines] == [(913.4, "chatter")]


def test_noise_is_rated_while_it_cuts_and_an_older_document_by_its_mean():
    older, newer = made_noise(laeq_db=82.0), made_noise(laeq_db=82.0) | {"loud_part": {"LAeq_db": 84.5}}
    assert noise_values(older) == {"laeq_db": 82.0, "rated_db": 87.0}  # tones: 5 dB
    assert noise_values(newer) == {"laeq_db": 82.0, "rated_db": 89.5}
    silent = made_noise(laeq_db=None) | {"loud_part": None}
    assert noise_values(silent) == {"laeq_db": None, "rated_db": None}


def test_cuts_without_a_depth_or_a_verdict_are_left_out():
    cuts = [kept(1, 9000, None, "stable"), kept(2, 9000, 1.0, "undecided"), kept(3, 9000, 1.0, "marginal")]
    assert numbers(cuts) == [3]


def test_of_one_speed_the_deepest_stable_and_the_shallowest_chattering_cut_are_taken():
    cuts = [
        kept(1, 9000, 0.5, "stable"),
        kept(2, 9010, 0.8, "stable"),
        kept(3, 9000, 0.6, "stable"),
        kept(4, 9000, 1.5, "chatter", hz=900.0),
        kept(5, 9000, 1.1, "chatter", hz=900.0),
        kept(6, 12_000, 0.3, "stable"),
    ]
    assert numbers(cuts) == [2, 5, 6]


def test_chattering_cut_that_names_a_frequency_is_kept_beside_a_shallower_one_that_names_none():
    # The shallower one counts as chatter by its halves alone (docs/next.md, rule 6).
    cuts = [
        kept(1, 9000, 1.5, "chatter", hz=900.0),
        kept(2, 9000, 1.0, "chatter"),
        kept(3, 9000, 0.4, "stable"),
    ]
    assert numbers(cuts) == [1, 2, 3]


def test_of_many_cuts_half_are_chattering_ones_and_the_rest_the_newest():
    chattering = [kept(n, 5000 * 1.03**n, 2.0, "chatter", hz=900.0) for n in range(1, 9)]
    stable = [kept(n, 5000 * 1.03**n, 1.0, "stable") for n in range(11, 31)]
    assert numbers([*chattering, *stable], most=6) == [6, 7, 8, 28, 29, 30]


def test_surer_cut_is_kept_beside_a_deeper_doubtful_one_at_its_speed():
    sure = kept(1, 9000, 0.5, "stable", chance=0.02)
    assert numbers([sure, kept(2, 9000, 0.8, "stable", chance=0.45)]) == [1, 2]
    assert numbers([sure, kept(2, 9000, 0.8, "stable", chance=0.1)]) == [2]


def test_newest_are_those_given_last_whatever_their_numbers():
    cuts = [kept(n, 5000 * 1.03**n, 1.0, "stable") for n in (5, 6, 7, 1, 2)]  # 1 and 2: imported later
    assert numbers(cuts, most=3) == [7, 1, 2]

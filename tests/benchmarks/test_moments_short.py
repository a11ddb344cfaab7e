"""Short forms of the benchmarks of moments, paths and drives; docs/verdicts.md has the long ones' figures."""

from tests.benchmarks.bursts import draw_moments
from tests.benchmarks.drives import judge_drives
from tests.benchmarks.paths import judge_paths


def verdict_of(moment):
    worst = moment.judge().worst
    return "undecided" if worst is None else worst.verdict


def test_most_moments_of_chatter_are_heard():
    verdicts = [verdict_of(moment) for moment in draw_moments("chatter", 5, 77)]
    assert verdicts.count("chatter") >= 2  # seven in ten are: less than two of five happen once in 30


def test_few_other_sounds_of_a_moment_are_taken_for_chatter():
    verdicts = [verdict_of(moment) for moment in draw_moments("sounds", 9, 77)]
    assert verdicts.count("chatter") <= 3  # one in nine is: more than three of nine happen once in 100


def test_stable_cuts_along_loops_are_seldom_called_chatter_and_no_answer_is_surely_wrong():
    answers = judge_paths("loops", 6, 77)
    chances = [(chance, chatters) for chatters, _, chance, _ in answers if chance is not None]
    assert len(chances) >= 4
    assert not [one for one in chances if (one[0] > 0.95 and not one[1]) or (one[0] < 0.05 and one[1])]
    assert any(noticed for *_, noticed in answers)


def test_gears_that_the_load_makes_louder_are_seldom_taken_for_chatter():
    answers = judge_drives("gears", 8, 77)
    wrong = sum(one.verdict == "chatter" for one in answers if not one.chatters)
    heard = sum(one.verdict == "chatter" for one in answers if one.chatters)
    # One in eight is, and one in twelve goes unheard: more of four of either happen once in 60.
    assert (wrong <= 1, heard >= 3) == (True, True)


def test_cut_is_found_beside_a_spindle_that_starts_and_stops():
    answers = judge_drives("starts", 6, 77)
    assert sum(one.starts_right for one in answers) >= 4  # one in ten is missed: three of six once in 60

"""The rules between evidence and verdict, apart from any recording."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chatter.cut.evidence import Evidence, Peak
from chatter.cut.verdict import marks, probability_of_chatter, verdict_of

FAINT = (-4.0, -4.0)


def lines(count, *, first_hz=1170.0):
    return tuple(
        Peak(frequency_hz=first_hz + 100 * k, power=1e-4, excess=4.0, in_idle=False) for k in range(count)
    )


def evidence(**changed):
    plain = Evidence(
        peaks=lines(6),
        family=lines(6),
        base=(),
        multiple=1,
        steady=2.0,
        share=-4.0,
        local=-2.0,
        loudness=(-2.0, -2.0),
        broad=(-2.5, -2.5),
        spacing=3.0,
        concentration=0.4,
        halved=-12.0,
        tone=None,
    )
    return replace(plain, **changed)


def test_lone_line_is_at_most_marginal_however_loud():
    lone = evidence(peaks=lines(1), family=lines(1), steady=0.0, local=3.0, loudness=(3.0, 3.0))
    assert verdict_of(probability_of_chatter(lone)) == "marginal"


def test_lone_line_that_an_air_pass_lacks_may_be_chatter_but_never_surely():
    lone = evidence(peaks=lines(1), family=lines(1), steady=0.0, loudness=(3.0, 3.0), tone="only cutting")
    assert probability_of_chatter(lone) == 0.9
    assert probability_of_chatter(replace(lone, tone="unknown")) == 0.55
    assert probability_of_chatter(replace(lone, tone="in air")) == 0.55


def test_clear_lone_line_that_an_air_pass_lacks_is_marginal_at_least_and_a_faint_one_is_not():
    (line,) = lines(1)
    quiet = evidence(peaks=lines(1), family=lines(1), steady=0.0, loudness=FAINT, broad=FAINT)
    clear = replace(quiet, tone="only cutting", local=-1.0, family=(replace(line, excess=6.0),))
    assert probability_of_chatter(clear) == 0.55
    assert probability_of_chatter(replace(clear, local=-5.0)) < 0.1  # far fainter than the teeth beside it
    assert probability_of_chatter(replace(clear, tone="in air")) < 0.1


def test_loud_lone_line_that_may_be_chatter_is_marginal_at_least():
    lone = evidence(family=lines(1), steady=0.0, loudness=FAINT, broad=FAINT, share=-1.0, tone="unknown")
    assert probability_of_chatter(lone) == 0.55
    assert probability_of_chatter(replace(lone, share=-3.0)) < 0.1  # a twentieth of the teeth's power
    assert probability_of_chatter(replace(lone, tone="in air")) < 0.1


def test_broad_chatter_without_a_line_is_chatter_but_never_sure():
    broad = evidence(peaks=(), family=lines(1), steady=0.0, loudness=(3.0, 3.0), broad=(3.0, 3.0))
    assert 0.55 < probability_of_chatter(broad) <= 0.9


def test_nothing_off_the_comb_is_stable():
    quiet = evidence(peaks=(), family=(), steady=0.0, loudness=FAINT, broad=FAINT)
    assert probability_of_chatter(quiet) < 0.1


def test_many_steady_lines_speak_for_chatter_however_faint_they_are_beside_the_teeth():
    # Common practice: sidebands a whole turn apart that keep their phase are chatter's own sign.
    faint = evidence(
        peaks=lines(14), family=lines(14), spacing=5.0, local=-3.0, loudness=(-5.0, -5.0), concentration=1.2
    )
    few = replace(faint, peaks=lines(2), family=lines(2), spacing=1.0, steady=0.5)
    assert probability_of_chatter(faint) > probability_of_chatter(few) + 0.3


@given(
    st.sampled_from(["steady", "local", "loudness", "broad", "spacing", "concentration"]),
    st.sampled_from([1, 6]),
    st.floats(-8, 5),
    st.floats(0, 3),
)
def test_more_evidence_never_makes_chatter_less_likely(name, count, value, more):
    levels = (value, value + more)
    less_more = [(level, 0.0) if name in {"loudness", "broad"} else level for level in levels]
    low, high = (evidence(family=lines(count), **{name: level}) for level in less_more)
    assert probability_of_chatter(high) >= probability_of_chatter(low) - 1e-12


def test_more_lines_never_make_chatter_less_likely():
    chances = [probability_of_chatter(evidence(family=lines(count))) for count in range(2, 30)]
    assert chances == sorted(chances)
    assert marks(evidence(family=lines(11)))["steady"] == pytest.approx(2 * (1 + 2.398), abs=0.001)  # log 11


def test_family_that_chance_makes_speaks_less_for_chatter():
    rare = evidence(spacing=5.0)
    assert probability_of_chatter(rare) > probability_of_chatter(replace(rare, spacing=0.0)) + 0.3

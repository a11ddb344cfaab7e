"""From evidence to a verdict with a probability.

In: evidence of one cut. Out: verdict, probability, and what to say when there is none.
Rules: below 0.45 stable, above 0.55 chatter, between marginal; a line without a second member of its
family is at most marginal, because a vacuum or a drive sounds like that, unless what does not repeat speaks
for chatter without that line too: a broad, lineless chatter, never stated surer than 0.9.
Source: logistic regression, D. R. Cox, J. R. Stat. Soc. B 20 (1958) 215 to 242; weights in weights.py.
Leaves out: cuts without a measured speed, which the pipeline leaves undecided.
"""

import math
from dataclasses import replace

from chatter.cut.evidence import Evidence
from chatter.cut.weights import INTERCEPT, WEIGHTS
from chatter.model import Verdict

STABLE_BELOW = 0.45
CHATTER_ABOVE = 0.55
LONE_AT_MOST = 0.55
LINELESS_AT_MOST = 0.9  # of a broad chatter without a line to point at
SLOW_TEETH_HZ = 300.0  # where tooth passing begins to be heard; shape of `beyond` chosen on simulated cuts
FAINT_SHARE = -6.5  # nepers, 28 dB below what repeats: a family this faint is no chatter, however sharp


def marks(evidence: Evidence) -> dict[str, float]:
    """Give the marks that the fitted map weighs; each grows with chatter and levels off at both ends.

    Returns
    -------
    dict
        `weaker`: excess of the weaker of the family's two strongest lines, nepers. `share`: log of family
        power over repeating power. `beyond`: log of what does not repeat over what does, against what a
        stable cut of that tooth-passing frequency has: slow teeth are hardly heard beside chip noise, so
        there a stable cut too seems not to repeat. `members`: strength of the other members, nepers.
    """
    loud = max(0.0, min(1.0, (evidence.share - FAINT_SHARE) / 2))
    quick = max(-1.5, min(1.5, math.log(evidence.tooth_hz / SLOW_TEETH_HZ)))
    unrepeated = max(-3.0, min(1.0, evidence.unrepeated))
    return {
        "weaker": loud * min(evidence.strongest, evidence.second),
        "share": max(-5.0, min(0.0, evidence.share)),
        "beyond": unrepeated + quick * (1 + unrepeated / 4),
        "members": loud * min(40.0, evidence.members),
    }


def probability_of_chatter(evidence: Evidence) -> float:
    """Give the probability that the cut chattered.

    Returns
    -------
    float
        Between 0.001 and 0.999: the fit has no more cases than that allows.
    """
    probability = _logistic(marks(evidence))
    if len(evidence.family) < 2:
        without = replace(
            evidence, family=(), strongest=0.0, members=0.0, share=-12.0, unrepeated=evidence.broad
        )
        most = LINELESS_AT_MOST if _logistic(marks(without)) > CHATTER_ABOVE else LONE_AT_MOST
        probability = min(probability, most)
    return max(0.001, min(0.999, probability))


def _logistic(values: dict[str, float]) -> float:
    total = INTERCEPT + sum(WEIGHTS[name] * value for name, value in values.items())
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, total))))


def verdict_of(probability: float) -> Verdict:
    """Name a probability.

    >>> verdict_of(0.2), verdict_of(0.5), verdict_of(0.9)
    ('stable', 'marginal', 'chatter')
    """
    if probability < STABLE_BELOW:
        return "stable"
    return "chatter" if probability > CHATTER_ABOVE else "marginal"

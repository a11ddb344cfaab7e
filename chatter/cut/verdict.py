"""From evidence to a verdict with a probability.

In: evidence of one cut. Out: verdict, probability, and what to say when there is none.
Rules: below 0.45 stable, above 0.55 chatter, between marginal. Lines of one family are weighed by one map. A
lone line, or none, goes by what does not repeat: a line is then at most marginal, because a vacuum or a drive
sounds like that. A clear one that an air pass lacks is marginal at least; lone or broad chatter is never
stated surer than 0.9.
Source: logistic regression, D. R. Cox, J. R. Stat. Soc. B 20 (1958) 215 to 242; weights in weights.py.
Leaves out: cuts without a measured speed, which the pipeline leaves undecided.
"""

import math

from scipy.special import expit

from chatter.cut.evidence import CAP_NEPERS, Evidence
from chatter.cut.weights import INTERCEPT, LINELESS_INTERCEPT, LINELESS_WEIGHT, WEIGHTS
from chatter.model import Verdict

STABLE_BELOW = 0.45
CHATTER_ABOVE = 0.55
LONE_AT_MOST = 0.55
LINELESS_AT_MOST = 0.9  # of a broad chatter without a line to point at, or a lone line that no air pass has
CLEAR_LOCAL = -2.3  # log of a tenth: a lone line so loud beside what repeats near it is clear
SLOW_TEETH_HZ = 300.0  # where tooth passing begins to be heard; shape of `beyond` chosen on simulated cuts
MOST_STEADY = 3.0  # a coherence of 0.95: steadier is just steady
MOST_MEMBERS = 2.5  # log of a dozen lines: more are just many


def marks(evidence: Evidence) -> dict[str, float]:
    """Give the marks of a family that the fitted map weighs; each levels off at both ends.

    Returns
    -------
    dict
        `share`: log of family power over repeating power. `local`: the same near a member, for the member
        where it is highest. `beyond`: see `lineless_mark`. `members`: log of the number of lines. `steady`:
        how well the lines keep their phase, by how many there are. `quick`: log of the tooth-passing
        frequency, no evidence by itself: where teeth are heard well, the same marks say more.
    """
    members = min(MOST_MEMBERS, math.log(max(1, len(evidence.family))))
    return {
        "share": max(-5.0, min(0.0, evidence.share)),
        "local": max(-5.0, min(0.0, evidence.local)),
        "beyond": lineless_mark(evidence, evidence.unrepeated),
        "members": members,
        "steady": min(MOST_STEADY, evidence.steady) * (1 + members),
        "quick": _quick(evidence),
    }


def lineless_mark(evidence: Evidence, unrepeated: float) -> float:
    """Give what does not repeat against what a stable cut of that tooth-passing frequency has.

    Slow teeth are hardly heard beside chip noise, so there a stable cut too seems not to repeat.

    Parameters
    ----------
    evidence
        Of one cut.
    unrepeated
        Log of the power that does not repeat over the power that does: all of it, or without a lone line.
    """
    kept = max(-3.0, min(1.0, unrepeated))
    return kept + _quick(evidence) * (1 + kept / 4)


def _quick(evidence: Evidence) -> float:
    return max(-1.5, min(1.5, math.log(evidence.tooth_hz / SLOW_TEETH_HZ)))


def probability_of_chatter(evidence: Evidence) -> float:
    """Give the probability that the cut chattered.

    Returns
    -------
    float
        Between 0.001 and 0.999: the fit has no more cases than that allows.
    """
    if len(evidence.family) > 1:
        values = marks(evidence)
        probability = float(expit(INTERCEPT + sum(WEIGHTS[name] * value for name, value in values.items())))
    else:
        broad, whole = (
            float(expit(LINELESS_INTERCEPT + LINELESS_WEIGHT * lineless_mark(evidence, unrepeated)))
            for unrepeated in (evidence.broad, evidence.unrepeated)
        )
        own = evidence.tone == "only cutting"
        lone = min(whole, LINELESS_AT_MOST if own else LONE_AT_MOST)
        if own and evidence.family[0].excess >= CAP_NEPERS and evidence.local > CLEAR_LOCAL:
            lone = max(lone, LONE_AT_MOST)  # own choice: there are too few simulated ones to fit
        probability = max(min(broad, LINELESS_AT_MOST), lone)
    return max(0.001, min(0.999, probability))


def verdict_of(probability: float) -> Verdict:
    """Name a probability.

    >>> verdict_of(0.2), verdict_of(0.5), verdict_of(0.9)
    ('stable', 'marginal', 'chatter')
    """
    if probability < STABLE_BELOW:
        return "stable"
    return "chatter" if probability > CHATTER_ABOVE else "marginal"

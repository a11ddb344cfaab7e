"""From evidence to a verdict with a probability.

In: evidence of one cut. Out: verdict, probability, and what to say when there is none.
Rules: below 0.45 stable, above 0.55 chatter, between marginal. Lines of one family are weighed by one map. A
lone line, or none, goes by what does not repeat: a line is then at most marginal, because a vacuum or a drive
sounds like that. A loud one, or a clear one that an air pass lacks, is marginal at least; lone or broad
chatter is never stated surer than 0.9.
Source: logistic regression, D. R. Cox, J. R. Stat. Soc. B 20 (1958) 215 to 242; weights in weights.py.
Leaves out: cuts without a measured speed, which the pipeline leaves undecided.
"""

import math

from scipy.special import expit

from chatter.cut.evidence import CAP_NEPERS, Evidence
from chatter.cut.weights import INTERCEPT, LINELESS_INTERCEPT, LINELESS_WEIGHTS, WEIGHTS
from chatter.model import Verdict

STABLE_BELOW = 0.45
CHATTER_ABOVE = 0.55
LONE_AT_MOST = 0.55
LINELESS_AT_MOST = 0.9  # of a broad chatter without a line to point at, or a lone line that no air pass has
CLEAR_LOCAL = -2.3  # log of a tenth: a lone line so loud beside what repeats near it is clear
LOUD_SHARE = -2.3  # and beside all that repeats, loud; of ten such in the fitted scenes six were chatter
LEVELS_OFF = (-5.0, 4.0)  # logs of power beyond which louder or fainter says no more
MOST_STEADY = 3.0  # a coherence of 0.95: steadier is just steady
MOST_MEMBERS = 2.5  # log of a dozen lines: more are just many
MAINS_HZ = (100.0, 120.0)  # twice the mains: hum, and the torque of motors fed from it; common practice
MAINS_MULTIPLES, MAINS_OFF_HZ = (1, 2), 0.3  # own choices


def marks(evidence: Evidence) -> dict[str, float]:
    """Give the marks of a family that the fitted map weighs; each levels off at both ends.

    Returns
    -------
    dict
        `local`: log of a member's power over what repeats near it, the highest of all members. `spacing`: how
        rarely chance makes a family as large. `steady`: how well the lines keep their phase, by how many
        there are. The others: see `lineless_marks`.
    """
    members = min(MOST_MEMBERS, math.log(max(1, len(evidence.family))))
    return {
        "local": max(LEVELS_OFF[0], min(0.0, evidence.local)),
        "spacing": evidence.spacing,
        "steady": min(MOST_STEADY, evidence.steady) * (1 + members),
        **lineless_marks(evidence, evidence.loudness),
    }


def lineless_marks(evidence: Evidence, loudness: tuple[float, float]) -> dict[str, float]:
    """Give the marks that need no lines.

    Parameters
    ----------
    evidence
        Of one cut.
    loudness
        Logs of the power that does not repeat over the power that does, in low and in high tones: all of it,
        or without a lone line.

    Returns
    -------
    dict
        `low`, `high`: those. `concentration`: how much of it lies at one fraction of a turn.
    """
    low, high = (max(LEVELS_OFF[0], min(LEVELS_OFF[1], value)) for value in loudness)
    return {"low": low, "high": high, "concentration": evidence.concentration}


def probability_of_chatter(evidence: Evidence) -> float:
    """Give the probability that the cut chattered.

    Returns
    -------
    float
        Between 0.001 and 0.999: the fit has no more cases than that allows.
    """
    if len(evidence.family) > 1:
        probability = _mapped(INTERCEPT, WEIGHTS, marks(evidence))
    else:
        broad, whole = (
            _mapped(LINELESS_INTERCEPT, LINELESS_WEIGHTS, lineless_marks(evidence, loudness))
            for loudness in (evidence.broad, evidence.loudness)
        )
        own = evidence.tone == "only cutting"
        lone = min(whole, LINELESS_AT_MOST if own else LONE_AT_MOST)
        if _is_telling(evidence):
            lone = max(lone, LONE_AT_MOST)  # own choice: there are too few simulated ones to fit
        probability = max(min(broad, LINELESS_AT_MOST), lone)
    if find_hum_hz(evidence) is not None:
        probability = min(probability, LONE_AT_MOST)
    return max(0.001, min(0.999, probability))


def find_hum_hz(evidence: Evidence) -> float | None:
    """Give the frequency of the loudest line where it lies on twice the mains' or a multiple; else None.

    A motor fed from the mains hums there, louder under load, and the turning spindle gives the hum the
    sidebands that chatter has.
    """
    if not evidence.base:
        return None
    loudest_hz = evidence.base[0].frequency_hz
    hums_hz = [multiple * hz for hz in MAINS_HZ for multiple in MAINS_MULTIPLES]
    return loudest_hz if min(abs(loudest_hz - hz) for hz in hums_hz) < MAINS_OFF_HZ else None


def _is_telling(evidence: Evidence) -> bool:
    """Say whether a lone tone is too loud to be passed over: beside the teeth, or as only cutting makes."""
    if evidence.tone not in {"unknown", "only cutting"}:
        return False
    own = evidence.tone == "only cutting" and evidence.family[0].excess >= CAP_NEPERS
    return evidence.share > LOUD_SHARE or (own and evidence.local > CLEAR_LOCAL)


def _mapped(intercept: float, weights: dict[str, float], values: dict[str, float]) -> float:
    return float(expit(intercept + sum(weights[name] * value for name, value in values.items())))


def verdict_of(probability: float) -> Verdict:
    """Name a probability.

    >>> verdict_of(0.2), verdict_of(0.5), verdict_of(0.9)
    ('stable', 'marginal', 'chatter')
    """
    if probability < STABLE_BELOW:
        return "stable"
    return "chatter" if probability > CHATTER_ABOVE else "marginal"

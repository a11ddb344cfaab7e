"""The fitted maps from evidence to probability: logistic curves; the verdict has no negative weights.

Fitted by `python tests/benchmarks/suite.py workshop school 800 --fit` (2026-11-30, seeds 100 and 300) on
simulated recordings of the families "workshop" and "school" whose speed was measured right. Figures on other
seeds, and on another family, stand in docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = -3.5895
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from a family of lines
    "local": 0.4496,
    "members": 1.218,
    "steady": 0.406,
    "low": 0.752,
    "high": 0.5047,
    "concentration": 7.4202,
}
LINELESS_INTERCEPT = -2.4799
LINELESS_WEIGHTS = {  # of what does not repeat, where there is no family of lines
    "low": 0.8807,
    "high": 0.2281,
    "concentration": 5.4726,
}

# Fitted by `python tests/benchmarks/combs.py workshop school 360 --fit` (2026-11-27, the same seeds).
COMB_INTERCEPT = -6.467
COMB_WEIGHTS = {  # per unit of each mark of chatter/cut/spindle_comb.py
    "score": 0.8238,
    "deviations": 0.3218,
    "line score": 0.6741,
    "line deviations": -0.3426,
    "apart": 1.3093,
    "fractions": 1.672,
    "speed": 0.6651,
    "flutes": 1.1485,
}
LEAST_CHANCE = 0.082  # turns down 5 in 1000 of the spindles' combs that it was fitted on

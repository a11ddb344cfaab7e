"""The fitted maps from evidence to probability: logistic curves; the verdict has no negative weights.

Fitted by `python tests/benchmarks/suite.py workshop school 800 --fit` (2026-12-01, seeds 100 and 300) on
simulated recordings of the families "workshop" and "school" whose speed was measured right. Figures on other
seeds, and on another family, stand in docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = -2.0291
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from a family of lines
    "local": 0.4312,
    "spacing": 0.5437,
    "steady": 0.3591,
    "low": 0.7801,
    "high": 0.5675,
    "concentration": 4.5713,
}
LINELESS_INTERCEPT = -1.7549
LINELESS_WEIGHTS = {  # of what does not repeat, where there is no family of lines
    "low": 0.8347,
    "high": 0.1481,
    "concentration": 2.5647,
}

# Fitted by `python tests/benchmarks/combs.py workshop school 360 --fit` (2026-11-30, the same seeds).
COMB_INTERCEPT = -6.0576
COMB_WEIGHTS = {  # per unit of each mark of chatter/cut/spindle_comb.py
    "score": 0.8001,
    "deviations": 0.2706,
    "line score": 0.6783,
    "line deviations": -0.4049,
    "apart": 1.3242,
    "fractions": 1.6378,
    "speed": 0.6559,
    "flutes": 1.1707,
}
LEAST_CHANCE = 0.046  # turns down 5 in 1000 of the spindles' combs that it was fitted on

# Fitted by `python tests/benchmarks/suite.py workshop 200 --fit --seed 905` and `... school 200 --fit
# --seed 906` together (2026-12-01): 95 in 100 speeds lie within two standard deviations.
SPEED_SPREAD = 4.5e3

"""The fitted maps from evidence to probability: logistic curves; the verdict has no negative weights.

Fitted by `python tests/benchmarks/suite.py workshop school 800 --fit` (2026-11-30, seeds 100 and 300) on
simulated recordings of the families "workshop" and "school" whose speed was measured right. Figures on other
seeds, and on another family, stand in docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = -3.3256
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from a family of lines
    "local": 0.4197,
    "members": 1.2603,
    "steady": 0.4102,
    "low": 0.7161,
    "high": 0.5512,
    "concentration": 4.9126,
}
LINELESS_INTERCEPT = -1.9429
LINELESS_WEIGHTS = {  # of what does not repeat, where there is no family of lines
    "low": 0.8542,
    "high": 0.2025,
    "concentration": 2.8562,
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

"""The fitted maps from evidence to probability: logistic curves; the verdict has no negative weights.

Fitted by `python tests/benchmarks/suite.py workshop school 800 --fit` (2026-11-26, seeds 100 and 300) on
simulated recordings of the families "workshop" and "school" whose speed was measured right. Figures on other
seeds, and on another family, stand in docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = 0.6789
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from a family of lines
    "share": 0.3802,
    "local": 0.4558,
    "beyond": 0.7521,
    "members": 1.2571,
    "steady": 0.2743,
    "quick": 0.8119,
}
LINELESS_INTERCEPT = -0.4569
LINELESS_WEIGHT = 1.1218  # of what does not repeat, where there is no family of lines

# Fitted by `python tests/benchmarks/combs.py workshop school 360 --fit` (2026-11-26, the same seeds).
COMB_INTERCEPT = -6.207
COMB_WEIGHTS = {  # per unit of each mark of chatter/cut/spindle_comb.py
    "score": 0.766,
    "deviations": 0.4272,
    "line score": 0.6697,
    "line deviations": -0.4852,
    "apart": 1.4232,
    "fractions": 1.8066,
    "speed": 0.7501,
    "flutes": 1.0735,
}
LEAST_CHANCE = 0.057  # turns down 5 in 1000 of the spindles' combs that it was fitted on

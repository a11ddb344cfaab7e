"""The fitted maps from evidence to probability: logistic curves whose weights are never negative.

Fitted by `python tests/benchmarks/suite.py workshop school 480 --fit` (2026-11-26, seeds 100 and 300) on
simulated recordings of the families "workshop" and "school" whose speed was measured right. Figures on other
seeds, and on another family, stand in docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = 0.603
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from a family of lines
    "share": 0.4274,
    "local": 0.3991,
    "beyond": 0.7916,
    "members": 1.3802,
    "steady": 0.2638,
    "quick": 0.6894,
}
LINELESS_INTERCEPT = -0.3053
LINELESS_WEIGHT = 1.1285  # of what does not repeat, where there is no family of lines

"""The fitted map from evidence to probability: a logistic curve whose weights are never negative.

Fitted by `python tests/benchmarks/suite.py workshop 480 --fit` (2026-11-25, seed 100) on simulated
recordings of the family "workshop" whose speed was measured right. Figures on other families stand in
docs/verdicts.md. No real recording of real chatter took part.
"""

INTERCEPT = 0.3589
WEIGHTS = {  # per unit of each mark that chatter/cut/verdict.py takes from the evidence
    "weaker": 0.4506,
    "share": 0.3190,
    "beyond": 1.0081,
    "members": 0.0469,
}

"""The fitted map from evidence to probability: a logistic curve whose weights are never negative.

Fitted by tests/benchmarks/fit_verdict.py on simulated recordings of the family "workshop" only; the
date, the seeds and the figures on other families stand in docs/verdicts.md. No real recording of real
chatter took part.
"""

INTERCEPT = -4.0
WEIGHTS = {  # per unit of each field of Evidence
    "strongest": 0.3,
    "second": 0.8,
    "members": 0.05,
    "share": 0.5,
    "unrepeated": 0.5,
}

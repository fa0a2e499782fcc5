"""Yield of dyestuff [g] from six batches of an intermediate, five samples of each.

Source of the data: Statistical Methods in Research and Production, Oliver and Boyd 1947, and its 4th edition
1972, table 6.3. Balanced one-way layout: the between-batch variances are exact (restricted: analysis of variance, mean
squares 11271.5 and 2451.25; maximum likelihood 1388.3333). Log-likelihoods computed with R 4.2.2,
lme4 1.1-31; about 6 digits hold.
"""

from __future__ import annotations

# fmt: off
BATCH = (
    "A", "A", "A", "A", "A", "B", "B", "B", "B", "B", "C", "C", "C", "C", "C", "D", "D", "D", "D", "D",
    "E", "E", "E", "E", "E", "F", "F", "F", "F", "F",
)
YIELD = (
    1545.0, 1440.0, 1440.0, 1520.0, 1580.0, 1540.0, 1555.0, 1490.0, 1560.0, 1495.0, 1595.0, 1550.0,
    1605.0, 1510.0, 1560.0, 1445.0, 1440.0, 1595.0, 1465.0, 1545.0, 1595.0, 1630.0, 1515.0, 1635.0,
    1625.0, 1520.0, 1455.0, 1450.0, 1480.0, 1445.0,
)
# fmt: on

ML = {
    "mean": 1527.5,
    "batch_variance": 1388.0 + 1.0 / 3.0,
    "residual_variance": 2451.25,
    "minus_2_log_likelihood": 327.327059881135,
}

REML = {
    "mean": 1527.5,
    "batch_variance": 1764.05,
    "residual_variance": 2451.25,
    "minus_2_log_likelihood": 319.654276842257,
}

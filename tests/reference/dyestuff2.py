"""Yield of dyestuff from six simulated batches, five samples of each: the batches do not differ beyond their samples.

Source of the data: Bayesian Inference in Statistical Analysis, Addison-Wesley 1973, table 5.1.4 (the `Dyestuff2` data
of R's lme4). Batch variance 0 by maximum likelihood, residual variance 13.346099, -2 log-likelihood 162.873037;
95 % profile interval of the batch sd 0 to 2.0840 (computed with R 4.2.2, lme4 1.1-31; about 6 digits hold). By
analysis of variance the batch variance would be -1.321912768.
"""

from __future__ import annotations

BATCH = ("A",) * 5 + ("B",) * 5 + ("C",) * 5 + ("D",) * 5 + ("E",) * 5 + ("F",) * 5
# fmt: off
YIELD = (
    7.298, 3.846, 2.434, 9.566, 7.99, 5.22, 6.556, 0.608, 11.788, -0.892, 0.11, 10.386, 13.434, 5.51,
    8.166, 2.212, 4.852, 7.092, 9.288, 4.98, 0.282, 9.014, 4.458, 9.446, 7.198, 1.722, 4.782, 8.106,
    0.758, 3.758,
)
# fmt: on

ML = {"mean": 5.6656, "batch_variance": 0.0, "residual_variance": 13.3460993066667}
MINUS_2_LOG_LIKELIHOOD = 162.873036653826
BATCH_SD_PROFILE_95 = (0.0, 2.0840)

"""Strength of a chemical paste: ten deliveries (batches), three casks of each, two assays of each cask.

Source of the data: Statistical Methods in Research and Production, 4th edition, Oliver and Boyd 1972, table 6.5.
Model: strength = mean + batch + cask within batch + noise, all normal. Variances and -2 log-likelihood computed with
R 4.2.2, lme4 1.1-31; about 6 digits hold.
"""

from __future__ import annotations

# fmt: off
BATCH = (
    "A", "A", "A", "A", "A", "A", "B", "B", "B", "B", "B", "B", "C", "C", "C", "C", "C", "C", "D", "D",
    "D", "D", "D", "D", "E", "E", "E", "E", "E", "E", "F", "F", "F", "F", "F", "F", "G", "G", "G", "G",
    "G", "G", "H", "H", "H", "H", "H", "H", "I", "I", "I", "I", "I", "I", "J", "J", "J", "J", "J", "J",
)
CASK = (
    "a", "a", "b", "b", "c", "c", "a", "a", "b", "b", "c", "c", "a", "a", "b", "b", "c", "c", "a", "a",
    "b", "b", "c", "c", "a", "a", "b", "b", "c", "c", "a", "a", "b", "b", "c", "c", "a", "a", "b", "b",
    "c", "c", "a", "a", "b", "b", "c", "c", "a", "a", "b", "b", "c", "c", "a", "a", "b", "b", "c", "c",
)
STRENGTH = (
    62.8, 62.6, 60.1, 62.3, 62.7, 63.1, 60.0, 61.4, 57.5, 56.9, 61.1, 58.9, 58.7, 57.5, 63.9, 63.1,
    65.4, 63.7, 57.1, 56.4, 56.9, 58.6, 64.7, 64.5, 55.1, 55.1, 54.7, 54.2, 58.8, 57.5, 63.4, 64.9,
    59.3, 58.1, 60.5, 60.0, 62.5, 62.6, 61.0, 58.7, 56.9, 57.7, 59.2, 59.4, 65.2, 66.0, 64.8, 64.1,
    54.8, 54.8, 64.0, 64.0, 57.7, 56.8, 58.3, 59.3, 59.2, 59.2, 58.9, 56.6,
)
# fmt: on

ML = {
    "mean": 60.05333333333333,
    "batch_variance": 1.19915579524242,
    "cask_variance": 8.4336663860877,
    "residual_variance": 0.678000006228141,
    "minus_2_log_likelihood": 247.994465862425,
}

REML = {
    "mean": 60.05333333333333,
    "batch_variance": 1.65730912951132,
    "cask_variance": 8.43366658125388,
    "residual_variance": 0.677999984533191,
    "minus_2_log_likelihood": 246.990745853486,
}

"""Health of importance weights: Pareto k, largest weight, effective sample size, systematic resampling."""

from __future__ import annotations

import numpy as np

from brinemark.terms.arrays import FloatArray, IntArray


def normalised(log_weights: FloatArray) -> FloatArray:
    """Weights that sum to one; -inf gives 0, nan is an error of the caller and stays nan."""
    shifted = np.exp(log_weights - np.max(log_weights))
    return np.asarray(shifted / shifted.sum())


def effective_size(weights: FloatArray) -> float:
    """1 / sum w^2 of normalised weights."""
    return float(1.0 / np.sum(weights**2))


def pareto_k(log_weights: FloatArray) -> float:
    """Shape k of a generalised Pareto distribution fitted to the largest weights; nan if it cannot be fitted.

    The tail holds min(n / 5, 3 sqrt(n)) weights. Source: "Pareto Smoothed Importance Sampling", Journal of Machine
    Learning Research 25 (2024) no. 72, sections 2.2 and 3; fit by the empirical Bayes rule of "A New and Efficient
    Estimation Method for the Generalized Pareto Distribution", Technometrics 51 (2009) 316-325,
    doi 10.1198/tech.2009.08017, with the weak prior of the former's appendix C.
    """
    count = log_weights.size
    tail_size = int(np.ceil(min(0.2 * count, 3.0 * np.sqrt(count))))
    if tail_size < 5 or np.isnan(log_weights).any():
        return float("nan")
    ordered = np.sort(log_weights - np.max(log_weights))
    cutoff = max(ordered[-tail_size - 1], np.log(np.finfo(float).tiny))
    excess = np.exp(ordered[ordered > cutoff]) - np.exp(cutoff)
    if excess.size < 5:
        return float("nan")
    return _shape(excess)


def _shape(excess: FloatArray) -> float:
    """Shape k from positive, ascending excesses."""
    n = excess.size
    grid = 30 + int(np.sqrt(n))
    quartile = excess[int(n / 4 + 0.5) - 1]
    b = (1.0 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))) / (3.0 * quartile) + 1.0 / excess[-1]
    k = np.log1p(-b[:, None] * excess).mean(axis=1)
    profile = n * (np.log(-b / k) - k - 1.0)
    with np.errstate(over="ignore"):
        weights = 1.0 / np.exp(profile - profile[:, None]).sum(axis=1)
    b_mean = float(np.sum(b * weights) / weights.sum())
    shape = float(np.log1p(-b_mean * excess).mean())
    return (n * shape + 5.0) / (n + 10.0)


def systematic_resample(weights: FloatArray, count: int, rng: np.random.Generator) -> IntArray:
    """Indices of count equally weighted draws; each weight w yields floor(count w) or one more."""
    edges = np.cumsum(weights)
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + rng.random()) / count)

"""Health of importance weights: Pareto k and smoothing by it, largest weight, effective size, resampling."""

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
    if np.isnan(log_weights).any():
        return float("nan")
    tail = _tail(log_weights)
    return float("nan") if tail is None else _shape(tail[1])[0]


def smoothed(log_weights: FloatArray) -> FloatArray:
    """Log weights whose tail is replaced by the expected order statistics of its fitted generalised Pareto.

    No weight becomes larger than the largest was; weights that cannot be fitted stay as they are. Source: as
    pareto_k, section 2.2 and algorithm 1.
    """
    tail = _tail(log_weights)
    if tail is None:
        return log_weights
    place, excess, cutoff = tail
    shape, scale = _shape(excess)
    if not np.isfinite(shape):
        return log_weights
    rank = (np.arange(excess.size) + 0.5) / excess.size
    expected = scale * (-np.log1p(-rank) if abs(shape) < 1e-9 else np.expm1(-shape * np.log1p(-rank)) / shape)
    top = float(log_weights.max())
    replaced = log_weights.copy()
    replaced[place] = np.minimum(np.log(expected + np.exp(cutoff)), 0.0) + top
    return replaced


def _tail(log_weights: FloatArray) -> tuple[IntArray, FloatArray, float] | None:
    """Indices of the largest weights in rising order, their excess over the cutoff (largest weight 1), and its log;
    None where fewer than five are there."""
    count = log_weights.size
    tail_size = int(np.ceil(min(0.2 * count, 3.0 * np.sqrt(count))))
    if tail_size < 5:
        return None
    order = np.argsort(log_weights, kind="stable")
    ordered = log_weights[order] - log_weights[order[-1]]
    cutoff = max(float(ordered[-tail_size - 1]), float(np.log(np.finfo(float).tiny)))
    place = order[ordered > cutoff]
    if place.size < 5:
        return None
    return place, np.exp(ordered[ordered > cutoff]) - np.exp(cutoff), cutoff


def _shape(excess: FloatArray) -> tuple[float, float]:
    """Shape k and scale of a generalised Pareto distribution from positive, ascending excesses."""
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
    return (n * shape + 5.0) / (n + 10.0), -shape / b_mean


def systematic_resample(weights: FloatArray, count: int, rng: np.random.Generator) -> IntArray:
    """Indices of count equally weighted draws; each weight w yields floor(count w) or one more."""
    edges = np.cumsum(weights)
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + rng.random()) / count)

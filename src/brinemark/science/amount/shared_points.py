"""The integral over the own latent of an electrode read once, on points that all nodes of its batch share.

Given the latents z_a of its batch, the log x of the mean signal of such an electrode is normal with median m_a and
spread s_a, and its reading depends on x alone, so that

    int p(e) p(y | z_a, e) de = int N(x; m_a, s_a^2) p(y | x) dx.

p(y | x) is the same at every node a. It is worked out once, on equally spaced points over all of the range in which any
of the products N p has its mass; the sum over equally spaced points of what is near to normal errs by exp(-2 pi^2 w^2 /
step^2), w the sd ("The Exponentially Convergent Trapezoidal Rule", SIAM Review 56 (2014) 385-458, doi
10.1137/130932132). N at equally spaced points needs no exponentials but the first: each is the one before it times a
ratio, and each ratio the one before it times exp(-step^2 / s_a^2). Nodes of an electrode of their own at every node of
its batch (quadrature.py) need 336 exponentials and as many roots in place of some twenty.

Measured in benchmarks/quadrature.py. The points do not serve, and the caller takes nodes of their own, where they would
be more than MOST, where N starts farther out than FARTHEST_START sd, and where a sum is below LEAST.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray

REACH = 6.0  # sd of a product N p about its mode
STEP = 1.0  # of the smallest such sd
TOGETHER = 4  # points come in fours, which the compiled loops take at once
MOST = 64
FARTHEST_START = 30.0
LEAST = 1e-250


def over_log_mean(
    median: FloatArray, spread: FloatArray, centre: FloatArray, sd: FloatArray, log_density: Callable[..., FloatArray]
) -> tuple[FloatArray, BoolArray]:
    """log int N(x; median, spread^2) exp(log_density(x)) dx (A, D, U), and (D, U) whether the points served.

    median, spread, centre : (A, D, U), centre of the product; sd : (D, U) of the product in units of spread;
    log_density : of x (J, D, U).
    """
    with np.errstate(all="ignore"):
        reach = REACH * sd * spread
        low, high = (centre - reach).min(axis=0), (centre + reach).max(axis=0)
        wanted = (high - low) / (STEP * sd * spread.min(axis=0))
        few = wanted <= MOST - 1
        count = TOGETHER * np.ceil((np.where(few, wanted, 1.0) + 1.0) / TOGETHER)
        step = (high - low) / (count - 1.0)
        place = np.arange(int(count.max()))[:, None, None]
        logs = np.where(place < count, log_density(low + step * place), -np.inf)
        top = logs.max(axis=0)
        halves = np.where((place == 0) | (place == count - 1.0), 0.5, 1.0)
        start, by = (low - median) / spread, step / spread
        total = _summed(halves * np.exp(logs - top), start, by)
        served = few & (np.abs(start) <= FARTHEST_START).all(axis=0) & (total > LEAST).all(axis=0)
        return np.log(total * by) + top - 0.5 * np.log(2.0 * np.pi), served


def _summed(values: FloatArray, start: FloatArray, by: FloatArray) -> FloatArray:
    """(A, D, U) sum over j of values (J, D, U) times exp(-(start + j by)^2 / 2)."""
    normal, ratio, bend = np.exp(-0.5 * start**2), np.exp(-by * (start + 0.5 * by)), np.exp(-(by**2))
    total = np.zeros_like(start)
    for value in values:
        total += normal * value
        normal *= ratio
        ratio *= bend
    return total

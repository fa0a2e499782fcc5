"""The background of a system of tanks: a lognormal through control tanks, most of which may be below detection."""

from __future__ import annotations

import math

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit

FEWEST_TANKS = 3
FEWEST_BOUNDED = 2  # with a value or a lower end above 0: without them nothing keeps the background from 0
GSD_RANGE = (1.05, 100.0)  # our own choice; flat in the logarithm of ln GSD between
REACH = 6.0  # sds of the widest lognormal that the median may lie beyond the controls
GRID = (121, 81)
NEGLIGIBLE = 18.0  # log posterior below its top that is left out of the fine grid
DRAWS = 256
THIN = 4  # of the fine grid, a node every so many cells: about 0.4 sd apart
LEAST_WEIGHT = 1e-9


def why_no_background(lower: FloatArray, upper: FloatArray) -> str | None:
    """Why these control tanks give no background, None when they do (arguments as in fit_background)."""
    bounded = int(np.sum((lower > 0) & np.isfinite(upper)))
    if lower.size < FEWEST_TANKS:
        return f"{lower.size} control tanks of this system, {FEWEST_TANKS} needed for a background"
    if bounded < FEWEST_BOUNDED:
        return f"{bounded} control tanks with an amount, {FEWEST_BOUNDED} needed: all others only say less or more than"
    return None


def fit_background(lower: FloatArray, upper: FloatArray, draws: int = DRAWS) -> BackgroundFit:
    """Posterior of median and GSD of a lognormal on a grid, by its interval-censored likelihood.

    lower, upper : (T,) [level unit], what is known of each control tank: equal = an amount, lower 0 = not detected
    below upper, upper inf = at or above lower, else between. Product of Phi((ln upper - mu) / sigma) - Phi((ln lower -
    mu) / sigma), or of the density where both are equal. Priors, our own choice: mu flat, ln sigma flat within
    GSD_RANGE. The draws are the posterior's own quantiles in a fixed order of cells, so no random number is used.
    Raises Refused where why_no_background speaks or an interval is impossible.
    """
    low, high = _checked(lower, upper)
    ends = np.concatenate([low[low > 0], high[np.isfinite(high)]])
    s_range = (math.log(math.log(GSD_RANGE[0])), math.log(math.log(GSD_RANGE[1])))
    spare = REACH * min(math.log(GSD_RANGE[1]), float(np.ptp(np.log(ends))) + 1.0)
    mu = np.linspace(np.log(ends.min()) - spare, np.log(ends.max()) + spare, GRID[0])
    log_s = np.linspace(*s_range, GRID[1])
    for _ in range(2):
        mu, log_s = _around(mu, log_s, _log_likelihood(low, high, mu, np.exp(log_s)))
    likelihood = _log_likelihood(low, high, mu, np.exp(log_s))
    weight = np.exp(likelihood - likelihood.max())
    picked = _equally_likely(weight, draws)
    log_median, log_sd = mu[picked[0]], np.exp(log_s)[picked[1]]
    return BackgroundFit(
        log_median,
        log_sd,
        _nodes(mu, np.exp(log_s), weight),
        _central(np.exp(log_median)),
        _central(np.exp(log_sd)),
        _likeliest(mu, log_s, likelihood),
        low.size,
        int(np.sum((low <= 0) | np.isinf(high))),
    )


def _checked(lower: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
    low, high = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    wrong = ~((low >= 0) & (high > 0) & (low <= high) & np.isfinite(low))
    if wrong.any():
        row = int(np.argmax(wrong))
        came = f"control tank {row + 1} between {low[row]:g} and {high[row]:g}"
        raise Refused(came, "0 <= lower <= upper, upper above 0", "correct the amount or its limits")
    reason = why_no_background(low, high)
    if reason is not None:
        raise Refused(reason, "enough control tanks", "use the table over supposed backgrounds, or read more controls")
    return low, high


def _log_likelihood(lower: FloatArray, upper: FloatArray, mu: FloatArray, sigma: FloatArray) -> FloatArray:
    """(m, s) at means (m,) and sds (s,) of ln level."""
    total = np.zeros((mu.size, sigma.size))
    for low, high in zip(lower.tolist(), upper.tolist(), strict=True):
        total += _of_one(low, high, mu[:, None], sigma[None, :])
    return total


def _of_one(low: float, high: float, mu: FloatArray, sigma: FloatArray) -> FloatArray:
    from scipy.special import log_ndtr

    if low == high:
        z = (math.log(low) - mu) / sigma
        return np.asarray(-0.5 * z * z - np.log(sigma) - 0.5 * math.log(2.0 * math.pi))
    above = (mu - math.log(low)) / sigma if low > 0 else None
    if math.isinf(high):
        return np.asarray(log_ndtr(above)) if above is not None else np.zeros(np.broadcast(mu, sigma).shape)
    below = (math.log(high) - mu) / sigma
    if above is None:
        return np.asarray(log_ndtr(below))
    return _log_between(-above, below)


def _log_between(left: FloatArray, right: FloatArray) -> FloatArray:
    """ln[Phi(right) - Phi(left)], left < right, from the side where both are small."""
    from scipy.special import log_ndtr

    turned = left + right > 0
    near, far = np.where(turned, -left, right), np.where(turned, -right, left)
    top, bottom = log_ndtr(near), log_ndtr(far)
    return np.asarray(top + np.log(-np.expm1(np.minimum(bottom - top, -1e-300))))


def _around(mu: FloatArray, log_s: FloatArray, likelihood: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A finer grid over what is not negligible."""
    kept = likelihood > likelihood.max() - NEGLIGIBLE
    return _zoomed(mu, kept.any(axis=1)), _zoomed(log_s, kept.any(axis=0))


def _zoomed(grid: FloatArray, kept: BoolArray) -> FloatArray:
    inside = np.flatnonzero(kept)
    first, last = max(int(inside[0]) - 1, 0), min(int(inside[-1]) + 1, grid.size - 1)
    return np.linspace(grid[first], grid[last], grid.size)


def _equally_likely(weight: FloatArray, count: int) -> tuple[FloatArray, ...]:
    """Indices of cells at the middle quantiles of their weights; cells go to and fro along the second axis, so that
    neighbours in the order are neighbours on the grid."""
    cells = np.arange(weight.size).reshape(weight.shape)
    cells[1::2] = cells[1::2, ::-1]
    order = cells.ravel()
    total = np.cumsum(weight.ravel()[order])
    place = np.searchsorted(total, total[-1] * (np.arange(count) + 0.5) / count)
    return np.unravel_index(order[place], weight.shape)


def _nodes(mu: FloatArray, sigma: FloatArray, weight: FloatArray) -> FloatArray:
    """(3, Q) every few cells of the grid, those with next to no weight left out."""
    thin = (slice(None, None, THIN), slice(None, None, THIN))
    m, s = np.meshgrid(mu[::THIN], sigma[::THIN], indexing="ij")
    kept = weight[thin] > LEAST_WEIGHT * weight[thin].max()
    found = weight[thin][kept]
    return np.stack([m[kept], s[kept], found / found.sum()])


def _likeliest(mu: FloatArray, log_s: FloatArray, likelihood: FloatArray) -> tuple[float, float]:
    """Median and GSD at the top of the parabolas through the highest cell and its neighbours."""
    i, j = np.unravel_index(int(likelihood.argmax()), likelihood.shape)
    place = (_top(mu, likelihood[:, j], int(i)), _top(log_s, likelihood[i], int(j)))
    return math.exp(place[0]), math.exp(math.exp(place[1]))


def _top(grid: FloatArray, value: FloatArray, i: int) -> float:
    if i in (0, grid.size - 1):
        return float(grid[i])
    left, here, right = value[i - 1 : i + 2].tolist()
    bend = left - 2.0 * here + right
    return float(grid[i] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * (grid[1] - grid[0]))


def _central(values: FloatArray) -> tuple[float, float, float]:
    """Median and central 95 %."""
    middle, low, high = np.quantile(values, [0.5, 0.025, 0.975])
    return float(middle), float(low), float(high)

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
REACH = 4.0  # widest sds that the median may lie beyond the controls
GRID = (121, 81)
NEGLIGIBLE = 18.0  # ln likelihood below its top that is left out
DRAWS = 256
THIN = (6, 4)  # of the fine grid, a node every so many cells: about 0.6 sd apart
ZOOMS = 4
LEAST_WEIGHT = 1e-9


def why_no_background(lower: FloatArray, upper: FloatArray) -> str | None:
    """Why these control tanks give no background, None when they do (arguments as in fit_background)."""
    bounded = int(np.sum((lower > 0) & np.isfinite(upper)))
    if lower.size < FEWEST_TANKS:
        waters = "1 control water" if lower.size == 1 else f"{lower.size} control waters"
        return f"{waters} of this system, {FEWEST_TANKS} needed for a background"
    if bounded < FEWEST_BOUNDED:
        waters = "1 control water" if bounded == 1 else f"{bounded} control waters"
        return f"{waters} with an amount, {FEWEST_BOUNDED} needed: all others only say less or more than"
    return None


def background_or_reason(lower: FloatArray, upper: FloatArray) -> BackgroundFit | str:
    """fit_background, or in words why there is none (arguments and refusals as there)."""
    _possible(lower, upper)
    return why_no_background(lower, upper) or fit_background(lower, upper)


def fit_background(lower: FloatArray, upper: FloatArray, draws: int = DRAWS) -> BackgroundFit:
    """Posterior of median and GSD of a lognormal on a grid, by its interval-censored likelihood.

    lower, upper : (T,) [level unit], what is known of each control tank: equal = an amount, lower 0 = not detected
    below upper, upper inf = at or above lower, else between. Product of Phi((ln upper - mu) / sigma) - Phi((ln lower -
    mu) / sigma), or of the density where both are equal. Priors, our own choice: mu flat, ln sigma flat within
    GSD_RANGE. The draws are the posterior's own quantiles in a fixed order of cells, so no random number is used.
    Raises Refused where why_no_background speaks or an interval is impossible.
    """
    low, high = _checked(lower, upper)
    log_s = np.linspace(math.log(math.log(GSD_RANGE[0])), math.log(math.log(GSD_RANGE[1])), GRID[1])
    profile = _columns(low, high, log_s)[1].max(axis=0)
    log_s = _zoomed(log_s, profile > profile.max() - NEGLIGIBLE)
    mu, likelihood = _columns(low, high, log_s)
    weight = np.exp(likelihood - likelihood.max()) * (mu[1] - mu[0])
    sigma = np.broadcast_to(np.exp(log_s), mu.shape)
    picked = _equally_likely(weight, draws)
    log_median, log_sd = mu[picked], sigma[picked]
    return BackgroundFit(
        log_median,
        log_sd,
        _nodes(mu, sigma, weight),
        _central(np.exp(log_median)),
        _central(np.exp(log_sd)),
        _likeliest(mu, log_s, likelihood),
        low.size,
        int(np.sum((low <= 0) | np.isinf(high))),
    )


def _columns(low: FloatArray, high: FloatArray, log_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """mu and ln likelihood (m, s), a column for every ln sigma with its own range of mu, outside of which there is next
    to nothing: with few controls the wider backgrounds leave the median far more doubtful."""
    ends = np.log(np.concatenate([low[low > 0], high[np.isfinite(high)]]))
    spare = REACH * math.log(GSD_RANGE[1])
    start, end = np.full(log_s.size, ends.min() - spare), np.full(log_s.size, ends.max() + spare)
    for _ in range(ZOOMS):
        mu = np.linspace(start, end, GRID[0])
        likelihood = _log_likelihood(low, high, mu, np.exp(log_s))
        kept = likelihood > likelihood.max(axis=0) - NEGLIGIBLE
        first = np.maximum(kept.argmax(axis=0) - 1, 0)
        last = np.minimum(GRID[0] - kept[::-1].argmax(axis=0), GRID[0] - 1)
        column = np.arange(log_s.size)
        start, end = mu[first, column], mu[last, column]
    return mu, likelihood


def _checked(lower: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
    low, high = _possible(lower, upper)
    reason = why_no_background(low, high)
    if reason is not None:
        raise Refused(reason, "enough control tanks", "use the table over supposed backgrounds, or read more controls")
    return low, high


def _possible(lower: FloatArray, upper: FloatArray) -> tuple[FloatArray, FloatArray]:
    low, high = np.asarray(lower, dtype=float), np.asarray(upper, dtype=float)
    wrong = ~((low >= 0) & (high > 0) & (low <= high) & np.isfinite(low))
    if wrong.any():
        row = int(np.argmax(wrong))
        came = f"control tank {row + 1} between {low[row]:g} and {high[row]:g}"
        raise Refused(came, "0 <= lower <= upper, upper above 0", "correct the amount or its limits")
    return low, high


def _log_likelihood(lower: FloatArray, upper: FloatArray, mu: FloatArray, sigma: FloatArray) -> FloatArray:
    """(m, s) at means (m, s) and sds (s,) of ln level."""
    total = np.zeros(mu.shape)
    for low, high in zip(lower.tolist(), upper.tolist(), strict=True):
        total += _of_one(low, high, mu, sigma)
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


def _zoomed(grid: FloatArray, kept: BoolArray) -> FloatArray:
    inside = np.flatnonzero(kept)
    first, last = max(int(inside[0]) - 1, 0), min(int(inside[-1]) + 1, grid.size - 1)
    return np.linspace(grid[first], grid[last], grid.size)


def _equally_likely(weight: FloatArray, count: int) -> tuple[FloatArray, ...]:
    """Indices of cells at the middle quantiles of their weights, column by column, one up and the next down, so that
    neighbours in the order are neighbours on the grid."""
    cells = np.arange(weight.size).reshape(weight.shape).T.copy()
    cells[1::2] = cells[1::2, ::-1]
    order = cells.ravel()
    total = np.cumsum(weight.ravel()[order])
    place = np.searchsorted(total, total[-1] * (np.arange(count) + 0.5) / count)
    return np.unravel_index(order[place], weight.shape)


def _nodes(mu: FloatArray, sigma: FloatArray, weight: FloatArray) -> FloatArray:
    """(3, Q) every few cells of the grid, those with next to no weight left out."""
    m, s, w = (values[:: THIN[0], :: THIN[1]] for values in (mu, sigma, weight))
    w = w * np.where(np.isin(np.arange(w.shape[1]), (0, w.shape[1] - 1)), 0.5, 1.0)
    kept = w > LEAST_WEIGHT * w.max()
    return np.stack([m[kept], s[kept], w[kept] / w[kept].sum()])


def _likeliest(mu: FloatArray, log_s: FloatArray, likelihood: FloatArray) -> tuple[float, float]:
    """Median and GSD at the top of parabolas: along mu in every column, then along ln sigma through those tops."""
    j = int(likelihood.max(axis=0).argmax())
    near = range(max(j - 1, 0), min(j + 2, log_s.size))
    tops = [_top(mu[:, k], likelihood[:, k], int(likelihood[:, k].argmax())) for k in near]
    place, _ = _top(log_s[near.start : near.stop], np.array([value for _, value in tops]), j - near.start)
    middle = float(np.interp(place, log_s[near.start : near.stop], [at for at, _ in tops]))
    return math.exp(middle), math.exp(math.exp(place))


def _top(grid: FloatArray, value: FloatArray, i: int) -> tuple[float, float]:
    """Place and height of the parabola's top around the i-th point, which is itself where it stands at an end."""
    if i in (0, grid.size - 1):
        return float(grid[i]), float(value[i])
    left, here, right = value[i - 1 : i + 2].tolist()
    bend = left - 2.0 * here + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(grid[i] + shift * (grid[1] - grid[0])), here - 0.25 * (left - right) * shift


def _central(values: FloatArray) -> tuple[float, float, float]:
    """Median and central 95 %."""
    middle, low, high = np.quantile(values, [0.5, 0.025, 0.975])
    return float(middle), float(low), float(high)

"""Mean ratio of two methods with results below their limits kept, by the likelihood of a bivariate lognormal."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from brinemark.science.distributions import student_quantile
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import Interval, MeanRatio

FEWEST_MEASURED = 5
NODES = 48
FARTHEST = 40.0
MAX_STEPS = 40
SETTLED = 1e-4
SMALLEST = 1e-12
WIDEST_GAP = 3.0  # in standard deviations of the logarithms that were found
TIGHTEST = 0.99999  # of a correlation, so that its complement is never 0
ROUNDING = 1e-12
HALF_LOG_TWO_PI = 0.5 * math.log(2.0 * math.pi)


class _Pairs(NamedTuple):
    """Logarithms of values or limits, and which of them were measured."""

    x: FloatArray
    y: FloatArray
    seen_x: BoolArray
    seen_y: BoolArray


def mean_ratio(x: FloatArray, y: FloatArray, seen_x: BoolArray, seen_y: BoolArray, level: float = 0.95) -> MeanRatio:
    """exp of the mean of ln y - ln x over all pairs, with a profile likelihood interval.

    x, y : (n,) values, or the limit of detection where seen_x, seen_y is False. ln x and ln y are taken as normal with
    any correlation; a value not found enters as the probability of lying below its limit. The interval holds the ratios
    whose deviance is at most m ln(1 + t^2/(m - 1)) with Student's t and m pairs measured by both: without censoring
    this is exactly the paired t interval of ln y - ln x.

    Refused: fewer than 5 pairs measured by both, values or limits not above 0, values without any scatter, values far
    above the limits with nothing in between, where the normal law would make up how low those not found are.
    """
    pairs = _checked(x, y, seen_x, seen_y)
    both = seen_x & seen_y
    m = int(np.sum(both))
    start = _start(pairs, both)
    best, height = _climb(pairs, start, None)
    limit = m * math.log1p(student_quantile(0.5 + 0.5 * level, m - 1) ** 2 / (m - 1))
    s_x, s_y, r = _spreads(best[2:])
    step = math.sqrt((s_x**2 + s_y**2 - 2.0 * r * s_x * s_y) / m)
    ends = [_end(pairs, best, height, limit, sign * step) for sign in (-1.0, 1.0)]
    spread = step * math.sqrt(m)
    return MeanRatio(math.exp(best[1]), Interval(*(math.exp(end) for end in ends)), spread, x.size, x.size - m)


def binormal_below(h: FloatArray, k: FloatArray, correlation: float) -> FloatArray:
    """P(U < h, V < k) of two standard normals: integral over U of the conditional probability, 48 nodes of Gauss.

    U = quantile(w^2 P(U < h)) with w uniform: all nodes lie below h, and the square takes the logarithm out of the far
    end. About 1e-6 up to a correlation of 0.99.
    """
    from scipy.special import ndtr, ndtri

    nodes, weights = _squared_nodes()
    below = ndtr(h)
    u = ndtri(np.maximum(nodes * below[:, None], 1e-300))
    inner = ndtr((k[:, None] - correlation * u) / math.sqrt(1.0 - correlation**2))
    return np.asarray(below * (inner @ weights))


@lru_cache(maxsize=1)
def _squared_nodes() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    w = 0.5 * (nodes + 1.0)
    return w**2, w * weights


def _log_likelihood(pairs: _Pairs, place: FloatArray) -> float:
    """place : mean of ln x, mean of ln y - ln x, ln of both sd, arctanh of the correlation."""
    from scipy.special import log_ndtr

    s_x, s_y, r = _spreads(place[2:])
    a, b = (pairs.x - place[0]) / s_x, (pairs.y - place[0] - place[1]) / s_y
    rest = math.sqrt(1.0 - r * r)
    both, only_x, only_y = pairs.seen_x & pairs.seen_y, pairs.seen_x & ~pairs.seen_y, ~pairs.seen_x & pairs.seen_y
    total = np.sum(_log_density(a, s_x)[both] + _log_density((b - r * a) / rest, s_y * rest)[both])
    total += np.sum((_log_density(a, s_x) + log_ndtr((b - r * a) / rest))[only_x])
    total += np.sum((_log_density(b, s_y) + log_ndtr((a - r * b) / rest))[only_y])
    neither = ~pairs.seen_x & ~pairs.seen_y
    if np.any(neither):
        total += np.sum(np.log(np.maximum(binormal_below(a[neither], b[neither], r), 1e-300)))
    return float(total)


def _log_density(z: FloatArray, sd: float) -> FloatArray:
    return np.asarray(-0.5 * z * z - math.log(sd) - HALF_LOG_TWO_PI)


def _spreads(place: FloatArray) -> tuple[float, float, float]:
    """Kept where a step of the search that went too far still has a likelihood."""
    s_x, s_y = (math.exp(min(max(float(one), -FARTHEST), FARTHEST)) for one in place[:2])
    return s_x, s_y, TIGHTEST * math.tanh(place[2])


def _climb(pairs: _Pairs, start: FloatArray, held: float | None) -> tuple[FloatArray, float]:
    """Place and height of the maximum, with the mean of ln y - ln x held where it is given."""
    from scipy.optimize import minimize

    def whole(part: FloatArray) -> FloatArray:
        return part if held is None else np.concatenate([part[:1], [held], part[1:]])

    begin = start if held is None else np.delete(start, 1)
    found = minimize(lambda part: -_log_likelihood(pairs, whole(part)), begin, method="BFGS", options={"gtol": 1e-5})
    return whole(found.x), -float(found.fun)


def _end(pairs: _Pairs, best: FloatArray, height: float, limit: float, step: float) -> float:
    """Where the deviance reaches the limit, in the direction of the step: its root is nearly linear in the distance."""
    distance, place = step * math.sqrt(limit), best
    for _ in range(MAX_STEPS):
        shifted = np.concatenate([place[:1], [best[1] + distance], place[2:]])
        place, reached = _climb(pairs, shifted, float(shifted[1]))
        ratio = math.sqrt(limit / max(2.0 * (height - reached), SMALLEST))
        distance *= min(2.0, ratio)
        if abs(ratio - 1.0) < SETTLED:
            return float(best[1] + distance)
        if abs(distance) > FARTHEST:
            break
    raise Refused("pairs that leave the mean ratio open", "more pairs measured by both", "measure more of them")


def _start(pairs: _Pairs, both: BoolArray) -> FloatArray:
    x, y = pairs.x[both], pairs.y[both]
    s_x, s_y = float(np.std(x)), float(np.std(y))
    if min(s_x, s_y, float(np.std(y - x))) <= ROUNDING:
        raise Refused("pairs without any scatter", "measured values that differ", "compare at more levels")
    r = min(0.98, max(-0.98, float(np.corrcoef(x, y)[0, 1])))
    return np.array([np.mean(x), np.mean(y) - np.mean(x), math.log(s_x), math.log(s_y), math.atanh(r)])


def _checked(x: FloatArray, y: FloatArray, seen_x: BoolArray, seen_y: BoolArray) -> _Pairs:
    measured = int(np.sum(seen_x & seen_y))
    if measured < FEWEST_MEASURED:
        raise Refused(
            f"{measured} pairs measured by both", f"at least {FEWEST_MEASURED}", "measure more split samples by both"
        )
    if not (np.all(x > 0.0) and np.all(y > 0.0)):
        raise Refused("a value or limit not above 0", "values and limits above 0", "give the limit of detection")
    pairs = _Pairs(np.log(x), np.log(y), seen_x, seen_y)
    if _apart(pairs.x, seen_x) or _apart(pairs.y, seen_y):
        raise Refused(
            "results either far above the limits of detection or not found, which no one law of levels joins",
            "samples at levels in between",
            "measure split samples there",
        )
    return pairs


def _apart(logs: FloatArray, seen: BoolArray) -> bool:
    """Whether what was found lies further above the highest limit that was not reached than its own scatter allows."""
    found, limits = logs[seen], logs[~seen]
    return bool(limits.size and np.min(found) - np.max(limits) > WIDEST_GAP * np.std(found))

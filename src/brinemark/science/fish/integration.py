"""Densities of readings integrated over the level in the water: background + what a proposition adds.

The background is lognormal. Its integral runs over evenly spaced ln levels; what lies below or beyond them is taken as
0 and as inf. What is added stands as shares of nodes, so that a table of likelihoods serves every background.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.curves import SmoothCurve
from brinemark.science.amount.normal import normal_scores
from brinemark.terms.amounts import ConfidenceCurve
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import LevelLikelihood, Weight

STEPS = (0.01, 0.05)  # least and largest step in ln level of the integration
PER_WIDTH = 8.0  # steps over the levels within exp(-2) of the highest likelihood
BEYOND = 3.0  # in ln level, how far the integration goes beyond the likelihood's own levels
EVEN = 16_384  # straight pieces of ln L where it is asked for at more levels than that: errs by less than 1e-5
LOWEST = 2000.0  # ln L below its top that is 0 for every purpose
LEAST_SCORE = 1e-6  # no curve tells probabilities closer to 0 or 1 than its simulations


def likelihood_of_curve(curve: ConfidenceCurve) -> LevelLikelihood:
    """ln L = -z^2 / 2 with z the normal score of the curve, which is the likelihood that a confidence curve implies
    ("Confidence and likelihood", Scandinavian Journal of Statistics 29 (2002) 309, doi 10.1111/1467-9469.00285; from
    memory). Deviation: for a single reading, how its spread changes with level is left out."""
    scores = normal_scores(np.append(curve.probability, curve.at_infinity), LEAST_SCORE)
    log_l = -0.5 * scores**2
    return LevelLikelihood(curve.level, log_l[:-1], float(log_l[-1]))


def log_likelihood_at(likelihood: LevelLikelihood, level: FloatArray) -> FloatArray:
    """ln L at levels of any shape, a smooth curve of ln(1 + level / first level above 0), in EVEN straight pieces where
    there are very many; beyond the last it goes to
    its limit as 1 / level. Raises Refused for a level below 0."""
    levels = np.asarray(level, dtype=float)
    if (levels < 0).any():
        raise Refused(f"a level of {levels.min():g}", "levels of 0 or more", "correct what the proposition adds")
    last = float(likelihood.level[-1])
    unit = float(likelihood.level[1])
    table = np.maximum(likelihood.log_likelihood, likelihood.log_likelihood.max() - LOWEST)
    curve = SmoothCurve.through(np.log1p(likelihood.level / unit), table)
    inside = _even(curve).at(np.log1p(levels / unit)) if levels.size > EVEN else curve.at(np.log1p(levels / unit))
    if not math.isfinite(likelihood.at_infinity):
        return np.asarray(np.where(levels > last, -np.inf, inside))
    share = last / np.maximum(levels, last)
    return np.asarray(likelihood.at_infinity + share * (inside - likelihood.at_infinity))


@dataclass(frozen=True, slots=True, eq=False)
class _Even:
    """A curve as straight pieces between evenly spaced places, which is found quickly at very many places."""

    start: float
    step: float
    value: FloatArray
    rise: FloatArray

    def at(self, place: FloatArray) -> FloatArray:
        steps = (place - self.start) / self.step
        np.clip(steps, 0.0, self.rise.size, out=steps)
        left = np.minimum(steps.astype(np.intp), self.rise.size - 1)
        steps -= left
        steps *= self.rise[left]
        steps += self.value[left]
        return steps


def _even(curve: SmoothCurve) -> _Even:
    places = np.linspace(curve.place[0], curve.place[-1], EVEN + 1)
    values = curve.at(places)
    return _Even(float(places[0]), float(places[1] - places[0]), values, np.diff(values))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """L at background b and addition x: table (K + 2, J), rows 0 and K + 1 for b = 0 and b = inf.

    log_b : (K,) evenly spaced in ln level; x : (J,) from 0.
    """

    log_b: FloatArray
    x: FloatArray
    table: FloatArray

    @classmethod
    def of(cls, likelihood: LevelLikelihood, *added: FloatArray) -> Grid:
        """Through the additions (N,), (N',) ... of the propositions that are to be compared."""
        log_b = log_backgrounds(likelihood)
        x = _nodes(np.concatenate(added), math.exp(log_b[0]), float(log_b[1] - log_b[0]))
        levels = np.concatenate([[0.0], np.exp(log_b), [np.inf]])[:, None] + x
        return cls(log_b, x, np.exp(log_likelihood_at(likelihood, levels) - likelihood.log_likelihood.max()))

    def shares(self, added: FloatArray) -> FloatArray:
        """(J,) shares of the nodes x that stand for equally likely additions (N,), sum 1."""
        if self.x.size == 1:
            return np.ones(1)
        right = np.clip(np.searchsorted(self.x, added, side="right"), 1, self.x.size - 1)
        part = (added - self.x[right - 1]) / (self.x[right] - self.x[right - 1])
        total = np.bincount(right - 1, 1.0 - part, self.x.size) + np.bincount(right, part, self.x.size)
        return np.asarray(total / total.sum())


def log_backgrounds(*likelihoods: LevelLikelihood) -> FloatArray:
    """(K,) evenly spaced ln levels that resolve every likelihood."""
    for likelihood in likelihoods:
        _check(likelihood)
    start = min(math.log(one.level[1]) for one in likelihoods) - BEYOND
    end = max(math.log(one.level[-1]) for one in likelihoods) + BEYOND
    return np.linspace(start, end, math.ceil((end - start) / min(map(_step, likelihoods))) + 1)


def masses(log_b: FloatArray, mu: FloatArray, sigma: FloatArray) -> FloatArray:
    """(M, K + 2) probability, in M lognormal backgrounds, of 0, of each of K ln levels, and of inf."""
    from scipy.special import ndtr

    step = log_b[1] - log_b[0]
    z = (log_b - mu[:, None]) / sigma[:, None]
    inner = np.exp(-0.5 * z * z) * (step / (sigma[:, None] * math.sqrt(2.0 * math.pi)))
    inner[:, [0, -1]] *= 0.5
    ends = ndtr(np.stack([z[:, 0], -z[:, -1]], axis=1))
    return np.concatenate([ends[:, :1], inner, ends[:, 1:]], axis=1)


def summarised(names: tuple[str, str, str], whole: FloatArray, each: tuple[FloatArray, FloatArray]) -> Weight:
    """names : world, first, second; whole : (2,) densities integrated over everything; each : (M,), (M,) of every draw.
    The interval is widened where it must be to hold the ratio itself, in which the few backgrounds that explain a high
    reading best count most. Raises Refused where neither proposition explains the readings."""
    if not whole.any():
        raise Refused("readings that neither proposition explains", "levels that one of them allows", "check both")
    middle = float(log10_ratio(whole[0], whole[1]))
    ratios = log10_ratio(*each)
    told = np.append(ratios[~np.isnan(ratios)], middle)
    low, high = np.quantile(told, [0.025, 0.975], method="inverted_cdf").tolist()
    return Weight(*names, middle, min(low, middle), max(high, middle))


def _check(likelihood: LevelLikelihood) -> None:
    level, log_l = likelihood.level, likelihood.log_likelihood
    sound = level.size >= 3 and level.size == log_l.size and level[0] == 0.0 and bool((np.diff(level) > 0).all())
    if not sound or np.isnan(log_l).any() or math.isnan(likelihood.at_infinity) or not np.isfinite(log_l.max()):
        came = f"a likelihood of {log_l.size} values at {level.size} levels"
        raise Refused(came, "three levels or more, rising from 0, with a value each", "correct the table")


def _step(likelihood: LevelLikelihood) -> float:
    """Step in ln level that resolves the likelihood around its top."""
    near = np.flatnonzero(likelihood.log_likelihood > likelihood.log_likelihood.max() - 2.0)
    outer = likelihood.level[[max(near[0] - 1, 0), min(near[-1] + 1, likelihood.level.size - 1)]]
    width = math.log(outer[1] / outer[0]) if outer[0] > 0 else math.inf
    return float(np.clip(width / PER_WIDTH, *STEPS))


def _nodes(added: FloatArray, least: float, step: float) -> FloatArray:
    """Nodes from 0 through the additions, evenly spaced in their logarithm; one node where nothing is added."""
    top = float(added.max())
    if top == 0.0:
        return np.zeros(1)
    start = max(min(float(added[added > 0].min()), top / 2.0), min(least, top / 2.0))
    count = math.ceil(math.log(top / start) / step) + 1
    nodes = np.geomspace(start, top, count)
    nodes[-1] = top
    return np.concatenate([[0.0], nodes])


def resampled(share: FloatArray, count: int, rows: int, seed: int) -> FloatArray:
    """(rows, J) shares as random weights of the count draws behind them would give: random weights of draws that are
    gathered in nodes are Dirichlet with the nodes' counts. The same for propositions that add the same."""
    found = np.random.default_rng(seed).standard_gamma(count * share, (rows, share.size))
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def log10_ratio(first: FloatArray, second: FloatArray) -> FloatArray:
    """+-inf where one is 0, nan where both are."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(first == second, np.where(first > 0, 0.0, np.nan), np.log10(first / second)))

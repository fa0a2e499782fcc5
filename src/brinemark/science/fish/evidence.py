"""How much more probable readings are if the fish were exposed than if not, in one world at a time.

LR = p(readings | first) / p(readings | second), p = integral of L(c) p(c | proposition) over the level c in the water.
The level is background + what the proposition adds; the background is lognormal with uncertain median and GSD. Readings
below detection or of full electrodes enter by their likelihood, as they are. Worlds are never averaged.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.curves import SmoothCurve
from brinemark.science.amount.normal import normal_scores
from brinemark.science.fish.rates import exact_rate, posterior_probability
from brinemark.terms.amounts import ConfidenceCurve
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import (
    AssumptionMove,
    BackgroundFit,
    BackgroundRow,
    BackgroundTable,
    Cap,
    LevelLikelihood,
    PosteriorRow,
    Proposition,
    Weight,
)

PRIORS = (0.05, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5)
MEDIANS = (0.1, 0.3, 1.0, 3.0, 10.0)  # [level unit], of the table over supposed backgrounds
GSDS = (1.5, 3.0, 10.0, 100.0)
STEPS = (0.01, 0.05)  # least and largest step in ln level of the integration
PER_WIDTH = 8.0  # steps over the levels within exp(-2) of the highest likelihood
BEYOND = 3.0  # in ln level, how far the integration goes beyond the likelihood's own levels
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
    """ln L at levels of any shape, a smooth curve of ln(1 + level / first level above 0); beyond the last it goes to
    its limit as 1 / level. Raises Refused for a level below 0."""
    levels = np.asarray(level, dtype=float)
    if (levels < 0).any():
        raise Refused(f"a level of {levels.min():g}", "levels of 0 or more", "correct what the proposition adds")
    last = float(likelihood.level[-1])
    unit = float(likelihood.level[1])
    table = np.maximum(likelihood.log_likelihood, likelihood.log_likelihood.max() - LOWEST)
    inside = SmoothCurve.through(np.log1p(likelihood.level / unit), table).at(np.log1p(levels / unit))
    if not math.isfinite(likelihood.at_infinity):
        return np.asarray(np.where(levels > last, -np.inf, inside))
    share = last / np.maximum(levels, last)
    return np.asarray(likelihood.at_infinity + share * (inside - likelihood.at_infinity))


def log10_ratio_of_levels(likelihood: LevelLikelihood, first: FloatArray, second: FloatArray) -> float:
    """log10 LR from equally likely levels (N,), (N',) in the water under each proposition, background included."""
    top = float(likelihood.log_likelihood.max())
    dense = [float(np.exp(log_likelihood_at(likelihood, levels) - top).mean()) for levels in (first, second)]
    return float(_log10_ratio(np.array(dense[0]), np.array(dense[1])))


def weigh(
    likelihood: LevelLikelihood, background: BackgroundFit, first: Proposition, second: Proposition, seed: int = 0
) -> Weight:
    """log10 LR with interval; exactly 0 where both propositions add the same.

    The interval is over the M draws of the background, each with its own random weights of the draws of what is added
    (Bayesian bootstrap, Annals of Statistics 9 (1981) 130, doi 10.1214/aos/1176345338). It is widened where it must be
    to hold the ratio itself, in which the few backgrounds that explain a high reading best count most. Raises Refused
    for propositions of two worlds or amounts below 0, and where neither can explain the readings.
    """
    world = _one_world(first, second)
    grid = _Grid.of(likelihood, first, second)
    dense = grid.masses(background.log_median, background.log_sd) @ grid.table
    shares = [grid.shares(p.added) for p in (first, second)]
    mu, sigma, weight = background.nodes
    whole = weight @ grid.masses(mu, sigma) @ (grid.table @ np.stack(shares, axis=1))
    if not whole.any():
        raise Refused("readings that neither proposition explains", "levels that one of them allows", "check both")
    counts = (first.added.size, second.added.size)
    each = [(dense * _resampled(s, n, len(dense), seed)).sum(axis=1) for s, n in zip(shares, counts, strict=True)]
    ratios = _log10_ratio(*each)
    low, high = np.quantile(ratios[~np.isnan(ratios)], [0.025, 0.975], method="inverted_cdf").tolist()
    middle = float(_log10_ratio(whole[0], whole[1]))
    return Weight(world, first.name, second.name, middle, min(low, middle), max(high, middle))


def table_over_backgrounds(
    likelihood: LevelLikelihood,
    propositions: tuple[Proposition, Proposition],
    reason: str,
    medians: Sequence[float] = MEDIANS,
    gsds: Sequence[float] = GSDS,
) -> BackgroundTable:
    """log10 LR for every supposed lognormal background, where no control tanks give one, and the least of them.

    reason : why there is no single ratio. A wide background is not cautious: its density at any one level is small.
    """
    first, second = propositions
    world = _one_world(first, second)
    if min(medians) <= 0 or min(gsds) <= 1:
        raise Refused("a background median of 0 or less, or a GSD of 1 or less", "larger ones", "correct the table")
    grid = _Grid.of(likelihood, first, second)
    pairs = [(median, gsd) for median in medians for gsd in gsds]
    dense = grid.masses(np.log([m for m, _ in pairs]), np.log([g for _, g in pairs])) @ grid.table
    one, two = (dense @ grid.shares(p.added) for p in (first, second))
    ratios = _log10_ratio(one, two).tolist()
    rows = tuple(BackgroundRow(m, g, ratio) for (m, g), ratio in zip(pairs, ratios, strict=True))
    least = min(rows, key=lambda row: math.inf if math.isnan(row.log10_ratio) else row.log10_ratio)
    return BackgroundTable(world, first.name, second.name, rows, least, reason)


def cap_of(
    false_positives: int,
    unexposed: int,
    population: str,
    wild: bool,
    detected_of_exposed: tuple[int, int] = (0, 0),
) -> Cap:
    """The ratios that held-out samples support, largest and smallest. Without unexposed samples nothing supports more
    than 1, without exposed ones nothing less than 1. detected_of_exposed : held-out exposed samples found positive, and
    how many there were."""
    sensitivity = exact_rate(*detected_of_exposed, sides=1)
    false_positive = exact_rate(false_positives, unexposed, sides=1)
    ratio = sensitivity.upper / false_positive.upper
    floor = (1.0 - sensitivity.lower) / (1.0 - false_positive.lower) if false_positive.lower < 1.0 else 1.0
    return Cap(max(ratio, 1.0), min(floor, 1.0), sensitivity, false_positive, population, wild)


def capped(log10_ratio: float, cap: Cap) -> float:
    """log10 LR, kept between what the cap's held-out samples support."""
    floor = math.log10(cap.floor) if cap.floor > 0.0 else -math.inf
    return max(min(log10_ratio, math.log10(cap.ratio)), floor)


def posterior_table(
    log10_ratio: float, lower: float, upper: float, priors: Sequence[float] = PRIORS
) -> tuple[PosteriorRow, ...]:
    """Probability of the first proposition for each prior, at the ratio and at the ends of its interval. The prior is
    the court's; prevalence surveys do not give it. Raises Refused for a prior outside (0, 1)."""
    if not all(0.0 < prior < 1.0 for prior in priors):
        raise Refused(f"priors {', '.join(f'{p:g}' for p in priors)}", "each above 0 and below 1", "correct them")
    values = (log10_ratio, lower, upper)
    return tuple(PosteriorRow(prior, *(posterior_probability(prior, v) for v in values)) for prior in priors)


def sensitivity_table(ends: Mapping[str, tuple[float, float]]) -> tuple[AssumptionMove, ...]:
    """log10 LR at the low and the high end of each assumption, the one that moves it most first."""
    moves = (AssumptionMove(name, low, high) for name, (low, high) in ends.items())
    return tuple(sorted(moves, key=lambda m: -math.inf if math.isnan(m.move) else -m.move))


def standing_moves(
    likelihood: LevelLikelihood, background: BackgroundFit, first: Proposition, second: Proposition, factor: float = 3.0
) -> dict[str, tuple[float, float]]:
    """Ends for sensitivity_table: background median and GSD at their 95 % limits, what the first proposition adds
    divided and multiplied by factor; everything else at its middle value."""
    median, gsd = background.median, background.gsd

    def at(middle: float, spread: float, scale: float = 1.0) -> float:
        moved = Proposition(first.name, first.world, first.added * scale)
        table = table_over_backgrounds(likelihood, (moved, second), "", (middle,), (spread,))
        return table.rows[0].log10_ratio

    return {
        "median of the background": (at(median[1], gsd[0]), at(median[2], gsd[0])),
        "spread of the background": (at(median[0], gsd[1]), at(median[0], gsd[2])),
        f"amount that '{first.name}' adds": (
            at(median[0], gsd[0], 1.0 / factor),
            at(median[0], gsd[0], factor),
        ),
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """L at background b and addition x: table (K + 2, J), rows 0 and K + 1 for b = 0 and b = inf.

    log_b : (K,) evenly spaced in ln level; x : (J,) from 0.
    """

    log_b: FloatArray
    x: FloatArray
    table: FloatArray

    @classmethod
    def of(cls, likelihood: LevelLikelihood, *propositions: Proposition) -> _Grid:
        step = _step(likelihood)
        start, end = math.log(likelihood.level[1]) - BEYOND, math.log(likelihood.level[-1]) + BEYOND
        log_b = np.linspace(start, end, math.ceil((end - start) / step) + 1)
        added = np.concatenate([p.added for p in propositions])
        x = _additions(added, math.exp(start), step)
        levels = np.concatenate([[0.0], np.exp(log_b), [np.inf]])[:, None] + x
        return cls(log_b, x, np.exp(log_likelihood_at(likelihood, levels) - likelihood.log_likelihood.max()))

    def masses(self, mu: FloatArray, sigma: FloatArray) -> FloatArray:
        """(M, K + 2) probability of the rows of the table in M lognormal backgrounds."""
        from scipy.special import ndtr

        step = self.log_b[1] - self.log_b[0]
        z = (self.log_b - mu[:, None]) / sigma[:, None]
        inner = np.exp(-0.5 * z * z) * (step / (sigma[:, None] * math.sqrt(2.0 * math.pi)))
        inner[:, [0, -1]] *= 0.5
        ends = ndtr(np.stack([z[:, 0], -z[:, -1]], axis=1))
        return np.concatenate([ends[:, :1], inner, ends[:, 1:]], axis=1)

    def shares(self, added: FloatArray) -> FloatArray:
        """(J,) shares of the nodes x that stand for equally likely additions (N,), sum 1."""
        if self.x.size == 1:
            return np.ones(1)
        right = np.clip(np.searchsorted(self.x, added, side="right"), 1, self.x.size - 1)
        part = (added - self.x[right - 1]) / (self.x[right] - self.x[right - 1])
        total = np.bincount(right - 1, 1.0 - part, self.x.size) + np.bincount(right, part, self.x.size)
        return np.asarray(total / total.sum())


def _step(likelihood: LevelLikelihood) -> float:
    """Step in ln level that resolves the likelihood around its top."""
    near = np.flatnonzero(likelihood.log_likelihood > likelihood.log_likelihood.max() - 2.0)
    outer = likelihood.level[[max(near[0] - 1, 0), min(near[-1] + 1, likelihood.level.size - 1)]]
    width = math.log(outer[1] / outer[0]) if outer[0] > 0 else math.inf
    return float(np.clip(width / PER_WIDTH, *STEPS))


def _additions(added: FloatArray, least: float, step: float) -> FloatArray:
    """Nodes from 0 through the additions, evenly spaced in their logarithm; one node where nothing is added."""
    top = float(added.max())
    if top == 0.0:
        return np.zeros(1)
    start = max(min(float(added[added > 0].min()), top / 2.0), min(least, top / 2.0))
    count = math.ceil(math.log(top / start) / step) + 1
    nodes = np.geomspace(start, top, count)
    nodes[-1] = top
    return np.concatenate([[0.0], nodes])


def _resampled(share: FloatArray, count: int, rows: int, seed: int) -> FloatArray:
    """(rows, J) shares as random weights of the count draws behind them would give: random weights of draws that are
    gathered in nodes are Dirichlet with the nodes' counts. The same for propositions that add the same."""
    found = np.random.default_rng(seed).standard_gamma(count * share, (rows, share.size))
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def _log10_ratio(first: FloatArray, second: FloatArray) -> FloatArray:
    """+-inf where one is 0, nan where both are."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(first == second, np.where(first > 0, 0.0, np.nan), np.log10(first / second)))


def _one_world(first: Proposition, second: Proposition) -> str:
    if first.world != second.world:
        raise Refused(
            f"propositions of the worlds '{first.world}' and '{second.world}'", "one world", "weigh each by itself"
        )
    for added in (first.added, second.added):
        if added.size == 0 or not np.isfinite(added).all() or (added < 0).any():
            raise Refused("no, negative or infinite added amounts", "draws of 0 or more", "correct the proposition")
    return first.world

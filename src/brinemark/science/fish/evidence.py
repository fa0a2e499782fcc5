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

from brinemark.science.fish.integration import (
    Grid,
    log10_ratio,
    log_backgrounds,
    log_likelihood_at,
    masses,
    resampled,
    summarised,
)
from brinemark.science.fish.rates import exact_rate, posterior_probability
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


def log10_ratio_of_levels(likelihood: LevelLikelihood, first: FloatArray, second: FloatArray) -> float:
    """log10 LR from equally likely levels (N,), (N',) in the water under each proposition, background included."""
    top = float(likelihood.log_likelihood.max())
    dense = [float(np.exp(log_likelihood_at(likelihood, levels) - top).mean()) for levels in (first, second)]
    return float(log10_ratio(np.array(dense[0]), np.array(dense[1])))


def weigh(
    likelihood: LevelLikelihood, background: BackgroundFit, first: Proposition, second: Proposition, seed: int = 0
) -> Weight:
    """log10 LR with interval; exactly 0 where both propositions add the same.

    The interval is over the M draws of the background, each with its own random weights of the draws of what is added
    (Bayesian bootstrap, Annals of Statistics 9 (1981) 130, doi 10.1214/aos/1176345338). Raises Refused for
    propositions of two worlds or amounts below 0, and where neither can explain the readings.
    """
    return _weighed(likelihood, _Backdrop.of(log_backgrounds(likelihood), background), (first, second), seed)


def weigh_worlds(
    likelihood: LevelLikelihood,
    background: BackgroundFit | str,
    pairs: Sequence[tuple[Proposition, Proposition]],
    seed: int = 0,
) -> tuple[Weight | BackgroundTable, ...]:
    """One answer to a pair of propositions, each in its world, in their order; nothing is averaged. background : as
    background_or_reason gives it; a reason leaves only the table over supposed backgrounds."""
    if isinstance(background, str):
        return tuple(table_over_backgrounds(likelihood, pair, background) for pair in pairs)
    backdrop = _Backdrop.of(log_backgrounds(likelihood), background)
    return tuple(_weighed(likelihood, backdrop, pair, seed) for pair in pairs)


@dataclass(frozen=True, slots=True, eq=False)
class _Backdrop:
    """What a background makes of a grid: mixture (K + 2,) of its nodes, each (M, K + 2) of its draws."""

    mixture: FloatArray
    each: FloatArray

    @classmethod
    def of(cls, log_b: FloatArray, background: BackgroundFit) -> _Backdrop:
        mu, sigma, weight = background.nodes
        each = masses(log_b, background.log_median, background.log_sd)
        return cls(weight @ masses(log_b, mu, sigma), each)


def _weighed(
    likelihood: LevelLikelihood, backdrop: _Backdrop, pair: tuple[Proposition, Proposition], seed: int
) -> Weight:
    names = (one_world(*pair), pair[0].name, pair[1].name)
    if not (pair[0].added.any() or pair[1].added.any()):
        return Weight(*names, 0.0, 0.0, 0.0)
    grid = Grid.of(likelihood, pair[0].added, pair[1].added)
    shares = [grid.shares(p.added) for p in pair]
    whole = backdrop.mixture @ (grid.table @ np.stack(shares, axis=1))
    dense = backdrop.each @ grid.table
    one, two = (
        (dense * resampled(share, p.added.size, len(dense), seed)).sum(axis=1)
        for share, p in zip(shares, pair, strict=True)
    )
    return summarised(names, whole, (one, two))


def weigh_series(
    likelihoods: Sequence[LevelLikelihood],
    background: BackgroundFit,
    first: Proposition,
    second: Proposition,
    seed: int = 0,
) -> Weight:
    """As weigh for S samples of one tank whose background stays what it is while the additions (N, S) change: in draw n
    the likelihood is the product over samples at background + added[n, s]. Raises Refused as weigh does, and where
    there are not S additions to a draw."""
    return weigh_series_against(likelihoods, background, first, (second,), seed)[0]


def weigh_series_against(
    likelihoods: Sequence[LevelLikelihood],
    background: BackgroundFit,
    first: Proposition,
    others: Sequence[Proposition],
    seed: int = 0,
) -> tuple[Weight, ...]:
    """weigh_series of one proposition against each of some others, in their order."""
    names = [(one_world(first, second), first.name, second.name) for second in others]
    _check_series(likelihoods, first.added, *(one.added for one in others))
    if not any(one.added.any() for one in (first, *others)):
        return tuple(Weight(*name, 0.0, 0.0, 0.0) for name in names)
    log_b = log_backgrounds(*likelihoods)
    backdrop, tables = (
        _Backdrop.of(log_b, background),
        [_of_series(likelihoods, log_b, p.added) for p in (first, *others)],
    )
    top = max(float(table.max()) for table in tables)
    tables = [np.exp(table - (top if math.isfinite(top) else 0.0)) for table in tables]
    whole = backdrop.mixture @ np.stack([table.mean(axis=1) for table in tables], axis=1)
    one, *rest = (_of_draws(backdrop, table, seed) for table in tables)
    return tuple(
        Weight(*name, 0.0, 0.0, 0.0)
        if not (first.added.any() or other.added.any())
        else summarised(name, whole[[0, place]], (one, two))
        for place, (name, other, two) in enumerate(zip(names, others, rest, strict=True), start=1)
    )


def _of_draws(backdrop: _Backdrop, table: FloatArray, seed: int) -> FloatArray:
    """(M,) densities of the background's draws, each with its own random weights of the table's N columns, or the one
    column that stands for all."""
    dense = backdrop.each @ table
    count = table.shape[1]
    if count == 1:
        return np.asarray(dense[:, 0])
    return np.asarray((dense * resampled(np.full(count, 1.0 / count), count, len(dense), seed)).sum(axis=1))


def _of_series(likelihoods: Sequence[LevelLikelihood], log_b: FloatArray, added: FloatArray) -> FloatArray:
    """(K + 2, N) ln L of all samples together; (K + 2, 1) where nothing is added in any draw."""
    levels = np.concatenate([[0.0], np.exp(log_b), [np.inf]])[:, None]
    some = added if added.any() else added[:1]
    parts = [log_likelihood_at(one, levels + some[:, s]) for s, one in enumerate(likelihoods)]
    return np.asarray(np.sum(parts, axis=0))


def _check_series(likelihoods: Sequence[LevelLikelihood], *additions: FloatArray) -> None:
    for added in additions:
        if added.ndim != 2 or added.shape[1] != len(likelihoods):
            came = f"additions of shape {added.shape} for {len(likelihoods)} samples"
            raise Refused(came, "one addition to a draw and sample", "correct the proposition")


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
    world = one_world(first, second)
    if min(medians) <= 0 or min(gsds) <= 1:
        raise Refused("a background median of 0 or less, or a GSD of 1 or less", "larger ones", "correct the table")
    grid = Grid.of(likelihood, first.added, second.added)
    pairs = [(median, gsd) for median in medians for gsd in gsds]
    mass = masses(grid.log_b, np.log([m for m, _ in pairs]), np.log([g for _, g in pairs]))
    one, two = (mass @ (grid.table @ grid.shares(p.added)) for p in (first, second))
    ratios = log10_ratio(one, two).tolist()
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


def cap_at(log10_ratio: float, exposed: FloatArray, unexposed: FloatArray, population: str, wild: bool) -> Cap:
    """The cap of one ratio from the ratios (n,), (m,) of held-out samples of known history: of the unexposed, so many
    had one at least as high, of the exposed so many; for the floor, at most as high. With none of m unexposed it is
    that of cap_of with no false positive of m."""
    high = exact_rate(int(np.sum(exposed >= log10_ratio)), exposed.size, sides=1)
    false = exact_rate(int(np.sum(unexposed >= log10_ratio)), unexposed.size, sides=1)
    missed = exact_rate(int(np.sum(exposed <= log10_ratio)), exposed.size, sides=1)
    low = exact_rate(int(np.sum(unexposed <= log10_ratio)), unexposed.size, sides=1)
    ratio, floor = high.upper / false.upper, missed.upper / low.upper
    return Cap(max(ratio, 1.0), min(floor, 1.0), high, false, population, wild, of_ratios=True)


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


def moves_of(
    likelihood: LevelLikelihood,
    background: BackgroundFit,
    propositions: tuple[Proposition, Proposition],
    drawn: Mapping[str, FloatArray],
    factor: float = 3.0,
    share: float = 0.25,
) -> dict[str, tuple[float, float]]:
    """Ends for sensitivity_table, all from one table of likelihoods.

    Background median and GSD at their 95 % limits, what the first proposition adds divided and multiplied by factor,
    with everything else at its middle value. drawn : (N,) values by name behind each of its N draws: the ratio from the
    share of draws with the lowest and with the highest values, so that what goes with an assumption moves with it;
    those with one value are left out. Raises Refused as weigh does.
    """
    first, second = propositions
    one_world(first, second)
    grid = Grid.of(likelihood, first.added / factor, first.added, first.added * factor, second.added)
    other = grid.shares(second.added)
    median, gsd = background.median, background.gsd

    def ratio(middle: float, spread: float, added: FloatArray) -> float:
        mass = masses(grid.log_b, np.log([middle]), np.log([spread]))[0] @ grid.table
        return float(log10_ratio(mass @ grid.shares(added), mass @ other))

    found = {
        "median of the background": (
            ratio(median[1], gsd[0], first.added),
            ratio(median[2], gsd[0], first.added),
        ),
        "spread of the background": (
            ratio(median[0], gsd[1], first.added),
            ratio(median[0], gsd[2], first.added),
        ),
        f"amount that '{first.name}' adds": (
            ratio(median[0], gsd[0], first.added / factor),
            ratio(median[0], gsd[0], first.added * factor),
        ),
    }
    mu, sigma, weight = background.nodes
    dense = (weight @ masses(grid.log_b, mu, sigma)) @ grid.table
    return found | _split(dense, grid, first.added, float(dense @ other), (drawn, share))


def _split(
    dense: FloatArray, grid: Grid, added: FloatArray, other: float, by: tuple[Mapping[str, FloatArray], float]
) -> dict[str, tuple[float, float]]:
    """Ratios from the draws at both ends of each assumption; dense (J,), other : densities of the two propositions."""
    drawn, share = by
    count = max(1, round(share * added.size))
    found = {}
    for name, values in drawn.items():
        order = np.argsort(values, kind="stable")
        if values[order[0]] < values[order[-1]]:
            ends = (dense @ grid.shares(added[part]) for part in (order[:count], order[-count:]))
            low, high = (float(log10_ratio(end, np.array(other))) for end in ends)
            found[name] = (low, high)
    return found


def one_world(first: Proposition, second: Proposition) -> str:
    """Its name. Raises Refused for propositions of two worlds and for impossible additions."""
    if first.world != second.world:
        raise Refused(
            f"propositions of the worlds '{first.world}' and '{second.world}'", "one world", "weigh each by itself"
        )
    for added in (first.added, second.added):
        if added.size == 0 or not np.isfinite(added).all() or (added < 0).any():
            raise Refused("no, negative or infinite added amounts", "draws of 0 or more", "correct the proposition")
    return first.world

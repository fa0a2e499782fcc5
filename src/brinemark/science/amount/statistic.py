"""Tail probabilities of what was observed, as a function of the level: the object that carries every statement.

For one reading the statistic is the signal itself and its law is exact up to quadrature; several readings are in
joint.py. Levels here are sample levels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from brinemark.science.amount.law import DipLaw, FilmKind
from brinemark.science.amount.normal import median, normal_quantile
from brinemark.science.amount.roots import rising_root
from brinemark.science.amount.tails import SignalTail, normal_draws_scores, scores_of
from brinemark.terms.arrays import FloatArray

LOWEST, HIGHEST = 2e-2, 3e2  # levels of the search, in units of K at the electrode
LADDER_STEP = 0.2  # in ln level
LEVEL_TOLERANCE = 1e-7  # in ln level
FOLD_DRAWS = 256


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """One electrode that read a sample: laws and relative signals of its readings (main one first), the dilution.

    kinds : the electrode by the kind of its film, where that may be defective; laws are then of all kinds mixed.
    """

    laws: tuple[DipLaw, ...]
    signals: tuple[float, ...]
    dilution: float
    kinds: tuple[FilmKind, ...] = ()


class Statistic(Protocol):
    """What the five rules need. Probabilities are of the statistic at or below the observed one."""

    @property
    def search(self) -> FloatArray:
        """0 and a rising ladder of sample levels on which ends are looked for."""

    @property
    def ladder(self) -> FloatArray:
        """below at the levels of search."""

    def below(self, level: FloatArray) -> FloatArray:
        """P(statistic <= observed | level) for sample levels (n,), inf allowed."""

    def falls_to(self, target: float) -> float | None:
        """Level at which that probability falls to target: 0 if it starts there or below, None if it stays above."""

    def typical_falls_to(self, target: float) -> float | None:
        """The same for the larger of the observed statistic and the median of a blank's."""

    def best(self) -> float | None:
        """The level that fits best: 0 when none above 0 does, None when none is finite."""

    def blank_low(self) -> float:
        """Probability that a blank gives as little as observed or less (smallest over readings, Bonferroni)."""

    def shares(self) -> tuple[float, ...]:
        """Each electrode's share of what is known about the level; they sum to 1."""

    def folds(self, level: FloatArray, tail: float) -> FloatArray:
        """Upper over lower end (n,) of the two-sided intervals that typical readings of levels give; inf if open."""

    def monte_carlo_sd(self, level: float) -> float:
        """Monte Carlo standard error of below at a level."""


def search_levels(electrodes: Sequence[Observed]) -> FloatArray:
    """0 and a geometric ladder from LOWEST K d to HIGHEST K d over the electrodes."""
    K = np.array([float(np.exp(median(e.laws[0].electrode.ln_K))) * e.dilution for e in electrodes])
    low, high = LOWEST * K.min(), HIGHEST * K.max()
    points = int(np.ceil(np.log(high / low) / LADDER_STEP)) + 1
    return np.concatenate([[0.0], np.geomspace(low, high, points)])


@dataclass(frozen=True, slots=True, eq=False)
class SingleReading:
    """The signal of one electrode, read once, as the statistic. mixed : whether its film may be of several kinds."""

    tail: SignalTail
    mixed: bool = False

    @classmethod
    def of(cls, electrode: Observed) -> SingleReading:
        """From the first reading of an electrode."""
        law = electrode.laws[0]
        search = law.known.of(("search", electrode.dilution), lambda: search_levels([electrode]))
        return cls(SignalTail.of(law, electrode.signals[0], search), bool(electrode.kinds))

    @property
    def search(self) -> FloatArray:
        return self.tail.search

    @property
    def ladder(self) -> FloatArray:
        return self.tail.ladder

    def below(self, level: FloatArray) -> FloatArray:
        return self.tail.below(level)

    def falls_to(self, target: float) -> float | None:
        return self.tail.falls_to(target)

    def typical_falls_to(self, target: float) -> float | None:
        """A signal below a blank's median is raised to it."""
        law = self.tail.law
        if self.blank_low() >= 0.5:
            return self.tail.falls_to(target)
        typical = float(law.quantile(0.5, np.zeros(1))[0])
        return SignalTail.of(law, typical, self.search).falls_to(target)

    def best(self) -> float | None:
        return self.tail.falls_to(0.5)

    def blank_low(self) -> float:
        return float(self.tail.ladder[0])

    def shares(self) -> tuple[float, ...]:
        return (1.0,)

    def folds(self, level: FloatArray, tail: float) -> FloatArray:
        law, shape = self.tail.law.thinned(FOLD_DRAWS), self.tail.shape.part(slice(-1), FOLD_DRAWS)
        typical = np.exp(median(self.tail.law.shared_log_median(level)[:, :FOLD_DRAWS], axis=1))
        if not self.mixed:
            return folds_of(self.search, normal_draws_scores(law, typical, shape), tail)
        rungs = np.arange(0, self.search.size, 2)
        table = law.approximate_cdf(typical[:, None, None], shape.part(rungs))
        return folds_of(self.search[rungs], scores_of(table).T, tail)

    def monte_carlo_sd(self, level: float) -> float:
        return self.tail.monte_carlo_sd(level)


def folds_of(ladder: FloatArray, score: FloatArray, tail: float) -> FloatArray:
    """Upper over lower end (k,) for falling normal scores (n, k) of the tail probability on a ladder (n,) that starts
    at 0; inf where an end is open."""
    place, wanted = np.log(np.maximum(ladder, 1e-3 * ladder[1])), normal_quantile(1.0 - tail)
    folds = np.full(score.shape[1], np.inf)
    for k in np.flatnonzero((score[0] > wanted) & (score[-1] <= -wanted)):
        lower, upper = np.interp([-wanted, wanted], -score[:, k], place)
        folds[k] = np.exp(upper - lower)
    return folds


def crossing(
    function: Callable[[FloatArray], FloatArray], target: float, search: FloatArray, ladder: FloatArray | None = None
) -> float | None:
    """Level at which a falling function of the level crosses target: 0 if it starts below, None if it stays above.

    ladder : the function's values on search, when they are known already.
    """
    values = function(search) if ladder is None else ladder
    if values[0] <= target:
        return 0.0
    if values[-1] > target:
        return None
    i = int(np.argmax(values <= target))
    low, high = float(search[i - 1]), float(search[i])
    if low == 0.0:
        return rising_root(lambda c: target - float(function(np.array([c]))[0]), low, high, LEVEL_TOLERANCE * high)
    found = rising_root(
        lambda t: target - float(function(np.exp(np.array([t])))[0]), np.log(low), np.log(high), LEVEL_TOLERANCE
    )
    return float(np.exp(found))

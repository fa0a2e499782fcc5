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
from brinemark.science.amount.roots import rising_root
from brinemark.terms.arrays import FloatArray

LOWEST, HIGHEST = 2e-2, 3e2  # levels of the search, in units of K at the electrode
LADDER_STEP = 0.2  # in ln level
LEVEL_TOLERANCE = 1e-7  # in ln level
FOLD_DRAWS = 128


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

    def below_typical(self, level: FloatArray) -> FloatArray:
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
    K = np.array([float(np.exp(np.median(e.laws[0].electrode.ln_K))) * e.dilution for e in electrodes])
    low, high = LOWEST * K.min(), HIGHEST * K.max()
    points = int(np.ceil(np.log(high / low) / LADDER_STEP)) + 1
    return np.concatenate([[0.0], np.geomspace(low, high, points)])


@dataclass(frozen=True, slots=True, eq=False)
class SingleReading:
    """The signal of one electrode, read once, as the statistic."""

    law: DipLaw
    signal: float
    search: FloatArray
    ladder: FloatArray
    blank_median: float

    @classmethod
    def of(cls, electrode: Observed) -> SingleReading:
        """With its ladder and the median signal of a blank on this electrode."""
        law, signal = electrode.laws[0], electrode.signals[0]
        search = search_levels([electrode])
        ladder = law.cdf(np.array([signal]), search)
        return cls(law, signal, search, ladder, float(law.quantile(0.5, np.zeros(1))[0]))

    def below(self, level: FloatArray) -> FloatArray:
        return self.law.cdf(np.array([self.signal]), level)

    def below_typical(self, level: FloatArray) -> FloatArray:
        return self.law.cdf(np.array([max(self.signal, self.blank_median)]), level)

    def best(self) -> float | None:
        return crossing(self.below, 0.5, self.search, self.ladder)

    def blank_low(self) -> float:
        return float(self.ladder[0])

    def shares(self) -> tuple[float, ...]:
        return (1.0,)

    def folds(self, level: FloatArray, tail: float) -> FloatArray:
        law = self.law.thinned(FOLD_DRAWS)
        typical = np.exp(np.median(law.log_median(level), axis=1))
        ladder = self.search[::2]
        table = law.cdf(np.tile(typical, ladder.size), np.repeat(ladder, typical.size))
        return folds_of(ladder, table.reshape(ladder.size, typical.size), tail)

    def monte_carlo_sd(self, level: float) -> float:
        at = np.array([level])
        parts = [float(self.law.picked(slice(k, None, 8)).cdf(np.array([self.signal]), at)[0]) for k in range(8)]
        return float(np.std(parts, ddof=1) / np.sqrt(len(parts)))


def folds_of(ladder: FloatArray, table: FloatArray, tail: float) -> FloatArray:
    """Upper over lower end (k,) for falling tail probabilities table (n, k) on a ladder (n,) that starts at 0."""
    place = np.log(np.maximum(ladder, 1e-3 * ladder[1]))
    folds = np.full(table.shape[1], np.inf)
    for k in range(table.shape[1]):
        falling = table[:, k]
        if falling[0] > 1.0 - tail and falling[-1] <= tail:
            upper, lower = np.interp([-tail, tail - 1.0], -falling, place)
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

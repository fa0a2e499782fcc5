"""Samples of tanks, and what all samples of a tank say together of the thiocyanate that was put into it.

With x_s the level that events gave sample s and b the background of the tank, the same for all its samples,

    ln L(x) = ln integral of [product over s of L_s(b + x_s)] p(b) db

The integral is a sum over ln levels of b (integration.py), each L_s a table over b and ln x; without a background,
b = 0 and L_s is taken as it is. Backgrounds of two tanks are independent of each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from brinemark.science.fish.integration import log_backgrounds, log_likelihood_at, masses
from brinemark.science.fish.kinetics import Course
from brinemark.science.fish.tanks import History
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, LevelLikelihood

CONTRADICTION = 8.0  # -ln likelihood of a sample that is four standard deviations from the level it tells by itself
ROUNDING = 1e-9  # of the largest level: below 0 by less is rounding of the matrix exponential
ROWS = 250  # levels worked on at once, to stay within fast memory
FINER = 3  # steps of ln x to one of ln b, since L is straight between them
NOTHING = 1e-60  # of the most that a background could give: left out


class TankSample(NamedTuple):
    """What the readings of one sample say of the level in its tank at time_d [d]."""

    tank: str
    time_d: float
    likelihood: LevelLikelihood


def check_samples(history: History, samples: Sequence[TankSample]) -> None:
    """Raises Refused for a tank that the history does not name and a sample before the tank was filled."""
    names = [tank.name for tank in history.tanks]
    for sample in samples:
        if sample.tank not in names:
            came = f"a sample of unknown tank {sample.tank!r}"
            raise Refused(came, f"one of {', '.join(names) or 'none'}", "add the tank or correct it")
        filled = history.tank(sample.tank).filled_d
        if not (math.isfinite(sample.time_d) and sample.time_d >= filled):
            came = f"sample at {sample.time_d:g} d from tank {sample.tank}"
            raise Refused(came, f"a time from its filling at {filled:g} d on", "correct one of the two times")


def sample_times(samples: Sequence[TankSample]) -> FloatArray:
    """Times of all samples, rising, each once [d]."""
    return np.unique([sample.time_d for sample in samples])


def levels_of(course: Course, history: History, samples: Sequence[TankSample]) -> FloatArray:
    """Levels (draws, samples) [ug/L] of a course that was followed to sample_times(samples)."""
    tank_at = {tank.name: number for number, tank in enumerate(history.tanks)}
    tanks = [tank_at[sample.tank] for sample in samples]
    places = np.searchsorted(course.times_d, [sample.time_d for sample in samples])
    found = course.water_ug_L[:, tanks, places]
    rounding = (found < 0.0) & (found > -ROUNDING * np.abs(found).max(initial=0.0))
    return np.asarray(np.where(rounding, 0.0, found))


class SamplesOfTanks:
    """Log likelihood of all samples together, over the levels that events gave each."""

    def __init__(self, samples: Sequence[TankSample], background: BackgroundFit | None) -> None:
        tanks = list(dict.fromkeys(sample.tank for sample in samples))
        self._places = [[n for n, sample in enumerate(samples) if sample.tank == tank] for tank in tanks]
        groups = [tuple(samples[n].likelihood for n in places) for places in self._places]
        self._tanks = [_Bare(group) if background is None else _Tabled.of(group, background) for group in groups]

    def log_likelihood(self, added: FloatArray) -> FloatArray:
        """(rows,) for levels (rows, samples) beyond the background; 0 is the highest that the samples could have by
        themselves."""
        total = np.zeros(len(added))
        for places, tank in zip(self._places, self._tanks, strict=True):
            total += tank.log_likelihood(added[:, places])
        return total


@dataclass(frozen=True, slots=True)
class _Bare:
    """Samples of one tank without a background."""

    likelihoods: tuple[LevelLikelihood, ...]

    def log_likelihood(self, added: FloatArray) -> FloatArray:
        total = np.zeros(len(added))
        for likelihood, level in zip(self.likelihoods, added.T, strict=True):
            total += log_likelihood_at(likelihood, level) - likelihood.log_likelihood.max()
        return total


@dataclass(frozen=True, slots=True, eq=False)
class _Tabled:
    """tables : L of each sample (J + 2, K) at additions 0, exp(log_x) and infinity and K backgrounds of mass (K,)."""

    log_x: FloatArray
    tables: tuple[FloatArray, ...]
    mass: FloatArray

    @classmethod
    def of(cls, likelihoods: tuple[LevelLikelihood, ...], background: BackgroundFit) -> _Tabled:
        log_b = log_backgrounds(*likelihoods)
        mu, sigma, weight = background.nodes
        mass = weight @ masses(log_b, mu, sigma)
        log_x = np.linspace(log_b[0], log_b[-1], FINER * (log_b.size - 1) + 1)
        if len(likelihoods) == 1:
            one = _table(likelihoods[0], np.exp(log_b), log_x) @ mass
            return cls(log_x, (one[:, None],), np.ones(1))
        tables = [_table(each, np.exp(log_b), log_x) for each in likelihoods]
        most = mass * np.prod([table.max(axis=0) for table in tables], axis=0)
        kept = most > NOTHING * most.max()
        return cls(log_x, tuple(np.ascontiguousarray(table[:, kept]) for table in tables), mass[kept])

    def log_likelihood(self, added: FloatArray) -> FloatArray:
        found = np.empty(len(added))
        for start in range(0, len(added), ROWS):
            found[start : start + ROWS] = self._of_some(added[start : start + ROWS])
        with np.errstate(divide="ignore"):
            return np.log(found)

    def _of_some(self, added: FloatArray) -> FloatArray:
        product = np.ones((len(added), self.mass.size))
        for table, level in zip(self.tables, added.T, strict=True):
            product *= self._interpolated(table, level)
        return np.asarray(product @ self.mass)

    def _interpolated(self, table: FloatArray, level: FloatArray) -> FloatArray:
        """(rows, K), straight in ln x between rows; below and beyond them as at 0 and at infinity."""
        with np.errstate(divide="ignore"):
            place = (np.log(level) - self.log_x[0]) / (self.log_x[1] - self.log_x[0]) + 1.0
        place = np.where(place < 1.0, 0.0, np.minimum(place, len(table) - 1.0))
        row = np.minimum(place.astype(int), len(table) - 2)
        low, found = table[row], table[row + 1]
        found -= low
        found *= (place - row)[:, None]
        found += low
        return np.asarray(found)


def _table(likelihood: LevelLikelihood, background: FloatArray, log_x: FloatArray) -> FloatArray:
    x = np.concatenate([[0.0], np.exp(log_x), [np.inf]])
    levels = x[:, None] + np.concatenate([[0.0], background, [np.inf]])
    return np.asarray(np.exp(log_likelihood_at(likelihood, levels) - likelihood.log_likelihood.max()))

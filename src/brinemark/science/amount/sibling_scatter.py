"""How far electrodes at one level differ, against how far the level lifts them: the error of an amount rests on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray

FEWEST = 2
"""Fewest electrodes at one level, on one instrument, that can differ."""


@dataclass(frozen=True, slots=True)
class LevelScatter:
    """Electrodes at one level [level unit].

    count : those whose instrument has two or more there; scatter : their standard deviation, each about the mean of its
    instrument [signal unit]; freedom : count less the means taken off; rise : mean above the blanks of the same
    instrument, 0 at level 0 [signal unit].
    """

    level: float
    count: int
    scatter: float
    freedom: int
    rise: float

    @property
    def share(self) -> float | None:
        """Scatter over rise; None where the signal does not rise."""
        return self.scatter / self.rise if self.rise > 0.0 else None


def sibling_scatter(level: FloatArray, signal: FloatArray, instrument: Sequence[str]) -> tuple[LevelScatter, ...]:
    """Scatter and rise of each level (n,), lowest first; (n,) signals; instruments differ in gain and are kept apart.

    Left out are instruments without a blank (level 0), and levels at which no instrument has two electrodes.
    """
    names = np.array(instrument, dtype=object)
    blank = {
        name: float(signal[here].mean()) for name in set(instrument) if (here := _at(level, names, 0.0, name)).any()
    }
    found = (_of_level(float(one), level, signal, names, blank) for one in np.unique(level))
    return tuple(one for one in found if one is not None)


def _at(level: FloatArray, names: np.ndarray[tuple[int], np.dtype[np.object_]], one: float, name: str) -> BoolArray:
    return np.asarray((level == one) & (names == name), dtype=bool)


def _of_level(
    one: float,
    level: FloatArray,
    signal: FloatArray,
    names: np.ndarray[tuple[int], np.dtype[np.object_]],
    blank: dict[str, float],
) -> LevelScatter | None:
    parts = [(signal[_at(level, names, one, name)], zero) for name, zero in sorted(blank.items())]
    parts = [(part, zero) for part, zero in parts if part.size >= FEWEST]
    if not parts:
        return None
    count = sum(part.size for part, _ in parts)
    freedom = count - len(parts)
    squares = sum(float(((part - part.mean()) ** 2).sum()) for part, _ in parts)
    rise = sum(float((part - zero).sum()) for part, zero in parts) / count
    return LevelScatter(one, count, math.sqrt(squares / freedom), freedom, rise if one > 0.0 else 0.0)


def typical_share(found: Sequence[LevelScatter]) -> tuple[float, float] | None:
    """Scatter over rise of all levels above 0, the mean of its logarithm by degrees of freedom, and how far chance
    alone moves it (relative, 1/sqrt(2 f) of f degrees of freedom); None when no level rises.

    The standard deviation of normal values has about that relative standard error: JCGM 100:2008, E.4.3
    (from memory).
    """
    rising = [(one.share, one.freedom) for one in found if one.level > 0.0 and one.share]
    total = sum(freedom for _, freedom in rising)
    if total == 0:
        return None
    middle = sum(math.log(share) * freedom for share, freedom in rising) / total
    return math.exp(middle), 1.0 / math.sqrt(2.0 * total)

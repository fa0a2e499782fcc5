"""What a study found: shares and folds with their Monte Carlo errors, clustered by laboratory.

Batches that follow one history share its calibration, so the standard error of a ratio is that of a sum over
laboratories: se(r)^2 = L/(L - 1) sum (x_l - r n_l)^2 / (sum n_l)^2, as in any textbook of sampling in clusters (common
practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.planning.study_laboratory import COLUMNS, STATEMENTS, Chunk
from brinemark.terms.arrays import BoolArray, FloatArray

QUANTIFIED = float(STATEMENTS.index("quantified"))


@dataclass(frozen=True, slots=True)
class Figure:
    """A share or a ratio with its Monte Carlo standard error and what it is of; None = of nothing, or not finite."""

    value: float | None
    error: float | None
    of: int


@dataclass(frozen=True, slots=True)
class LevelFigures:
    """What was found at one true level [level unit].

    detected : share of the samples that were found above a blank: power, or at level 0 false detections; interval : how
    often the two-sided interval held the truth, stated : how often what was stated did; fold : median upper over lower
    end; answered : share whose two-sided interval is as narrow as max_fold; quantified : share so stated; electrodes :
    mean used for a sample.
    """

    level: float
    samples: int
    detected: Figure
    interval: Figure
    stated: Figure
    fold: Figure
    answered: Figure
    quantified: Figure
    electrodes: Figure


@dataclass(frozen=True, slots=True)
class StudyFigures:
    """laboratories, failed : how many, and of how many the calibration failed a gate; batches; made : electrodes;
    samples : how many were read. answered_per_electrode : samples answered to max_fold, levels above 0 only, for each
    electrode made; answered_per_batch; electrodes_per_answer : the inverse; false_detections : of samples at level 0;
    false_per_batch : of them that a batch brings; interval, stated : over all levels."""

    laboratories: int
    failed: int
    batches: int
    made: int
    samples: int
    answered_per_electrode: Figure
    answered_per_batch: Figure
    electrodes_per_answer: Figure
    false_detections: Figure
    interval: Figure
    stated: Figure
    levels: tuple[LevelFigures, ...]


def joined(chunks: list[Chunk]) -> Chunk:
    """One after another, in the order of their numbers."""
    return Chunk(
        np.concatenate([one.rows for one in chunks]),
        np.concatenate([one.made for one in chunks]),
        tuple(failure for one in chunks for failure in one.failed),
    )


def figures_of(found: Chunk, max_fold: float) -> StudyFigures:
    """Figures of all laboratories together; max_fold : upper over lower end that counts as an answer."""
    rows, made = _Table(found.rows, found.made[:, 0]), found.made
    narrow = rows.narrow(max_fold) & (rows["level"] > 0)
    answered = rows.sums(narrow)
    per_electrode = ratio(answered, made[:, 2])
    return StudyFigures(
        laboratories=len(made),
        failed=len(found.failed),
        batches=int(made[:, 1].sum()),
        made=int(made[:, 2].sum()),
        samples=len(found.rows),
        answered_per_electrode=per_electrode,
        answered_per_batch=ratio(answered, made[:, 1]),
        electrodes_per_answer=ratio(made[:, 2], answered),
        false_detections=rows.chance(rows["detected"], rows["level"] == 0),
        interval=rows.chance(rows.holds("lower", "upper")),
        stated=rows.chance(rows.holds("stated_lower", "stated_upper")),
        levels=tuple(_at(rows, float(level), max_fold) for level in np.unique(rows["level"])),
    )


def statement_shares(found: Chunk) -> tuple[tuple[Figure, ...], ...]:
    """For each true level, rising, the share of its samples that each of STATEMENTS was made about."""
    rows = _Table(found.rows, found.made[:, 0])
    levels = [rows["level"] == level for level in np.unique(rows["level"])]
    return tuple(
        tuple(rows.chance(rows["statement"] == kind, here) for kind in range(len(STATEMENTS))) for here in levels
    )


def _at(rows: _Table, level: float, max_fold: float) -> LevelFigures:
    here = rows["level"] == level
    return LevelFigures(
        level=level,
        samples=int(here.sum()),
        detected=rows.chance(rows["detected"], here),
        interval=rows.chance(rows.holds("lower", "upper"), here),
        stated=rows.chance(rows.holds("stated_lower", "stated_upper"), here),
        fold=rows.median(rows.folds, here),
        answered=rows.chance(rows.narrow(max_fold), here),
        quantified=rows.chance(rows["statement"] == QUANTIFIED, here),
        electrodes=rows.share(rows["electrodes"], here),
    )


def ratio(above: FloatArray, below: FloatArray) -> Figure:
    """sum above / sum below over laboratories, with its clustered error."""
    total, count = float(below.sum()), below.size
    if total == 0.0:
        return Figure(None, None, 0)
    value = float(above.sum()) / total
    if count < 2:
        return Figure(value, None, round(total))
    apart = float(np.sum((above - value * below) ** 2))
    return Figure(value, float(np.sqrt(count / (count - 1) * apart)) / total, round(total))


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Rows of samples, and the laboratories in order."""

    rows: FloatArray
    laboratories: FloatArray

    def __getitem__(self, name: str) -> FloatArray:
        return self.rows[:, COLUMNS.index(name)]

    @property
    def folds(self) -> FloatArray:
        """Upper over lower end of the two-sided interval, inf where one is open, also where none was said."""
        lower, upper = self["lower"], self["upper"]
        closed = (lower > 0) & np.isfinite(upper)
        folds = np.full(lower.size, np.inf)
        folds[closed] = upper[closed] / lower[closed]
        return folds

    def narrow(self, max_fold: float) -> BoolArray:
        return np.asarray(self.folds <= max_fold)

    def holds(self, lower: str, upper: str) -> FloatArray:
        """1 or 0, nan where nothing was said."""
        low, high, level = self[lower], self[upper], self["level"]
        return np.asarray(np.where(np.isnan(low), np.nan, (low <= level) & (level <= high)))

    def sums(self, values: FloatArray | BoolArray) -> FloatArray:
        """Sum of values (n,) over each laboratory."""
        place = np.searchsorted(self.laboratories, self["laboratory"])
        return np.asarray(np.bincount(place, np.asarray(values, dtype=float), self.laboratories.size), dtype=float)

    def share(self, values: FloatArray | BoolArray, among: BoolArray | None = None) -> Figure:
        """Mean of values over rows, those that are nan left out."""
        kept = np.isfinite(values) if among is None else among & np.isfinite(values)
        return ratio(self.sums(np.where(kept, values, 0.0)), self.sums(kept))

    def chance(self, values: FloatArray | BoolArray, among: BoolArray | None = None) -> Figure:
        """The same of what happens or does not; if it always or never did, the error of half a case among one more."""
        found = self.share(values, among)
        if found.value not in (0.0, 1.0):
            return found
        rate = 0.5 / (found.of + 1)
        return Figure(found.value, float(np.sqrt(rate * (1.0 - rate) / found.of)), found.of)

    def median(self, values: FloatArray, among: BoolArray) -> Figure:
        """Median over rows; its error is half the distance of the quantiles at a half plus and minus the clustered
        error of the share below it."""
        here = np.sort(values[among])
        if not here.size:
            return Figure(None, None, 0)
        middle = float(np.quantile(here, 0.5, method="inverted_cdf"))
        below = self.share((values <= middle).astype(float), among).error
        if below is None or not np.isfinite(middle):
            return Figure(middle if np.isfinite(middle) else None, None, here.size)
        ends = np.quantile(here, np.clip([0.5 - below, 0.5 + below], 0.0, 1.0), method="inverted_cdf")
        error = float(ends[1] - ends[0]) / 2.0
        return Figure(middle, error if np.isfinite(error) else None, here.size)

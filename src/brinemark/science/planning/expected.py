"""What a plan leads to: how wide, how powerful, how many samples answered, over new batches that history expects.

For every true batch (new_batches.py) the samples' signals are simulated from the exact law and read by their likelihood
under the draws weighted by the burned electrodes. The statistic is that of reading: the signed root of several readings,
or the normal score of a lone one. Its distribution at each level is simulated over all true batches together, so that
the intervals hold their coverage and the test its rate over batches, whatever the normal approximation costs; a reading
does the same for its own batch. Deviation: a reading's null is that of its own batch, this one that of all batches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.joint_likelihood import refined_top
from brinemark.science.planning.new_batches import NewBatches, products
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.science.planning.tables import BELOW_BLANK, UseTable
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray
from brinemark.terms.settings import DecisionSection

ZERO = BELOW_BLANK.size


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Samples of S true batches, R each: fold (L, S, R) of the two-sided interval at the wished levels, inf where open;
    found (L, S, R) whether above the critical value; levels (A,) and power (A, S) along the ladder."""

    fold: FloatArray
    found: BoolArray
    ladder: FloatArray
    power: FloatArray

    def answered(self, max_fold: float) -> FloatArray:
        """Share (L, S) of samples whose interval is within max_fold."""
        return np.asarray((self.found & (self.fold <= max_fold)).mean(axis=2))

    def detectable(self, beta: float, batches: IntArray | None = None) -> float:
        """Level found with probability 1 - beta over batches; inf where none of the ladder is."""
        power = self.power if batches is None else self.power[:, batches]
        missed = np.minimum.accumulate(1.0 - power.mean(axis=1))
        if missed[-1] > beta:
            return np.inf
        i = int(np.argmax(missed <= beta))
        if i == 0:
            return 0.0
        share = (missed[i - 1] - beta) / (missed[i - 1] - missed[i])
        low, high = self.ladder[i - 1 : i + 1]
        return float(low + share * (high - low) if low == 0 else low * (high / low) ** share)


@dataclass(frozen=True, slots=True, eq=False)
class Expectation:
    """Works out plans on the same true batches and the same random numbers. levels : wished, of samples; true : (S,)
    places of the draws that are taken as true."""

    batches: NewBatches
    decision: DecisionSection
    levels: tuple[float, ...]
    true: IntArray

    @classmethod
    def of(
        cls, batches: NewBatches, decision: DecisionSection, levels: tuple[float, ...], size: int
    ) -> Expectation:
        """With size true batches."""
        return cls(batches, decision, levels, np.arange(min(size, batches.count)))

    def of_plan(self, plan: BatchPlan) -> Outcome:
        """What a plan leads to."""
        return self._read(plan.use, self.batches.weights(plan.burned, self.true))

    def at_best(self, use: Use) -> Outcome:
        """What full knowledge of population, batch and water would lead to: no plan does better."""
        known = np.zeros((self.true.size, self.batches.count))
        known[np.arange(self.true.size), self.true] = 1.0
        return self._read(use, known)

    def table(self, use: Use) -> UseTable:
        key = "use", use, self.levels, self.true.size
        return self.batches.known.of(key, lambda: UseTable.of(self.batches, use, self.levels, self.true))

    def _read(self, use: Use, weights: FloatArray) -> Outcome:
        table = self.table(use)
        reader = _Reader(table.coefficients(weights), table)
        own = reader.roots(table.at_anchors, columns=table.anchors)
        tail = 0.5 * (1.0 - self.decision.interval)
        limits = np.quantile(own.reshape(own.shape[0], -1), [tail, 1.0 - tail], axis=1)
        blank = reader.roots(table.at_anchors, columns=np.full(table.anchors.size, ZERO))
        critical = float(np.quantile(blank[0], 1.0 - self.decision.alpha))
        root = reader.roots(table.at_levels)
        span = self.batches.calibration.highest_level * max(use.dilutions)
        fold = _folds(root, table, limits, span)
        ladder = table.candidates[table.anchors]
        return Outcome(fold, root[..., ZERO] > critical, ladder, (blank > critical).mean(axis=2))


@dataclass(frozen=True, slots=True, eq=False)
class _Reader:
    """Reads samples with what the weighted draws of each true batch say."""

    coefficients: list[FloatArray]
    table: UseTable

    def roots(self, seen: FloatArray, columns: IntArray | None = None) -> FloatArray:
        """The statistic (L, S, R, n) of readings (L, S, R, J) at all candidates, or (L, S, R) at one for each L."""
        moved = np.moveaxis(seen, 0, 1)
        rows = moved.reshape(moved.shape[0], -1, moved.shape[-1])
        alone = len(self.coefficients) == 1 and seen.shape[-1] == 1
        if alone:
            found = self._scores(rows)
            root = found if columns is None else self._picked(found, columns, moved.shape)
        else:
            root = self._signed(rows, columns, moved.shape)
        return np.moveaxis(root.reshape(*moved.shape[:-1], *root.shape[2:]), 1, 0)

    def _scores(self, rows: FloatArray) -> FloatArray:
        """Normal scores (S, N, n) of lone readings (S, N, 1)."""
        (coefficients,) = self.coefficients
        precision, pull = -2.0 * coefficients[..., 0], coefficients[..., 1]
        return np.asarray((rows - (pull / precision)[:, None]) * np.sqrt(precision)[:, None])

    def _signed(self, rows: FloatArray, columns: IntArray | None, shape: tuple[int, ...]) -> FloatArray:
        values = products(rows)
        each = [values @ np.moveaxis(one, 1, 2) for one in self.coefficients]
        log_l = each[0] if len(each) == 1 else np.logaddexp.reduce(each, axis=0)
        flat = log_l.reshape(-1, log_l.shape[-1])
        place, peak = refined_top(flat)
        place, peak = place.reshape(log_l.shape[:2]), peak.reshape(log_l.shape[:2])
        if columns is None:
            wanted, at = log_l, np.arange(log_l.shape[-1])
            place, peak = place[..., None], peak[..., None]
        else:
            wanted, at = self._picked(log_l, columns, shape), np.repeat(columns, shape[2])
        size = np.sqrt(np.maximum(0.0, 2.0 * (peak - wanted)))
        return np.asarray(np.where(at <= place, size, -size))

    def _picked(self, values: FloatArray, columns: IntArray, shape: tuple[int, ...]) -> FloatArray:
        """Values (S, L R, n) at one candidate for each L: (S, L R)."""
        column = np.repeat(columns, shape[2])
        return np.asarray(values[:, np.arange(column.size), column])


def _folds(root: FloatArray, table: UseTable, limits: FloatArray, span: float) -> FloatArray:
    """Upper over lower end (L, S, R) for roots (L, S, R, n) and their limits (2, A) at the anchors."""
    rungs = np.arange(ZERO, table.candidates.size - 1)
    place = np.log(np.maximum(table.candidates[rungs], 0.3 * table.candidates[ZERO + 1]))
    upper_limit, lower_limit = (np.interp(rungs, table.anchors, one) for one in limits)
    lower = _falls(root[..., rungs] - lower_limit, place)
    upper = _falls(root[..., rungs] - upper_limit, place)
    open_end = np.isneginf(lower) | (upper > np.log(span))
    with np.errstate(invalid="ignore", over="ignore"):
        return np.where(open_end, np.inf, np.exp(upper - lower))


def _falls(values: FloatArray, place: FloatArray) -> FloatArray:
    """Where (...,) values (..., n) first fall to 0: -inf if they start there, inf if they stay above."""
    low = values <= 0.0
    first = np.argmax(low, axis=-1)
    right = np.maximum(first, 1)
    before = np.take_along_axis(values, (right - 1)[..., None], -1)[..., 0]
    after = np.take_along_axis(values, right[..., None], -1)[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = before / (before - after)
    found = place[right - 1] + share * (place[right] - place[right - 1])
    found = np.where(first == 0, -np.inf, found)
    return np.asarray(np.where(low.any(axis=-1), found, np.inf))

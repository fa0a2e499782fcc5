"""What a plan leads to: how wide, how powerful, how many samples answered, over new batches that history expects.

For every true batch (new_batches.py) the samples' signals are simulated from the exact law and read by their likelihood
under the draws weighted by the burned electrodes. The statistic is that of reading: the signed root of several
readings, or the normal score of a lone one. Its distribution at each level is simulated under draws taken by their
weights, as a reading does for its own batch. Deviation: here the simulations of all true batches are put together.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brinemark.science.amount.joint_likelihood import refined_top
from brinemark.science.amount.memo import Memo
from brinemark.science.planning.new_batches import NewBatches, products
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.science.planning.tables import BELOW_BLANK, UseTable, simulated_at_anchors, simulated_at_levels
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray
from brinemark.terms.settings import DecisionSection

ZERO = BELOW_BLANK.size
PARTS = 4
LONE = 3  # coefficients of a lone reading: its square, itself, 1


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Samples of S true batches, R each: fold (L, S, R) of the two-sided interval at the wished levels, inf where open;
    found (L, S, R) whether above the critical value; ladder (A,) of levels, and power (A, S) along it; parts : the same
    with the limits of some parts of the simulations each, from which the error of these limits is told."""

    fold: FloatArray
    found: BoolArray
    ladder: FloatArray
    power: FloatArray
    parts: tuple[Outcome, ...] = ()

    known: Memo = field(default_factory=lambda: Memo(4))

    def answered(self, max_fold: float) -> FloatArray:
        """Share (L, S) of samples whose interval is within max_fold."""
        return self.known.of(max_fold, lambda: np.asarray((self.found & (self.fold <= max_fold)).mean(axis=2)))

    def log_fold(self, widest: float) -> FloatArray:
        """Mean ln fold (L, S) of a true batch's samples, folds beyond widest counted as that."""
        return self.known.of(("log", widest), lambda: np.log(np.minimum(self.fold, widest)).mean(axis=2))

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
    places of the draws that are taken as true; parts : of the simulated limits, none where their error is not asked."""

    batches: NewBatches
    decision: DecisionSection
    levels: tuple[float, ...]
    true: IntArray
    parts: int = PARTS

    @classmethod
    def of(cls, batches: NewBatches, decision: DecisionSection, levels: tuple[float, ...], size: int) -> Expectation:
        """With size true batches."""
        return cls(batches, decision, levels, np.arange(min(size, batches.count)))

    def of_plan(self, plan: BatchPlan) -> Outcome:
        """What a plan leads to."""
        weights, table = self.batches.weights(plan.burned, self.true), self.table(plan.use)
        return self._read(table, weights, table.drawn_at_anchors(weights, self.batches.seed), plan.use)

    def at_best(self, use: Use) -> Outcome:
        """What full knowledge of population, batch and water would lead to: no plan does better."""
        known, table = np.zeros((self.true.size, self.batches.count)), self.table(use)
        known[np.arange(self.true.size), self.true] = 1.0
        return self._read(table, known, simulated_at_anchors(self.batches, use, table, self.true), use)

    def table(self, use: Use) -> UseTable:
        """What a use can tell, worked out once."""
        return self.batches.known.of(("use", use), lambda: UseTable.of(self.batches, use))

    def _samples(self, use: Use) -> FloatArray:
        """What samples of the wished levels give, worked out once."""
        key = "samples", use, self.levels, self.true.size
        return self.batches.known.of(key, lambda: simulated_at_levels(self.batches, use, self.levels, self.true))

    def _read(self, table: UseTable, weights: FloatArray, at_anchors: FloatArray, use: Use) -> Outcome:
        reader = _Reader(table.coefficients(weights), table)
        own, blank = reader.roots_at(at_anchors, table.anchors)
        root = reader.roots(self._samples(use))
        span = self.batches.calibration.highest_level * max(use.dilutions)

        def outcome(which: slice, parts: tuple[Outcome, ...] = ()) -> Outcome:
            critical = float(np.quantile(blank[0, :, which], 1.0 - self.decision.alpha))
            fold = _folds(root, table, self._limits(own[:, :, which]), span)
            power = (blank > critical).mean(axis=2)
            return Outcome(fold, root[..., ZERO] > critical, table.candidates[table.anchors], power, parts)

        return outcome(slice(None), tuple(outcome(slice(part, None, self.parts)) for part in range(self.parts)))

    def _limits(self, own: FloatArray) -> FloatArray:
        """Lower and upper quantile (2, A) of the statistic at its own level, smoothed away from the ends."""
        tail = 0.5 * (1.0 - self.decision.interval)
        limits = np.quantile(own.reshape(own.shape[0], -1), [tail, 1.0 - tail], axis=1)
        limits[:, 2:-2] = 0.25 * limits[:, 1:-3] + 0.5 * limits[:, 2:-2] + 0.25 * limits[:, 3:-1]
        return np.asarray(limits)


@dataclass(frozen=True, slots=True, eq=False)
class _Reader:
    """Reads samples with what the weighted draws of each true batch say."""

    coefficients: list[FloatArray]
    table: UseTable

    def roots(self, seen: FloatArray) -> FloatArray:
        """The statistic (L, S, R, n) of readings (L, S, R, J) at all candidates."""
        rows, shape = _by_batch(seen)
        if self.alone:
            return _by_level(self._scores(rows), shape)
        log_l = self._log_likelihood(rows)
        place, peak = _tops(log_l)
        return _by_level(_signed(log_l, peak[..., None], np.arange(log_l.shape[-1]) <= place[..., None]), shape)

    def roots_at(self, seen: FloatArray, columns: IntArray) -> tuple[FloatArray, FloatArray]:
        """The statistic (L, S, R) of readings (L, S, R, J) at one candidate for each L, and at a blank."""
        rows, shape = _by_batch(seen)
        own = np.repeat(columns, shape[2])
        every = np.arange(own.size)
        if self.alone:
            scores = self._scores(rows)
            return _by_level(scores[:, every, own], shape), _by_level(scores[..., ZERO], shape)
        log_l = self._log_likelihood(rows)
        place, peak = _tops(log_l)
        at_own, at_zero = (
            _signed(log_l[:, every, own], peak, own <= place),
            _signed(log_l[..., ZERO], peak, place >= ZERO),
        )
        return _by_level(at_own, shape), _by_level(at_zero, shape)

    @property
    def alone(self) -> bool:
        """Whether a sample is one reading."""
        return len(self.coefficients) == 1 and self.coefficients[0].shape[-1] == LONE

    def _scores(self, rows: FloatArray) -> FloatArray:
        """Normal scores (S, N, n) of lone readings (S, N, 1)."""
        (coefficients,) = self.coefficients
        precision, pull = -2.0 * coefficients[..., 0], coefficients[..., 1]
        return np.asarray((rows - (pull / precision)[:, None]) * np.sqrt(precision)[:, None])

    def _log_likelihood(self, rows: FloatArray) -> FloatArray:
        values = products(rows)
        each = [values @ np.moveaxis(one, 1, 2) for one in self.coefficients]
        return each[0] if len(each) == 1 else np.asarray(np.logaddexp.reduce(each, axis=0))


def _by_batch(seen: FloatArray) -> tuple[FloatArray, tuple[int, ...]]:
    """Readings (L, S, R, J) as (S, L R, J), and their shape (S, L, R)."""
    moved = np.moveaxis(seen, 0, 1)
    return moved.reshape(moved.shape[0], -1, moved.shape[-1]), moved.shape[:-1]


def _by_level(values: FloatArray, shape: tuple[int, ...]) -> FloatArray:
    """Back again: (S, L R, ...) as (L, S, R, ...)."""
    return np.moveaxis(values.reshape(*shape, *values.shape[2:]), 1, 0)


def _tops(log_l: FloatArray) -> tuple[FloatArray, FloatArray]:
    place, peak = refined_top(log_l.reshape(-1, log_l.shape[-1]))
    return place.reshape(log_l.shape[:-1]), peak.reshape(log_l.shape[:-1])


def _signed(log_l: FloatArray, peak: FloatArray, above: BoolArray) -> FloatArray:
    size = np.sqrt(np.maximum(0.0, 2.0 * (peak - log_l)))
    return np.asarray(np.where(above, size, -size))


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

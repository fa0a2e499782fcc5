"""Figures of a plan with their Monte Carlo errors, and which plans are ties.

All plans are worked out on the same true batches; errors, and those of differences, come from resampling these batches
together (bootstrap, the same resamples for every plan).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from brinemark.science.planning.expected import Outcome
from brinemark.science.planning.plans import BatchPlan
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.settings import DecisionSection

Aim: TypeAlias = Literal["answers", "narrow", "power", "cost"]
AIMS: tuple[Aim, ...] = ("answers", "narrow", "power", "cost")
RESAMPLES = 60
WIDEST = 100.0  # folds beyond count as this where they are averaged
SIGMAS = 2.0  # a difference below so many of its errors is a tie


@dataclass(frozen=True, slots=True)
class Figure:
    """A value and its Monte Carlo standard error; inf : open in at least half of all samples, or never reached."""

    value: float
    error: float


@dataclass(frozen=True, slots=True)
class Prices:
    """electrode, hour : costs; reading_h : hours that one reading of one electrode takes."""

    electrode: float = 0.0
    hour: float = 0.0
    reading_h: float = 0.25

    @property
    def known(self) -> bool:
        return self.electrode > 0 or self.hour > 0


@dataclass(frozen=True, slots=True)
class Wish:
    """aim : what is to be best; levels : of samples, at which; samples : that the batch has to serve at least;
    detectable : minimum detectable value that is wanted, for the aim "cost"."""

    aim: Aim
    levels: tuple[float, ...]
    samples: int = 1
    detectable: float | None = None


@dataclass(frozen=True, slots=True)
class PlanFigures:
    """What a plan leads to.

    fold, power, answered : at each wished level: median fold of the interval, share found, share with a fold of at most
    max_fold; detectable : minimum detectable value; answers : samples of the batch answered to max_fold, mean over the
    levels; per_electrode : of these, per electrode made; hours, cost : of the batch.
    """

    plan: BatchPlan
    fold: tuple[Figure, ...]
    power: tuple[Figure, ...]
    answered: tuple[Figure, ...]
    detectable: Figure
    answers: Figure
    per_electrode: Figure
    hours: float
    cost: float


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A plan with its figures and, for comparisons, its score: as it is, on every resample, and the variance that the
    limits' own simulation leaves; higher is better."""

    figures: PlanFigures
    score: float
    resampled: FloatArray
    limits_variance: float

    def ties_with(self, best: Measured) -> bool:
        """Whether the difference from the best is within its Monte Carlo error."""
        if not np.isfinite(self.score) or not np.isfinite(best.score):
            return self.score == best.score
        both = np.isfinite(best.resampled) & np.isfinite(self.resampled)
        if self is best or both.sum() <= 0.5 * both.size:
            return True
        variance = float(np.var((best.resampled - self.resampled)[both]))
        error = float(np.sqrt(variance + best.limits_variance + self.limits_variance))
        return best.score - self.score <= SIGMAS * error


Value: TypeAlias = Callable[[Outcome, IntArray | None], float]
"""A number of an outcome over some of its true batches; None = all."""


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What all plans are judged by. again : (B, S) places of true batches."""

    wish: Wish
    decision: DecisionSection
    prices: Prices
    again: IntArray

    @classmethod
    def of(cls, wish: Wish, decision: DecisionSection, prices: Prices, size: int, seed: int) -> Bench:
        """With resamples of size true batches."""
        rng = np.random.default_rng(np.random.SeedSequence([seed, 17]))
        return cls(wish, decision, prices, np.asarray(rng.integers(0, size, (RESAMPLES, size))))

    def measured(self, plan: BatchPlan, outcome: Outcome) -> Measured:
        """Figures and score of a plan."""
        figures = PlanFigures(
            plan,
            tuple(self._figure(outcome, _fold_at(place)) for place in range(len(self.wish.levels))),
            tuple(map(_mean, outcome.found.mean(axis=2))),
            tuple(self._figure(outcome, self._answered_at(place)) for place in range(len(self.wish.levels))),
            self._figure(outcome, lambda one, rows: one.detectable(self.decision.beta, rows)),
            self._figure(outcome, self._answers(plan)),
            self._figure(outcome, self._answers(plan), plan.electrodes),
            self.hours(plan),
            self.cost(plan),
        )
        score = self.score(plan)
        resampled = np.array([score(outcome, rows) for rows in self.again])
        return Measured(figures, score(outcome, None), resampled, _between(score, outcome))

    def hours(self, plan: BatchPlan) -> float:
        """Hours at the bench for the whole batch."""
        return plan.dips * self.prices.reading_h

    def cost(self, plan: BatchPlan) -> float:
        """Of the whole batch."""
        return plan.electrodes * self.prices.electrode + self.hours(plan) * self.prices.hour

    def score(self, plan: BatchPlan) -> Value:
        """What the wish looks at, higher is better; -inf where it is not met."""
        if plan.samples < self.wish.samples:
            return lambda outcome, rows: -np.inf
        if self.wish.aim == "answers":
            return self._answers(plan)
        if self.wish.aim == "power":
            return lambda outcome, rows: float(_rows(outcome.found.mean(axis=2), rows).mean())
        if self.wish.aim == "narrow":
            return lambda outcome, rows: -float(_rows(outcome.log_fold(WIDEST), rows).mean())
        cost = self.cost(plan)
        paid = (cost if cost > 0 else float(plan.electrodes)) / plan.samples
        wanted = self.wish.detectable if self.wish.detectable is not None else np.inf
        return lambda outcome, rows: -paid if outcome.detectable(self.decision.beta, rows) <= wanted else -np.inf

    def _answers(self, plan: BatchPlan) -> Value:
        return lambda outcome, rows: plan.samples * float(_rows(outcome.answered(self.decision.max_fold), rows).mean())

    def _answered_at(self, place: int) -> Value:
        return lambda outcome, rows: float(
            _rows(outcome.answered(self.decision.max_fold)[place : place + 1], rows).mean()
        )

    def _figure(self, outcome: Outcome, value: Value, per: float = 1.0) -> Figure:
        found = np.array([value(outcome, rows) for rows in self.again])
        closed = found[np.isfinite(found)]
        error = np.sqrt(np.var(closed) + _between(value, outcome)) if closed.size > found.size // 2 else np.inf
        return Figure(value(outcome, None) / per, float(error) / per)


def _between(value: Value, outcome: Outcome) -> float:
    """Variance that the simulation of the limits leaves to a value, from its parts."""
    found = np.array([value(part, None) for part in outcome.parts])
    return float(np.var(found, ddof=1) / found.size) if found.size > 1 and np.isfinite(found).all() else 0.0


def _fold_at(place: int) -> Value:
    def middle(outcome: Outcome, rows: IntArray | None) -> float:
        flat = (outcome.fold[place] if rows is None else outcome.fold[place][rows]).ravel()
        return float(np.partition(flat, flat.size // 2)[flat.size // 2])

    return middle


def _rows(values: FloatArray, rows: IntArray | None) -> FloatArray:
    return values if rows is None else values[:, rows]


def _mean(values: FloatArray) -> Figure:
    return Figure(float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size)))

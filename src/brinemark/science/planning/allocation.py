"""Of n electrodes of a new batch: how many to burn, on which levels, and how to read the samples on the rest.

Four looks, all on the same random numbers: every use with three typical sets of standards; every set of standards for
the uses that came out best, and the likeliest set of each size for the best use of each size; what is left, on more
true batches, with its Monte Carlo errors, so that ties are called ties; and the first of these with their burned
electrodes read in other ways, one at a time (burned_ways.py). Beside the best and its runners-up stands what each
number of burned electrodes buys at its best, and what full knowledge of the batch would give.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.simulate import SINGLE
from brinemark.science.planning.burned_ways import BurnedWays
from brinemark.science.planning.candidates import MOST_BURNED, ladders, level_sets, plans_of, protocols
from brinemark.science.planning.expected import Expectation, Outcome
from brinemark.science.planning.figures import Bench, Measured, PlanFigures, Prices, Wish
from brinemark.science.planning.new_batches import NewBatches
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.terms.amounts import Calibration
from brinemark.terms.settings import DecisionSection

ROUGH, FINE = 32, 160  # true batches
USES, RUNNERS_UP = 2, 8
LOOKS = 12  # at plans whose burned electrodes are read in different ways, in all
SECOND_BEST = 1e-3  # of the score for each reading, so that of plans alike the shorter one comes first
FAILED = 1e6  # behind every plan that meets the wish


@dataclass(frozen=True, slots=True, eq=False)
class Ranked:
    """A plan's figures; tie : whether the best one's lead is within its Monte Carlo error; meets : the wish."""

    figures: PlanFigures
    tie: bool
    meets: bool


@dataclass(frozen=True, slots=True, eq=False)
class Allocation:
    """plans : best first; by_burned : the best one for each number of burned electrodes; limit : the best plan's use if
    population, batch and water were known exactly and nothing were burned; tried : how many plans were looked at."""

    plans: tuple[Ranked, ...]
    by_burned: tuple[Ranked, ...]
    limit: PlanFigures
    tried: int


@dataclass(frozen=True, slots=True, eq=False)
class Planner:
    """What all plans of one question share."""

    batches: NewBatches
    bench: Bench

    @classmethod
    def of(
        cls,
        calibration: Calibration,
        wish: Wish,
        decision: DecisionSection,
        prices: Prices,
        instrument: str | None = None,
    ) -> Planner:
        """With new batches by the calibration and its seed; instrument : None = that of most of its electrodes."""
        batches = NewBatches.of(calibration, calibration.seed, instrument)
        size = min(FINE, batches.count)
        return cls(batches, Bench.of(wish, decision, prices, size, calibration.seed))

    def expectation(self, size: int) -> Expectation:
        """On size true batches."""
        return Expectation.of(self.batches, self.bench.decision, self.bench.wish.levels, size)

    def allocation(self, electrodes: int, uses: Sequence[Use] | None = None) -> Allocation:
        """The best plan of a batch of electrodes (1 or more), and those behind it. uses : ways of reading a sample that
        are thought of, None = every protocol, by one to three electrodes, diluted where levels call for it."""
        chosen = self.uses(electrodes) if uses is None else list(uses)
        sets = level_sets(self.batches, electrodes - 1)
        found = self._rough(electrodes, chosen, sets)
        ordered = sorted(found, key=lambda one: one[0], reverse=True)
        finalists = [plan for _, plan in ordered[:RUNNERS_UP]]
        by_burned = [next(p for _, p in ordered if len(p.burned) == n) for n in sets if _any(ordered, n)]
        fine = [self.measure(plan) for plan in dict.fromkeys([*finalists, *by_burned])]
        thought_of = dict.fromkeys([SINGLE, *(use.protocol for use in chosen)])
        ways = BurnedWays(self.measure, list(thought_of), fine, LOOKS)
        changed = [one for start in _best_first(fine) for one in ways.followed(start)]
        ranked = _best_first(dict.fromkeys([*fine, *changed]))
        best = ranked[0]
        limit = BatchPlan(electrodes, (), best.figures.plan.use)
        return Allocation(
            tuple(_ranked(one, best) for one in ranked),
            tuple(_ranked(one, best) for one in _by_burned(ranked)),
            self.measure(limit, known=True).figures,
            len({plan for _, plan in found} | ways.seen.keys()),
        )

    def uses(self, electrodes: int) -> list[Use]:
        """Every way of reading a sample that the batch has electrodes for."""
        calibration = self.batches.calibration
        sets = [
            one
            for one in ladders(calibration, self.bench.wish.levels)
            if len(one) * self.bench.wish.samples <= electrodes
        ]
        return [Use(protocol, one) for protocol in protocols(calibration).values() for one in sets]

    def measure(self, plan: BatchPlan, *, known: bool = False) -> Measured:
        """A plan with its figures; known : as if the batch were."""
        expectation = self.expectation(FINE)
        outcome = expectation.at_best(plan.use) if known else expectation.of_plan(plan)
        return self.bench.measured(plan, outcome)

    def _rough(
        self, electrodes: int, uses: Sequence[Use], sets: dict[int, tuple[tuple[float, ...], ...]]
    ) -> list[tuple[float, BatchPlan]]:
        """Scores of plans on few true batches: a typical few for each use, then all for the best uses."""
        typical = [sets[count][0] for count in (0, 1, min(2, max(sets))) if count in sets]
        scores: dict[BatchPlan, float] = {}
        rough = replace(self.expectation(ROUGH), parts=0)

        def best(use: Use, levels: Sequence[tuple[float, ...]]) -> float:
            plans = list(plans_of(electrodes, use, levels))
            for plan in plans:
                if plan not in scores:
                    scores[plan] = self._score(plan, rough.of_plan(plan))
            return max((scores[plan] for plan in plans), default=-np.inf)

        first = sorted(uses, key=lambda use: best(use, dict.fromkeys(typical)), reverse=True)  # type: ignore[arg-type]
        for use in first[:USES]:
            best(use, [levels for count in sets for levels in sets[count]])
        for size in sorted({use.electrodes for use in first}):
            best(next(use for use in first if use.electrodes == size), [some[0] for some in sets.values()])
        return [(score, plan) for plan, score in scores.items()]

    def _score(self, plan: BatchPlan, outcome: Outcome) -> float:
        """As the bench has it; plans that fail the wish by how far, behind all that meet it."""
        score = self.bench.score(plan)(outcome, None)
        if np.isfinite(score):
            return score - SECOND_BEST * plan.dips
        short = max(0, self.bench.wish.samples - plan.samples)
        return -FAILED * (1.0 + short) - outcome.detectable(self.bench.decision.beta)


def _any(plans: Sequence[tuple[float, BatchPlan]], burned: int) -> bool:
    return any(len(plan.burned) == burned for _, plan in plans)


def _best_first(some: Iterable[Measured]) -> list[Measured]:
    return sorted(some, key=lambda one: one.score, reverse=True)


def _by_burned(ranked: Sequence[Measured]) -> list[Measured]:
    """The first of each number of burned electrodes."""
    first: dict[int, Measured] = {}
    for one in ranked:
        first.setdefault(len(one.figures.plan.burned), one)
    return [first[count] for count in sorted(first)]


def _ranked(one: Measured, best: Measured) -> Ranked:
    return Ranked(one.figures, one.ties_with(best), bool(np.isfinite(one.score)))


__all__ = ["MOST_BURNED", "Allocation", "Planner", "Ranked"]

"""How each burned electrode of a plan is read: changed one at a time, on the same random numbers.

A plan keeps its levels and how its samples are read. Each way of reading one of its burned electrodes is tried, the
shortest first. Kept is the plan of fewest readings that ties with the best one that was met, so that a longer way has
to be better beyond the Monte Carlo error. It ends where no change of one electrode is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from brinemark.science.amount.simulate import Protocol
from brinemark.science.planning.figures import Measured
from brinemark.science.planning.plans import BatchPlan, Burned


class BurnedWays:
    """Looks at plans that differ in how burned electrodes are read: at no more than some, whatever is asked.

    seen : all plans that were measured, those at the beginning among them.
    """

    def __init__(
        self, measure: Callable[[BatchPlan], Measured], ways: Sequence[Protocol], seen: Sequence[Measured], looks: int
    ) -> None:
        self.seen = {one.figures.plan: one for one in seen}
        self._measure = measure
        self._ways = sorted(ways, key=lambda one: one.dips.size)
        self._most = len(self.seen) + looks

    def followed(self, start: Measured) -> tuple[Measured, Measured]:
        """Where changes of one electrode lead from a plan: the one that is kept, and the best that was met."""
        now = best = start
        changes = self._changes(now)
        while (other := next(changes, None)) is not None:
            best = max(best, other, key=lambda one: one.score)
            after = _after(now, other, best)
            if after is not now:
                now, changes = after, self._changes(after)
        return now, best

    def _changes(self, one: Measured) -> Iterator[Measured]:
        """Plans with one change, those without a look left out."""
        for plan in changed(one.figures.plan, self._ways):
            if plan not in self.seen and len(self.seen) < self._most:
                self.seen[plan] = self._measure(plan)
            if plan in self.seen:
                yield self.seen[plan]


def changed(plan: BatchPlan, ways: Sequence[Protocol]) -> Iterator[BatchPlan]:
    """Plans in which one burned electrode is read in another way; electrodes that are alike count once."""
    for one in dict.fromkeys(plan.burned):
        others = list(plan.burned)
        others.remove(one)
        for way in ways:
            if way != one.protocol:
                yield replace(plan, burned=_in_order([*others, Burned(one.level, way)]))


def _in_order(burned: Sequence[Burned]) -> tuple[Burned, ...]:
    """By level and readings, so that the same electrodes are the same plan."""
    return tuple(sorted(burned, key=lambda one: (one.level, one.protocol.dips.size)))


def _after(now: Measured, other: Measured, best: Measured) -> Measured:
    """Which plan is kept when another was met, and the best so far; each step takes fewer readings or has a better
    best, so that steps end. A plan that fails the wish is no shorter way to it."""
    if other.figures.plan.dips < now.figures.plan.dips and np.isfinite(other.score) and other.ties_with(best):
        return other
    return now if now.ties_with(best) else best

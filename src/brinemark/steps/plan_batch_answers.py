"""What a plan for a new batch says, as people and programs get it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from brinemark.science.planning.figures import Figure, PlanFigures, Wish
from brinemark.science.planning.plans import BatchPlan
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.terms.wording import amount

NO_COSTS = (
    "costs are not set, so that plans differ by electrodes and hours only: give [costs] in the settings to count money"
)
BURNED_WAYS = {
    "single": "once",
    "pre-scan": "with pre-scan",
    "pre-scan and spike": "with pre-scan and spike",
    "rising additions": "with rising additions",
}
"""How burned electrodes are read, in words, the shortest first."""
SIMULATED = (
    "figures are expectations over batches that this logbook's history allows, its uncertainty included, and no "
    "promise for one batch; in brackets their Monte Carlo standard errors"
)


def figure_dict(one: Figure) -> dict[str, float | None]:
    """A figure as data; None = open or never reached."""
    value = one.value if math.isfinite(one.value) else None
    return {"value": value, "error": one.error if value is not None and math.isfinite(one.error) else None}


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """One plan with its figures. protocol : how samples are read; burned_ways : how each burned electrode is; tie : as
    good as the best within the Monte Carlo error; meets : the wish."""

    figures: PlanFigures
    protocol: str
    burned_ways: tuple[str, ...]
    tie: bool
    meets: bool

    @property
    def plan(self) -> BatchPlan:
        return self.figures.plan

    @property
    def burned(self) -> str:
        """The levels that are burned, in words, with how they are read where that is not how samples are."""
        return self.burned_words(BURNED_WAYS)

    @property
    def burned_alike(self) -> bool:
        """Whether burned electrodes are read as samples are."""
        return set(self.burned_ways) <= {self.protocol}

    def burned_words(self, ways: Mapping[str, str], unit: str = "") -> str:
        """The same in some words for the ways, with the unit of levels behind the last of each way."""
        read = list(zip(self.plan.burned, self.burned_ways, strict=True))
        levels = {way: [one.level for one, other in read if other == way] for way in ways}
        told = {way: levels_in_words(some, unit) for way, some in levels.items() if some}
        if self.burned_alike:
            return next(iter(told.values()), "none")
        return "; ".join(f"{words} {ways[way]}" for way, words in told.items())

    @property
    def dilutions(self) -> str:
        """What the electrodes of one sample see."""
        seen = self.plan.use.dilutions
        if set(seen) == {1.0}:
            return str(len(seen))
        return f"{len(seen)} at {', '.join(f'{one:g}' for one in seen)}x"

    def to_dict(self) -> dict[str, Any]:
        one = self.figures
        return {
            "burned": [
                {"level": burned.level, "protocol": way}
                for burned, way in zip(self.plan.burned, self.burned_ways, strict=True)
            ],
            "protocol": self.protocol,
            "additions": list(self.plan.use.protocol.additions),
            "dilutions": list(self.plan.use.dilutions),
            "electrodes_left": self.plan.left,
            "samples": self.plan.samples,
            "fold": [figure_dict(f) for f in one.fold],
            "power": [figure_dict(f) for f in one.power],
            "answered": [figure_dict(f) for f in one.answered],
            "minimum_detectable": figure_dict(one.detectable),
            "answers": figure_dict(one.answers),
            "answers_per_electrode": figure_dict(one.per_electrode),
            "readings": self.plan.dips,
            "hours": one.hours,
            "cost": one.cost,
            "tie": self.tie,
            "meets": self.meets,
        }


@dataclass(frozen=True, slots=True)
class BatchPlanned:
    """A plan for a batch of electrodes, and those behind it.

    calibration : id; batches : of the history; wish; max_fold, interval, alpha, beta : of the settings; plans : best
    first; by_burned : the best for each number burned; limit : with full knowledge; tried : plans looked at; currency;
    costs_set; drift_measured; reason : why there is no plan that does it, and what would be needed, else None.
    """

    calibration: str
    analyte: str
    unit: str
    batches: int
    instrument: str
    electrodes: int
    wish: Wish
    max_fold: float
    beta: float
    currency: str = ""
    costs_set: bool = False
    drift_measured: bool = True
    plans: tuple[PlannedBatch, ...] = ()
    by_burned: tuple[PlannedBatch, ...] = ()
    limit: PlanFigures | None = None
    tried: int = 0
    reason: str | None = None

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if not self.plans or not self.plans[0].meets:
            return f"no plan for {self._made()} does it: {self.reason}"
        return f"of {self._made()}, {self._done(self.plans[0])}"

    def _done(self, one: PlannedBatch) -> str:
        """A plan and what it leads to, in words."""
        burned = one.burned_words(BURNED_WAYS, self.unit)
        how = f"burn {len(one.plan.burned)} ({burned})" if one.plan.burned else "burn none"
        samples = "1 sample" if one.plan.samples == 1 else f"{one.plan.samples} samples"
        read = f"read {samples} with {one.dilutions} each ({one.protocol})"
        return f"{how} and {read}: {self._outcome(one.figures)}"

    def _made(self) -> str:
        return f"{self.electrodes} electrode{'' if self.electrodes == 1 else 's'}"

    def _outcome(self, one: PlanFigures) -> str:
        levels = ", ".join(amount(level) for level in self.wish.levels)
        if self.wish.aim == "power":
            power = ", ".join(f"{f.value:.2f} ({f.error:.2f})" for f in one.power)
            return f"a sample of {levels} {self.unit} is found with probability {power}"
        if self.wish.aim == "narrow":
            folds = ", ".join(told(f) for f in one.fold)
            return f"half of all intervals at {levels} {self.unit} are within a fold of {folds}"
        if self.wish.aim == "cost":
            return f"minimum detectable value {told(one.detectable)} {self.unit}"
        return (
            f"about {told(one.answers)} samples of {levels} {self.unit} answered to a fold of {self.max_fold:g} "
            f"for {self._made()} made"
        )

    def remarks(self) -> Iterator[str]:
        """What has to be said beside it."""
        if not self.plans:
            return
        if self.plans[0].meets and self.reason:
            yield self.reason
        ties = [one for one in self.plans[1:] if one.tie] if self.plans[0].meets else []
        if ties:
            yield f"as good within the Monte Carlo error, and marked as ties: {len(ties)} of the plans behind it"
            yield from self._shortest(ties)
        yield SIMULATED
        if not self.drift_measured:
            yield "drift between dips is not measured in this logbook: a default was supposed for pre-scans and spikes"
        if not self.costs_set:
            yield NO_COSTS

    def _shortest(self, ties: Sequence[PlannedBatch]) -> Iterator[str]:
        """The tie that takes least time, where it takes less than the best."""
        one, best = min(ties, key=lambda tie: tie.figures.hours), self.plans[0]
        if one.figures.hours < best.figures.hours:
            hours = f"{one.figures.hours:g} h instead of {best.figures.hours:g} h"
            yield f"the shortest of them takes {hours}: {self._done(one)}"

    def __str__(self) -> str:
        return self.sentence

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `plan-batch --json`."""
        limit = self.limit
        return {
            "schema": ANSWER_SCHEMA,
            "calibration": self.calibration,
            "analyte": self.analyte,
            "unit": self.unit,
            "history_batches": self.batches,
            "instrument": self.instrument,
            "electrodes": self.electrodes,
            "wish": {
                "aim": self.wish.aim,
                "levels": list(self.wish.levels),
                "samples": self.wish.samples,
                "minimum_detectable": self.wish.detectable,
            },
            "max_fold": self.max_fold,
            "beta": self.beta,
            "currency": self.currency,
            "costs_set": self.costs_set,
            "drift_measured": self.drift_measured,
            "plans": [one.to_dict() for one in self.plans],
            "by_burned": [one.to_dict() for one in self.by_burned],
            "full_knowledge": None
            if limit is None
            else {
                "fold": [figure_dict(f) for f in limit.fold],
                "power": [figure_dict(f) for f in limit.power],
                "minimum_detectable": figure_dict(limit.detectable),
                "answers": figure_dict(limit.answers),
            },
            "plans_tried": self.tried,
            "sentence": self.sentence,
            "reason": self.reason,
            "remarks": list(self.remarks()),
        }


def levels_in_words(levels: Sequence[float], unit: str = "") -> str:
    """Levels of blanks and standards, those that come more than once counted."""
    counted = Counter(sorted(levels))
    words = [f"{'blank' if not c else amount(c)}{f' x{n}' if n > 1 else ''}" for c, n in counted.items()]
    return ", ".join(words) + (f" {unit}" if unit and any(levels) else "")


def told(one: Figure) -> str:
    """A figure with its error, in text."""
    if not math.isfinite(one.value):
        return "open"
    error = f" ({one.error:.2g})" if math.isfinite(one.error) else ""
    return f"{amount(one.value)}{error}"

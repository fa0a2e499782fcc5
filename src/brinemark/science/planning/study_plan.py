"""A plan as a study takes it: what a batch is used for, on which electrodes, after which history."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol as Shape

from brinemark.science.amount.reading import SampleReader
from brinemark.science.amount.simulate import SINGLE, Protocol, Truth
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, DecisionSection, PriorSection

LEAST_S = 2.5  # seconds of work in a chunk, by the figures below, so that sending it is cheap beside it
CALIBRATING_S = 0.6  # least seconds of calibrating a history, and of a batch with samples read once, or in several dips
ONCE_S, SEVERAL_S = 0.03, 0.12


@dataclass(frozen=True, slots=True)
class HistoryPlan:
    """What every simulated laboratory has behind it: batches with electrodes at levels [level unit].

    protocol : what the electrodes of the last `lived` batches went through (None = of all); those before were read
    once.
    """

    batches: int = 9
    levels: tuple[float, ...] = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)
    protocol: Protocol = SINGLE
    lived: int | None = None

    def protocols(self) -> list[list[Protocol]]:
        """One for each electrode of each batch."""
        lived = self.batches if self.lived is None else min(self.lived, self.batches)
        kinds = [SINGLE] * (self.batches - lived) + [self.protocol] * lived
        return [[kind] * len(self.levels) for kind in kinds]


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """A new batch: how many electrodes, of which some are burned on known levels [level unit], by a protocol."""

    electrodes: int = 6
    burned: tuple[float, ...] = (0.0, 2.0)
    protocol: Protocol = SINGLE


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A sample in the middle of its reading: what was read, and how many electrodes of the batch are left.

    readings : the batch's own calibration electrodes; batch : its name; seed : for what a chooser draws.
    """

    portions: tuple[SamplePortion, ...]
    left: int
    batch: str
    reader: SampleReader
    readings: ElectrodeReadings
    seed: int

    def read(self) -> Reading:
        """The statement so far."""
        return self.reader.read(self.portions, self.readings)


class Chooser(Shape):
    """Says the dilution of the next electrode for a sample, None = no more. Must be picklable and draw nothing but from
    Asked.seed. None before the first electrode ends the batch."""

    def __call__(self, asked: Asked) -> float | None: ...


@dataclass(frozen=True, slots=True)
class FixedDilutions:
    """The same dilutions for every sample, one electrode each; a sample that cannot have all of them is not begun."""

    dilutions: tuple[float, ...] = (1.0,)

    def __call__(self, asked: Asked) -> float | None:
        done = len(asked.portions)
        if done == len(self.dilutions) or (done == 0 and asked.left < len(self.dilutions)):
            return None
        return self.dilutions[done]


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """The samples: their true levels, taken in turn [level unit]; who chooses dilutions; what each electrode goes
    through; water_K_sd : scatter of ln K between their waters."""

    levels: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 5.0)
    chooser: Callable[[Asked], float | None] = FixedDilutions()
    protocol: Protocol = SINGLE
    water_K_sd: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Rules:
    """What the reading goes by: the settings of a logbook; draws : of each calibration; compiled : whether loops are
    compiled, which changes the last digits."""

    decision: DecisionSection = field(default_factory=DecisionSection)
    analyte: AnalyteSection = field(default_factory=AnalyteSection)
    prior: PriorSection = field(default_factory=PriorSection)
    draws: int = 1024
    compiled: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class StudyPlan:
    """A plan to be simulated.

    batches : new batches in all; per_history : how many of them follow one simulated history. population : the truth
    that laboratories are drawn from, each with a history of its own, or a calibration, whose draws are the truths: then
    its electrodes are the history, and samples are read by it.
    """

    batches: int
    per_history: int = 20
    seed: int = 1
    population: Truth | Calibration = field(default_factory=Truth)
    history: HistoryPlan = field(default_factory=HistoryPlan)
    batch: BatchPlan = field(default_factory=BatchPlan)
    samples: SamplePlan = field(default_factory=SamplePlan)
    rules: Rules = field(default_factory=Rules)

    def __post_init__(self) -> None:
        _check_counts(self)
        _check_levels(self)

    @property
    def laboratories(self) -> int:
        """How many histories there are."""
        return -(-self.batches // self.per_history)

    def batches_of(self, laboratory: int) -> int:
        """New batches of one laboratory; the last has what is left."""
        return min(self.per_history, self.batches - laboratory * self.per_history)

    def chunks(self) -> list[tuple[int, ...]]:
        """Numbers of the laboratories that are simulated in one go, in order; it follows from the plan alone."""
        once = CALIBRATING_S if isinstance(self.population, Truth) else 0.0
        batch = ONCE_S if self.samples.protocol.dips.size == 1 else SEVERAL_S
        each = max(1, math.ceil(LEAST_S / (once + batch * self.per_history)))
        starts = range(0, self.laboratories, each)
        return [tuple(range(start, min(start + each, self.laboratories))) for start in starts]


def _check_counts(plan: StudyPlan) -> None:
    counts = {
        "simulated batches": (plan.batches, 2),
        "batches after one history": (plan.per_history, 1),
        "batches of history": (plan.history.batches, 1),
        "electrodes in a batch": (plan.batch.electrodes, 1),
    }
    for what, (count, least) in counts.items():
        if count < least:
            raise Refused(f"{count} {what}", f"at least {least}", "ask for more")
    free = plan.batch.electrodes - len(plan.batch.burned)
    if free < 1:
        came = f"{len(plan.batch.burned)} of {plan.batch.electrodes} electrodes burned on known levels"
        raise Refused(came, "at least one left for a sample", "burn fewer, or make more in a batch")
    chooser = plan.samples.chooser
    if isinstance(chooser, FixedDilutions) and not 0 < len(chooser.dilutions) <= free:
        came = f"{len(chooser.dilutions)} dilutions of each sample, on {free} electrodes that are left for samples"
        raise Refused(came, f"1 to {free}", "dilute less often, burn fewer, or make more in a batch")


def _check_levels(plan: StudyPlan) -> None:
    groups = {
        "levels of the history": plan.history.levels,
        "levels of burned electrodes": plan.batch.burned,
        "levels of samples": plan.samples.levels,
    }
    for what, levels in groups.items():
        if any(not (math.isfinite(level) and level >= 0.0) for level in levels):
            raise Refused(f"{what} {list(levels)}", "numbers of 0 or more", "correct them")
    if not plan.samples.levels:
        raise Refused("no level of samples", "at least one", "name the levels that samples may have")
    if not (any(level > 0 for level in plan.history.levels) and 0.0 in plan.history.levels):
        raise Refused(f"history levels {list(plan.history.levels)}", "a blank and a standard", "name both")
    chooser = plan.samples.chooser
    if isinstance(chooser, FixedDilutions) and any(not one >= 1.0 for one in chooser.dilutions):
        raise Refused(f"dilutions {list(chooser.dilutions)}", "numbers of 1 or more", "1 is undiluted")

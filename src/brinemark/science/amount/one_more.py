"""What one more electrode would make of a sample's reading, if it gave the signal that is typical at a supposed level.

A supposition and no forecast: a real electrode's signal lies above or below the typical one, and each end of the
interval moves with it. Both ends rise with the signal, so that about half of all electrodes give a lower end above the
supposed one, and half a lower one. The levels that are supposed come from the present reading.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.joint import typical_signals
from brinemark.science.amount.limits import critical_and_detectable, lived_limits
from brinemark.science.amount.predictive import BatchDraws, DrawMemory
from brinemark.science.amount.reading import observe, read_sample, working_range
from brinemark.science.amount.statistic import SingleReading, search_levels
from brinemark.science.amount.tails import SignalTail
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.settings import DecisionSection

DILUTIONS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
"""What common pipettes and flasks give in one step (common practice, no source)."""
BEYOND_LOWER = (1.0, 3.0, 10.0)
"""Levels that are supposed where only a lower limit is known, in units of it (our own choice)."""
ALIKE = math.log(1.05)
"""Widths closer than this, in ln, are alike: about the Monte Carlo error of two ends."""


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What a sample's reading rests on: its electrodes, and what those of their batches and of the new one's taught."""

    portions: Sequence[SamplePortion]
    calibration: Calibration
    readings: ElectrodeReadings
    decision: DecisionSection
    memory: DrawMemory

    def usable(self, portion: SamplePortion) -> bool:
        """Whether a reading may rest on an electrode."""
        return portion.failure is None and portion.instrument in self.calibration.instruments

    def draws(self, batch: str) -> BatchDraws:
        """Of the batches that read the sample, and of one more."""
        batches = [*(one.batch for one in self.portions if self.usable(one)), batch]
        return self.memory.draws(self.calibration, self.readings, batches, self.calibration.seed)


def supposed_levels(present: Reading) -> tuple[float, ...]:
    """Sample levels to suppose: the best estimate; the lower limit and levels above it; nothing and a third of the
    upper limit. Empty where the reading says nothing of the level."""
    ends = present.estimate
    if ends is None:
        return ()
    if present.statement == "at or above":
        return () if not ends.lower else tuple(factor * ends.lower for factor in BEYOND_LOWER)
    if present.statement == "not detected":
        return () if ends.upper is None else (0.0, ends.upper / 3.0)
    return () if ends.median is None else (ends.median,)


def with_typical_signals(fresh: SamplePortion, level: float, known: Known) -> SamplePortion:
    """An electrode that has read nothing yet, with the median signal of each of its readings at a sample level."""
    (observed,) = observe([fresh], known.calibration, known.draws(fresh.batch))
    main, *others = typical_signals(observed, np.array([level]))[0] * known.calibration.signal_ref
    lived = tuple(replace(dip, signal=float(signal)) for dip, signal in zip(fresh.others, others, strict=True))
    return replace(fresh, signal=float(main), others=lived)


def read_with(fresh: SamplePortion, level: float, known: Known) -> Reading:
    """The statement that the sample's electrodes lead to together with such an electrode, by the rules of reading."""
    portions = [*known.portions, with_typical_signals(fresh, level, known)]
    calibration = known.calibration
    return read_sample(portions, calibration, known.readings, known.decision, calibration.seed, known.memory)


def own_range(fresh: SamplePortion, known: Known) -> tuple[float | None, tuple[float, float] | None]:
    """Critical value and working range, None = none, of such an electrode by itself, as those of batches are found; in
    levels of what it reads, so that an undiluted one gives cell levels."""
    calibration, decision = known.calibration, known.decision
    (electrode,) = observe([fresh], calibration, known.draws(fresh.batch))
    if len(electrode.laws) > 1:
        value, _, working = lived_limits(electrode, calibration.highest_level, decision, calibration.seed)
        return value, working
    law = electrode.laws[0]
    critical, value, _ = critical_and_detectable(law, decision)
    statistic = SingleReading(SignalTail.of(law, critical, search_levels([electrode])), bool(electrode.kinds))
    return value, working_range(statistic, calibration.highest_level, decision)


def width(reading: Reading, *, upper_only: bool = False) -> float:
    """ln of upper over lower end of what is stated, or ln of the upper end alone; inf where that end is open."""
    ends = reading.estimate
    if ends is None or ends.upper is None or ends.upper <= 0.0:
        return math.inf
    if upper_only:
        return math.log(ends.upper)
    return math.log(ends.upper / ends.lower) if ends.lower else math.inf


@dataclass(frozen=True, slots=True)
class Narrowing:
    """How wide a choice leaves the interval over the levels that were supposed: how many stay open, then the mean of
    the other widths. Smaller is better."""

    open_ends: int
    mean: float

    @classmethod
    def of(cls, widths: Sequence[float]) -> Narrowing:
        closed = [one for one in widths if math.isfinite(one)]
        return cls(len(widths) - len(closed), sum(closed) / len(closed) if closed else math.inf)

    def better_than(self, other: Narrowing) -> bool:
        """By more than the Monte Carlo error."""
        if self.open_ends != other.open_ends:
            return self.open_ends < other.open_ends
        return math.isfinite(self.mean) and self.mean < other.mean - ALIKE


def narrowest(choices: Sequence[Narrowing], present: Narrowing) -> tuple[int | None, tuple[int, ...]]:
    """Place of the choice that leaves the least, None where none is better than the present; and those like it."""
    best = min(range(len(choices)), key=lambda place: (choices[place].open_ends, choices[place].mean))
    if not choices[best].better_than(present):
        return None, ()
    alike = (n for n, one in enumerate(choices) if n != best and not choices[best].better_than(one))
    return best, tuple(alike)

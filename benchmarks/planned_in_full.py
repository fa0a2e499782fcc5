"""A plan's samples read in full: the program gets the burned electrodes as a user has them, and reads each sample.

What planning.py and the tests hold the quick figures of a plan against.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.reading import read_sample
from brinemark.science.planning.new_batches import NEW, NewBatches, burned_keys
from brinemark.science.planning.plans import BatchPlan
from brinemark.terms.amounts import ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.settings import DecisionSection


@dataclass(frozen=True, slots=True, eq=False)
class InFull:
    """Reads samples of true batches by the program itself, which is given the burned electrodes as a user has them."""

    batches: NewBatches
    plan: BatchPlan
    true: IntArray

    def readings(self, level: float) -> list[Reading]:
        """One reading of a sample of a level on each true batch."""
        return [self._reading(place, level) for place in range(self.true.size)]

    def _reading(self, place: int, level: float) -> Reading:
        made = self.batches.calibration
        portions = [self._portion(place, level, n) for n in range(self.plan.use.electrodes)]
        return read_sample(portions, made, self._present(place), DecisionSection(), place, DrawMemory())

    def _portion(self, place: int, level: float, electrode: int) -> SamplePortion:
        use, dilution = self.plan.use, self.plan.use.dilutions[electrode]
        fresh = self.batches.sample(use.protocol, dilution, electrode)
        signals = self.batches.lived(fresh, level, self.true, f"in full {electrode}")[place]
        main, *others = signals * self.batches.calibration.signal_ref
        portion = self.batches.portion(use.protocol, dilution, f"X{electrode}")
        lived = tuple(replace(dip, signal=float(y)) for dip, y in zip(portion.others, others, strict=True))
        return replace(portion, signal=float(main), others=lived)

    def _present(self, place: int) -> ElectrodeReadings:
        """The history's electrodes and the burned ones, whose signals are those that the plan is judged by."""
        old, keys = self.batches.calibration.readings, burned_keys(self.plan.burned)
        unit, signal, level, dip = ([list(one)] for one in (old.unit, old.signal, old.level, old.dip))
        for number, one in enumerate(self.plan.burned):
            fresh, portion = self.batches.standard(one.protocol), self.batches.portion(one.protocol, 1.0, "")
            own = self.batches.lived(fresh, one.level, self.true, keys[number])[place]
            unit.append([len(old.electrode) + number] * own.size)
            signal.append(list(own * self.batches.calibration.signal_ref))
            level.append([one.level, *(dip.share * one.level + dip.added for dip in portion.others)])
            dip.append([0, *(other.dip for other in portion.others)])
        count = len(self.plan.burned)
        return ElectrodeReadings(
            (*old.electrode, *(f"N{i}" for i in range(count))),
            (*old.batch, *[NEW] * count),
            (*old.instrument, *[self.batches.instrument] * count),
            np.concatenate([old.covariate, np.full(count, self._covariate())]),
            np.concatenate(unit).astype(np.int64),
            np.concatenate(signal),
            np.full(sum(map(len, signal)), self.batches.u),
            np.concatenate(level).astype(float),
            np.concatenate(dip).astype(np.int64),
        )

    def _covariate(self) -> float:
        reference = self.batches.calibration.covariate_ref
        return float("nan") if reference is None else reference


def two_sided_folds(readings: list[Reading], span: float) -> FloatArray:
    """Upper over lower end, inf where an end is open or beyond the standards."""
    found = []
    for one in readings:
        ends = one.two_sided
        closed = ends is not None and ends.lower and ends.upper is not None and ends.upper <= span
        found.append(ends.upper / ends.lower if closed else np.inf)  # type: ignore[union-attr,operator]
    return np.array(found)

"""A plan for one new batch: which electrodes are burned on known levels, and how each of the others is used."""

from __future__ import annotations

from dataclasses import dataclass

from brinemark.science.amount.simulate import Protocol


@dataclass(frozen=True, slots=True)
class Burned:
    """An electrode of the batch that reads a blank (level 0) or a standard."""

    level: float
    protocol: Protocol


@dataclass(frozen=True, slots=True)
class Use:
    """How one sample is read: the protocol of each of its electrodes, and the dilution that each of them sees."""

    protocol: Protocol
    dilutions: tuple[float, ...] = (1.0,)

    @property
    def electrodes(self) -> int:
        return len(self.dilutions)


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """electrodes : of the batch; burned : those on known levels; use : of every sample on the rest."""

    electrodes: int
    burned: tuple[Burned, ...]
    use: Use

    @property
    def left(self) -> int:
        """Electrodes that read samples."""
        return self.electrodes - len(self.burned)

    @property
    def samples(self) -> int:
        """Samples that the batch serves; what is left over of the electrodes serves none."""
        return self.left // self.use.electrodes

    @property
    def dips(self) -> int:
        """Readings of the whole batch: each electrode's pre-scan, main reading and additions."""
        own = int(self.use.protocol.dips.size)
        burned = sum(int(one.protocol.dips.size) for one in self.burned)
        return burned + own * self.samples * self.use.electrodes

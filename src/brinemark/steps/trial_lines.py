"""What the newest trial that was kept says of the ratios of each world."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.fish.evidence import cap_at
from brinemark.terms.arrays import FloatArray
from brinemark.terms.evidence import Cap, Recalibration, Weight

TRIAL = "trial"


@dataclass(frozen=True, slots=True, eq=False)
class KeptTrial:
    """What the newest trial says.

    id : of its record, None = none was kept; lines : by world, where it has enough tanks; ratios : by world, log10
    ratios of its tanks of exposed and of unexposed fish; population, wild : of the latter.
    """

    id: str | None = None
    lines: Mapping[str, Recalibration] = field(default_factory=dict)
    ratios: Mapping[str, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    population: str = ""
    wild: bool = False

    def cap(self, weight: Weight) -> Cap | None:
        """The cap of one ratio by the ratios of the trial's tanks, None where there are no unexposed ones."""
        exposed, unexposed = self.ratios.get(weight.world, (np.zeros(0), np.zeros(0)))
        if unexposed.size == 0:
            return None
        return cap_at(weight.log10_ratio, exposed, unexposed, self.population, self.wild)


def newest_trial(reader: Reader) -> KeptTrial:
    """The newest trial that was kept."""
    record = next(iter(reader.newest_first(TRIAL)), None)
    if record is None:
        return KeptTrial()
    results: Any = record.results
    lines = {one["world"]: one["recalibration"] for one in results["worlds"] if one["recalibration"] is not None}
    return KeptTrial(
        record.id,
        {world: Recalibration(**plain) for world, plain in lines.items()},
        {one["world"]: _ratios(results["tanks"], one["world"]) for one in results["worlds"]},
        results["cap"]["population"],
        results["cap"]["wild"],
    )


def _ratios(tanks: Sequence[Mapping[str, Any]], world: str) -> tuple[FloatArray, FloatArray]:
    found = [(one["kind"], one["ratios"].get(world)) for one in tanks]
    exposed, unexposed = (
        np.array([ratio for kind, ratio in found if kind == wanted and ratio is not None], dtype=float)
        for wanted in ("exposed", "unexposed")
    )
    return exposed, unexposed

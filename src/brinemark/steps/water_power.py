"""How surely the logbook's own electrodes find thiocyanate in the water of fish, from its newest calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median_low
from typing import Any

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.amount.limits import power_curve
from brinemark.steps.chosen import current, limits_of
from brinemark.steps.in_unit import ug_per_L
from brinemark.steps.kept_draws import draw_memory
from brinemark.steps.packing import unpack_calibration, unpack_limits
from brinemark.steps.place import Place
from brinemark.terms.amounts import Limits
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused


@dataclass(frozen=True, slots=True, eq=False)
class WaterPower:
    """Probability that one fresh electrode detects a level in undiluted water.

    calibration : its id; batch, instrument, protocol : of the electrode; batches : how many are read by the protocol,
    of which this one is the middle by its minimum detectable value; alpha : probability that water without thiocyanate
    is called detected; minimum_ug_L : level that is detected with probability 1 - beta [ug/L], None = none is within
    the standards; levels_ug_L (n,) [ug/L], rising from 0, chance (n,) at them.
    """

    calibration: str
    batch: str
    instrument: str
    protocol: str
    batches: int
    alpha: float
    beta: float
    minimum_ug_L: float | None
    levels_ug_L: FloatArray
    chance: FloatArray

    def at(self, level_ug_L: FloatArray) -> FloatArray:
        """The chance at levels of any shape [ug/L], linear in the logarithm between those that were worked out."""
        first = self.levels_ug_L[1]
        places = np.log(np.asarray(level_ug_L, dtype=float) + first)
        return np.asarray(np.interp(places, np.log(self.levels_ug_L + first), self.chance))

    @property
    def words(self) -> str:
        """Which electrode it is, and what it finds, in one sentence."""
        protocol = "read once" if self.protocol == "single" else self.protocol
        least = "none within the standards" if self.minimum_ug_L is None else f"{self.minimum_ug_L:.3g} ug/L"
        of = "" if self.batches == 1 else f", the middle one of {self.batches} batches"
        return (
            f"one electrode of batch {self.batch} on {self.instrument}, {protocol}{of}: minimum detectable value "
            f"{least} (found with probability {1.0 - self.beta:g}; a blank with {self.alpha:g})"
        )

    def to_dict(self) -> dict[str, Any]:
        names = ("calibration", "batch", "instrument", "protocol", "batches", "alpha", "beta", "minimum_ug_L")
        return {name: getattr(self, name) for name in names}


def water_power(place: Place, reader: Reader) -> WaterPower:
    """Of the newest calibration, by the protocol whose minimum detectable value is lowest over the batches.

    The error of the first kind is the alpha of [fish].

    Raises Refused without a calibration or its limits, and for levels that are not thiocyanate in a known unit.
    """
    factor = ug_per_L(place.settings)
    chosen = current(place, reader)
    record = reader.record(chosen.record.id) or chosen.record
    kept = limits_of(place, reader, record.id)
    if kept is None:
        raise Refused("no limits under the present [decision]", "those that calibrate works out", "run calibrate")
    limits, batches = best_protocol(unpack_limits(kept))
    made = unpack_calibration(record)
    draws = draw_memory(reader, record.id).draws(made, made.readings, [limits.batch], made.seed)
    alpha, beta = place.settings.fish.alpha, place.settings.decision.beta
    levels, chance = power_curve(made, made.readings, limits, alpha, draws)
    least = _reached(levels, chance, 1.0 - beta)
    if least is not None and least > made.highest_level:
        least = None
    return WaterPower(
        record.id,
        limits.batch,
        limits.instrument,
        limits.protocol,
        batches,
        alpha,
        beta,
        None if least is None else least * factor,
        levels * factor,
        chance,
    )


def best_protocol(limits: Sequence[Limits]) -> tuple[Limits, int]:
    """The middle batch by the protocol whose median minimum detectable value is lowest, and how many it was among."""
    by_protocol: dict[str, list[Limits]] = {}
    for one in limits:
        by_protocol.setdefault(one.protocol, []).append(one)
    name = min(by_protocol, key=lambda protocol: median_low([_least(one) for one in by_protocol[protocol]]))
    mine = sorted(by_protocol[name], key=lambda one: (_least(one), one.batch, one.instrument))
    return mine[(len(mine) - 1) // 2], len({one.batch for one in mine})


def _least(limits: Limits) -> float:
    return math.inf if limits.minimum_detectable is None else limits.minimum_detectable


def _reached(levels: FloatArray, chance: FloatArray, wanted: float) -> float | None:
    """Level at which a rising chance reaches what is wanted, linear in the logarithm; None when it never does."""
    if chance[-1] < wanted:
        return None
    place = float(np.interp(wanted, chance, np.log(levels + levels[1])))
    return float(np.exp(place) - levels[1])

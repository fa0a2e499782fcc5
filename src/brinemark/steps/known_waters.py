"""What fish of known history and source waters say: the background of each water system, and what ratios may reach."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from brinemark.science.fish.background import background_or_reason
from brinemark.science.fish.evidence import cap_of
from brinemark.steps.blanks import source_blanks
from brinemark.steps.fish_answers import SystemAnswer, WaterAnswer
from brinemark.steps.tank_history import histories_in, kind_of, population_of
from brinemark.terms.evidence import BackgroundFit, Cap
from brinemark.terms.tanks import WILD_UNEXPOSED, Consignment

UNEXPOSED, EXPOSED = "unexposed", "exposed"
Waters = Mapping[str, WaterAnswer]


@dataclass(frozen=True, slots=True, eq=False)
class KnownTank:
    """A tank whose fish have a known history, with the newest of its waters that was read.

    kind : "unexposed" or "exposed"; population : of which kind of unexposed fish; water : None = none was read.
    """

    consignment: str
    tank: str
    system: str
    kind: str
    population: str
    fish: bool
    water: WaterAnswer | None


def known_tanks(consignments: Iterable[Consignment], waters: Waters) -> tuple[KnownTank, ...]:
    """Every tank of fish that are known to have been exposed, or not to have been; none that was spiked."""
    return tuple(one for consignment in consignments for one in _of(consignment, waters))


def _of(consignment: Consignment, waters: Waters) -> Iterator[KnownTank]:
    spiked = consignment.spiked
    for tank in consignment.tanks:
        kind = kind_of(consignment, tank)
        if kind not in (UNEXPOSED, EXPOSED) or tank in spiked:
            continue
        histories = histories_in(consignment, tank)
        read = [waters[str(row.sample)] for row in consignment.samples_of(tank) if str(row.sample) in waters]
        read = [one for one in read if one.reading is not None and one.reading.statement != "cannot say"]
        system = consignment.system_of(tank)
        population = population_of(histories)
        newest = read[-1] if read else None
        yield KnownTank(consignment.name, tank, system, kind, population, bool(histories), newest)


@dataclass(frozen=True, slots=True, eq=False)
class SystemWater:
    """The background of a system, or why it has none; waters : those behind it."""

    system: str
    background: BackgroundFit | str
    waters: tuple[WaterAnswer, ...]

    def answer(self) -> SystemAnswer:
        known = self.background
        if isinstance(known, str):
            return SystemAnswer(self.system, len(self.waters), None, None, known)
        return SystemAnswer(self.system, len(self.waters), known.median, known.gsd, None)


def system_water(
    system: str, consignments: Iterable[Consignment], waters: Waters, without: tuple[str, str] | None = None
) -> SystemWater:
    """The background of a system from its control tanks and source-water blanks.

    without : (consignment, tank) of a control tank that is left out because it is itself judged.
    """
    every = list(consignments)
    used = [
        one.water
        for one in known_tanks(every, waters)
        if one.kind == UNEXPOSED and one.system == system and (one.consignment, one.tank) != without
    ]
    used += [waters.get(str(row.sample)) for row in source_blanks(every, system)]
    bounds = [(one, *_bounds(one)) for one in used if one is not None and one.reading is not None]
    told = [(one, low, high) for one, low, high in bounds if low > 0.0 or math.isfinite(high)]
    if not told:
        reason = f"no control tank and no source-water blank of system {system} was read"
        return SystemWater(system, reason, ())
    fit = background_or_reason(np.array([low for _, low, _ in told]), np.array([high for _, _, high in told]))
    return SystemWater(system, fit, tuple(one for one, _, _ in told))


def _bounds(water: WaterAnswer) -> tuple[float, float]:
    """What is known of a water's level [ug/L]: from 0 and without end where nothing is; kept too long, without end."""
    if water.reading is None or water.reading.statement == "cannot say":
        return 0.0, math.inf
    high = math.inf if water.late or water.upper is None else water.upper
    return water.lower or 0.0, high


def cap_from(tanks: Iterable[KnownTank]) -> Cap:
    """The cap that tanks of known history support, one water each; of unexposed fish the wild ones, where there are
    any. Tanks without fish are no fish and do not count."""
    judged = [one for one in tanks if one.fish and one.water is not None and one.water.found is not None]
    wild = any(one.population == WILD_UNEXPOSED for one in judged if one.kind == UNEXPOSED)
    clean = [one.water for one in judged if one.kind == UNEXPOSED and (one.population == WILD_UNEXPOSED or not wild)]
    exposed = [one.water for one in judged if one.kind == EXPOSED]
    population = "wild, not exposed" if wild else "captive-bred"
    found = sum(water is not None and bool(water.found) for water in clean)
    detected = sum(water is not None and bool(water.found) for water in exposed)
    return cap_of(found, len(clean), population, wild, (detected, len(exposed)))

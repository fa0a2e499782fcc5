"""Whether a hold of fish in clean water would show that they were exposed: days, volumes and hours side by side."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from brinemark.science.fish.forward import NO_CHOICE, Detectability, Holds, detectability
from brinemark.science.fish.worlds import CAUTIONS, Drawing
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.kept_experiments import newest_experiments
from brinemark.steps.place import Place
from brinemark.steps.tank_history import G_PER_KG
from brinemark.steps.water_power import WaterPower, water_power
from brinemark.terms.errors import Refused

COUNT, MASS_G = 1, 5.0
DAYS = (0.25, 1.0, 3.0, 7.0, 14.0)
"""Up to about what passes between the sea and an exporter: 6 to 14 days, proceedings of the 2008 international
cyanide-detection testing workshop, seen second-hand."""
VOLUMES_L = (0.5, 1.0, 10.0)
HOURS = (6.0, 12.0, 24.0, 48.0)
MOST = 400  # places of days, volumes and hours together
HOURS_PER_DAY = 24.0


@dataclass(frozen=True, slots=True)
class HeldPlace:
    """One hold under one world: chance of detecting the tank, and its standard error from the number of draws."""

    days: float
    volume_L: float
    hours: float
    probability: float
    error: float

    def to_dict(self) -> dict[str, float]:
        return {name: getattr(self, name) for name in ("days", "volume_L", "hours", "probability", "error")}


@dataclass(frozen=True, slots=True)
class BestHold:
    """The hold of the greatest chance [h] for some days and volume, or None with the reason why there is none."""

    days: float
    volume_L: float
    hours: float | None
    probability: float | None
    reason: str | None

    def to_dict(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in ("days", "volume_L", "hours", "probability", "reason")}


@dataclass(frozen=True, slots=True)
class HeldWorld:
    """What one world says of all holds. false_alarm : chance for a tank without thiocyanate."""

    world: str
    words: str
    false_alarm: float
    places: tuple[HeldPlace, ...]
    best: tuple[BestHold, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "world": self.world,
            "words": self.words,
            "false_alarm": self.false_alarm,
            "holds": [one.to_dict() for one in self.places],
            "best": [one.to_dict() for one in self.best],
        }


@dataclass(frozen=True, slots=True, eq=False)
class HoldAnswer:
    """Chances of detecting a tank of exposed fish, under each world apart; nothing is stored."""

    count: int
    mass_g: float
    power: WaterPower
    worlds: tuple[HeldWorld, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/holds.json."""
        return {
            "schema": ANSWER_SCHEMA,
            "fish": self.count,
            "mass_g": self.mass_g,
            "test": self.power.to_dict(),
            "worlds": [one.to_dict() for one in self.worlds],
            "cautions": list(self.cautions),
        }

    def __str__(self) -> str:
        fish = "1 exposed fish" if self.count == 1 else f"{self.count} exposed fish"
        return f"a tank of {fish} of {self.mass_g:g} g, {self.power.words}"


def holds(
    place: Place,
    count: int = COUNT,
    mass_g: float = MASS_G,
    days: Sequence[float] | None = None,
    volumes: Sequence[float] | None = None,
    hours: Sequence[float] | None = None,
) -> HoldAnswer:
    """Chance of detecting a tank of exposed fish under each world, for the logbook's own electrodes.

    count, mass_g : fish in the tank, and mass of one [g]; days : between capture and the hold; volumes [L] and hours of
    the hold in clean water. Raises Refused for what cannot be, and without a calibration.
    """
    asked = _asked(count, mass_g, days or DAYS, volumes or VOLUMES_L, hours or HOURS)
    with place.database.reading() as reader:
        power, worlds = water_power(place, reader), newest_experiments(reader).worlds
    drawing = Drawing(place.settings.fish.draws, place.settings.fish.seed)
    found = ((world.words, detectability(world, asked, power.at, drawing)) for world in worlds)
    return HoldAnswer(count, float(mass_g), power, tuple(_told(words, one) for words, one in found))


def _asked(count: int, mass_g: float, days: Sequence[float], volumes: Sequence[float], hours: Sequence[float]) -> Holds:
    if count < 1:
        raise Refused(f"{count} fish", "at least 1", "say how many fish the tank holds")
    if not (math.isfinite(mass_g) and mass_g > 0.0):
        raise Refused(f"a fish of {mass_g:g} g", "a mass above 0 g", "give the mass of one fish")
    for given, what, unit, least in ((days, "days", "d", "0 or more"), (volumes, "a volume", "L", "above 0"),
                                     (hours, "a hold", "h", "above 0")):  # fmt: skip
        for one in given:
            if not math.isfinite(one) or one < 0.0 or (one == 0.0 and least == "above 0"):
                raise Refused(f"{what} of {one:g} {unit}", f"a number {least} [{unit}]", "correct it")
    grid = [np.unique(np.asarray(values, dtype=float)) for values in (days, volumes, hours)]
    if math.prod(axis.size for axis in grid) > MOST:
        came = " x ".join(str(axis.size) for axis in grid)
        raise Refused(f"{came} days, volumes and hours", f"at most {MOST} holds together", "ask for fewer")
    return Holds(count, mass_g / G_PER_KG, grid[0], grid[1], grid[2] / HOURS_PER_DAY)


def _told(words: str, found: Detectability) -> HeldWorld:
    return HeldWorld(found.world, words, found.false_alarm, tuple(_places(found)), tuple(_best(found)))


def _grid(found: Detectability) -> Iterator[tuple[int, int, float, float]]:
    for i, day in enumerate(found.holds.days_since_capture):
        for j, volume in enumerate(found.holds.volumes_L):
            yield i, j, float(day), float(volume)


def _places(found: Detectability) -> Iterator[HeldPlace]:
    for i, j, day, volume in _grid(found):
        for k, hold in enumerate(found.holds.hold_d):
            chance, error = float(found.probability[i, j, k]), float(found.error[i, j, k])
            yield HeldPlace(day, volume, round(float(hold) * HOURS_PER_DAY, 9), chance, error)


def _best(found: Detectability) -> Iterator[BestHold]:
    for i, j, day, volume in _grid(found):
        hold = found.best(i, j)
        if isinstance(hold, str):
            yield BestHold(day, volume, None, None, NO_CHOICE)
            continue
        chance = float(found.probability[i, j].max())
        yield BestHold(day, volume, round(hold * HOURS_PER_DAY, 9), chance, None)

"""What each world expects: levels against time with a band, and the chance to detect an exposed fish at all."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.tanks import Fish, History, Move, Tank
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

PROBABILITIES = (0.025, 0.25, 0.5, 0.75, 0.975)
SURE = 2.0  # standard errors by which the best hold must beat the worst
NO_CHOICE = "no hold is better than another"

Chance = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Band:
    """Quantiles over the draws of one world.

    times_d (times,) [d]; probabilities (q,); water_ug_L (q, tanks, times), plasma_ug_L (q, fish, times) [ug/L]; nan
    where the tank was not filled yet or no fish is left.
    """

    world: str
    times_d: FloatArray
    probabilities: FloatArray
    water_ug_L: FloatArray
    plasma_ug_L: FloatArray


def with_doses(history: History, names: Collection[str], dose_mg_kg: FloatArray | float) -> History:
    """The history in which the named fish absorbed this dose [mg CN per kg fish], one number or one for each draw."""
    known = {fish.name for fish in history.fish}
    for name in names:
        if name not in known:
            raise Refused(f"exposed fish {name!r}", f"one of {', '.join(sorted(known)) or 'none'}", "correct the name")
    fish = tuple(replace(each, dose_mg_kg=dose_mg_kg) if each.name in names else each for each in history.fish)
    return replace(history, fish=fish)


def band(
    world: World, history: History, times_d: FloatArray, exposed: Collection[str], drawing: Drawing | None = None
) -> Band:
    """Levels that a world expects when the named fish were exposed, their dose drawn with the other parameters.

    An empty `exposed` keeps the doses of the history. Raises Refused for a history that cannot have been.
    """
    drawing = drawing or Drawing()
    drawn = draw_world(world, drawing)
    course = follow(kinetics_of(drawn), with_doses(history, exposed, drawn["absorbed_dose"]), times_d)
    levels = np.asarray(PROBABILITIES)
    return Band(
        world.name,
        course.times_d,
        levels,
        np.quantile(course.water_ug_L, levels, axis=0),
        np.quantile(course.plasma_ug_L, levels, axis=0),
    )


@dataclass(frozen=True, slots=True)
class Holds:
    """Tests to choose among: fish go after days_since_capture [d] from the sea or running water into clean water.

    count, mass_kg : fish in one tank, of one fish [kg]; volumes_L (volumes,) [L]; hold_d (holds,) [d], rising; even
    steps are quickest.
    """

    count: int
    mass_kg: float
    days_since_capture: FloatArray
    volumes_L: FloatArray
    hold_d: FloatArray


@dataclass(frozen=True, slots=True)
class Detectability:
    """Chance to detect a tank of exposed fish under one world, over the draws.

    probability, error (days, volumes, holds) : mean chance and its standard error from the number of draws; best_hold_d
    (days, volumes) [d] : the hold that maximises it, nan where no hold beats another by more than twice the error;
    false_alarm : chance at level 0, below which no probability means anything.
    """

    world: str
    holds: Holds
    probability: FloatArray
    error: FloatArray
    best_hold_d: FloatArray
    false_alarm: float

    def best(self, day: int, volume: int) -> float | str:
        """Best hold [d] for one place in days and volumes, or why there is none."""
        found = float(self.best_hold_d[day, volume])
        return NO_CHOICE if np.isnan(found) else found


def reaches(minimum_ug_L: float) -> Chance:
    """Chance of detection taken as 1 from a minimum detectable value on and 0 below [ug/L]; a stand-in for a power
    curve, which rises gradually from the error of the first kind at 0."""
    if not (np.isfinite(minimum_ug_L) and minimum_ug_L > 0.0):
        raise Refused(f"minimum detectable value {minimum_ug_L:g} ug/L", "a number above 0 ug/L", "give it, or a curve")
    return lambda level: np.asarray(np.asarray(level) >= minimum_ug_L, dtype=float)


def detectability(world: World, holds: Holds, chance: Chance, drawing: Drawing | None = None) -> Detectability:
    """Chance of detection against days since capture, volume and hold.

    chance : that of detecting a level [ug/L], broadcasts. Fish are exposed at day 0, and what they excrete before the
    hold is gone. Raises Refused for bad holds.
    """
    drawing = drawing or Drawing()
    _check(holds)
    drawn = draw_world(world, drawing)
    kinetics = kinetics_of(drawn)
    shape = (drawing.count, len(holds.days_since_capture), len(holds.volumes_L), len(holds.hold_d))
    chances = np.empty(shape)
    for i, day in enumerate(holds.days_since_capture):
        for j, volume in enumerate(holds.volumes_L):
            history = _hold(holds, float(day), float(volume), drawn["absorbed_dose"])
            level = follow(kinetics, history, day + np.asarray(holds.hold_d)).water_ug_L[:, 0]
            chances[:, i, j] = chance(level)
    error = chances.std(axis=0) / np.sqrt(drawing.count)
    return Detectability(
        world.name, holds, chances.mean(axis=0), error, _best(chances, holds.hold_d), float(chance(np.zeros(1))[0])
    )


def _hold(holds: Holds, day: float, volume: float, dose: FloatArray) -> History:
    fish = Fish("held", holds.count, holds.mass_kg, dose)
    return History((Tank("hold", volume, filled_d=day),), (fish,), (Move(day, "held", "hold"),))


def _best(chances: FloatArray, hold_d: FloatArray) -> FloatArray:
    """Hold of the greatest mean, nan where its lead over the smallest is within the error of paired draws."""
    mean = chances.mean(axis=0)
    top, bottom = mean.argmax(axis=-1), mean.argmin(axis=-1)
    lead = np.take_along_axis(chances, top[None, ..., None], -1) - np.take_along_axis(
        chances, bottom[None, ..., None], -1
    )
    error = lead[..., 0].std(axis=0) / np.sqrt(len(chances))
    return np.asarray(np.where(lead[..., 0].mean(axis=0) > SURE * error, np.asarray(hold_d)[top], np.nan))


def _check(holds: Holds) -> None:
    for values, what, unit in (
        (holds.days_since_capture, "days since capture", "d"),
        (holds.volumes_L, "volumes", "L"),
        (holds.hold_d, "hold times", "d"),
    ):
        numbers = np.asarray(values, dtype=float)
        low_open = unit == "L"
        if numbers.size == 0 or not np.all(np.isfinite(numbers)) or np.any(numbers < 0.0):
            raise Refused(f"{what} {numbers.tolist()} {unit}", f"numbers of 0 {unit} or more", "correct them")
        if low_open and np.any(numbers == 0.0):
            raise Refused(f"{what} {numbers.tolist()} {unit}", f"numbers above 0 {unit}", "correct them")

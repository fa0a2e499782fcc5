"""Thiocyanate that a tank's water would hold from its fish alone, had they been exposed at capture: draws per world."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np

from brinemark.science.fish.forward import with_doses
from brinemark.science.fish.kinetics import Kinetics, follow
from brinemark.science.fish.mass_balance import fish_alone
from brinemark.science.fish.tanks import Fish, History, Move, check
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

MOMENTS = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Quantiles at which an uncertain moment of capture is taken, each for an equal share of the draws."""


@dataclass(frozen=True, slots=True)
class Case:
    """Which water is asked about, and whose exposure is supposed.

    tank : name; exposed : names of the fish; capture_u_d : standard uncertainty of their moment of exposure [d], by
    name, none = known.
    """

    tank: str
    exposed: tuple[str, ...]
    capture_u_d: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Released:
    """What the fish alone put into the water.

    water_ug_L (draws, times) [ug/L]: nan before the tank was filled, 0 where the world releases nothing; drawn : the
    parameters behind each draw, by name, with the shift of the capture [d] as "capture" where it is uncertain.
    """

    world: str
    water_ug_L: FloatArray
    drawn: Mapping[str, FloatArray]


def released(world: World, history: History, case: Case, times_d: FloatArray, drawing: Drawing) -> Released:
    """Draws of what exposed fish would have added to the water of a tank at times_d (times,) [d], rising.

    Every other source is taken away, for the background stands apart. An uncertain capture is taken at MOMENTS of its
    normal law, kept before the fish came into their first tank; parameters and moments are drawn apart. Raises Refused
    for a history that cannot have been.
    """
    drawn = dict(draw_world(world, drawing))
    moved = _moved(history, case)
    if not drawn["to_water"].any():  # nothing reaches the water, and nothing else is in it
        check(history)
        return Released(world.name, np.zeros((drawing.count, len(times_d))), drawn)
    count = len(moved)
    levels = np.empty((drawing.count, len(times_d)))
    shift = np.zeros(drawing.count)
    place = [tank.name for tank in history.tanks].index(case.tank)
    for number, (one, days) in enumerate(moved):
        mine = slice(number, None, count)
        kinetics = _some(kinetics_of(drawn), mine)
        alone = fish_alone(one)
        unexposed = replace(alone, fish=tuple(replace(fish, dose_mg_kg=0.0) for fish in alone.fish))
        dosed = with_doses(unexposed, case.exposed, drawn["absorbed_dose"][mine])
        levels[mine] = follow(kinetics, dosed, times_d).water_ug_L[:, place]
        shift[mine] = days
    if count > 1:
        drawn["capture"] = shift
    return Released(world.name, levels, drawn)


def _some(kinetics: Kinetics, mine: slice) -> Kinetics:
    return Kinetics(**{one.name: getattr(kinetics, one.name)[mine] for one in fields(Kinetics)})


def _moved(history: History, case: Case) -> list[tuple[History, float]]:
    """Histories with the exposure at each of MOMENTS, and the mean shift of the exposed fish [d]."""
    from scipy.special import ndtri

    known = {fish.name for fish in history.fish}
    for name in case.exposed:
        if name not in known:
            raise Refused(f"exposed fish {name!r}", f"one of {', '.join(sorted(known))}", "correct the name")
    if not any(case.capture_u_d.get(name, 0.0) > 0.0 for name in case.exposed):
        return [(history, 0.0)]
    found = []
    for score in ndtri(np.array(MOMENTS)):
        fish = tuple(_shifted(one, float(score), history, case) for one in history.fish)
        days = [new.exposed_d - old.exposed_d for new, old in zip(fish, history.fish, strict=True)]
        mean = float(np.mean([day for day, one in zip(days, fish, strict=True) if one.name in case.exposed]))
        found.append((replace(history, fish=fish), mean))
    return found


def _shifted(fish: Fish, score: float, history: History, case: Case) -> Fish:
    """A fish exposed earlier or later by so many standard uncertainties, never after it came into its first tank."""
    u = case.capture_u_d.get(fish.name, 0.0) if fish.name in case.exposed else 0.0
    if u == 0.0:
        return fish
    first = [event.time_d for event in history.events if isinstance(event, Move) and event.fish == fish.name]
    latest = min(first) if first and fish.tank is None else np.inf
    return replace(fish, exposed_d=min(fish.exposed_d + score * u, max(latest, fish.exposed_d)))

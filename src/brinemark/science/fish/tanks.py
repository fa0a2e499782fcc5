"""Tanks, fish and what happens to them, as the kinetics need them: days on one clock, litres, micrograms, kilograms."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

CONTAMINATION, FEED, LEACHING, CARRY_OVER = "contamination", "feed", "leaching", "carry-over"


@dataclass(frozen=True, slots=True)
class Tank:
    """A well-mixed tank.

    volume_L [L]; exchange_L_d : clean water in and tank water out [L/d]; source_ug_L : thiocyanate in the source water
    [ug/L]; start_ug_L : level when filled [ug/L], None = that of the source water; filled_d : when it was filled [d].
    """

    name: str
    volume_L: float
    exchange_L_d: float = 0.0
    source_ug_L: float = 0.0
    start_ug_L: float | None = None
    filled_d: float = 0.0


@dataclass(frozen=True, slots=True)
class Fish:
    """Fish that share one history.

    count : how many; mass_kg : of one fish [kg]; dose_mg_kg : cyanide absorbed [mg CN per kg fish], one number or one
    for each draw; exposed_d : when [d]; tank : where they are from its filling on until they move, None = at sea, where
    what they excrete is gone and nothing is taken up (so they are before the filling).
    """

    name: str
    count: int
    mass_kg: float
    dose_mg_kg: FloatArray | float = 0.0
    exposed_d: float = 0.0
    tank: str | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """All fish of one name go to another tank (None = to sea) and take carried_L of their old water along [L]."""

    time_d: float
    fish: str
    tank: str | None
    carried_L: float = 0.0


@dataclass(frozen=True, slots=True)
class Leave:
    """Some fish of one name are taken out, sold or dead; what is in them goes with them.

    A fish that died counts as living until it is taken out: how thiocyanate leaves a dead fish was not found anywhere.
    """

    time_d: float
    fish: str
    count: int
    dead: bool = False


@dataclass(frozen=True, slots=True)
class Renew:
    """A share (0 to 1) of a tank's water is replaced; level_ug_L : of the new water, None = the source water."""

    time_d: float
    tank: str
    share: float
    level_ug_L: float | None = None


@dataclass(frozen=True, slots=True)
class Resize:
    """Water is drained to volume_L, or source water filled up to it [L]."""

    time_d: float
    tank: str
    volume_L: float


@dataclass(frozen=True, slots=True)
class Add:
    """An amount of thiocyanate gets into a tank at once [ug]; kind : contamination, carry-over, ..."""

    time_d: float
    tank: str
    amount_ug: float
    kind: str = CONTAMINATION


@dataclass(frozen=True, slots=True)
class Supply:
    """Thiocyanate gets into a tank at a steady rate [ug/d] from start_d to end_d; kind : feed, leaching, ..."""

    tank: str
    rate_ug_d: float
    start_d: float = -math.inf
    end_d: float = math.inf
    kind: str = LEACHING


Event = Move | Leave | Renew | Resize | Add


@dataclass(frozen=True, slots=True)
class History:
    """Everything that happened: tanks, fish, events in any order, steady supplies."""

    tanks: tuple[Tank, ...]
    fish: tuple[Fish, ...] = ()
    events: tuple[Event, ...] = ()
    supplies: tuple[Supply, ...] = ()

    def tank(self, name: str) -> Tank:
        return next(tank for tank in self.tanks if tank.name == name)


def check(history: History) -> None:
    """Raises Refused for what cannot have been: no volume, no mass, an unknown name, more fish out than in."""
    _named_once([tank.name for tank in history.tanks], "tank")
    _named_once([fish.name for fish in history.fish], "fish")
    for tank in history.tanks:
        _above_zero(tank.volume_L, f"volume of tank {tank.name}", "L")
        _not_negative(tank.exchange_L_d, f"exchange of tank {tank.name}", "L/d")
        _not_negative(tank.source_ug_L, f"source water of tank {tank.name}", "ug/L")
        _not_negative(tank.start_ug_L or 0.0, f"starting level of tank {tank.name}", "ug/L")
        _finite(tank.filled_d, f"filling of tank {tank.name}")
    for fish in history.fish:
        _check_fish(fish, history)
    for event in history.events:
        _check_event(event, history)
    for supply in history.supplies:
        _known(supply.tank, history)
        _not_negative(supply.rate_ug_d, f"{supply.kind} into tank {supply.tank}", "ug/d")
    _check_counts(history)


def _check_fish(fish: Fish, history: History) -> None:
    import numpy as np

    _above_zero(fish.mass_kg, f"mass of fish {fish.name}", "kg")
    if fish.count < 1:
        raise Refused(f"{fish.count} fish {fish.name}", "at least 1", "count the fish that went in, dead ones too")
    _not_negative(float(np.min(fish.dose_mg_kg)), f"dose of fish {fish.name}", "mg CN per kg")
    _finite(fish.exposed_d, f"exposure of fish {fish.name}")
    if fish.tank is not None:
        _known(fish.tank, history)


def _check_event(event: Event, history: History) -> None:
    _finite(event.time_d, type(event).__name__.lower())
    if isinstance(event, Move | Leave):
        if event.fish not in {fish.name for fish in history.fish}:
            raise Refused(f"fish {event.fish!r} in an event", "fish that the history names", "name them first")
    else:
        _known(event.tank, history)
    if isinstance(event, Move):
        _not_negative(event.carried_L, f"water carried over with fish {event.fish}", "L")
        if event.tank is not None:
            _known(event.tank, history)
    if isinstance(event, Renew):
        if not 0.0 <= event.share <= 1.0:
            raise Refused(f"renewal of {event.share:g} of tank {event.tank}", "a share from 0 to 1", "divide by 100?")
        _not_negative(event.level_ug_L or 0.0, f"new water of tank {event.tank}", "ug/L")
    if isinstance(event, Resize):
        _above_zero(event.volume_L, f"volume of tank {event.tank}", "L")
    if isinstance(event, Add):
        _not_negative(event.amount_ug, f"{event.kind} into tank {event.tank}", "ug")


def _check_counts(history: History) -> None:
    for fish in history.fish:
        leaving = [event for event in history.events if isinstance(event, Leave) and event.fish == fish.name]
        gone = sum(event.count for event in leaving)
        if gone > fish.count or any(event.count < 1 for event in leaving):
            raise Refused(
                f"{gone} fish {fish.name} taken out of {fish.count}", f"1 to {fish.count}", "correct the counts"
            )


def _named_once(names: Iterable[str], thing: str) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise Refused(f"{thing} {name!r} twice", f"each {thing} named once", "give each its own name")
        seen.add(name)


def _known(tank: str, history: History) -> None:
    names = [each.name for each in history.tanks]
    if tank not in names:
        raise Refused(f"unknown tank {tank!r}", f"one of {', '.join(names) or 'none'}", "add the tank or correct it")


def _finite(value: float, what: str) -> None:
    if not math.isfinite(value):
        raise Refused(f"{what} at {value} d", "a time in days", "give the time")


def _above_zero(value: float, what: str, unit: str) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise Refused(f"{what} {value:g} {unit}", f"a number above 0 {unit}", "correct it")


def _not_negative(value: float, what: str, unit: str) -> None:
    if not (math.isfinite(value) and value >= 0.0):
        raise Refused(f"{what} {value:g} {unit}", f"0 {unit} or more", "correct it")

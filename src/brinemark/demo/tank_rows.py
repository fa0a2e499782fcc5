"""Rows of invented tank records: the plain life of a tank, and what else happened there.

What the fish really went through is in the plan; a record tells only what somebody at the quay could know.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from brinemark.demo.plan import ZONE
from brinemark.terms import tanks as words
from brinemark.terms.tanks import TankRow

QUAY, CARBON, SLIP = "quay water", "carbon loop", "slip water"
"""Water systems of the invented quay."""
WITH_CARE: dict[str, Any] = {
    "taker": "first inspector",
    "smoker": False,
    "container": "polypropylene bottle, new",
    "filtration_um": 0.2,
    "storage": "dark, 4 C",
    "retained_mL": 30.0,
}
"""How a water sample is taken at the quay."""
TURN = timedelta(minutes=4)
"""From one tank to the next."""
BREEDING = "breeding room of Ilsundry Quay"


@dataclass(frozen=True, slots=True)
class Days:
    """When the fish of a consignment were caught, when their tanks were filled, and when the water was sampled.

    caught_u_d : standard uncertainty of the catch [d], None where it is known to the minute.
    """

    caught: datetime
    filled: datetime
    sampled: datetime
    caught_u_d: float | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """A tank, and the fish in it.

    number : of the tank in its consignment; system : of its water; history : one of HISTORIES; origin : where the fish
    come from; filter, renewal_L_per_d, near : of the tank.
    """

    number: int
    volume_L: float
    species: str
    count: int
    mass_g: float
    system: str = QUAY
    history: str = words.UNKNOWN
    origin: str = BREEDING
    filter: str | None = None
    renewal_L_per_d: float | None = None
    near: str | None = None

    @property
    def fish(self) -> str:
        """Their name in the record."""
        return f"{self.species} {self.number}"


def moment(month: int, day: int, hour: int = 9, minute: int = 0) -> datetime:
    """A moment of the invented year."""
    return datetime(2026, month, day, hour, minute, tzinfo=ZONE)


def row(consignment: str, at: datetime, what: str, **cells: Any) -> TankRow:
    """One row, which has no number yet."""
    return TankRow(0, consignment, at, what, **cells)


def numbered(rows: Iterable[TankRow]) -> tuple[TankRow, ...]:
    """In order of time, numbered as in a file whose first row is the header."""
    ordered = sorted(rows, key=lambda one: one.at)
    return tuple(replace(one, number=number) for number, one in enumerate(ordered, start=2))


def arrival(consignment: str, kept: Kept, days: Days) -> list[TankRow]:
    """Fish are caught or bred, their tank is filled, all in their turn, and they go in an hour later."""
    tank, filled = tank_name(consignment, kept.number), days.filled + kept.number * TURN
    return [
        row(
            consignment,
            days.caught + kept.number * TURN,
            words.CATCH,
            fish=kept.fish,
            species=kept.species,
            count=kept.count,
            mass_g=kept.mass_g,
            origin=kept.origin,
            history=kept.history,
            at_u_d=days.caught_u_d,
        ),
        row(
            consignment,
            filled,
            words.FILLED,
            tank=tank,
            volume_L=kept.volume_L,
            renewal_L_per_d=kept.renewal_L_per_d,
            system=kept.system,
            filter=kept.filter,
            near=kept.near,
        ),
        row(consignment, filled + timedelta(hours=1), words.IN, tank=tank, fish=kept.fish),
    ]


def taken(consignment: str, number: int, day: datetime, sample: str = "", **cells: Any) -> TankRow:
    """A water sample of a tank, taken in its turn and with care unless the cells say otherwise."""
    name = sample or sample_name(consignment, number)
    given = {**WITH_CARE, "seal": f"IQ {name}", **cells}
    at = day + number * TURN
    return row(consignment, at, words.SAMPLE, tank=tank_name(consignment, number), sample=name, **given)


def blank(consignment: str, at: datetime, sample: str, kind: str, **cells: Any) -> TankRow:
    """A blank, taken with care."""
    given = {**WITH_CARE, "seal": f"IQ {sample}", **cells}
    return row(consignment, at, words.BLANK, sample=sample, blank=kind, **given)


def tank_name(consignment: str, number: int) -> str:
    """Name of a tank in its records."""
    return f"{consignment}-{number}"


def sample_name(consignment: str, number: int) -> str:
    """Name of the plain sample of a tank, as on run sheets."""
    return f"{consignment}-tank-{number}"

"""From the rows of a tank record to the history that the kinetics follow: days on one clock, only what one tank saw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from brinemark.science.fish.alternatives import Meal
from brinemark.science.fish.tanks import Add, Event, Fish, History, Leave, Move, Renew, Resize, Tank
from brinemark.terms.tanks import (
    CAPTIVE_BRED,
    CATCH,
    EXPOSED,
    FED,
    FILLED,
    IN,
    OUT,
    RENEWED,
    SPIKED,
    UNEXPOSED,
    UNKNOWN,
    VOLUME,
    WILD_UNEXPOSED,
    Consignment,
    TankRow,
)

G_PER_KG = 1000.0
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, eq=False)
class TankStory:
    """What one tank saw, as the kinetics follow it.

    start : moment of day 0; history : this tank, its fish, and every tank that they came through; fish : names of the
    fish that were ever in it; capture_u_d : of those with an uncertain moment [d]; meals : what was fed in this tank.
    """

    tank: str
    start: datetime
    history: History
    fish: tuple[str, ...]
    capture_u_d: dict[str, float]
    meals: tuple[Meal, ...]

    def day(self, at: datetime) -> float:
        """A moment on this clock [d]."""
        return (at - self.start) / DAY

    def moment(self, day: float) -> datetime:
        """The moment of a day of this clock."""
        return self.start + day * DAY


def story_of(consignment: Consignment, tank: str) -> TankStory:
    """The story of one tank of a consignment, whose rows have been checked.

    Followed are its fish, and the tanks that they came through until they left these. Other fish that were in those
    tanks are not: whether they were exposed is another question, and as fish that were not, they would only take a
    little up. A fish that goes to a tank that does not matter goes out of sight.
    """
    tanks, fish = _reach(consignment, tank)
    rows = [row for row in consignment.rows if row.fish in fish or (row.fish is None and row.tank in tanks)]
    start = min(row.at for row in rows)

    def day(row: TankRow) -> float:
        return (row.at - start) / DAY

    lots = [row for row in rows if row.what == CATCH]
    history = History(
        tuple(_tank(row, day(row)) for row in rows if row.what == FILLED),
        tuple(_fish(row, day(row)) for row in lots),
        tuple(event for row in rows for event in _events(row, day(row), tanks)),
    )
    came = tuple(dict.fromkeys(row.fish for row in rows if row.what == IN and row.tank == tank and row.fish))
    unsure = {row.fish: row.at_u_d for row in lots if row.fish and row.at_u_d}
    meals = tuple(Meal(day(row), row.amount_g) for row in rows if row.what == FED and row.tank == tank and row.amount_g)
    return TankStory(tank, start, history, came, unsure, meals)


def _reach(consignment: Consignment, tank: str) -> tuple[set[str], set[str]]:
    """The fish that came into a tank, and the tanks that they had come through by then."""
    moves = [row for row in consignment.of(IN) if row.tank is not None and row.fish is not None]
    came = {str(row.fish): row.at for row in moves if row.tank == tank}
    through = {str(row.tank) for row in moves if row.fish in came and row.at <= came[str(row.fish)]}
    return {tank} | through, set(came)


def _tank(row: TankRow, day: float) -> Tank:
    return Tank(str(row.tank), row.volume_L or 0.0, row.renewal_L_per_d or 0.0, filled_d=day)


def _fish(row: TankRow, day: float) -> Fish:
    return Fish(str(row.fish), row.count or 0, (row.mass_g or 0.0) / G_PER_KG, exposed_d=day)


def _events(row: TankRow, day: float, tanks: set[str]) -> list[Event]:
    tank, fish = str(row.tank), str(row.fish)
    if row.what == IN:
        return [Move(day, fish, tank if tank in tanks else None, row.carried_L or 0.0)]
    if row.what == OUT:
        return [Leave(day, fish, row.count or 0, bool(row.dead))]
    if row.what == RENEWED:
        return [Renew(day, tank, row.share or 0.0)]
    if row.what == VOLUME:
        return [Resize(day, tank, row.volume_L or 0.0)]
    return [Add(day, tank, row.amount_ug or 0.0, SPIKED)] if row.what == SPIKED else []


def histories_in(consignment: Consignment, tank: str) -> tuple[str, ...]:
    """What is known of the fish that were ever in a tank, each history once; "unknown" where nothing is."""
    fish = {row.fish for row in consignment.of(IN) if row.tank == tank}
    lots = (row for row in consignment.of(CATCH) if row.fish in fish)
    return tuple(dict.fromkeys(row.history or UNKNOWN for row in lots))


def kind_of(consignment: Consignment, tank: str) -> str:
    """unexposed : no fish, or only such as are known not to have been exposed; exposed : only fish known to have been;
    unknown : all others."""
    known = histories_in(consignment, tank)
    if all(one in UNEXPOSED for one in known):
        return "unexposed"
    return "exposed" if all(one in EXPOSED for one in known) else "unknown"


def population_of(histories: Sequence[str]) -> str:
    """A name for fish that were not exposed."""
    if not histories:
        return "no fish"
    return WILD_UNEXPOSED if all(one == WILD_UNEXPOSED for one in histories) else CAPTIVE_BRED

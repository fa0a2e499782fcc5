"""Which tanks of unknown fish were tested, with what their record says of days, water, origin and season."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from brinemark.science.fish.mass_balance import volume_at
from brinemark.steps.fish_answers import WaterAnswer
from brinemark.steps.known_waters import UNEXPOSED, KnownTank
from brinemark.steps.tank_history import DAY, TankStory, histories_in, story_of
from brinemark.terms.surveillance import FalseFindings
from brinemark.terms.tanks import CATCH, UNKNOWN, WILD_UNEXPOSED, Consignment, TankRow

NO_ORIGIN = "not named"
ENOUGH_WILD = 10
"""Tanks of wild unexposed fish from which they alone stand for the false-positive rate."""


@dataclass(frozen=True, slots=True, eq=False)
class CountedTank:
    """A tank of fish of unknown history whose newest water of known outcome counts.

    days : from capture to the sample, mean over its fish [d]; volume_L : of the water at the sample [L]; season :
    quarter of the capture, "2026-2".
    """

    consignment: str
    tank: str
    origin: str
    season: str
    days: float
    volume_L: float
    sample: str
    found: bool
    story: TankStory
    sample_d: float


@dataclass(frozen=True, slots=True)
class NotCounted:
    """A tank that does not count, and why."""

    consignment: str
    tank: str
    reason: str


def tanks_of(
    consignments: Iterable[Consignment], waters: Mapping[str, WaterAnswer], zone: tzinfo
) -> tuple[list[CountedTank], list[NotCounted]]:
    """Tanks that count in a survey, and those of fish of unknown history that do not."""
    every = [one for consignment in consignments for one in _of(consignment, waters, zone)]
    return [one for one in every if isinstance(one, CountedTank)], [one for one in every if isinstance(one, NotCounted)]


def _of(
    consignment: Consignment, waters: Mapping[str, WaterAnswer], zone: tzinfo
) -> Iterator[CountedTank | NotCounted]:
    spiked = consignment.spiked
    for tank in consignment.tanks:
        histories = histories_in(consignment, tank)
        if UNKNOWN not in histories:
            continue
        if len(histories) > 1:
            yield NotCounted(consignment.name, tank, f"it held fish of several histories: {', '.join(histories)}")
        elif tank in spiked:
            yield NotCounted(consignment.name, tank, "thiocyanate was put into it on purpose")
        else:
            yield _tested(consignment, tank, waters, zone)


def _tested(
    consignment: Consignment, tank: str, waters: Mapping[str, WaterAnswer], zone: tzinfo
) -> CountedTank | NotCounted:
    row, water = _newest(consignment, tank, waters)
    if row is None or water is None or water.found is None:
        reason = "no sample of it was read with an outcome" if consignment.samples_of(tank) else "no sample was taken"
        return NotCounted(consignment.name, tank, reason)
    story = story_of(consignment, tank)
    lots = [one for one in consignment.of(CATCH) if one.fish in story.fish]
    groups = {(one.origin or NO_ORIGIN, season_of(one.at.astimezone(zone))) for one in lots}
    if len(groups) > 1:
        told = ", ".join(f"{origin} {season}" for origin, season in sorted(groups))
        return NotCounted(consignment.name, tank, f"it held fish of several origins or seasons: {told}")
    (origin, season) = groups.pop()
    day = story.day(row.at)
    days = sum((row.at - one.at) / DAY for one in lots) / len(lots)
    volume = volume_at(story.history, tank, day)
    return CountedTank(consignment.name, tank, origin, season, days, volume, str(row.sample), water.found, story, day)


def _newest(
    consignment: Consignment, tank: str, waters: Mapping[str, WaterAnswer]
) -> tuple[TankRow | None, WaterAnswer | None]:
    """The newest sample of a tank whose reading says whether thiocyanate was found."""
    for row in reversed(consignment.samples_of(tank)):
        water = waters.get(str(row.sample))
        if water is not None and water.found is not None:
            return row, water
    return None, None


def season_of(at: datetime) -> str:
    """The quarter of a moment, as it sorts: 2026-2."""
    return f"{at.year}-{(at.month - 1) // 3 + 1}"


def false_findings(tanks: Iterable[KnownTank]) -> FalseFindings | None:
    """What tanks of unexposed fish say of the false-positive rate, one water each; None without any.

    Wild ones alone where there are ENOUGH_WILD, since captive-bred fish are another population; else all together.
    """
    clean = [one for one in tanks if one.kind == UNEXPOSED and one.fish and one.water is not None]
    clean = [one for one in clean if one.water is not None and one.water.found is not None]
    wild = [one for one in clean if one.population == WILD_UNEXPOSED]
    used = wild if len(wild) >= ENOUGH_WILD else clean
    if not used:
        return None
    found = sum(one.water is not None and bool(one.water.found) for one in used)
    kinds = sorted({one.population for one in used})
    return FalseFindings(found, len(used), f"{' and '.join(kinds)} fish", same_population=kinds == [WILD_UNEXPOSED])

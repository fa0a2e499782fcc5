"""Which dose a reading would need: from the amount in the water back to cyanide in the fish.

    least dose     D = (C_low - C_source) V / (2.232 f m)            [mg CN per kg fish]
    under a world  D = (C_low - C_source) / (level that 1 mg CN per kg gives in that tank at that time)

C_low is the lower end of the reading, C_source the blank of the source water, V the volume at sampling, m the mass of
every fish that was in the tank by then, dead and removed ones too, f the share converted. The least dose takes all
thiocyanate as released and still there, so no world needs less from these fish alone. No lethal internal dose is known
for fish; a mammalian one stands in, and only as a scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.fish.kinetics import SCN_PER_CN, UG_PER_MG, follow
from brinemark.science.fish.parameters import READ, Source
from brinemark.science.fish.tanks import Add, History, Leave, Move, Renew, Resize, check
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

CN_IN_KCN = 26.02 / 65.12
LETHAL_MG_KG = 7.49 * CN_IN_KCN
LETHAL_SOURCE = Source("", "ECHA dossier 13737", "", READ, "oral LD50 of KCN in rats 7.49 mg/kg, 3.0 as CN")
DOUBT_MG_KG, LIMIT_MG_KG = 3.0, 5.0
LIMIT_HOW = "limits of 3 and 5 mg CN per kg: about once and 1.7 times the lethal dose of a rat, a convention"
ENDS = (0.025, 0.5, 0.975)
PRINTED_LEAST, PRINTED_MOST = 0.01, 10_000.0

EXCLUDED, DOUBTFUL, POSSIBLE = "fish excluded as the only source", "fish doubtful as the only source", "fish possible"
NO_RISE, CANNOT_SAY = "no rise above the source water", "cannot say"


@dataclass(frozen=True, slots=True)
class Level:
    """lower_ug_L : lower end of the reading [ug/L], None = it has none; blank_ug_L : source water [ug/L], None = not
    taken."""

    lower_ug_L: float | None
    blank_ug_L: float | None


@dataclass(frozen=True, slots=True)
class Dose:
    """Implied dose [mg CN per kg fish]: lower, median, upper over the draws (95 %); infinite where no dose would do."""

    lower: float
    median: float
    upper: float

    def __str__(self) -> str:
        times = self.median / LETHAL_MG_KG
        if not np.isfinite(self.median) or self.median >= PRINTED_MOST:
            return f"would need more than {PRINTED_MOST:,.0f} mg CN per kg; no value exists for fish"
        return (
            f"would need {_said(self.median)} mg CN per kg ({_said(self.lower)} to {_said(self.upper)}), "
            f"{_said(times)} times a mammalian lethal dose; no value exists for fish"
        )


@dataclass(frozen=True, slots=True)
class WorldDose:
    """dose : under this world, None = no dose does it; words : one sentence."""

    world: str
    dose: Dose | None
    words: str


@dataclass(frozen=True, slots=True)
class FishIn:
    """Fish of one name that were in a tank: count when they came, of these dead and otherwise taken out since."""

    fish: str
    count: int
    dead: int
    removed: int
    mass_kg: float


@dataclass(frozen=True, slots=True)
class MassBalance:
    """What a reading asks of the fish.

    status : EXCLUDED, DOUBTFUL, POSSIBLE, NO_RISE or CANNOT_SAY; rise_ug_L [ug/L], nan = unknown; volume_L [L]; fish :
    what went in; least, worlds : implied doses, None and empty where there is no rise; words : sentences in reading
    order; sources : of the numbers in them.
    """

    status: str
    rise_ug_L: float
    volume_L: float
    fish: tuple[FishIn, ...]
    least: Dose | None
    worlds: tuple[WorldDose, ...]
    words: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dilution:
    """One step in a tank's history: kept : share of the level left by the step itself; left : share of the level before
    it that is left at sampling, exchange counted, loss of unknown cause not; volume_L : after it [L]."""

    time_d: float
    words: str
    kept: float
    left: float
    volume_L: float


def balance(
    level: Level, history: History, tank: str, time_d: float, worlds: Sequence[World], drawing: Drawing | None = None
) -> MassBalance:
    """The mass balance of one reading of a tank at time_d [d], least dose first, then under each world.

    The least dose takes f from the first world. Raises Refused for a history that cannot have been, an unknown tank, a
    sample before the tank was filled or its fish went in, fish caught after the sample.
    """
    check(history)
    drawing = drawing or Drawing()
    volume, fish = volume_at(history, tank, time_d), fish_ever_in(history, tank, time_d)
    _check_time(history, tank, time_d, fish)
    reason, rise = _rise(level, fish)
    if reason:
        status = NO_RISE if np.isfinite(rise) else CANNOT_SAY
        return MassBalance(status, rise, volume, fish, None, (), (f"{status}: {reason}",), ())
    mass = sum(each.count * each.mass_kg for each in fish)
    converted = draw_world(worlds[0], drawing)["converted"]
    least = _dose(rise * volume / (SCN_PER_CN * UG_PER_MG * converted * mass))
    by_world = tuple(_under(world, rise, (history, tank, time_d), drawing) for world in worlds)
    status = _status(least)
    words = (_fish_words(fish, mass, volume), f"the reading {least}", *(each.words for each in by_world))
    words += (_status_words(status), *_blank_words(level))
    sources = (str(LETHAL_SOURCE), LIMIT_HOW, f"share converted: {worlds[0].parameters['converted'].source}")
    return MassBalance(status, rise, volume, fish, least, by_world, words, sources)


def _check_time(history: History, tank: str, time_d: float, fish: tuple[FishIn, ...]) -> None:
    """Raises Refused for a sample before its fish went in, and for fish caught after the sample."""
    later = fish_ever_in(history, tank, np.inf)
    if later and not fish:
        raise Refused(
            f"sample at {time_d:g} d from tank {tank} before fish {later[0].fish} went in",
            "a sample taken with fish in the tank",
            "correct one of the two times, or call it a blank",
        )
    names = {each.fish for each in fish}
    for each in history.fish:
        if each.name in names and each.exposed_d > time_d:
            raise Refused(
                f"fish {each.name} caught at {each.exposed_d:g} d, after the sample at {time_d:g} d",
                "a catch before the sample",
                "correct one of the two times",
            )


def _rise(level: Level, fish: tuple[FishIn, ...]) -> tuple[str, float]:
    """Why there is no dose ("" = there is one), and the rise above the source water [ug/L], nan = unknown."""
    if level.lower_ug_L is None or not np.isfinite(level.lower_ug_L):
        return "the reading has no lower end", np.nan
    if not fish:
        return "no fish were in this tank at any time", np.nan
    blank = level.blank_ug_L or 0.0
    rise = level.lower_ug_L - blank
    if rise <= 0.0:
        return f"the lower end {level.lower_ug_L:.3g} ug/L is not above the source water ({blank:.3g} ug/L)", rise
    return "", rise


def _dose(values: FloatArray) -> Dose:
    # Order statistics, not means of two of them: infinite values are among them.
    lower, median, upper = np.quantile(values, ENDS, method="inverted_cdf")
    return Dose(float(lower), float(median), float(upper))


def _under(world: World, rise: float, place: tuple[History, str, float], drawing: Drawing) -> WorldDose:
    history, tank, time_d = place
    kinetics = kinetics_of(draw_world(world, drawing))
    per_dose = np.zeros(drawing.count)
    if kinetics.to_water.any():
        course = follow(kinetics, fish_alone(history), np.array([time_d]))
        per_dose = course.water_ug_L[:, [each.name for each in history.tanks].index(tank), 0]
    if not np.any(per_dose > 0.0):
        words = "no dose does it, since exposed fish put none into this water"
        return WorldDose(world.name, None, f"world '{world.name}': {words}")
    dose = _dose(np.divide(rise, per_dose, out=np.full_like(per_dose, np.inf), where=per_dose > 0.0))
    return WorldDose(world.name, dose, f"world '{world.name}': {dose}")


def fish_alone(history: History) -> History:
    """The history with thiocyanate from fish alone: each exposed to 1 mg CN per kg, every other source taken away."""

    def without(event: Move | Leave | Renew | Resize | Add) -> Move | Leave | Renew | Resize | Add:
        if isinstance(event, Renew):
            return replace(event, level_ug_L=0.0)
        return replace(event, amount_ug=0.0) if isinstance(event, Add) else event

    tanks = tuple(replace(tank, source_ug_L=0.0, start_ug_L=0.0) for tank in history.tanks)
    fish = tuple(replace(each, dose_mg_kg=1.0) for each in history.fish)
    return History(tanks, fish, tuple(without(event) for event in history.events))


def _status(least: Dose) -> str:
    if least.lower > LIMIT_MG_KG:
        return EXCLUDED
    return DOUBTFUL if least.upper > DOUBT_MG_KG else POSSIBLE


def _status_words(status: str) -> str:
    if status == EXCLUDED:
        return (
            "the fish cannot be the only source: even if all of it were released and none lost, they would have had to "
            f"absorb more than {LIMIT_MG_KG:g} mg CN per kg; look for another source"
        )
    if status == DOUBTFUL:
        return (
            f"the dose reaches the {DOUBT_MG_KG:g} mg CN per kg that kill half of rats; the fish are doubtful as the "
            "only source, and not excluded"
        )
    return "the amount does not exclude the fish as the source; it does not show that they are"


def _fish_words(fish: tuple[FishIn, ...], mass: float, volume: float) -> str:
    count, dead = sum(each.count for each in fish), sum(each.dead for each in fish)
    removed = sum(each.removed for each in fish)
    gone = f", {dead} of them dead and {removed} taken out since," if dead or removed else ""
    return f"{count} fish{gone} of {mass * 1000:.4g} g in all were in this tank of {volume:g} L"


def _blank_words(level: Level) -> tuple[str, ...]:
    if level.blank_ug_L is not None:
        return ()
    return ("no blank of the source water: the whole reading is laid to the fish, which makes the dose an upper bound",)


def _said(value: float) -> str:
    if not np.isfinite(value) or value >= PRINTED_MOST:
        return f"more than {PRINTED_MOST:,.0f}"
    if value < PRINTED_LEAST:
        return f"less than {PRINTED_LEAST:g}"
    return f"{value:,.0f}" if value >= 100.0 else f"{value:.2g}"


def fish_ever_in(history: History, tank: str, until_d: float) -> tuple[FishIn, ...]:
    """Fish that were in the tank at any time up to until_d [d]; those that died or left are counted all the same."""
    found = []
    for fish in history.fish:
        where, count, there = fish.tank, fish.count, fish.tank == tank
        came, dead, removed = (count, 0, 0) if there else (0, 0, 0)
        for event in sorted(history.events, key=lambda event: event.time_d):
            if event.time_d > until_d or not isinstance(event, Move | Leave) or event.fish != fish.name:
                continue
            if isinstance(event, Move):
                where = event.tank
                came, there = (count, True) if where == tank and not there else (came, there)
            else:
                count -= event.count
                dead += event.count if where == tank and event.dead else 0
                removed += event.count if where == tank and not event.dead else 0
        if there and came:
            found.append(FishIn(fish.name, came, dead, removed, fish.mass_kg))
    return tuple(found)


def volume_at(history: History, tank: str, time_d: float) -> float:
    """Volume of a tank after every event up to time_d [L]; raises Refused before it was filled."""
    return _steps(history, tank, time_d)[-1].volume_L


def dilution_history(history: History, tank: str, time_d: float) -> tuple[Dilution, ...]:
    """Every step that changed a tank's water up to time_d [d], and what it left of the level before it."""
    start = history.tank(tank)
    steps = _steps(history, tank, time_d)
    left, found, later = 1.0, [], time_d
    for step in reversed(steps):
        left *= step.kept * float(np.exp(-start.exchange_L_d / step.volume_L * (later - step.time_d)))
        found.append(replace(step, left=left))
        later = step.time_d
    return tuple(reversed(found))


def _steps(history: History, tank: str, time_d: float) -> list[Dilution]:
    if tank not in {each.name for each in history.tanks}:
        names = ", ".join(each.name for each in history.tanks)
        raise Refused(f"unknown tank {tank!r}", f"one of {names or 'none'}", "add the tank or correct it")
    start = history.tank(tank)
    if time_d < start.filled_d:
        raise Refused(
            f"sample at {time_d:g} d from tank {tank}",
            f"a time from its filling at {start.filled_d:g} d on",
            "correct it",
        )
    steps = [Dilution(start.filled_d, "filled", 1.0, 1.0, start.volume_L)]
    where = {fish.name: fish.tank for fish in history.fish}
    for event in sorted(history.events, key=lambda event: event.time_d):
        if event.time_d > time_d:
            break
        steps += _step(event, tank, where, steps[-1].volume_L)
        if isinstance(event, Move):
            where[event.fish] = event.tank
    return steps


def _step(
    event: Move | Leave | Renew | Resize | Add, tank: str, where: dict[str, str | None], volume: float
) -> list[Dilution]:
    """What an event did to the water of a tank; empty when nothing."""
    if isinstance(event, Renew) and event.tank == tank:
        return [Dilution(event.time_d, f"{event.share:.0%} renewed", 1.0 - event.share, 1.0, volume)]
    if isinstance(event, Resize) and event.tank == tank:
        words = "drained" if event.volume_L < volume else "filled up"
        kept = min(1.0, volume / event.volume_L)
        return [Dilution(event.time_d, f"{words} to {event.volume_L:g} L", kept, 1.0, event.volume_L)]
    if not isinstance(event, Move) or event.carried_L == 0.0 or where[event.fish] is None:
        return []
    if event.tank == tank:
        after = volume + event.carried_L
        return [Dilution(event.time_d, f"{event.carried_L:g} L came with fish", volume / after, 1.0, after)]
    if where[event.fish] == tank:
        return [Dilution(event.time_d, f"{event.carried_L:g} L left with fish", 1.0, 1.0, volume - event.carried_L)]
    return []

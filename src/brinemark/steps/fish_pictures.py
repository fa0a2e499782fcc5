"""What the charts of tanks and consignments are drawn from, filled from a tank record and its interpretation."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from brinemark.outputs.charts.levels import CANNOT_SAY, stated_level
from brinemark.records.reader import Reader
from brinemark.science.fish.evidence import capped
from brinemark.science.fish.released import Case, released
from brinemark.science.fish.worlds import World
from brinemark.steps.chosen import current, limits_of
from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer, WaterAnswer, WorldAnswer, most_telling
from brinemark.steps.interpret import FishDesk, considered, fish_desk, supposed
from brinemark.steps.packing import unpack_limits
from brinemark.steps.place import Place
from brinemark.steps.tank_history import TankStory, kind_of, story_of
from brinemark.steps.tank_words import least_weight
from brinemark.steps.water_power import best_protocol
from brinemark.steps.water_readings import UNIT
from brinemark.steps.weighing import AT_CAPTURE, NOT_AT_CAPTURE
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import Cap, VerbalScale, Weight
from brinemark.terms.fish_pictures import (
    ConsignmentPicture,
    ConsignmentRow,
    StatedLevel,
    TankEvent,
    TankSample,
    TankTimeline,
    WeightBar,
    WeightsPicture,
    WorldBand,
    WorldMoves,
)
from brinemark.terms.tanks import (
    BLANK,
    CATCH,
    FED,
    FILLED,
    IN,
    NOTE,
    OUT,
    RENEWED,
    SAMPLE,
    SPIKED,
    TREATED,
    UNEXPOSED,
    VOLUME,
    Consignment,
    TankRow,
)
from brinemark.terms.wording import opened

GRID = 120
"""Times at which the bands are worked out, beside those of everything that happened."""
QUANTILES = (0.025, 0.25, 0.5, 0.75, 0.975)
JUST_BEFORE_D = 1e-6
ANY_OTHER = "the account without exposure that explains the readings best"
BANDS_ARE = "Bands: what the fish alone would give if exposed at capture, without what the water holds anyway."
SEVERAL = "Its fish were not all caught at one moment, so that days since capture are not counted."
TOO_LATE = "kept so long before it was read that thiocyanate may have gone"
NAMES = {IN: "fish in", OUT: "fish out"}


def tank_timeline_picture(place: Place, consignment: str, tank: str) -> TankTimeline:
    """One tank against time, as it would be interpreted now; nothing is stored. Raises Refused for unknown names."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
        least = minimum_detectable(place, reader)
    answer = considered(desk, consignment, [tank]).tanks[0]
    return timeline_of(desk, consignment, answer, least)


def timeline_of(desk: FishDesk, consignment: str, answer: TankAnswer, least: float | None = None) -> TankTimeline:
    """The same from a desk and an answer that are there already. least : minimum detectable level [ug/L].

    The bands are quantiles of the very draws that the interpretation weighs, at more times.
    """
    record = desk.consignments[consignment]
    story = story_of(record, answer.tank)
    moments = {row.at for row in _captures(record, story)}
    capture = story.day(moments.pop()) if len(moments) == 1 else None
    unsure = {story.capture_u_d.get(str(row.fish)) for row in _captures(record, story)}
    events, samples = tuple(_events(record, story)), tuple(_samples(record, story, desk))
    days = [story.day(answer.filled), *(one.day for one in events), *(one.day for one in samples)]
    return TankTimeline(
        tank=answer.tank,
        unit=UNIT,
        start=story.start,
        events=events,
        samples=samples,
        worlds=tuple(_bands(desk, record, story, days)),
        minimum_detectable=least,
        capture_d=capture,
        capture_u_d=unsure.pop() if capture is not None and len(unsure) == 1 else None,
        notes=tuple(_notes(answer, story, record)),
    )


def minimum_detectable(place: Place, reader: Reader) -> float | None:
    """The level that the newest calibration's middle batch detects with the probability of the settings [ug/L], by the
    protocol that detects most; None without one, or for levels in another unit."""
    if place.settings.analyte.level_unit != UNIT:
        return None
    try:
        kept = limits_of(place, reader, current(place, reader).record.id)
    except Refused:
        return None
    limits = () if kept is None else unpack_limits(kept)
    return best_protocol(limits)[0].minimum_detectable if limits else None


def consignment_picture(answer: ConsignmentAnswer, least: float | None = None) -> ConsignmentPicture:
    """All tanks, each with its most telling water, and in each world the weight that has least support for exposure.

    least : minimum detectable level [ug/L].
    """
    worlds = tuple(dict.fromkeys(world.world for tank in answer.tanks for world in tank.worlds))
    rows = tuple(
        ConsignmentRow(one.tank, _most_telling(one), _row_bars(one, worlds, answer.cap)) for one in answer.tanks
    )
    return ConsignmentPicture(answer.name, answer.unit, worlds, AT_CAPTURE, ANY_OTHER, rows, least)


def weights_picture(answer: TankAnswer, cap: Cap, scale: VerbalScale) -> WeightsPicture:
    """What the readings of one tank weigh in each world: against no exposure, and against each other account that the
    record leaves open.

    cap : where no trial says what a world's ratio may count for.
    """
    bars: list[WeightBar] = []
    for world in answer.worlds:
        mine = world.cap or cap
        bars.append(weight_bar(world.world, world.judged, mine, world.reason or _no_ratio(world)))
        bars += [weight_bar(f"{world.world}, {one.second}", one, mine) for one in world.against]
    notes = (f"{opened(cap.caution)}.",) if cap.caution else ()
    if any(world.against for world in answer.worlds):
        notes = ("A row that names another account weighs exposure against that account.", *notes)
    title = f"Tank {answer.tank}: weight of the readings"
    return WeightsPicture(title, AT_CAPTURE, NOT_AT_CAPTURE, tuple(bars), scale, notes)


def moves_of(answer: TankAnswer) -> tuple[WorldMoves, ...]:
    """How far each assumption moves the ratio of each world that has one."""
    return tuple(
        WorldMoves(world.world, world.weight.log10_ratio, world.moves)
        for world in answer.worlds
        if world.weight is not None and world.moves
    )


def weight_bar(world: str, weight: Weight | None, cap: Cap, reason: str | None = None) -> WeightBar:
    """One weight with what is left of it within the cap."""
    if weight is None:
        return WeightBar(world, None, reason=reason or "no ratio")
    floor = math.log10(cap.floor) if cap.floor > 0.0 else None
    ceiling = math.log10(cap.ratio) if math.isfinite(cap.ratio) else None
    counted = capped(weight.log10_ratio, cap)
    return WeightBar(world, weight.log10_ratio, weight.lower, weight.upper, counted, floor, ceiling)


def stated_of(water: WaterAnswer, analyte: str = "thiocyanate") -> StatedLevel | None:
    """What a water states on a level axis: kept too long, its upper end is open; None when it was not read."""
    if water.reading is None:
        return None
    stated = stated_level(water.reading, UNIT, analyte)
    if not water.late or stated.statement == CANNOT_SAY:
        return stated
    if not stated.lower:
        return StatedLevel(CANNOT_SAY, f"cannot say ({analyte})", reason=TOO_LATE)
    return replace(stated, upper=None, median=None, words=f"{stated.words}; a lower limit, since it was {TOO_LATE}")


def _captures(record: Consignment, story: TankStory) -> list[TankRow]:
    """Catches of those fish of a tank whose moment means something: bred ones were caught at no moment."""
    return [row for row in record.of(CATCH) if row.fish in story.fish and row.history not in UNEXPOSED]


def _events(record: Consignment, story: TankStory) -> Iterator[TankEvent]:
    """What happened to this tank and to its fish while they were in it."""
    inside: dict[str, str | None] = {}
    for row in record.rows:
        here = row.tank == story.tank
        here = here or (row.what == OUT and row.tank is None and inside.get(str(row.fish)) == story.tank)
        if row.what == IN:
            if inside.get(str(row.fish)) == story.tank and not here:
                yield TankEvent(story.day(row.at), NAMES[OUT], f"{row.fish} to {row.tank}")
            inside[str(row.fish)] = row.tank
        if here and row.what in WORDS:
            yield TankEvent(story.day(row.at), NAMES.get(row.what, row.what), _event_words(row, record))


WORDS = (FILLED, IN, OUT, RENEWED, VOLUME, FED, TREATED, SPIKED, NOTE)


def _event_words(row: TankRow, record: Consignment) -> str:
    """A few words beside the mark of an event."""
    if row.what == IN:
        lot = next((one for one in record.of(CATCH) if one.fish == row.fish), None)
        count = "" if lot is None or lot.count is None else f"{lot.count} "
        return f"{count}{row.fish}" + (f", {row.carried_L:g} L along" if row.carried_L else "")
    if row.what == OUT:
        return f"{row.count} {row.fish}" + (" dead" if row.dead else "")
    said = {
        FILLED: (row.volume_L, "L"),
        VOLUME: (row.volume_L, "L"),
        RENEWED: (None if row.share is None else 100.0 * row.share, "%"),
        FED: (row.amount_g, "g"),
        TREATED: (row.amount_g, "g"),
        SPIKED: (row.amount_ug, "µg"),
    }
    amount, unit = said.get(row.what, (None, ""))
    words = [] if amount is None else [f"{amount:g} {unit}"]
    words += [row.substance] if row.substance and row.what in (FED, TREATED) else []
    return ", ".join(words) if row.what != NOTE else (row.note or "")


def _samples(record: Consignment, story: TankStory, desk: FishDesk) -> Iterator[TankSample]:
    """Samples of the tank, its field blanks, and blanks of its system that lie within the tank's time."""
    system = record.system_of(story.tank)
    for row in record.of(SAMPLE, BLANK):
        mine = row.tank == story.tank if row.tank else row.system in (system, None)
        if mine and (water := desk.waters.get(str(row.sample))) is not None:
            yield TankSample(water.sample, story.day(row.at), water.kind, stated_of(water))


def _bands(desk: FishDesk, record: Consignment, story: TankStory, days: Sequence[float]) -> Iterator[WorldBand]:
    exposed = supposed(record, story, kind_of(record, story.tank))
    filled = min(tank.filled_d for tank in story.history.tanks if tank.name == story.tank)
    last = max(days)
    if not exposed or last <= filled:
        return
    times = _grid(filled, last, [event.time_d for event in story.history.events])
    case = Case(story.tank, exposed, story.capture_u_d)
    for world in desk.scales.worlds:
        yield _band(world, desk, (story, case), times)


def _grid(first: float, last: float, events: Sequence[float]) -> FloatArray:
    """Even times, and for every step the moment before it and its own."""
    steps = np.array([time for time in events if first < time < last], dtype=float)
    before = steps - JUST_BEFORE_D
    return np.unique(np.concatenate([np.linspace(first, last, GRID), before[before > first], steps]))


def _band(world: World, desk: FishDesk, asked: tuple[TankStory, Case], times: FloatArray) -> WorldBand:
    story, case = asked
    levels = released(world, story.history, case, times, desk.scales.drawing).water_ug_L
    low, inner_low, middle, inner_high, high = np.quantile(levels, QUANTILES, axis=0)
    return WorldBand(world.name, times, middle, inner_low, inner_high, low, high)


def _notes(answer: TankAnswer, story: TankStory, record: Consignment) -> Iterator[str]:
    if answer.worlds and story.fish:
        yield BANDS_ARE
    if len({row.at for row in _captures(record, story)}) > 1:
        yield SEVERAL
    if answer.missing:
        yield f"Missing: {'; '.join(answer.missing)}."


def _most_telling(answer: TankAnswer) -> StatedLevel | None:
    """What the water with the highest lower end states, else the last that was read."""
    read = [one for one in answer.samples if one.reading is not None]
    if not read:
        return None
    return stated_of(read[most_telling(read)])


def _row_bars(answer: TankAnswer, worlds: Sequence[str], cap: Cap) -> tuple[WeightBar, ...]:
    known = {world.world: world for world in answer.worlds}
    return tuple(_row_bar(name, known.get(name), cap) for name in worlds)


def _row_bar(name: str, world: WorldAnswer | None, cap: Cap) -> WeightBar:
    if world is None:
        return WeightBar(name, None, reason="not asked")
    return weight_bar(name, least_weight(world), world.cap or cap, world.reason or _no_ratio(world))


def _no_ratio(world: WorldAnswer) -> str | None:
    return None if world.table is None else world.table.reason

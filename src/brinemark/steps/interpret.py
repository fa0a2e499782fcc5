"""From the waters of a consignment and its tank record to what they say of its fish, and what they cannot say."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import timedelta
from typing import Any

from brinemark.records.reader import Reader
from brinemark.science.fish.alternatives import FED, OUTFLOW, TOUCHED
from brinemark.science.fish.mass_balance import (
    Level,
    MassBalance,
    balance,
    dilution_history,
    fish_ever_in,
    volume_at,
)
from brinemark.science.fish.surveillance import expected_false_at
from brinemark.science.fish.wording import DEFAULT_SCALE, checked_scale
from brinemark.science.fish.worlds import CAUTIONS, Drawing
from brinemark.steps.blanks import source_blanks, wanted_blanks
from brinemark.steps.consignments import consignment_named, known_consignments
from brinemark.steps.fish_answers import ConsignmentAnswer, FalseAlarms, FishLot, TankAnswer, WaterAnswer
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.kept_experiments import newest_experiments
from brinemark.steps.known_waters import SystemWater, cap_from, known_tanks, system_water
from brinemark.steps.place import Place
from brinemark.steps.tank_history import TankStory, kind_of, story_of
from brinemark.steps.tank_remarks import tank_remarks
from brinemark.steps.tank_words import SCREENING, headline, tank_sentences
from brinemark.steps.trial_lines import newest_trial
from brinemark.steps.water_readings import Rule, WaterReading, water_answer, water_readings
from brinemark.steps.weighing import Question, Scales, weighed
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import VerbalBand, VerbalScale
from brinemark.terms.tanks import (
    BLANK,
    CATCH,
    FEED_LEACH,
    FIELD,
    FILLED,
    IN,
    OUT,
    SAMPLE,
    SOURCE_WATER,
    UNEXPOSED,
    UNKNOWN,
    Consignment,
    TankRow,
)
from brinemark.terms.tanks import FED as FED_ROW

KIND = "interpretation"
SAME_SITTING = timedelta(hours=12)
"""Samples of several tanks taken within so long of a field blank were taken in its sitting (our own choice)."""


@dataclass(slots=True, eq=False)
class FishDesk:
    """What every interpretation of one moment shares: all consignments, their waters as read, backgrounds, the cap."""

    place: Place
    consignments: Mapping[str, Consignment]
    read: Mapping[str, WaterReading]
    waters: Mapping[str, WaterAnswer]
    rule: Rule
    scales: Scales
    own: str | None
    experiments: str | None = None
    systems: dict[str, SystemWater] = field(default_factory=dict)

    def system(self, name: str) -> SystemWater:
        """The background of a water system, worked out once."""
        if name not in self.systems:
            self.systems[name] = system_water(name, self.consignments.values(), self.waters)
        return self.systems[name]


def fish_desk(place: Place, reader: Reader) -> FishDesk:
    """All that interpretations need, at one moment."""
    consignments = known_consignments(reader)
    rows = [row for one in consignments.values() for row in one.of(SAMPLE, BLANK)]
    read = water_readings(place, reader, [str(row.sample) for row in rows])
    rule = Rule(place.settings.fish.alpha, place.settings.fish.hold_h)
    waters = {str(row.sample): water_answer(row, read.get(str(row.sample)), rule, ()) for row in rows}
    fish = place.settings.fish
    cap = cap_from(known_tanks(consignments.values(), waters))
    own = newest_experiments(reader)
    scales = Scales(own.worlds, Drawing(fish.draws, fish.seed), cap, verbal_scale(place), newest_trial(reader))
    reason = own.world if isinstance(own.world, str) else None
    return FishDesk(place, consignments, read, waters, rule, scales, reason, own.record)


def verbal_scale(place: Place) -> VerbalScale:
    """The words for ratios: those of the settings, or the ones built in."""
    fish = place.settings.fish
    if fish.scale is None:
        return DEFAULT_SCALE
    bands = tuple(VerbalBand(start, words) for start, words in fish.scale)
    return checked_scale(VerbalScale(fish.scale_source or "", fish.scale_from_memory, bands))


def consider(place: Place, name: str, tanks: Collection[str] | None = None) -> ConsignmentAnswer:
    """What the waters of a consignment say now; nothing is stored. tanks : only these. Raises Refused."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    return considered(desk, name, tanks)


def considered(desk: FishDesk, name: str, tanks: Collection[str] | None = None) -> ConsignmentAnswer:
    """The same from a desk that is there already."""
    consignment = consignment_named(desk.consignments, name)
    for tank in tanks or ():
        tank_named(consignment, tank)
    wanted = consignment.tanks if tanks is None else tuple(one for one in consignment.tanks if one in tanks)
    answers = tuple(_tank(desk, consignment, tank) for tank in wanted)
    tested = [one.found for tank in answers for one in tank.samples if one.found is not None]
    false = expected_false_at(len(tested), desk.rule.alpha)
    systems = dict.fromkeys(consignment.system_of(tank) for tank in wanted)
    return ConsignmentAnswer(
        name=name,
        id="",
        record=consignment.id,
        analyte=desk.place.settings.analyte.name,
        alpha=desk.rule.alpha,
        lots=_lots(consignment),
        tanks=answers,
        blanks=tuple(desk.waters[str(row.sample)] for row in consignment.of(BLANK)),
        systems=tuple(desk.system(one).answer() for one in systems),
        cap=desk.scales.cap,
        false_alarms=FalseAlarms(len(tested), sum(tested), desk.rule.alpha, false.mean, false.at_least_one),
        scale=desk.scales.scale.label,
        own=desk.own,
        cautions=(SCREENING, *CAUTIONS),
    )


def tank_named(consignment: Consignment, tank: str) -> None:
    """Raises Refused unless the consignment has this tank."""
    if tank not in consignment.tanks:
        there = ", ".join(consignment.tanks) or "none"
        came = f"no tank {tank!r} in consignment {consignment.name!r}"
        raise Refused(came, f"one of {there}", "correct the name")


def interpret(place: Place, name: str) -> ConsignmentAnswer:
    """The same, kept as a record with everything it was made from. Raises Refused."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    answer = considered(desk, name)
    recipe = interpretation_recipe(desk, name)
    record = recipe.record(Made({**answer.to_dict(), "interpretation": None}, {}))
    with place.database.writing() as writer:
        if writer.add_records([record]):
            detail: dict[str, JsonValue] = {"interpretation": record.id, "content": record.content}
            writer.seal("consignment interpreted", name, detail)
    return replace(answer, id=record.id)


def interpretation_recipe(desk: FishDesk, name: str) -> Recipe:
    """Every reading and tank record that can have mattered: those of known fish and source waters in all consignments,
    and this consignment's own."""
    own = desk.consignments[name]
    known = known_tanks(desk.consignments.values(), desk.waters)
    behind = {own.name, *(one.consignment for one in known)}
    names = {str(row.sample) for row in own.of(SAMPLE, BLANK)} | {one.water.sample for one in known if one.water}
    for tank in own.tanks:
        names |= {str(row.sample) for row in source_blanks(desk.consignments.values(), own.system_of(tank))}
    parents = [("tank record", own.id)]
    parents += [("tank record of known fish", desk.consignments[one].id) for one in sorted(behind - {name})]
    parents += [("reading", desk.read[one].answer.id) for one in sorted(names) if one in desk.read]
    parents += [] if desk.scales.trial.id is None else [("trial", desk.scales.trial.id)]
    parents += [] if desk.experiments is None else [("own experiments", desk.experiments)]
    seed = desk.scales.drawing.seed
    return Recipe(KIND, f"consignment {name}", tuple(dict.fromkeys(parents)), fish_identity(desk), seed)


def fish_identity(desk: FishDesk) -> dict[str, JsonValue]:
    """Everything beside records and seed that decides what an interpretation or a trial says."""
    scale: Any = asdict(desk.scales.scale)
    worlds: Any = {
        world.name: {key: [one.law, one.median, one.spread] for key, one in world.parameters.items()}
        for world in desk.scales.worlds
    }
    return {
        "alpha": desk.rule.alpha,
        "hold_h": desk.rule.hold_h,
        "draws": desk.scales.drawing.count,
        "scale": {**scale, "bands": [[one.start, one.words] for one in desk.scales.scale.bands]},
        "worlds": worlds,
    }


def _tank(desk: FishDesk, consignment: Consignment, tank: str) -> TankAnswer:
    story, system = story_of(consignment, tank), consignment.system_of(tank)
    rows = consignment.samples_of(tank)
    waters, remarks = _with_remarks(desk, consignment, tank)
    blanks = tuple(desk.waters[str(row.sample)] for row in source_blanks(desk.consignments.values(), system))
    own = {str(row.sample) for row in consignment.of(BLANK)}
    nearest_blanks = [one for one in blanks if one.sample in own and one.reading is not None] or list(blanks)
    kind, accounts = kind_of(consignment, tank), open_accounts(consignment, tank, desk.waters)
    question = Question(
        story,
        supposed(consignment, story, kind),
        waters,
        desk.system(system).background,
        accounts,
        any(row.smoker for row in rows),
        min((row.retained_mL for row in rows if row.retained_mL), default=None),
    )
    worlds = tuple(weighed(question, world, desk.scales) for world in desk.scales.worlds)
    balanced, weighed_amount = _balance(desk, story, waters, nearest_blanks)
    filled = next(row for row in consignment.of(FILLED) if row.tank == tank)
    last = story.day(max([filled.at, *([one.at for one in waters] or [consignment.rows[-1].at])]))
    return TankAnswer(
        tank=tank,
        system=system,
        kind=kind,
        filled=filled.at,
        volume_L=volume_at(story.history, tank, last),
        fish=fish_ever_in(story.history, tank, last),
        dilution=dilution_history(story.history, tank, last),
        samples=waters,
        blanks=blanks,
        balanced=balanced,
        balance=weighed_amount,
        worlds=worlds,
        open=accounts,
        missing=missing_blanks(consignment, tank, desk.waters, blanks),
        remarks=remarks,
        headline=headline(waters, weighed_amount, worlds, desk.scales),
        words=tank_sentences(waters, weighed_amount, worlds, accounts),
    )


def _with_remarks(
    desk: FishDesk, consignment: Consignment, tank: str
) -> tuple[tuple[WaterAnswer, ...], tuple[str, ...]]:
    """The samples of a tank with what is to be kept in mind of each, and what holds for all of them."""
    names = [str(row.sample) for row in consignment.samples_of(tank)]
    fish = {row.fish for row in consignment.of(IN) if row.tank == tank}
    rows = [row for row in consignment.rows if row.tank == tank or (row.fish is not None and row.fish in fish)]
    told = {name: (*desk.waters[name].remarks, *tank_remarks(rows, tank, name)) for name in names}
    common = tuple(text for text in told[names[0]] if all(text in one for one in told.values())) if names else ()
    waters = tuple(
        replace(desk.waters[name], remarks=tuple(text for text in told[name] if text not in common)) for name in names
    )
    return waters, common


def supposed(consignment: Consignment, story: TankStory, kind: str) -> tuple[str, ...]:
    """Fish whose exposure is the question: those of unknown history; of tanks with known ones alone, all."""
    known = {row.fish: row.history or UNKNOWN for row in consignment.of(CATCH)}
    asked = tuple(name for name in story.fish if known.get(name, UNKNOWN) not in UNEXPOSED)
    return story.fish if kind == "unexposed" else asked


def open_accounts(
    consignment: Consignment, tank: str, waters: Mapping[str, WaterAnswer]
) -> tuple[tuple[str, str], ...]:
    """Other accounts of thiocyanate in this tank that the record does not exclude, each with the reason."""
    found: list[tuple[str, str]] = []
    fish = {row.fish for row in consignment.rows if row.tank == tank and row.fish is not None}
    near = [row.near for row in consignment.of(FILLED, CATCH) if row.near and (row.tank == tank or row.fish in fish)]
    if near:
        found.append((OUTFLOW, f"the record names {', '.join(dict.fromkeys(near))}"))
    fed = [row for row in consignment.of(FED_ROW) if row.tank == tank]
    leach = [waters.get(str(row.sample)) for row in _blanks(consignment, tank, FEED_LEACH)]
    if any(row.amount_g for row in fed) and not _all_clean(leach):
        found.append((FED, "fish were fed in this tank, and no blank of the feed shows that nothing comes of it"))
    touched = _touched(consignment, tank, waters)
    return tuple([*found, (TOUCHED, touched)] if touched else found)


def _touched(consignment: Consignment, tank: str, waters: Mapping[str, WaterAnswer]) -> str | None:
    """Why a taker may have contaminated the samples of a tank, None when nothing says so."""
    field_blanks = _blanks(consignment, tank, FIELD)
    found = [waters.get(str(row.sample)) for row in field_blanks]
    if any(row.smoker for row in consignment.samples_of(tank)):
        return "a smoker took a sample, and a droplet of saliva holds as much as is looked for"
    if not field_blanks:
        return "no field blank was opened where the samples were taken"
    return None if _all_clean(found) else "the field blank was not read as free of thiocyanate"


def _blanks(consignment: Consignment, tank: str, kind: str) -> list[TankRow]:
    """Blanks of a kind that speak for a tank. A field blank that names a tank speaks for it, and for the others that
    were sampled in the same sitting."""
    found = [row for row in consignment.of(BLANK) if row.blank == kind]
    if kind != FIELD:
        return found
    taken = [row.at for row in consignment.samples_of(tank)]
    return [row for row in found if row.tank in (None, tank) or any(abs(row.at - at) <= SAME_SITTING for at in taken)]


def _all_clean(blanks: Sequence[WaterAnswer | None]) -> bool:
    return bool(blanks) and all(one is not None and one.found is False for one in blanks)


def missing_blanks(
    consignment: Consignment, tank: str, waters: Mapping[str, WaterAnswer], source: Sequence[WaterAnswer]
) -> tuple[str, ...]:
    """Blanks that this tank's result would need and that were not taken or not read, in words."""
    found = []
    for kind in wanted_blanks(consignment, tank):
        taken = (
            list(source)
            if kind == SOURCE_WATER
            else [waters[str(row.sample)] for row in _blanks(consignment, tank, kind)]
        )
        if not taken:
            found.append(f"no {kind} blank was taken")
        elif all(one.reading is None for one in taken):
            found.append(f"the {kind} blank was not read")
    return tuple(found)


def _balance(
    desk: FishDesk, story: TankStory, waters: Sequence[WaterAnswer], blanks: Sequence[WaterAnswer]
) -> tuple[str | None, MassBalance | None]:
    """The mass balance of the sample with the highest lower end, and which one that is. blanks : of the source water,
    those of the consignment itself where it has any."""
    read = [one for one in waters if one.reading is not None and one.reading.statement != "cannot say"]
    if not read:
        return None, None
    one = max(read, key=lambda water: water.lower or 0.0)
    blank = [end for water in blanks if (end := _blank_level(water)) is not None]
    level = Level(one.lower, max(blank) if blank else None)
    day = story.day(one.at)
    return one.sample, balance(level, story.history, story.tank, day, desk.scales.worlds, desk.scales.drawing)


def _blank_level(water: WaterAnswer) -> float | None:
    """What a blank may hold: the upper end of what is stated, the least favourable to a rise."""
    if water.reading is None or water.reading.statement == "cannot say":
        return None
    return water.upper


def _lots(consignment: Consignment) -> tuple[FishLot, ...]:
    taken = consignment.of(OUT)
    return tuple(
        FishLot(
            fish=str(row.fish),
            species=row.species,
            count=row.count or 0,
            mass_g=row.mass_g or 0.0,
            origin=row.origin,
            history=row.history or UNKNOWN,
            at=row.at,
            at_u_d=row.at_u_d,
            near=row.near,
            dead=sum(one.count or 0 for one in taken if one.fish == row.fish and one.dead),
            removed=sum(one.count or 0 for one in taken if one.fish == row.fish and not one.dead),
        )
        for row in consignment.of(CATCH)
    )

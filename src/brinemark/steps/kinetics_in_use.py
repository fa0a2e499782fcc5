"""The parameters that interpretations use, world by world with their sources, and what own experiments say of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from brinemark.science.fish.own_experiments import Experiment, OwnFit, fit_experiments, own_world
from brinemark.science.fish.worlds import Drawing, World
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import Recipe
from brinemark.steps.interpret import FishDesk, fish_desk
from brinemark.steps.kept_experiments import EXPERIMENTS, KeptExperiments, fit_dict, newest_experiments, packed
from brinemark.steps.place import Place
from brinemark.steps.tank_history import kind_of, story_of
from brinemark.steps.water_readings import usable_samples
from brinemark.steps.weighing import NAMES
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit
from brinemark.terms.tanks import CATCH, EXPOSED, Consignment

DRAWS = 4096
"""Draws of a fit; interpretations need fewer, since they weigh and do not search."""
WORDS = {
    **NAMES,
    "conversion_half_life": "half-life of cyanide in the body",
    "lag": "time until thiocyanate is made",
    "uptake": "uptake from the water",
    "plasma_volume": "volume that thiocyanate in plasma fills",
}
"""Every parameter in words."""


@dataclass(frozen=True, slots=True, eq=False)
class OwnTank:
    """A tank that is an experiment of one's own: spiked, or with fish known to have been exposed. waters : of it that
    can be used; left_out : why it is not, None when it is."""

    consignment: str
    tank: str
    kind: str
    waters: int
    left_out: str | None


@dataclass(frozen=True, slots=True, eq=False)
class KineticsAnswer:
    """worlds : those that interpretations use now; tanks : own experiments that are recorded; fit : what was fitted
    and kept, None without; record : its id; reason : why there is no world of own experiments, None when there is."""

    worlds: tuple[World, ...]
    tanks: tuple[OwnTank, ...]
    fit: OwnFit | None
    record: str | None
    reason: str | None

    def words_of(self, parameter: str) -> str:
        """A parameter in words."""
        return WORDS.get(parameter, parameter.replace("_", " "))

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `kinetics --json`."""
        plain = {
            "schema": ANSWER_SCHEMA,
            "worlds": [self._world(one) for one in self.worlds],
            "own_experiments": {
                "record": self.record,
                "reason": self.reason,
                "tanks": [asdict(one) for one in self.tanks],
                "fit": None if self.fit is None else fit_dict(self.fit),
            },
        }
        return finite(plain)  # type: ignore[no-any-return]

    def _world(self, one: World) -> dict[str, Any]:
        parameters = [
            {**asdict(each), "words": self.words_of(name), "together": name in one.joint}
            for name, each in one.parameters.items()
        ]
        return {"world": one.name, "holds": one.words, "parameters": parameters}


def kinetics_in_use(place: Place) -> KineticsAnswer:
    """What interpretations use now; nothing is stored."""
    with place.database.reading() as reader:
        desk, kept = fish_desk(place, reader), newest_experiments(reader)
    return _answer(own_tanks(desk), kept)


def fit_own(place: Place) -> KineticsAnswer:
    """Fit own experiments and keep the fit; interpretations use it from then on. Raises Refused without any."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    found = list(_found(desk))
    tanks, experiments = tuple(one for one, _ in found), [one for _, one in found if one is not None]
    if not experiments:
        why = "; ".join(f"{one.consignment} {one.tank}: {one.left_out}" for one in tanks)
        came = "no own experiment that can be used" + (f" ({why})" if why else "")
        remedy = "record spiked tanks, or tanks of fish of a permitted trial, and read their waters"
        raise Refused(came, "tanks that were spiked, or of fish known to have been exposed", remedy)
    drawing = Drawing(DRAWS, desk.scales.drawing.seed)
    fit = fit_experiments(experiments, backgrounds(desk), drawing)
    record = _recipe(desk, tanks, drawing).record(packed(fit))
    with place.database.writing() as writer:
        if writer.add_records([record]):
            writer.seal("own experiments fitted", record.id[:12], {"record": record.id, "tanks": len(experiments)})
    kept = KeptExperiments(record.id, fit, own_world(fit))
    return _answer(tanks, kept)


def _answer(tanks: tuple[OwnTank, ...], kept: KeptExperiments) -> KineticsAnswer:
    reason = kept.world if isinstance(kept.world, str) else None
    return KineticsAnswer(kept.worlds, tanks, kept.fit, kept.record, reason)


def own_tanks(desk: FishDesk) -> tuple[OwnTank, ...]:
    """Every tank that is an experiment of one's own."""
    return tuple(one for one, _ in _found(desk))


def own_experiments(desk: FishDesk) -> list[Experiment]:
    """Those that can be used, each tank with its own history."""
    return [experiment for _, experiment in _found(desk) if experiment is not None]


def _found(desk: FishDesk) -> Iterator[tuple[OwnTank, Experiment | None]]:
    for consignment in desk.consignments.values():
        spiked = consignment.spiked
        for tank in consignment.tanks:
            exposed = kind_of(consignment, tank) == "exposed"
            if exposed or tank in spiked:
                yield _experiment(desk, consignment, tank, "exposed fish" if exposed else "spiked")


def _experiment(desk: FishDesk, consignment: Consignment, tank: str, kind: str) -> tuple[OwnTank, Experiment | None]:
    story = story_of(consignment, tank)
    samples = tuple(usable_samples(consignment, story, desk.waters).values())
    plain = OwnTank(consignment.name, tank, kind, len(samples), None)
    name = f"{tank} of {consignment.name}"
    if not samples:
        return replace(plain, left_out="no water of it was read"), None
    known = desk.system(consignment.system_of(tank)).background
    if kind != "spiked" and isinstance(known, str):
        return replace(plain, left_out=f"what the fish add cannot be told from the water: {known}"), None
    fish = {row.fish for row in consignment.of(CATCH) if row.history in EXPOSED}
    exposed = tuple(one for one in story.fish if one in fish)
    return plain, Experiment(name, story.history, exposed, samples)


def backgrounds(desk: FishDesk) -> dict[str, BackgroundFit | None]:
    """The background of the water of each experiment by its name, None where it has none."""
    waters = {one.name: desk.system(_system(desk, tank)) for tank, one in _found(desk) if one is not None}
    return {name: one.background if isinstance(one.background, BackgroundFit) else None for name, one in waters.items()}


def _system(desk: FishDesk, tank: OwnTank) -> str:
    return desk.consignments[tank.consignment].system_of(tank.tank)


def _recipe(desk: FishDesk, tanks: Sequence[OwnTank], drawing: Drawing) -> Recipe:
    """Everything behind the fit: tank records and readings of the experiments, and of the waters of known fish that the
    backgrounds are from."""
    used = [one for one in tanks if one.left_out is None]
    systems = {_system(desk, one) for one in used}
    names = [str(row.sample) for one in used for row in desk.consignments[one.consignment].samples_of(one.tank)]
    names += [water.sample for system in sorted(systems) for water in desk.system(system).waters]
    parents = [("tank record", desk.consignments[name].id) for name in sorted(_behind(desk, used, systems))]
    parents += [("reading", desk.read[name].answer.id) for name in dict.fromkeys(names) if name in desk.read]
    settings: Any = {"hold_h": desk.rule.hold_h, "draws": drawing.count}
    return Recipe(EXPERIMENTS, "own experiments", tuple(dict.fromkeys(parents)), settings, drawing.seed)


def _behind(desk: FishDesk, used: list[OwnTank], systems: set[str]) -> set[str]:
    """Consignments whose records say what the experiments and their backgrounds rest on."""
    waters = {water.sample for system in systems for water in desk.system(system).waters}
    of_waters = {
        one.name
        for one in desk.consignments.values()
        if any(row.sample in waters for row in one.rows if row.sample is not None)
    }
    return of_waters | {one.consignment for one in used}

"""Which exposures of the fish of a tank agree with its waters: doses and times, world by world, beside no exposure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from brinemark.science.fish.inverse import Cells, Exposures, exposures_that_agree
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.consignments import consignment_named
from brinemark.steps.fish_answers import finite
from brinemark.steps.interpret import FishDesk, fish_desk, supposed, tank_named
from brinemark.steps.place import Place
from brinemark.steps.tank_history import kind_of, story_of
from brinemark.steps.water_readings import usable_samples
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit


@dataclass(frozen=True, slots=True)
class RecordedCatch:
    """What the record says of the fish that are asked about: days_d from their catch to the first water [d], with the
    standard uncertainty u_d [d], None where none was given."""

    fish: str
    days_d: float
    u_d: float | None


@dataclass(frozen=True, slots=True, eq=False)
class ExposuresAnswer:
    """Exposures that agree with the waters of one tank. samples : those that were used; reason : why there is no
    background, None when there is one; worlds : one answer each."""

    consignment: str
    tank: str
    samples: tuple[str, ...]
    caught: tuple[RecordedCatch, ...]
    reason: str | None
    worlds: tuple[Exposures, ...]

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `exposures --json`."""
        plain = {
            "schema": ANSWER_SCHEMA,
            "consignment": self.consignment,
            "tank": self.tank,
            "samples": list(self.samples),
            "caught": [{"fish": one.fish, "days_d": one.days_d, "u_d": one.u_d} for one in self.caught],
            "no_background": self.reason,
            "worlds": [_world_dict(one) for one in self.worlds],
        }
        return finite(plain)  # type: ignore[no-any-return]


def _world_dict(one: Exposures) -> dict[str, Any]:
    return {
        "world": one.world,
        "dose_mg_kg": one.dose_mg_kg.tolist(),
        "days_d": one.days_d.tolist(),
        "log_likelihood": one.log_likelihood.tolist(),
        "agrees": one.agrees.tolist(),
        "no_exposure": one.no_exposure,
        "none_agrees": one.none_agrees,
        "effective": one.effective,
        "words": one.words,
        "cautions": list(one.cautions),
    }


def consider_exposures(place: Place, consignment: str, tank: str) -> ExposuresAnswer:
    """Doses and times that agree with the waters of a tank; nothing is stored.

    Raises Refused for an unknown consignment or tank, without fish, and where no water of it was read.
    """
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    return exposures_of(desk, consignment, tank)


def exposures_of(desk: FishDesk, name: str, tank: str) -> ExposuresAnswer:
    """The same from a desk that is there already."""
    consignment = consignment_named(desk.consignments, name)
    tank_named(consignment, tank)
    story = story_of(consignment, tank)
    asked = supposed(consignment, story, kind_of(consignment, tank))
    if not asked:
        raise Refused(f"no fish in tank {tank!r} that may have been exposed", "a tank with fish", "name another tank")
    samples = usable_samples(consignment, story, desk.waters)
    if not samples:
        raise Refused(f"no water of tank {tank!r} that was read", "one at least", "read its samples first")
    known = desk.system(consignment.system_of(tank)).background
    background = known if isinstance(known, BackgroundFit) else None
    used = tuple(samples.values())
    drawing = desk.scales.drawing
    worlds = tuple(
        exposures_that_agree(world, story.history, asked, used, background, Cells(drawing=drawing))
        for world in desk.scales.worlds
    )
    first = min(sample.time_d for sample in used)
    caught = tuple(
        RecordedCatch(fish.name, first - fish.exposed_d, story.capture_u_d.get(fish.name))
        for fish in story.history.fish
        if fish.name in asked
    )
    reason = known if isinstance(known, str) else None
    return ExposuresAnswer(name, tank, tuple(samples), caught, reason, worlds)

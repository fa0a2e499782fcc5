"""Consignments at a glance: what each is, how much of its water was read, and whether its interpretation is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from brinemark.steps.fish_answers import ConsignmentAnswer
from brinemark.steps.interpret import FishDesk, fish_desk, interpretation_recipe, verbal_scale
from brinemark.steps.place import Place
from brinemark.steps.tank_words import world_words
from brinemark.terms.tanks import BLANK, CATCH, SAMPLE, UNKNOWN, Consignment


@dataclass(frozen=True, slots=True)
class ConsignmentHead:
    """One consignment in a list.

    caught : (origin or None, moment) of each lot; histories : what is known of its fish; samples, read, found : waters
    of its tanks, those that were read, those in which thiocyanate counts as found; blanks, blanks_read; kept : id of
    the record of what would be said of it now, None = not kept.
    """

    name: str
    recorded_at: str
    caught: tuple[tuple[str | None, datetime], ...]
    histories: tuple[str, ...]
    fish: int
    tanks: int
    samples: int
    read: int
    found: int
    blanks: int
    blanks_read: int
    kept: str | None

    def to_dict(self) -> dict[str, Any]:
        caught = [{"origin": origin, "at": at.isoformat()} for origin, at in self.caught]
        return {**asdict(self), "caught": caught, "histories": list(self.histories)}


def consignment_heads(place: Place) -> list[ConsignmentHead]:
    """Every consignment, in the order of their first records."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
        ids = {name: interpretation_recipe(desk, name).id for name in desk.consignments}
        kept = reader.known_record_ids(list(ids.values()))
    return [_head(desk, one, ids[name] if ids[name] in kept else None) for name, one in desk.consignments.items()]


def _head(desk: FishDesk, one: Consignment, kept: str | None) -> ConsignmentHead:
    waters = [desk.waters[str(row.sample)] for row in one.of(SAMPLE)]
    blanks = [desk.waters[str(row.sample)] for row in one.of(BLANK)]
    lots = one.of(CATCH)
    return ConsignmentHead(
        name=one.name,
        recorded_at=one.recorded_at,
        caught=tuple((row.origin, row.at) for row in lots),
        histories=tuple(dict.fromkeys(row.history or UNKNOWN for row in lots)),
        fish=sum(row.count or 0 for row in lots),
        tanks=len(one.tanks),
        samples=len(waters),
        read=sum(water.reading is not None for water in waters),
        found=sum(bool(water.found) for water in waters),
        blanks=len(blanks),
        blanks_read=sum(water.reading is not None for water in blanks),
        kept=kept,
    )


def words_of_worlds(place: Place, answer: ConsignmentAnswer) -> Mapping[str, Mapping[str, str]]:
    """By tank and world: the support in a few words, against the account that explains the readings best."""
    scale, cap = verbal_scale(place), answer.cap
    return {one.tank: {world.world: world_words(world, scale, cap) for world in one.worlds} for one in answer.tanks}

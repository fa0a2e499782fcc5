"""The page of one tank: what happened, what was read, what the amount asks of the fish, and what it weighs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.pages.considered import (
    cap_dict,
    considered_tank,
    consignment_of,
    most_telling,
    ratio_of,
    tank_in,
    tank_name_of,
)
from brinemark.faces.web.pages.consignments import world_dict
from brinemark.faces.web.pages.happening_words import KINDS, UNITS, WORDS
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.steps.tank_history import story_of
from brinemark.terms.tanks import CATCH, FILLED, HAPPENINGS, Consignment, TankRow

if TYPE_CHECKING:
    from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer, WaterAnswer, WorldAnswer
    from brinemark.terms.evidence import BackgroundTable

SKIPPED = ("consignment", "at", "what", "number", "tank")
ADDED = tuple(what for what in HAPPENINGS if what not in (CATCH, FILLED))
"""What can happen to a tank that is there."""


def one(visit: Visit) -> Answer:
    """One tank of a consignment."""
    consignment = consignment_of(visit, visit.path["name"])
    tank = tank_name_of(visit, consignment, visit.path["tank"])
    data = visit.desk.kept(("tank page", consignment.name, tank), lambda: _said(visit, consignment, tank))
    return Page("tank.html", f"Tank {tank} of consignment {consignment.name}", data)


def _said(visit: Visit, consignment: Consignment, name: str) -> dict[str, Any]:
    answer = considered_tank(visit, consignment, name)
    tank = tank_in(answer, name)
    words = visit.book.words_of_worlds(answer)[name]
    telling = most_telling(tank)
    data = {
        "consignment": consignment.name,
        "tanks": list(consignment.tanks),
        "answer": tank.to_dict(),
        "sentence": None if telling is None else telling.sentence,
        "sample": None if telling is None else telling.sample,
        "statement": None if telling is None or telling.reading is None else telling.reading.statement,
        "happened": [_happened(row) for row in _rows(consignment, name, tank)],
        "waters": [_water(one) for one in (*tank.samples, *tank.blanks)],
        "dilution": _dilution(consignment, tank),
        "worlds": [_world(one, words[one.world]) for one in tank.worlds],
        "system": next((_system(one) for one in answer.systems if one.system == tank.system), None),
        "caps": _caps(answer, tank),
        "scale": answer.scale,
        "own_world": answer.own,
        "alpha": answer.alpha,
        "cautions": list(answer.cautions),
        "pictures": _pictures(answer, tank),
        "exposures": bool(tank.fish) and telling is not None,
        "kinds": [{"what": what, "words": KINDS[what]} for what in ADDED],
    }
    return finite(data)  # type: ignore[no-any-return]


def _caps(answer: ConsignmentAnswer, tank: TankAnswer) -> list[dict[str, Any]]:
    """What a ratio may count for: each cap once, with the worlds that it holds in."""
    found: list[dict[str, Any]] = []
    for world in tank.worlds:
        cap = cap_dict(world.cap or answer.cap)
        same = next((one for one in found if one["cap"] == cap), None)
        if same is None:
            found.append({"worlds": [world.world], "cap": cap})
        else:
            same["worlds"].append(world.world)
    return found


def _pictures(answer: ConsignmentAnswer, tank: TankAnswer) -> dict[str, str]:
    asked = urlencode({"consignment": answer.name, "tank": tank.tank})
    moved = any(world.moves for world in tank.worlds)
    return {
        "timeline": f"/pictures/tank.svg?{asked}",
        "weights": f"/pictures/weights.svg?{asked}" if any(world.judged for world in tank.worlds) else "",
        "moves": f"/pictures/moves.svg?{asked}" if moved else "",
    }


def _rows(consignment: Consignment, name: str, tank: TankAnswer) -> list[TankRow]:
    """What the record says of this tank, and of its fish outside of any tank."""
    fish = {one.fish for one in tank.fish}
    return [row for row in consignment.rows if row.tank == name or (row.tank is None and row.fish in fish)]


def _happened(row: TankRow) -> dict[str, Any]:
    cells = {name: getattr(row, name) for name in WORDS if name not in SKIPPED}
    said = [{"name": WORDS[name], "value": value, "unit": UNITS.get(name, "")} for name, value in cells.items()]
    return {
        "at": row.at.isoformat(),
        "what": row.what,
        "words": KINDS[row.what],
        "cells": [one for one in said if one["value"] is not None],
    }


def _water(one: WaterAnswer) -> dict[str, Any]:
    return {
        "sample": one.sample,
        "kind": "water sample" if one.kind == "sample" else f"{one.kind} blank",
        "at": one.at.isoformat(),
        "sentence": one.sentence,
        "read": one.reading is not None,
        "found": one.found,
        "hours": one.hours,
        "late": one.late,
        "remarks": list(one.remarks),
    }


def _dilution(consignment: Consignment, tank: TankAnswer) -> list[dict[str, Any]]:
    story = story_of(consignment, tank.tank)
    return [
        {
            "at": story.moment(one.time_d).isoformat(timespec="seconds"),
            "words": one.words,
            "kept": one.kept,
            "left": one.left,
            "volume_L": one.volume_L,
        }
        for one in tank.dilution
    ]


def _world(world: WorldAnswer, words: str) -> dict[str, Any]:
    plain: Mapping[str, Any] = world.to_dict()
    return {
        **world_dict(world, words),
        "holds": world.holds,
        "expected": plain["expected"],
        "posterior": plain["posterior"],
        "moves": [
            {"assumption": one.assumption, "low": ratio_of(one.at_low), "high": ratio_of(one.at_high)}
            for one in world.moves
        ],
        "backgrounds": None if world.table is None else _backgrounds(world.table),
    }


def _backgrounds(table: BackgroundTable) -> dict[str, Any]:
    rows = [{"median": one.median, "gsd": one.gsd, "ratio": ratio_of(one.log10_ratio)} for one in table.rows]
    least = ratio_of(table.least_favourable.log10_ratio)
    return {"first": table.first, "reason": table.reason, "rows": rows, "least": least}


def _system(one: Any) -> dict[str, Any]:
    return {
        "system": one.system,
        "waters": one.waters,
        "median": None if one.median is None else list(one.median),
        "gsd": None if one.gsd is None else list(one.gsd),
        "reason": one.reason,
    }

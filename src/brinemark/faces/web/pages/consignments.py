"""The pages of consignments: the list, and what the waters of one say of its fish, tank by tank and world by world."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.pages.considered import (
    JOB,
    cap_dict,
    considered,
    consignment_of,
    is_long,
    most_telling,
    weight_dict,
)
from brinemark.faces.web.visit import Visit, sliced
from brinemark.steps.fish_answers import finite
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import NOTE, Consignment

if TYPE_CHECKING:
    from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer, WorldAnswer

AT_ONCE = 20
"""Tanks on one page."""
KEEP = "keep"


def table(visit: Visit) -> Answer:
    """All consignments, the last one recorded first."""
    found = list(reversed(_heads(visit)))
    word = visit.ask("find").casefold()
    wanted = [one for one in found if word in _words(one)] if word else found
    part, shown = sliced(visit, len(wanted))
    return Page("consignments.html", "Consignments", {"consignments": wanted[part], "shown": shown})


def one(visit: Visit) -> Answer:
    """One consignment: fish, what each tank's waters say in each world, amounts, other accounts, cautions."""
    consignment = consignment_of(visit, visit.path["name"])
    name = consignment.name
    answer = considered(visit, consignment)
    head = next(one for one in _heads(visit) if one["name"] == name)
    begun = next((job for job in visit.desk.jobs.all() if job.kind == JOB and not job.ended), None)
    data: dict[str, Any] = {
        **_record(consignment),
        "kept": head["kept"],
        "long": is_long(consignment),
        "job": begun.id if begun is not None and begun.arguments["consignment"] == name else "",
        "answer": None,
    }
    if answer is not None:
        part, data["shown"] = sliced(visit, len(answer.tanks), AT_ONCE)
        data |= visit.desk.kept(("consignment page", name), lambda: _said(visit, answer))
        data["sections"] = data["sections"][part]
    return Page("consignment.html", f"Consignment {name}", data)


def begin(visit: Visit) -> Answer:
    """Keep the interpretation as it is now, or work out a long one."""
    consignment = consignment_of(visit, visit.path["name"])
    name, jobs = consignment.name, visit.desk.jobs
    if visit.get("do") == JOB:
        job = jobs.begin(JOB, f"Consignment {name}", consignment=name, state=visit.desk.state())
        return GoTo(f"/jobs/{job.id}")
    if visit.get("do") != KEEP:
        raise Refused(f"{visit.get('do')!r}", f"{KEEP} or {JOB}", "use the buttons of the page", column="do")
    if is_long(consignment):
        return GoTo(f"/jobs/{jobs.begin('interpret', f'Keep the interpretation of {name}', consignment=name).id}")
    kept = visit.book.interpret(name)
    return GoTo(f"/consignments/{segment(name)}", f"Kept as record {kept.id[:12]}.")


def _heads(visit: Visit) -> list[dict[str, Any]]:
    made = visit.book.consignment_heads
    return visit.desk.kept("consignment heads", lambda: [_head(one.to_dict()) for one in made()])


def _head(plain: dict[str, Any]) -> dict[str, Any]:
    """With each day and place of its fish once."""
    places = [f"{lot['at'][:10]}{', ' + lot['origin'] if lot['origin'] else ''}" for lot in plain["caught"]]
    return {**plain, "places": list(dict.fromkeys(places))}


def _words(head: dict[str, Any]) -> str:
    return " ".join([head["name"], *(one["origin"] or "" for one in head["caught"]), *head["histories"]]).casefold()


def _record(one: Consignment) -> dict[str, Any]:
    return {
        "consignment": one.name,
        "record": one.id,
        "recorded_at": one.recorded_at,
        "earlier": one.earlier,
        "titles": list(one.titles),
        "tanks": list(one.tanks),
        "notes": [{"at": row.at.isoformat(), "tank": row.tank, "note": row.note} for row in one.of(NOTE)],
    }


def _said(visit: Visit, answer: ConsignmentAnswer) -> dict[str, Any]:
    words = visit.book.words_of_worlds(answer)
    worlds = {world.world: world.holds for tank in answer.tanks for world in tank.worlds}
    data = {
        "answer": answer.to_dict(),
        "worlds": [{"world": name, "holds": holds} for name, holds in worlds.items()],
        "sections": [_tank(tank, words[tank.tank]) for tank in answer.tanks],
        "cap": cap_dict(answer.cap),
        "picture": f"/pictures/consignment.svg?{urlencode({'consignment': answer.name})}" if answer.tanks else "",
    }
    return finite(data)  # type: ignore[no-any-return]


def _tank(tank: TankAnswer, words: Any) -> dict[str, Any]:
    """One tank as a person reads it."""
    telling = most_telling(tank)
    balance = tank.balance
    return {
        "tank": tank.tank,
        "kind": tank.kind,
        "volume_L": tank.volume_L,
        "fish": [{"fish": one.fish, "count": one.count, "dead": one.dead, "removed": one.removed} for one in tank.fish],
        "headline": tank.headline,
        "sample": None if telling is None else telling.sample,
        "statement": None if telling is None or telling.reading is None else telling.reading.statement,
        "sentence": None if telling is None else telling.sentence,
        "found": None if telling is None else telling.found,
        "late": telling is not None and telling.late,
        "samples": len(tank.samples),
        "read": sum(one.reading is not None for one in tank.samples),
        "balance": None if balance is None else {"status": balance.status, "words": list(balance.words)},
        "worlds": [world_dict(one, words[one.world]) for one in tank.worlds],
        "open": [{"account": name, "why": why} for name, why in tank.open],
        "missing": list(tank.missing),
    }


def world_dict(world: WorldAnswer, words: str) -> dict[str, Any]:
    """One world of one tank: its words, its ratios, or why there is none."""
    judged = world.judged
    return {
        "world": world.world,
        "words": words,
        "weight": None if judged is None else weight_dict(judged),
        "against": [weight_dict(one) for one in world.against],
        "reason": world.reason or (None if world.table is None else world.table.reason),
        "table": world.table is not None,
        "told": list(world.told),
    }

"""Forms of what happened to a tank or its fish, kind first, then its fields; and the first rows of a consignment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import rows_of
from brinemark.faces.web.pages.considered import consignments_of
from brinemark.faces.web.pages.happening_words import HINTS, KINDS, LONG, NUMBERS, UNITS, WORDS, YES_NO
from brinemark.faces.web.visit import Faulty, Visit
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import (
    ALLOWED_BY,
    BLANKS,
    CATCH,
    FILLED,
    HAPPENINGS,
    HISTORIES,
    IN,
    NEEDED_BY,
    SAMPLE,
    Consignment,
)
from brinemark.terms.wording import opened

if TYPE_CHECKING:
    from brinemark.steps.tank_answers import TanksTaken

EVERYWHERE = ("place", "note")
FIRST: Mapping[str, Sequence[str]] = {
    CATCH: ("at", "fish", "species", "count", "mass_g", "at_u_d", "origin", "history", "near"),
    FILLED: ("at", "tank", "volume_L", "renewal_L_per_d", "system", "filter", "near"),
    IN: ("at", "carried_L"),
}
"""Fields of a consignment's first rows, by what each row is."""
LEGENDS = {CATCH: "The fish", FILLED: "Their first tank, if they are in one", IN: "Into the tank"}


def form(visit: Visit) -> Answer:
    """Which kind of happening, or the fields of the kind that is asked for."""
    sent = visit.get("what")
    what = sent if sent in HAPPENINGS else visit.ask("what")
    asked = {name: visit.ask(name) for name in ("consignment", "tank")}
    if not what:
        kinds = [{"what": one, "words": KINDS[one], "see": visit.with_asked(what=one)} for one in HAPPENINGS]
        return Page("happening_kinds.html", "What happened", {"kinds": kinds, **asked})
    if what not in HAPPENINGS:
        raise Refused(f"{what[:40]!r}", f"one of {', '.join(HAPPENINGS)}", "choose one of the list", column="what")
    names = [name for name in WORDS if name in (*NEEDED_BY[what], *ALLOWED_BY[what])]
    needed = ("consignment", "at", *NEEDED_BY[what])
    fields = [_field(visit, name, name in needed) for name in ("consignment", "at", *names, *EVERYWHERE)]
    fields = list({one["name"]: one for one in fields}.values())
    for one in fields:
        one["value"] = asked.get(one["name"], "")
    data = {"what": what, "kind": KINDS[what], "fields": fields, "lists": _lists(visit, asked["consignment"]), **asked}
    return Page("happening.html", opened(KINDS[what]), data)


def add(visit: Visit) -> Answer:
    """Add one row to the tank record of a consignment."""
    what = visit.need("what", "what")
    names = ("consignment", "at", "what", *NEEDED_BY.get(what, ()), *ALLOWED_BY.get(what, ()), *EVERYWHERE)
    row = {name: text for name in names if (text := _text(visit, name, name))}
    taken = _taken(visit, [row], lambda _row, column: column)
    return GoTo(_see(row["consignment"], row.get("tank")), _said(taken))


def first(visit: Visit) -> Answer:
    """A consignment that is not recorded yet: its first fish, their tank, and their going into it."""
    groups = []
    for what, names in FIRST.items():
        fields = [
            _field(visit, name, what == CATCH and name in ("at", *NEEDED_BY[CATCH]), f"{what}.") for name in names
        ]
        groups.append({"what": what, "legend": LEGENDS[what], "fields": fields})
    consignment = _field(visit, "consignment", True)
    data = {"consignment": consignment, "groups": groups, "lists": _lists(visit, "")}
    return Page("consignment_form.html", "A new consignment", data)


def begin(visit: Visit) -> Answer:
    """Record the first rows of a consignment."""
    name = visit.get("consignment")
    if name and name in consignments_of(visit):
        raise Refused(
            f"consignment {name}, which is recorded", "a new name", "add to it on its page", column="consignment"
        )
    rows = list(_first_rows(visit, name))
    kinds = [row["what"] for row in rows]
    taken = _taken(visit, rows, lambda row, column: _first_field(kinds, row, column))
    return GoTo(_see(name), _said(taken))


def _first_field(kinds: Sequence[str], row: int | None, column: str | None) -> str | None:
    """The field of the form that a fault of a row belongs to."""
    if column is None or column == "consignment" or row is None:
        return column
    what = kinds[row - 1]
    return f"{CATCH if column == 'fish' else FILLED if column == 'tank' else what}.{column}"


def _first_rows(visit: Visit, name: str) -> Iterable[dict[str, str]]:
    """Of the fish always, of the tank and of going into it where anything of it is filled in."""
    said = {what: {one: _text(visit, f"{what}.{one}", one) for one in names} for what, names in FIRST.items()}
    yield {"consignment": name, "what": CATCH, **said[CATCH]}
    if any(said[FILLED].values()) or any(said[IN].values()):
        yield {"consignment": name, "what": FILLED, **said[FILLED]}
    if any(said[IN].values()):
        fish, tank = said[CATCH]["fish"], said[FILLED]["tank"]
        yield {"consignment": name, "what": IN, "fish": fish, "tank": tank, **said[IN]}


def _taken(
    visit: Visit, rows: Sequence[Mapping[str, str]], field_of: Callable[[int | None, str | None], str | None]
) -> TanksTaken:
    """Check rows and take them in. Raises Faulty with every fault, each at its field."""
    checked = visit.book.check_tanks([dict(row) for row in rows])
    if checked.findings:
        found = [replace(one, row=None, column=field_of(one.row, one.column)) for one in checked.findings]
        raise Faulty(list(dict.fromkeys(found)))
    return visit.book.add_tank_rows(rows)


def _said(taken: TanksTaken) -> str:
    told = "Recorded." if taken.new else "The same was recorded already; nothing changed."
    return " ".join([told, *(f"{opened(one)}." for one in taken.warnings)])


def _see(consignment: str, tank: str | None = None) -> str:
    address = f"/consignments/{segment(consignment)}"
    return address if tank is None else f"{address}/tanks/{segment(tank)}"


def _text(visit: Visit, field: str, column: str) -> str:
    """A field as a tank record has it: numbers with a point."""
    text = visit.get(field)
    return text.replace(",", ".") if column in NUMBERS else text


def _field(visit: Visit, name: str, needed: bool, prefix: str = "") -> dict[str, Any]:
    """One field of a form: how it is called, filled in, and what is chosen from."""
    unit = UNITS.get(name)
    hint = HINTS.get(name, "")
    if name == "at":
        hint = f"Read in the zone of this logbook, {visit.settings.logbook.timezone}."
    return {
        "name": prefix + name,
        "column": name,
        "words": WORDS[name] + (f", {unit}" if unit else ""),
        "needed": needed,
        "hint": hint,
        "kind": _kind(name),
        "options": _options(name, needed),
    }


def _kind(name: str) -> str:
    if name == "at":
        return "moment"
    if name in LONG:
        return "long"
    if name in ("history", "blank", *YES_NO):
        return "choice"
    return "number" if name in NUMBERS else "text"


def _options(name: str, needed: bool) -> list[tuple[str, str]]:
    known = {"history": HISTORIES, "blank": BLANKS, **dict.fromkeys(YES_NO, ("no", "yes"))}.get(name, ())
    nothing = [] if not known else [("", "choose" if needed else "not said")]
    return [*nothing, *((one, one) for one in known)]


def _lists(visit: Visit, consignment: str) -> dict[str, list[str]]:
    """What was written before in each field, to choose from."""
    known = consignments_of(visit)
    own = known.get(consignment)
    of_one: Sequence[Consignment] = [own] if own is not None else []
    every = list(known.values())
    taken = {row.sample for one in every for row in one.rows if row.sample}
    read = {row.row.sample for row in rows_of(visit.desk) if row.row.role == "sample" and row.row.sample}
    return {
        "consignment": list(known),
        "tank": [tank for one in of_one for tank in one.tanks],
        "fish": _cells(of_one, "fish"),
        "sample": sorted(read - taken),
        "duplicate": [str(row.sample) for one in of_one for row in one.of(SAMPLE)],
        **{name: _cells(every, name) for name in ("species", "origin", "system", "filter", "taker", "container")},
        **{name: _cells(every, name) for name in ("storage", "substance", "place", "stock")},
    }


def _cells(consignments: Sequence[Consignment], name: str) -> list[str]:
    found = (getattr(row, name) for one in consignments for row in one.rows)
    return list(dict.fromkeys(str(value) for value in found if value is not None))

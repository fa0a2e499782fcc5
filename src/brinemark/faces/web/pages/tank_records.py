"""Tank records by the pages: looked through row by row, taken in, handed out to be filled in or corrected."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.numbers import COMMA
from brinemark.faces.web.pages.considered import consignments_of
from brinemark.faces.web.pages.uploaded import LOOK, carried, table_of
from brinemark.faces.web.visit import Visit
from brinemark.terms.wording import opened

if TYPE_CHECKING:
    from brinemark.steps.tank_answers import CheckedTanks, TanksTaken

RECORD = "record"


def form(visit: Visit) -> Answer:
    """Where a tank record is dropped."""
    return Page("tank_record.html", "A tank record", _data(visit))


def send(visit: Visit) -> Answer:
    """Look a record through, or take it in when it is all right."""
    name, body = table_of(visit, RECORD, "tank record")
    corrects, reason = visit.get("corrects") or None, visit.get("reason") or None
    checked = visit.book.check_tanks((name, body), corrects, reason)
    if checked.findings or visit.get("do") == LOOK:
        data = {**_data(visit, corrects, reason), "checked": _checked(checked), "called": name}
        data["carried"] = carried(body) if checked.sound else ""
        title = "Not taken in" if checked.findings else "All is right"
        return Page("tank_record.html", title, data, 200 if checked.sound else 422)
    taken = visit.book.add_tanks((name, body), corrects, reason)
    return GoTo(_see(taken), _said(taken))


def empty(visit: Visit) -> Answer:
    """A table to fill in, with every column."""
    return _file(visit, None, "tank-record.csv")


def table(visit: Visit) -> Answer:
    """What is recorded of a consignment, as a table to correct."""
    return _file(visit, visit.path["name"], f"tank-record-{visit.path['name']}.csv")


def _file(visit: Visit, name: str | None, called: str) -> File:
    text = visit.book.tank_table(name, comma=visit.ask("decimal", visit.style) == COMMA)
    return File(text.encode("utf-8"), "text/csv; charset=utf-8", called)


def _data(visit: Visit, corrects: str | None = None, reason: str | None = None) -> dict[str, Any]:
    return {
        "consignments": list(consignments_of(visit)),
        "corrects": corrects or visit.ask("corrects"),
        "reason": reason or "",
        "checked": None,
        "carried": "",
        "called": "",
    }


def _checked(checked: CheckedTanks) -> dict[str, Any]:
    plain = checked.to_dict()
    return {name: plain[name] for name in ("title", "sound", "rows", "new", "consignments", "findings", "remarks")}


def _see(taken: TanksTaken) -> str:
    names = [one.consignment for one in taken.consignments]
    return f"/consignments/{segment(names[0])}" if len(names) == 1 else "/consignments"


def _said(taken: TanksTaken) -> str:
    if not taken.new:
        return f"Every row of {taken.title} was recorded already; nothing changed."
    rows = sum(one.new for one in taken.consignments)
    told = f"{rows} {'row' if rows == 1 else 'rows'} of {taken.title} recorded."
    return " ".join([told, *(f"{opened(one)}." for one in taken.warnings)])

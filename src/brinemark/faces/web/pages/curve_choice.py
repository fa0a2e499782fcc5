"""Which curves an address asks for: the same rows for the page, its table and its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from brinemark.faces.web.looks import row_of, rows_of
from brinemark.faces.web.visit import Visit, sliced
from brinemark.terms.errors import Refused
from brinemark.terms.runs import ROLES, StoredRow

MOST = 60
ALL, KNOWN = "all", "known"
PRESCANS = (("none", "without pre-scans"), ("with", "with pre-scans"), ("only", "pre-scans alone"))
WHOLE, ABOVE = "whole", "above"
KNOWN_ROLES = ("blank", "standard")
NAMES = ("batch", "role", "instrument", "sheet", "find", "prescans", "shape", "row")


@dataclass(frozen=True, slots=True)
class Choice:
    """What is chosen; "all" leaves one open. rows : ids of rows, which then decide alone; empty for none named."""

    batch: str = ALL
    role: str = ALL
    instrument: str = ALL
    sheet: str = ALL
    find: str = ""
    prescans: str = "none"
    shape: str = WHOLE
    rows: tuple[str, ...] = ()

    @property
    def above_baseline(self) -> bool:
        return self.shape == ABOVE

    @property
    def curves_of_a_row(self) -> int:
        return 2 if self.prescans == "with" else 1

    def to_dict(self) -> dict[str, str]:
        names = ("batch", "role", "instrument", "sheet", "find", "prescans", "shape")
        return {name: getattr(self, name) for name in names}


def choice_of(visit: Visit) -> Choice:
    """What the address says; blanks and standards of the newest batch when it says nothing. Raises Refused."""
    if not any(name in visit.asked for name in NAMES):
        newest = _newest_batch(visit)
        return Choice(newest, KNOWN) if newest else Choice()
    prescans, shape = visit.ask("prescans", "none"), visit.ask("shape", WHOLE)
    if prescans not in dict(PRESCANS) or shape not in (WHOLE, ABOVE):
        raise Refused(f"{prescans!r} and {shape!r}", "choices of the form", "choose them on the page")
    said = {name: visit.ask(name) or ALL for name in ("batch", "role", "instrument", "sheet")}
    rows = tuple(visit.asked.get("row", ()))
    return Choice(**said, find=visit.ask("find"), prescans=prescans, shape=shape, rows=rows)


def rows_for(visit: Visit, choice: Choice) -> list[StoredRow]:
    """Rows with a curve of the kind that is chosen, by time. Raises Refused for a row that is none."""
    if choice.rows:
        return [row_of(visit.desk, name) for name in choice.rows[:MOST]]
    word = choice.find.casefold()
    found = [row for row in rows_of(visit.desk) if _fits(row, choice) and word in row.row.electrode.casefold()]
    return sorted(found, key=lambda row: (row.row.measured_at, row.row.electrode, row.row.number))


def part_of(visit: Visit, choice: Choice, found: Sequence[StoredRow]) -> tuple[list[StoredRow], dict[str, Any]]:
    """Those that are shown at once, at most MOST curves, and how the others are reached. Raises Refused."""
    part, shown = sliced(visit, len(found), MOST // choice.curves_of_a_row)
    return list(found[part]), shown


def options_of(visit: Visit) -> dict[str, list[tuple[str, str]]]:
    """What each choice of the form offers: value and words."""
    rows = rows_of(visit.desk)
    sheets = {sheet.id: sheet.title for sheet in visit.desk.kept("sheets", lambda: visit.book.sheets(current=True))}
    batches = sorted({row.row.batch for row in rows}, reverse=True)
    instruments = sorted({row.row.instrument for row in rows})
    there = {row.row.role for row in rows}
    return {
        "batch": [(ALL, "all batches"), *((name, name) for name in batches)],
        "role": [
            (ALL, "all that cells held"),
            (KNOWN, "blanks and standards"),
            *((name, name) for name in ROLES if name in there),
        ],
        "instrument": [(ALL, "all instruments"), *((name, name) for name in instruments)],
        "sheet": [(ALL, "all sheets"), *((name, title) for name, title in sheets.items())],
        "prescans": list(PRESCANS),
        "shape": [(WHOLE, "whole curves"), (ABOVE, "in the window, baseline taken off")],
    }


def _fits(row: StoredRow, choice: Choice) -> bool:
    one = row.row
    roles = KNOWN_ROLES if choice.role == KNOWN else ROLES if choice.role == ALL else (choice.role,)
    curves = {
        "none": (row.trace_sha256,),
        "with": (row.trace_sha256, row.prescan_sha256),
        "only": (row.prescan_sha256,),
    }
    return (
        one.role in roles
        and choice.batch in (ALL, one.batch)
        and choice.instrument in (ALL, one.instrument)
        and choice.sheet in (ALL, row.sheet_id)
        and any(curves[choice.prescans])
    )


def _newest_batch(visit: Visit) -> str:
    """The batch whose blanks and standards were measured last; one that has both goes before one that has not."""
    rows = [row.row for row in rows_of(visit.desk) if row.row.role in KNOWN_ROLES and row.trace_sha256]
    roles: dict[str, set[str]] = {}
    for one in rows:
        roles.setdefault(one.batch, set()).add(one.role)
    return max(rows, key=lambda one: (len(roles[one.batch]), one.measured_at)).batch if rows else ""

"""What several pages ask of a logbook, in the form in which templates and programs get it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from brinemark.faces.web.desk import Desk
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow

READINGS = {"prescan": "pre-scan", "addition": "addition", "sample": "main reading", "control": "main reading"}


def rows_of(desk: Desk) -> tuple[StoredRow, ...]:
    """Rows of all current sheets."""
    return desk.kept("rows", desk.book.rows)


def all_rows(desk: Desk) -> Mapping[str, StoredRow]:
    """Every row by its id, those of corrected sheets too."""
    return desk.kept("all rows", lambda: {row.id: row for row in desk.book.rows(superseded=True)})


def row_of(desk: Desk, name: str) -> StoredRow:
    """A row by its id. Raises Refused."""
    found = all_rows(desk).get(name)
    if found is None:
        raise Refused(f"no row {name[:24]!r}", "the id of a row", "follow a link of these pages")
    return found


def calibration_of(desk: Desk) -> tuple[Any, str]:
    """The newest calibration of the present definition, or None and why there is none."""

    def look() -> tuple[Any, str]:
        try:
            return desk.book.calibration(), ""
        except Refused as refusal:
            return None, str(refusal)

    return desk.kept("calibration", look)


def row_words(row: Any, unit: str) -> str:
    """What a row is, in a few words: blank; standard of 2 µg/L; sample S001, diluted 10."""
    if row.role == "blank":
        return "blank"
    if row.role in ("standard", "addition") and row.level is not None:
        return f"{row.role} of {row.level:g} {unit}"
    diluted = f", diluted {row.dilution:g}" if row.dilution != 1 else ""
    return f"{row.role} {row.sample or ''}".strip() + diluted

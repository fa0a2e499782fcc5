"""A planned run as the text of a run sheet, ready to be filled in; and file names made from safe parts."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import fields

from brinemark.records.sheet_table import COLUMNS, NEEDED
from brinemark.terms.run_plans import PlannedRow

TO_FILL = ("salinity", "pH", "temperature_C", "operator", "note")
"""Columns that are always there, empty unless planned."""
LONGEST_PART = 40
_NUMBERS = (*("level", "level_rel_u", "stock_level", "added_volume_mL", "volume_mL", "dilution", "expected_level"),)


def sheet_text(rows: Sequence[PlannedRow], *, comma: bool = False) -> str:
    """The run sheet of planned rows: columns that some row needs, and those to fill.

    comma : numbers with a decimal comma and cells parted by semicolons, as spreadsheets of many countries write.
    """
    said = {field.name for field in fields(PlannedRow)} & set(COLUMNS)
    used = {name for name in said if any(getattr(row, name) not in (None, "") for row in rows)}
    names = [name for name in COLUMNS if name in {*NEEDED, "trace", *TO_FILL, *used}]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\r\n")
    writer.writerow(names)
    writer.writerows([_cell(row, name, comma) for name in names] for row in rows)
    return text.getvalue()


def filled_text(rows: Sequence[PlannedRow], cells: Mapping[int, Mapping[str, str]]) -> str:
    """The run sheet of those rows that were filled in, with comma and decimal point.

    cells : by the place of a row among rows, from 0, the columns that were filled in (measured_at and TO_FILL).
    """
    kept = [n for n in range(len(rows)) if n in cells]
    table = list(csv.reader(io.StringIO(sheet_text([rows[n] for n in kept]))))
    head = table[0]
    for line, n in zip(table[1:], kept, strict=True):
        for column, value in cells[n].items():
            line[head.index(column)] = value
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(table)
    return text.getvalue()


def _cell(row: PlannedRow, name: str, comma: bool) -> str:
    value = getattr(row, name, None)
    if value is None:
        return ""
    if name in _NUMBERS:
        plain = f"{value:.12g}"
        return plain.replace(".", ",") if comma else plain
    return str(value)


def safe_part(text: str) -> str:
    """A piece of a file name that every system takes: ASCII letters, digits, points within, hyphens for the rest."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:LONGEST_PART].strip("-") or "x"

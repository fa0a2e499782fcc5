"""Tank records as tables: one to fill in, or what is recorded of a consignment, to correct."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import datetime, tzinfo

from brinemark.terms.tanks import COLUMNS, TankRow


def tank_table(rows: Sequence[TankRow], zone: tzinfo, *, comma: bool = False) -> str:
    """Rows as the text of a tank record with every column, times in the zone; without rows a table to fill in.

    comma : decimal comma, and semicolons between cells.
    """
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";" if comma else ",", lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([_cell(getattr(row, name), zone, comma) for name in COLUMNS] for row in rows)
    return text.getvalue()


def _cell(value: str | float | datetime | None, zone: tzinfo, comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat()
    if isinstance(value, float):
        return repr(value).replace(".", ",") if comma else repr(value)
    return str(value)

"""A sheet row as JSON and back, so that the logbook gives out exactly the row it took in."""

from __future__ import annotations

from dataclasses import fields
from datetime import datetime
from typing import Any

from brinemark.terms.canonical import JsonValue
from brinemark.terms.runs import SheetRow


def row_to_json(row: SheetRow) -> dict[str, JsonValue]:
    """All fields but the row number, which belongs to the sheet; empty ones are left out."""
    plain: dict[str, JsonValue] = {}
    for field in fields(SheetRow):
        value = getattr(row, field.name)
        if field.name == "number" or value is None:
            continue
        plain[field.name] = _plain(value)
    return plain


def row_from_json(plain: dict[str, Any], number: int) -> SheetRow:
    """The row that row_to_json wrote."""
    values = dict(plain)
    values["measured_at"] = datetime.fromisoformat(values["measured_at"])
    values["conditions"] = tuple((name, value) for name, value in values.get("conditions", []))
    return SheetRow(number=number, **values)


def _plain(value: Any) -> JsonValue:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, tuple):
        return [list(pair) for pair in value]
    return value  # type: ignore[no-any-return]

"""Rows of a tank record as JSON, the same whatever file they came in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import UTC, datetime
from operator import attrgetter
from typing import Any

from brinemark.terms.canonical import JsonValue
from brinemark.terms.tanks import (
    BLANK,
    CATCH,
    COLUMNS,
    FED,
    FILLED,
    IN,
    NOTE,
    OUT,
    RENEWED,
    SAMPLE,
    SPIKED,
    TREATED,
    VOLUME,
    TankRow,
)

AT_ONE_MOMENT = (CATCH, FILLED, OUT, IN, RENEWED, VOLUME, FED, TREATED, SPIKED, SAMPLE, BLANK, NOTE)
"""In which order rows of one moment are taken: fish that died are out before the rest goes in elsewhere."""
_CELLS = attrgetter(*COLUMNS)


def tank_row_to_json(row: TankRow) -> dict[str, JsonValue]:
    """What a row says, apart from its place in a file; empty cells left out, the time in UTC."""
    said: dict[str, Any] = {field.name: getattr(row, field.name) for field in fields(row) if field.name != "number"}
    said["at"] = row.at.astimezone(UTC).isoformat(timespec="microseconds")
    return {key: value for key, value in said.items() if value is not None}


def tank_row_from_json(plain: Mapping[str, Any], number: int = 0) -> TankRow:
    """The row that tank_row_to_json wrote; number : its place among the rows that it stands with."""
    return TankRow(**{**plain, "number": number, "at": datetime.fromisoformat(plain["at"])})


def tank_row_key(row: TankRow) -> tuple[str, ...]:
    """What a row says as plain texts: rows with one key say the same, and keys have an order."""
    return tuple("" if value is None else value if isinstance(value, str) else _plain(value) for value in _CELLS(row))


def _plain(value: float | datetime) -> str:
    """A number, a yes or no, or a moment; what came back from JSON may be a whole number that went in as another."""
    return repr(value.timestamp() if isinstance(value, datetime) else float(value))


def in_order(rows: Iterable[TankRow]) -> list[TankRow]:
    """Rows by time, those of one moment by what they are: the same whatever order they came in."""
    return sorted(rows, key=lambda row: (row.at.timestamp(), AT_ONE_MOMENT.index(row.what), tank_row_key(row)))

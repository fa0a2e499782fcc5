"""Bytes of a run sheet to a checked RunSheet, and the ids of rows and sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import UTC
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from brinemark.records.life_rules import life_faults, stock_faults
from brinemark.records.sheet_rules import faults_between, remarks, row_and_faults
from brinemark.records.sheet_table import read_table
from brinemark.terms.canonical import JsonValue, canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.findings import first_fault
from brinemark.terms.runs import RunSheet, SheetRow

if TYPE_CHECKING:
    from brinemark.terms.settings import Settings

_ROW_SCHEMA = 1
_NOT_CONTENT = ("number", "trace", "prescan")


def read_sheet(data: bytes, name: str, settings: Settings) -> RunSheet:
    """The checked run sheet; files that it names are not opened.

    Raises Refused for the first fault in the order of the file; the message names the other faulty rows.
    """
    sheet, faults = sheet_and_faults(data, name, settings)
    if faults:
        raise first_fault(faults)
    return sheet


def sheet_and_faults(data: bytes, name: str, settings: Settings) -> tuple[RunSheet, list[Refused]]:
    """The rows that can be understood, and every fault of the sheet. Raises Refused when it is no table at all."""
    table = read_table(data, name)
    zone, unit = ZoneInfo(settings.logbook.timezone), settings.analyte.level_unit
    rows: list[SheetRow] = []
    zoneless: list[int] = []
    faults: list[Refused] = []
    spoilt: set[str] = set()
    for cells in table.rows:
        row, zoned, wrong = row_and_faults(cells, zone, unit)
        faults += wrong
        if row is None:
            spoilt.add(cells.texts["electrode"])
            continue
        rows.append(row)
        zoneless += [] if zoned else [row.number]
    faults += faults_between(rows, name)
    # A life with a hole in it would give faults of its own.
    faults += life_faults([row for row in rows if row.electrode not in spoilt], name, settings.run.max_gap_h)
    faults += stock_faults(rows, name, settings)
    warnings = remarks(rows, settings, zoneless)
    if table.encoding in ("latin-1", "cp1252"):
        warnings.append("the sheet is not UTF-8 and was read as Latin-1; check accents in names")
    return RunSheet(name, tuple(map(_plain, rows)), tuple(warnings)), faults


def _plain(row: SheetRow) -> SheetRow:
    """An addition without what it may repeat of its sample, so that the same content has the same id."""
    return replace(row, sample=None, dilution=1.0) if row.role == "addition" else row


def canonical_row(row: SheetRow, trace_sha256: str | None, prescan_sha256: str | None) -> dict[str, JsonValue]:
    """What a row says, apart from how its sheet was written: no row number, no file names, time in UTC."""
    said = {f.name: getattr(row, f.name) for f in fields(row) if f.name not in _NOT_CONTENT}
    said["measured_at"] = row.measured_at.astimezone(UTC).isoformat(timespec="microseconds")
    said["conditions"] = dict(row.conditions) or None
    said |= {"trace": trace_sha256, "prescan": prescan_sha256}
    return {key: value for key, value in said.items() if value is not None}


def row_id(row: SheetRow, trace_sha256: str | None, prescan_sha256: str | None) -> str:
    """Id of a row: sha256 of its canonical content and the hashes of its files."""
    content = canonical_row(row, trace_sha256, prescan_sha256)
    return sha256_hex(canonical_bytes({"kind": "row", "schema": _ROW_SCHEMA, "row": content}))


def sheet_id(row_ids: Sequence[str]) -> str:
    """Id of a sheet: sha256 of its rows' ids, whatever their order."""
    return sha256_hex(canonical_bytes({"kind": "sheet", "schema": _ROW_SCHEMA, "rows": sorted(row_ids)}))

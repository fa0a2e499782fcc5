"""Records of the run sheet: one row is one reading of one electrode."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

ROLES = ("blank", "standard", "sample", "control", "addition")
CONDITIONS = (
    "salinity",
    "pH",
    "temperature_C",
    "contact_s",
    "stirring",
    "scan_rate_V_per_s",
    "reference",
)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One checked row of a run sheet. Levels are in the logbook's level unit.

    number : row in the file (1 is the header); measured_at : with zone; level : of a blank or standard, and the rise
    of the level in the cell for an addition that gives no volume; stock_level : of the stock that was added;
    added_volume_mL, volume_mL : what was added, and the cell before the first addition; trace, prescan : file names
    as written; conditions : those recorded, name to value.
    """

    number: int
    electrode: str
    batch: str
    instrument: str
    measured_at: datetime
    role: str
    level: float | None = None
    level_rel_u: float | None = None
    stock: str | None = None
    matrix_lot: str | None = None
    stock_level: float | None = None
    added_volume_mL: float | None = None
    volume_mL: float | None = None
    sample: str | None = None
    dilution: float = 1.0
    expected_level: float | None = None
    trace: str | None = None
    prescan: str | None = None
    signal: float | None = None
    signal_u: float | None = None
    signal_unit: str | None = None
    prescan_signal: float | None = None
    covariate: float | None = None
    conditions: tuple[tuple[str, float | str], ...] = ()
    position: str | None = None
    operator: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class RunSheet:
    """A checked run sheet: rows in file order, remarks that do not refuse it, and its title."""

    title: str
    rows: tuple[SheetRow, ...]
    warnings: tuple[str, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class StoredRow:
    """A row as the logbook keeps it: id, the sheet it came with, and the sha256 of its files."""

    id: str
    sheet_id: str
    row: SheetRow
    trace_sha256: str | None = None
    prescan_sha256: str | None = None


@dataclass(frozen=True, slots=True)
class RowUse:
    """The little of a stored row that says what its electrode was used for; quick to have for a whole logbook."""

    id: str
    sheet_id: str
    electrode: str
    batch: str
    role: str
    sample: str | None
    level: float | None

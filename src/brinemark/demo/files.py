"""Run sheets and voltammogram files in the several dialects that laboratories write."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np

from brinemark.demo.plan import MINUTES_APART, Added, CELL_mL, Planned, Tank
from brinemark.terms.curves import Trace

CURVES = "curves"
"""Folder of the voltammogram files, beside the run sheets."""
STOCK, STOCK_LEVEL = "KSCN-1", 1000.0
"""The invented stock solution of every standard, with its level [ug/L]."""
COLUMNS = (
    "electrode", "batch", "instrument", "measured_at", "role", "level", "stock", "stock_level", "sample",
    "dilution", "expected_level", "trace", "prescan", "scan_rate_V_per_s", "note",
)  # fmt: skip
VOLUMES = ("volume_mL", "added_volume_mL")
"""Columns of a sheet on which something was added to a cell."""


@dataclass(frozen=True, slots=True)
class SheetDialect:
    """How a run sheet is written."""

    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"


@dataclass(frozen=True, slots=True)
class CurveDialect:
    """How a voltammogram is written: potentials times volt, currents times ampere, in these words.

    columns : header texts for time, potential, current and cycle; an empty text leaves the column out.
    comments : lines before the header; sign : -1 for an instrument whose cathodic current is positive.
    """

    columns: tuple[str, str, str, str]
    volt: float = 1.0
    ampere: float = 1.0
    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"
    encoding: str = "utf-8"
    comments: tuple[str, ...] = ()
    sign: float = 1.0
    decimals: tuple[int, int] = (4, 9)


BENCH_BEFORE = CurveDialect(
    ("time_s", "potential_V", "current_A", "cycle"),
    comments=("# Ilsundry Quay Laboratory, bench potentiostat", "# potentials against Ag/AgCl, 3 mol/L KCl"),
    decimals=(4, 10),
)
BENCH_AFTER = CurveDialect(
    ("", "E / V", "I / µA", "cycle"),
    ampere=1e6,
    delimiter=";",
    decimal=",",
    newline="\r\n",
    encoding="latin-1",
    decimals=(4, 4),
)
PORTABLE = CurveDialect(
    ("", "Potential (mV)", "Current (nA)", ""),
    volt=1e3,
    ampere=1e9,
    delimiter="\t",
    encoding="utf-16",
    sign=-1.0,
    decimals=(1, 1),
)
SMALL = CurveDialect(("", "potential_mV", "current_uA", ""), volt=1e3, ampere=1e6, decimals=(0, 3))


def write_curve(file: Path, trace: Trace, dialect: CurveDialect) -> None:
    """One voltammogram file."""
    time = trace.time_s if trace.time_s is not None else np.arange(trace.potential_V.size, dtype=np.float64)
    cycle = trace.cycle if trace.cycle is not None else np.ones(trace.potential_V.size, dtype=np.int64)
    volts, amperes = dialect.decimals
    columns = (
        [f"{value:.3f}" for value in time],
        [f"{value:.{volts}f}" for value in trace.potential_V * dialect.volt],
        [f"{value:.{amperes}f}" for value in dialect.sign * trace.current_A * dialect.ampere],
        [f"{value:d}" for value in cycle],
    )
    used = [index for index, header in enumerate(dialect.columns) if header]
    lines = [*dialect.comments, dialect.delimiter.join(dialect.columns[index] for index in used)]
    for row in zip(*(columns[index] for index in used), strict=True):
        lines.append(dialect.delimiter.join(row).replace(".", dialect.decimal))
    file.write_bytes((dialect.newline.join(lines) + dialect.newline).encode(dialect.encoding))


def curve_names(reading: Planned) -> tuple[str, str]:
    """Paths of an electrode's curve and pre-scan, relative to the sheet."""
    return f"{CURVES}/{reading.electrode}.csv", f"{CURVES}/{reading.electrode}-prescan.csv"


def added_name(reading: Planned, place: int) -> str:
    """Path of the curve after an electrode's addition, the first of which has place 1."""
    return f"{CURVES}/{reading.electrode}-added-{place}.csv"


def write_sheet(
    file: Path,
    readings: Sequence[Planned],
    tanks: dict[str, Tank],
    dialect: SheetDialect,
    columns: Sequence[str] = COLUMNS,
) -> None:
    """One run sheet."""
    lines = [dialect.delimiter.join(columns)]
    for cells in (row for reading in readings for row in _life(reading, tanks, dialect.decimal)):
        lines.append(dialect.delimiter.join(_quoted(cells[column], dialect.delimiter) for column in columns))
    file.write_bytes((dialect.newline.join(lines) + dialect.newline).encode("utf-8"))


def _life(reading: Planned, tanks: dict[str, Tank], decimal: str) -> list[dict[str, str]]:
    """The rows of one electrode: its main reading, then its additions."""
    added = [_addition(reading, place, one, decimal) for place, one in enumerate(reading.added, start=1)]
    return [_cells(reading, tanks, decimal), *added]


def _addition(reading: Planned, place: int, added: Added, decimal: str) -> dict[str, str]:
    at = reading.measured_at + timedelta(minutes=MINUTES_APART * place)
    return dict.fromkeys((*COLUMNS, *VOLUMES), "") | {
        "electrode": reading.electrode,
        "batch": reading.batch,
        "instrument": reading.instrument,
        "measured_at": at.isoformat(),
        "role": "addition",
        "stock": added.stock,
        "added_volume_mL": _number(added.volume_mL, decimal),
        "trace": added_name(reading, place),
        "scan_rate_V_per_s": _number(0.1, decimal),
    }


def _cells(reading: Planned, tanks: dict[str, Tank], decimal: str) -> dict[str, str]:
    tank = tanks[reading.tank] if reading.tank else None
    trace, prescan = curve_names(reading)
    return {
        "electrode": reading.electrode,
        "batch": reading.batch,
        "instrument": reading.instrument,
        "measured_at": reading.measured_at.isoformat(),
        "role": reading.role,
        "level": _number(reading.level, decimal),
        "stock": STOCK if reading.role == "standard" else "",
        "stock_level": _number(STOCK_LEVEL, decimal) if reading.role == "standard" else "",
        "sample": tank.name if tank else "",
        "dilution": _number(reading.dilution, decimal) if tank else "",
        "expected_level": _number(tank.low, decimal) if tank and tank.control else "",
        "trace": trace,
        "prescan": prescan,
        "scan_rate_V_per_s": _number(0.1, decimal),
        "note": tank.note if tank else "",
        "volume_mL": _number(CELL_mL, decimal) if reading.added else "",
        "added_volume_mL": "",
    }


def _number(value: float | None, decimal: str) -> str:
    return "" if value is None else f"{value:g}".replace(".", decimal)


def _quoted(cell: str, delimiter: str) -> str:
    return f'"{cell}"' if delimiter in cell else cell

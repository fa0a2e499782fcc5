"""Builders of valid input for tests: a small run of eight electrodes, its sheet and its curves."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

Row = dict[str, str]
SHEET = "run.csv"
COLUMNS = (
    *("electrode", "batch", "instrument", "measured_at", "role", "level", "level_rel_u", "sample", "dilution"),
    *("expected_level", "trace", "prescan", "signal", "signal_u", "signal_unit", "salinity", "temperature_C", "note"),
)


def trace_csv(height_A: float = 2e-7, *, film_A: float = 3e-7, seed: int = 1, step_V: float = 0.005) -> str:
    """A cyclic voltammogram as text: -0.4 -> 0.9 -> -0.4 V at 0.1 V/s.

    On the anodic sweep the analyte's wave of the given height stands at 0.58 V and the film's at -0.18 V;
    the capacitance is 1 uF and the noise 1 nA.
    """
    count = round(1.3 / step_V)
    up = -0.4 + step_V * np.arange(count)
    potential = np.concatenate([up, 0.9 - step_V * np.arange(count)])
    anodic = np.arange(2 * count) < count
    wave = height_A / np.cosh((potential - 0.58) / 0.05) ** 2 + film_A / np.cosh((potential + 0.18) / 0.05) ** 2
    current = np.where(anodic, 1e-7 + wave, -1e-7) + 2e-8 * potential
    current = current + 1e-9 * np.random.default_rng(seed).standard_normal(2 * count)
    lines = [f"{e:.4f},{i:.6e},{step_V / 0.1 * k:.3f}" for k, (e, i) in enumerate(zip(potential, current, strict=True))]
    return "\n".join(["potential_V,current_A,time_s", *lines, ""])


def sheet_row(electrode: str = "B1-1", role: str = "blank", **cells: str) -> Row:
    """One valid row of an electrode (its batch is what stands before the hyphen) with its curve and pre-scan."""
    row = {
        "electrode": electrode,
        "batch": electrode.partition("-")[0],
        "instrument": "bench",
        "measured_at": "2026-03-01T10:00+00:00",
        "role": role,
        "trace": f"curves/{electrode}.csv",
        "prescan": f"curves/{electrode}-before.csv",
        "salinity": "33.5",
        "temperature_C": "20.5",
    }
    return row | cells


def small_run() -> list[Row]:
    """Eight electrodes of two batches, rows 2 to 9 of the sheet: every role, a signal without a curve."""
    return [
        sheet_row("B1-1", "blank", level="0"),
        sheet_row("B1-2", "standard", level="0.5", level_rel_u="0.02"),
        sheet_row("B1-3", "standard", level="2"),
        sheet_row("B1-4", "standard", level="8"),
        sheet_row("B1-5", "sample", sample="S1"),
        sheet_row("B1-6", "control", sample="C1", expected_level="2", dilution="2"),
        sheet_row(
            *("B2-1", "standard"), level="2", trace="", prescan="", signal="2.1e-7", signal_u="4e-9", signal_unit="A"
        ),
        sheet_row("B2-2", "sample", sample="S2", dilution="10"),
    ]


def sheet_csv(rows: Sequence[Mapping[str, str]], *, delimiter: str = ",", decimal: str = ".") -> str:
    """Rows as the text of a run sheet; decimal "," changes the sign in cells that are numbers."""
    names = [*COLUMNS, *dict.fromkeys(name for row in rows for name in row if name not in COLUMNS)]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_with_decimal(row.get(name, ""), decimal) for name in names] for row in rows)
    return text.getvalue()


def _with_decimal(cell: str, decimal: str) -> str:
    try:
        float(cell)
    except ValueError:
        return cell
    return cell.replace(".", decimal)


def write_run(folder: Path, rows: Sequence[Mapping[str, str]] | None = None) -> Path:
    """Write a run sheet and every curve that it names into folder; the path of the sheet.

    The wave grows with the level (samples hold 2, C1 its expected level), over a small blank.
    """
    rows = small_run() if rows is None else rows
    folder.mkdir(parents=True, exist_ok=True)
    for place, row in enumerate(rows):
        held = float(row.get("level") or row.get("expected_level") or 2.0)
        level = held / float(row.get("dilution") or 1.0)
        for column, height in (("prescan", 1e-8), ("trace", 1e-8 + 4e-7 * level / (2.0 + level))):
            if name := row.get(column):
                path = folder / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(trace_csv(height, seed=100 * place + len(column)), encoding="utf-8")
    sheet = folder / SHEET
    sheet.write_text(sheet_csv(rows), encoding="utf-8")
    return sheet

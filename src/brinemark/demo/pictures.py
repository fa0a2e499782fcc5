"""The charts of the demo: the calibration, all statements on one axis, every reading, a few lives and curves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.steps.answers import CalibrationReport, SampleReading

CURVES_SHOWN = ("H10-1", "H10-2", "H11-3", "L04-1", "L04-2", "L05-5")
"""A blank, a standard and a lifted film, of voltammograms and of spectra."""
LIVES_SHOWN = ("H15-6", "H15-3", "H10-2")
"""A tank with a rise and a closing spike, another with a closing spike only, and a standard with one."""


def draw_charts(
    logbook: Logbook, calibration: CalibrationReport, readings: Sequence[SampleReading], folder: Path
) -> tuple[Path, ...]:
    """Write the charts as SVG into folder, which is made."""
    folder.mkdir(parents=True, exist_ok=True)
    drawn = []
    for name, picture in _charts(logbook, calibration, readings):
        drawn.append(folder / f"{name}.svg")
        drawn[-1].write_bytes(picture)
    return tuple(drawn)


def _charts(
    logbook: Logbook, calibration: CalibrationReport, readings: Sequence[SampleReading]
) -> Iterator[tuple[str, bytes]]:
    """Name and SVG; drawn from the answers at hand, since Logbook.draw_reading would read every sample again."""
    from brinemark.outputs.charts import render, statement_strip
    from brinemark.steps.draw import calibration_picture, fit_picture, reading_picture

    yield "calibration", render(calibration_picture(calibration), "svg")
    if calibration.calibration.fit:
        yield "fit", render(fit_picture(calibration), "svg")
    pairs = [(one.sample, one.reading) for one in readings]
    yield "statements", render(statement_strip(pairs, calibration.unit, calibration.analyte), "svg")
    for one in readings:
        if one.statement != "cannot say":
            yield f"reading-{one.sample}", render(reading_picture(one, calibration), "svg")
    told = {use.electrode: one.sentence for one in readings for use in one.electrodes}
    rows = [row for row in logbook.rows() if row.row.role != "addition"]
    for row in rows:
        if row.row.electrode in LIVES_SHOWN:
            yield f"life-{row.row.electrode}", logbook.draw_life(row.row.electrode, "svg", told.get(row.row.electrode))
    for row in rows:
        if row.row.electrode in CURVES_SHOWN:
            yield f"prescan-{row.row.electrode}", logbook.draw_trace(row, prescan=True)
            yield f"curve-{row.row.electrode}", logbook.draw_trace(row)

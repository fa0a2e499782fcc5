"""The charts of the demo: all statements on one axis, every reading, and a few curves taken apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.outputs.charts import Spec
    from brinemark.steps.answers import CalibrationReport, SampleReading
    from brinemark.terms.runs import StoredRow

CURVES_SHOWN = ("H10-1", "H10-2", "H11-3")
"""A blank, a standard and a lifted film."""


def draw_charts(
    logbook: Logbook, calibration: CalibrationReport, readings: Sequence[SampleReading], folder: Path
) -> tuple[Path, ...]:
    """Write the charts as SVG into folder, which is made."""
    from brinemark.outputs.charts import render

    folder.mkdir(parents=True, exist_ok=True)
    drawn = []
    for name, spec in _charts(logbook, calibration, readings):
        drawn.append(folder / f"{name}.svg")
        drawn[-1].write_bytes(render(spec, "svg"))
    return tuple(drawn)


def _charts(
    logbook: Logbook, calibration: CalibrationReport, readings: Sequence[SampleReading]
) -> Iterator[tuple[str, Spec]]:
    from brinemark.outputs.charts import reading_chart, statement_strip, trace_chart

    unit, analyte = calibration.unit, calibration.analyte
    yield "statements", statement_strip([(one.sample, one.reading) for one in readings], unit, analyte)
    for one in readings:
        if one.reading.curve is not None:
            yield f"reading-{one.sample}", reading_chart(one.reading, one.sample, unit, analyte)
    for row in _shown(logbook.rows()):
        for prescan, kind in ((True, "prescan"), (False, "curve")):
            title = f"Electrode {row.row.electrode}, {row.row.role}" + (", pre-scan" if prescan else "")
            taken_apart = logbook.dissection_of(row, prescan)
            yield f"{kind}-{row.row.electrode}", trace_chart(taken_apart, logbook.trace_of(row, prescan), title)


def _shown(rows: Sequence[StoredRow]) -> list[StoredRow]:
    return [row for row in rows if row.row.electrode in CURVES_SHOWN]

"""From curves of one electrode at several scan rates to the slope of its wave: diffusing or bound to the surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from brinemark.records.files import read_source
from brinemark.records.rate_table import RateRow, read_rate_table
from brinemark.records.traces import parse_trace
from brinemark.science.curve.electrode_kinetics import CONFIDENCE, ScanRateStudy, scan_rate_study
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import learn_wave
from brinemark.steps.answers import ANSWER_SCHEMA, flag_dict
from brinemark.steps.identity import definition_of
from brinemark.steps.place import Place
from brinemark.terms.curves import Signal, SignalDefinition, Trace
from brinemark.terms.errors import Refused
from brinemark.terms.settings import InstrumentSection


@dataclass(frozen=True, slots=True, eq=False)
class RatePoint:
    """One curve: its row of the table, and the height of its wave."""

    row: RateRow
    signal: Signal

    def to_dict(self) -> dict[str, Any]:
        return {
            "trace": self.row.trace,
            "instrument": self.row.instrument,
            "scan_rate_V_per_s": self.row.scan_rate_V_per_s,
            "signal": self.signal.value,
            "u": self.signal.u,
            "unit": self.signal.unit,
            "flags": [flag_dict(flag) for flag in self.signal.flags],
        }


@dataclass(frozen=True, slots=True, eq=False)
class ScanRates:
    """The curves of a table and what their heights say; nothing of it is stored."""

    points: tuple[RatePoint, ...]
    study: ScanRateStudy
    place_V: float

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/scan-rates.json."""
        low, high = self.study.interval
        return {
            "schema": ANSWER_SCHEMA,
            "couple": self.study.couple,
            "reason": self.study.reason,
            "slope": {"value": self.study.slope, "u": self.study.u, "lower": low, "upper": high, "level": CONFIDENCE},
            "place_V": self.place_V,
            "points": [point.to_dict() for point in self.points],
        }


def scan_rates(place: Place, table: Path) -> ScanRates:
    """Slope of log height against log scan rate of the curves that a table names.

    Heights are read by the logbook's [signal] (window, sweep, cycle, baseline) on the wave that these curves teach.
    Raises Refused for a table, file or curve that cannot be read, and for a curve without a wave.
    """
    rows = read_rate_table(read_source(table.parent, table.name), table.name)
    definition = definition_of(place.settings).curve
    if not isinstance(definition, SignalDefinition):
        raise Refused("a [signal] of spectra", "one of voltammograms", "use a logbook whose [signal] is a wave")
    definition = replace(definition, quantity="height")
    traces = [_trace(place, table, row) for row in rows]
    wave = learn_wave(traces, definition)
    points = []
    for row, trace in zip(rows, traces, strict=True):
        try:
            points.append(RatePoint(row, measure(trace, definition, wave, row.scan_rate_V_per_s)))
        except Refused as fault:
            raise _at(fault, table, row) from fault
    _check_waves(points, table)
    rates = np.array([row.scan_rate_V_per_s for row in rows])
    study = scan_rate_study(rates, np.array([point.signal.value for point in points]))
    return ScanRates(tuple(points), study, wave.place_V)


def _trace(place: Place, table: Path, row: RateRow) -> Trace:
    data = read_source(table.parent, row.trace, sheet=table.name, row=row.number, column="trace")
    section = InstrumentSection() if row.instrument is None else place.settings.instrument.get(row.instrument)
    try:
        return parse_trace(data, section, row.trace)
    except Refused as fault:
        raise _at(fault, table, row) from fault


def _at(fault: Refused, table: Path, row: RateRow) -> Refused:
    inside = f"{row.trace}: {fault.came}" if fault.row is None else f"{row.trace}, row {fault.row}: {fault.came}"
    return Refused(inside, fault.expected, fault.remedy, file=table.name, row=row.number, column="trace")


def _check_waves(points: Sequence[RatePoint], table: Path) -> None:
    for point in points:
        if point.signal.value <= 0.0 or any(flag.name == "no wave" for flag in point.signal.flags):
            raise Refused(
                f"{point.row.trace}: no wave above its baseline",
                "a wave in every curve",
                "leave the curve out, or correct window_V and sweep in [signal]",
                file=table.name,
                row=point.row.number,
                column="trace",
            )

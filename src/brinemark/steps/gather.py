"""Signals of rows brought together as the amount functions take them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from brinemark.science.curve.voltammetry import prescan_ratio_flag
from brinemark.steps.identity import Definition
from brinemark.steps.measure import RowSignals
from brinemark.steps.packing import unpack_signal
from brinemark.terms.amounts import ElectrodeReadings, SamplePortion
from brinemark.terms.curves import Signal
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow

CALIBRATION_ROLES = ("blank", "standard")
SAMPLE_ROLES = ("sample", "control")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A calibration electrode that was not used, and why."""

    electrode: str
    batch: str
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """Calibration electrodes ready for the model, the rows behind them, those left out, and remarks."""

    readings: ElectrodeReadings
    rows: tuple[StoredRow, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]
    signal_unit: str


def covariate_of(row: StoredRow, signals: RowSignals, definition: Definition) -> float | None:
    """The raw covariate quantity: read from the pre-scan, else as the row says; None when there is none."""
    if definition.covariate is None:
        return None
    if signals.prescan is not None:
        return unpack_signal(signals.prescan).value
    return row.row.covariate


def prescan_failure(value: float | None, reference: float | None, definition: Definition) -> str | None:
    """Why a pre-scan says that its electrode cannot be used; None when it does not say so."""
    if value is None or reference is None:
        return None
    flag = prescan_ratio_flag(value, reference, definition.prescan.max_ratio)
    if flag is None:
        return None
    side = "above" if flag.value > flag.limit else "below"
    why = flag.meaning.rpartition(": ")[2]
    return (
        f"pre-scan failed: {flag.value:.3g} times the median of the calibration electrodes, "
        f"{side} {flag.limit:.3g} ({why})"
    )


def gather(
    rows: Sequence[StoredRow],
    signals: Mapping[str, RowSignals],
    definition: Definition,
    reference: float | None = None,
) -> Gathered:
    """Calibration rows as readings of electrodes.

    reference : median covariate of an existing calibration; None takes the median of these electrodes.
    Raises Refused when signals have different units.
    """
    values = {row.id: covariate_of(row, signals[row.id], definition) for row in rows}
    reference = reference or reference_covariate(values.values())
    failures = {row.id: prescan_failure(values[row.id], reference, definition) for row in rows}
    kept = tuple(row for row in rows if failures[row.id] is None)
    left_out = tuple(
        LeftOut(row.row.electrode, row.row.batch, failures[row.id] or "") for row in rows if failures[row.id]
    )
    taken = [unpack_signal(signals[row.id].main) for row in kept]
    readings = _readings(kept, taken, values)
    remarks = [*_missing(kept, values, definition), *_without_u(kept), *_severe(kept, taken)]
    return Gathered(readings, kept, left_out, tuple(remarks), one_unit(kept, taken, definition.curve.unit))


def reference_covariate(values: Iterable[float | None]) -> float | None:
    """Median of the positive covariates, or None when there is none."""
    known = [value for value in values if value is not None and value > 0 and math.isfinite(value)]
    return median(known) if known else None


def one_unit(rows: Sequence[StoredRow], signals: Sequence[Signal], default: str) -> str:
    """The unit that all signals share. Raises Refused when they do not."""
    units = {signal.unit: row for row, signal in zip(rows, signals, strict=True)}
    if len(units) > 1:
        unit, row = next((unit, row) for unit, row in units.items() if unit != default)
        others = ", ".join(sorted(set(units) - {unit}))
        raise Refused(
            f"the signal of electrode {row.row.electrode} in {unit} and others in {others}",
            "one unit for all signals",
            "correct the sheet with 'add SHEET --corrects OLD --reason TEXT'",
            row=row.row.number,
            column="signal_unit",
        )
    return next(iter(units), default)


def portion(row: StoredRow, signals: RowSignals, definition: Definition, reference: float | None) -> SamplePortion:
    """One electrode that read a sample."""
    covariate = covariate_of(row, signals, definition)
    signal = unpack_signal(signals.main)
    failure = prescan_failure(covariate, reference, definition)
    return SamplePortion(
        electrode=row.row.electrode,
        batch=row.row.batch,
        instrument=row.row.instrument,
        covariate=covariate,
        signal=signal.value,
        u=signal.u,
        dilution=row.row.dilution,
        failure=failure,
    )


def sample_remarks(
    rows: Sequence[StoredRow], signals: Mapping[str, RowSignals], definition: Definition
) -> tuple[str, ...]:
    """What the rows of a sample give reason to say: missing pre-scans and severe flags."""
    values = {row.id: covariate_of(row, signals[row.id], definition) for row in rows}
    taken = [unpack_signal(signals[row.id].main) for row in rows]
    return (*_missing(rows, values, definition), *_without_u(rows), *_severe(rows, taken))


def _readings(
    rows: Sequence[StoredRow], signals: Sequence[Signal], covariates: Mapping[str, float | None]
) -> ElectrodeReadings:
    first: dict[str, StoredRow] = {}
    for row in rows:
        first.setdefault(row.row.electrode, row)
    place = {electrode: number for number, electrode in enumerate(first)}
    raw = [covariates[row.id] for row in first.values()]
    return ElectrodeReadings(
        electrode=tuple(first),
        batch=tuple(row.row.batch for row in first.values()),
        instrument=tuple(row.row.instrument for row in first.values()),
        covariate=np.array([np.nan if value is None else value for value in raw], dtype=np.float64),
        unit=np.array([place[row.row.electrode] for row in rows], dtype=np.int64),
        signal=np.array([signal.value for signal in signals], dtype=np.float64),
        u=np.array([signal.u for signal in signals], dtype=np.float64),
        level=np.array([np.nan if row.row.level is None else row.row.level for row in rows], dtype=np.float64),
    )


def _missing(rows: Sequence[StoredRow], values: Mapping[str, float | None], definition: Definition) -> Iterator[str]:
    if definition.covariate is None:
        return
    names = [row.row.electrode for row in rows if values[row.id] is None]
    if names:
        yield f"no pre-scan for {', '.join(names)}: the covariate is integrated, which widens the answer"


def _without_u(rows: Sequence[StoredRow]) -> Iterator[str]:
    names = [row.row.electrode for row in rows if row.row.signal is not None and row.row.signal_u is None]
    if names:
        yield f"no signal_u for {', '.join(names)}: taken as 0, the additive noise of the instrument stands for it"


def _severe(rows: Sequence[StoredRow], signals: Sequence[Signal]) -> Iterator[str]:
    for row, signal in zip(rows, signals, strict=True):
        for flag in signal.flags:
            if flag.severe:
                size = f"{flag.value:.3g}, limit {flag.limit:.3g}"
                yield f"electrode {row.row.electrode}: {flag.name}: {flag.meaning} ({size})"

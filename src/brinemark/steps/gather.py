"""Signals of rows brought together as the amount functions take them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from brinemark.science.curve.flags import prescan_ratio_flag
from brinemark.steps.conditions import recorded
from brinemark.steps.identity import Definition
from brinemark.steps.lives import Dip, Life, shared_stocks, stock_rel_u
from brinemark.steps.measure import RowSignals
from brinemark.steps.packing import unpack_signal
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.curves import Signal
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import Settings

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
    lives: tuple[Life, ...] = ()


def covariate_of(row: StoredRow, signals: RowSignals, definition: Definition) -> float | None:
    """The raw covariate quantity: read from the pre-scan, else as the row says; None when there is none."""
    if definition.covariate is None:
        return None
    if signals.prescan is not None:
        return unpack_signal(signals.prescan).value
    return row.row.covariate


def further_of(signals: RowSignals) -> dict[str, float]:
    """The further covariates of an electrode that are known; what is not positive says nothing of its gain."""
    values = ((name, unpack_signal(record).value) for name, record in signals.further)
    return {name: value for name, value in values if value > 0}


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
    lives: Sequence[Life],
    signals: Mapping[str, RowSignals],
    definition: Definition,
    settings: Settings,
    reference: float | None = None,
) -> Gathered:
    """The electrodes whose every level is known, as readings; other lives are passed over.

    reference : median covariate of an existing calibration; None takes the median of these electrodes. Raises Refused
    when signals have different units.
    """
    lives = [life for life in lives if life.known]
    values = {life.electrode: covariate_of(life.main.row, signals[life.main.row.id], definition) for life in lives}
    reference = reference or reference_covariate(values.values())
    failures = {name: prescan_failure(value, reference, definition) for name, value in values.items()}
    kept = [life for life in lives if failures[life.electrode] is None]
    left_out = tuple(
        LeftOut(life.electrode, life.batch, failures[life.electrode] or "")
        for life in lives
        if failures[life.electrode]
    )
    kept_rows = tuple(row for life in kept for row in life.rows)
    taken = [unpack_signal(signals[row.id].main) for row in kept_rows]
    further = {
        name: [further_of(signals[life.main.row.id]).get(name) for life in kept] for name, _ in definition.further
    }
    readings = replace(_readings(kept, signals, values, settings), **_table(further))
    mains = [life.main.row for life in kept]
    remarks = [*_missing(mains, values, definition), *_missing_further(mains, signals, definition)]
    remarks += [*_without_u(kept_rows), *_severe(kept_rows, taken)]
    unit = one_unit(kept_rows, taken, definition.curve.unit)
    return Gathered(readings, kept_rows, left_out, tuple(remarks), unit, tuple(kept))


def _table(further: Mapping[str, Sequence[float | None]]) -> dict[str, Any]:
    """Further covariates as the records of readings hold them, nan for what is missing."""
    rows = [[np.nan if value is None else value for value in values] for values in further.values()]
    count = len(rows[0]) if rows else 0
    return {"further": tuple(further), "further_covariate": np.array(rows, dtype=np.float64).reshape(len(rows), count)}


def reference_covariate(values: Iterable[float | None]) -> float | None:
    """Median of the positive covariates, or None when there is none."""
    known = [value for value in values if value is not None and value > 0 and math.isfinite(value)]
    return float(np.median(known)) if known else None


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


def portion(
    life: Life, signals: Mapping[str, RowSignals], definition: Definition, calibration: Calibration, settings: Settings
) -> SamplePortion:
    """One electrode that read a sample, with all its readings; a blank that is to be judged reads as a sample."""
    main = life.main
    covariate = covariate_of(main.row, signals[main.row.id], definition)
    signal = unpack_signal(signals[main.row.id].main)
    held = _held(main, calibration, settings)
    others = []
    for dip in (*([life.prescan] if life.prescan else []), *life.later):
        seen = signal_at(dip, signals)
        if seen is not None:
            # The pre-scan's seawater is the laboratory's; the row that names it describes the sample's cell.
            salinity = _salinity(dip, settings) if dip.number > 0 or life.known else None
            others.append(replace(_held(dip, calibration, settings), signal=seen.value, u=seen.u, salinity=salinity))
    return SamplePortion(
        electrode=life.electrode,
        batch=life.batch,
        instrument=life.instrument,
        covariate=covariate,
        signal=signal.value,
        u=signal.u,
        dilution=main.row.row.dilution,
        failure=prescan_failure(covariate, calibration.covariate_ref, definition),
        added=0.0 if life.known else held.added,
        added_u=0.0 if life.known else held.added_u,
        others=tuple(others),
        share=None if life.known else held.share,
        stock_parts=() if life.known else held.stock_parts,
        salinity=_salinity(main, settings),
        further=tuple(further_of(signals[main.row.id]).items()),
    )


def _held(dip: Dip, calibration: Calibration, settings: Settings) -> OtherDip:
    """What the cell held at a dip, without signal. The error of a stock that no standard was made with is counted as
    each reading's own."""
    errors, readings = stock_rel_u([dip.row], settings), calibration.readings
    shared = {name for name, u in zip(readings.stocks, readings.stock_rel_u, strict=True) if u > 0}
    own = [part * errors.get(name, 0.0) for name, part in dip.stock_parts if name not in shared]
    added_u = math.hypot(dip.added_u, *own)
    return OtherDip(dip.number, 0.0, 0.0, dip.share, dip.added, added_u, tuple(dip.stock_parts))


def signal_at(dip: Dip, signals: Mapping[str, RowSignals]) -> Signal | None:
    """The analyte's own signal of a dip; None for a pre-scan that was read for its covariate only."""
    record = signals[dip.row.id].zero if dip.number < 0 else signals[dip.row.id].main
    return None if record is None else unpack_signal(record)


def sample_remarks(lives: Sequence[Life], signals: Mapping[str, RowSignals], definition: Definition) -> tuple[str, ...]:
    """What the electrodes of a sample give reason to say: missing pre-scans and severe flags."""
    values = {life.electrode: covariate_of(life.main.row, signals[life.main.row.id], definition) for life in lives}
    rows = [row for life in lives for row in life.rows]
    taken = [unpack_signal(signals[row.id].main) for row in rows]
    mains = [life.main.row for life in lives]
    absent = (*_missing(mains, values, definition), *_missing_further(mains, signals, definition))
    return (*absent, *_without_u(rows), *_severe(rows, taken))


def _readings(
    lives: Sequence[Life],
    signals: Mapping[str, RowSignals],
    covariates: Mapping[str, float | None],
    settings: Settings,
) -> ElectrodeReadings:
    seen = [
        (n, dip, signal) for n, life in enumerate(lives) for dip in life.dips if (signal := signal_at(dip, signals))
    ]
    dips = [dip for _, dip, _ in seen]
    stocks = shared_stocks(dips, settings)
    raw = [covariates[life.electrode] for life in lives]
    return ElectrodeReadings(
        electrode=tuple(life.electrode for life in lives),
        batch=tuple(life.batch for life in lives),
        instrument=tuple(life.instrument for life in lives),
        covariate=np.array([np.nan if value is None else value for value in raw], dtype=np.float64),
        unit=np.array([n for n, _, _ in seen], dtype=np.int64),
        signal=np.array([signal.value for _, _, signal in seen], dtype=np.float64),
        u=np.array([signal.u for _, _, signal in seen], dtype=np.float64),
        level=np.array([dip.added for dip in dips], dtype=np.float64),
        dip=np.array([dip.number for dip in dips], dtype=np.int64),
        level_u=np.array([dip.added_u for dip in dips], dtype=np.float64),
        stocks=stocks.names,
        stock_part=stocks.part,
        stock_rel_u=stocks.rel_u,
        salinity=np.array([_salinity(dip, settings) for dip in dips], dtype=np.float64),
        kept=np.array([dip.kept for dip in dips], dtype=np.float64),
    )


def _salinity(dip: Dip, settings: Settings) -> float | None:
    """The recorded salinity of the cell."""
    value = recorded(dip.row, settings).get("salinity")
    return None if isinstance(value, str) else value


def _missing(rows: Sequence[StoredRow], values: Mapping[str, float | None], definition: Definition) -> Iterator[str]:
    if definition.covariate is None:
        return
    names = [row.row.electrode for row in rows if values[row.row.electrode] is None]
    if names:
        yield f"no pre-scan for {', '.join(names)}: the covariate is integrated, which widens the answer"


def _missing_further(
    rows: Sequence[StoredRow], signals: Mapping[str, RowSignals], definition: Definition
) -> Iterator[str]:
    for name, _ in definition.further:
        read = [row for row in rows if name in dict(signals[row.id].further)]
        without = [row.row.electrode for row in read if name not in further_of(signals[row.id])]
        if without:
            yield f"covariate {name} of {', '.join(without)} is not positive: it is taken as missing"


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

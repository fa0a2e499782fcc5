"""Which electrodes a study of signal definitions may look at: blanks, standards and controls, never a sample."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.steps.conditions import recorded
from brinemark.steps.curves import read_signal
from brinemark.steps.gather import LeftOut, prescan_failure, reference_covariate
from brinemark.steps.identity import Definition, signal_definition
from brinemark.steps.lives import Life, lives_of
from brinemark.steps.measure import COVARIATE_USES, PRESCAN, Traces, at_row
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import CurveDefinition
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import Settings

FEWEST_BATCHES = 3
"""Fewest batches with a blank and a standard each: with two, one batch would teach alone."""

FEWEST_LEVELS = 3
"""Fewest levels, 0 among them, that a saturating curve can be laid through."""


@dataclass(frozen=True, slots=True)
class KnownElectrode:
    """An electrode whose main reading has a known cell level [level unit]; teaches : a blank or standard, else a
    control, which is read and teaches nothing."""

    life: Life
    level: float
    teaches: bool

    @property
    def row(self) -> StoredRow:
        return self.life.main.row

    @property
    def trace(self) -> str:
        return self.row.trace_sha256 or ""


def known_electrodes(rows: Sequence[StoredRow], settings: Settings) -> tuple[list[KnownElectrode], list[LeftOut]]:
    """Electrodes that a study may read, and those of known level that it cannot, with the reason.

    Only the first reading after the pre-scan counts: additions and spikes are left alone. An electrode that read a
    sample at any time of its life is passed over, whatever else it read.
    """
    known, left = [], []
    for life in lives_of(rows, settings):
        if any(row.row.role == "sample" for row in life.rows):
            continue
        main, expected = life.main, life.main.row.row.expected_level
        if main.row.trace_sha256 is None:
            left.append(LeftOut(life.electrode, life.batch, "no curve kept"))
        elif main.share > 0.0 and expected is None:
            left.append(LeftOut(life.electrode, life.batch, "a control without an expected level"))
        else:
            known.append(KnownElectrode(life, main.added + main.share * (expected or 0.0), life.known))
    return known, left


def why_not(known: Sequence[KnownElectrode]) -> str | None:
    """Why these electrodes cannot judge definitions; None when they can."""
    if not known:
        return "no blank, standard or control with a curve"
    teaching = [one for one in known if one.teaches]
    blank, standard = ({one.life.batch for one in teaching if (one.level > 0.0) is high} for high in (False, True))
    if len(blank & standard) < FEWEST_BATCHES:
        return (
            f"{len(blank & standard)} batches with the curve of a blank and of a standard, where {FEWEST_BATCHES} are "
            "needed: each batch is read by what the others teach"
        )
    levels = {one.level for one in teaching}
    if len(levels) < FEWEST_LEVELS:
        return f"blanks and standards at {len(levels)} levels, where a curve that saturates needs {FEWEST_LEVELS}"
    return None


def covariates_of(
    known: Sequence[KnownElectrode], definition: Definition, traces: Traces, stored: Mapping[str, float] | None = None
) -> dict[str, float | None]:
    """The raw covariate of each electrode, from its pre-scan or its row. Raises Refused with row and column.

    stored : of rows by their id, that are taken as they are.
    """
    if definition.covariate is None:
        return {one.life.electrode: None for one in known}
    curve, there = signal_definition(definition.covariate), stored or {}
    return {
        one.life.electrode: there[one.row.id] if one.row.id in there else _covariate(one.row, curve, traces)
        for one in known
    }


def _covariate(row: StoredRow, curve: CurveDefinition, traces: Traces) -> float | None:
    if row.prescan_sha256 is None or traces.place.settings.prescan.use not in COVARIATE_USES:
        return row.row.covariate
    try:
        return read_signal(traces.seen(row, row.prescan_sha256, curve), curve, traces.theory(curve)).value
    except Refused as fault:
        raise at_row(fault, row, PRESCAN) from fault


def further_covariates_of(
    known: Sequence[KnownElectrode], definition: Definition, traces: Traces
) -> dict[str, dict[str, float | None]]:
    """The covariates beside the first, by name and electrode; what is missing or not positive is None, as `calibrate`
    takes it. Raises Refused with row and column."""
    asked = definition.covariate is not None and traces.place.settings.prescan.use in COVARIATE_USES
    found: dict[str, dict[str, float | None]] = {}
    for name, section in definition.further if asked else ():
        curve = signal_definition(section)
        read = {one.life.electrode: one.row.prescan_sha256 and _covariate(one.row, curve, traces) for one in known}
        found[name] = {
            electrode: value if isinstance(value, float) and value > 0 else None for electrode, value in read.items()
        }
    return found


def sound(
    known: Sequence[KnownElectrode], covariates: Mapping[str, float | None], definition: Definition
) -> tuple[list[KnownElectrode], list[LeftOut]]:
    """Those whose pre-scan does not say that they failed, as calibrate judges it, and the others."""
    reference = reference_covariate(covariates[one.life.electrode] for one in known if one.teaches)
    failures = {name: prescan_failure(value, reference, definition) for name, value in covariates.items()}
    return (
        [one for one in known if failures[one.life.electrode] is None],
        list(_failed(known, failures)),
    )


def _failed(known: Sequence[KnownElectrode], failures: Mapping[str, str | None]) -> Iterator[LeftOut]:
    for one in known:
        reason = failures[one.life.electrode]
        if reason is not None:
            yield LeftOut(one.life.electrode, one.life.batch, reason)


def readings_of(
    known: Sequence[KnownElectrode],
    signals: Mapping[str, tuple[float, float]],
    covariates: Mapping[str, float | None],
    further: Mapping[str, Mapping[str, float | None]],
    settings: Settings,
) -> ElectrodeReadings:
    """One reading of each electrode as the amount functions take them; signals : (value, u) by electrode; further :
    covariates beside the first, by name."""
    pairs = [signals[one.life.electrode] for one in known]
    raw = [covariates[one.life.electrode] for one in known]
    return ElectrodeReadings(
        electrode=tuple(one.life.electrode for one in known),
        batch=tuple(one.life.batch for one in known),
        instrument=tuple(one.life.instrument for one in known),
        covariate=_array(raw),
        unit=np.arange(len(known), dtype=np.int64),
        signal=_array([value for value, _ in pairs]),
        u=_array([u for _, u in pairs]),
        level=_array([one.level for one in known]),
        salinity=_array([_salinity(one, settings) for one in known]),
        further=tuple(further),
        further_covariate=np.array(
            [_array([values[one.life.electrode] for one in known]) for values in further.values()]
        ).reshape(len(further), len(known)),
    )


def _array(values: Sequence[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _salinity(one: KnownElectrode, settings: Settings) -> float | None:
    value = recorded(one.row, settings).get("salinity")
    return None if isinstance(value, str) else value

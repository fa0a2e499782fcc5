"""Windows that the curves of blanks and standards propose themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from brinemark.science.curve.absorbance import against_prescan
from brinemark.science.curve.chord import without_spikes
from brinemark.science.curve.proposing import WindowProposal, propose_windows
from brinemark.science.curve.sweeps import DIRECTIONS, find_sweeps, take_segment
from brinemark.science.curve.waves import onto_grid
from brinemark.steps.curves import is_against_prescan
from brinemark.steps.identity import Definition, Made, Recipe, instrument_identity
from brinemark.steps.measure import Traces
from brinemark.steps.study_electrodes import KnownElectrode
from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import CurveDefinition, SignalDefinition, Spectrum, Trace
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

STUDY, WINDOWS = "signal study", "windows"
STEP_V, ROUND_V = 0.002, 0.01
STEP_NM, ROUND_NM = 1.0, 2.0
COVERED = 0.9
"""The stretch that so many of the curves reach over on either side; the others are left out."""


def windows_recipe(known: Sequence[KnownElectrode], definition: Definition, traces: Traces) -> Recipe:
    """What proposed windows are made from: the curves of blanks and standards, and how a sweep is chosen."""
    curve = definition.curve
    said: dict[str, JsonValue] = {"instruments": instruments_of(known, traces), "level_unit": definition.level_unit}
    said["levels"] = [one.level for one in known if one.teaches]
    if isinstance(curve, SignalDefinition):
        said |= {"sweep": curve.sweep, "cycle": curve.cycle}
    else:
        said |= {"against": curve.against}
    return Recipe(STUDY, WINDOWS, tuple(parents_of([one for one in known if one.teaches], curve, traces)), said)


def instruments_of(known: Sequence[KnownElectrode], traces: Traces) -> dict[str, JsonValue]:
    """What the settings say of the instruments that read these electrodes."""
    names = sorted({one.life.instrument for one in known})
    return {name: instrument_identity(traces.place.settings, name) for name in names}


def parents_of(known: Sequence[KnownElectrode], curve: CurveDefinition, traces: Traces) -> list[tuple[str, str]]:
    """Rows and curves behind a study."""
    parents = [(one.life.main.role, one.row.id) for one in known]
    parents += [("trace", one.trace) for one in known]
    if is_against_prescan(curve):
        before = [traces.prescan_sha256(one.row) for one in known]
        parents += [("before", one) for one in dict.fromkeys(before) if one is not None]
    return parents


def propose(recipe: Recipe, known: Sequence[KnownElectrode], curve: CurveDefinition, traces: Traces) -> Record:
    """The record of windows, or of the reason why there are none."""
    taught = [one for one in known if one.teaches]
    pairs = [(one, traces.seen(one.row, one.trace, curve)) for one in taught]
    if isinstance(curve, SignalDefinition):
        found = _of_traces([(one, seen.curve) for one, seen in pairs if isinstance(seen.curve, Trace)], curve)
    else:
        spectra = []
        for one, seen in pairs:
            if is_against_prescan(curve) and isinstance(seen.prescan, Spectrum) and isinstance(seen.curve, Spectrum):
                spectra.append((one, against_prescan(seen.curve, seen.prescan)))
            elif not is_against_prescan(curve) and isinstance(seen.curve, Spectrum):
                spectra.append((one, seen.curve))
        found = _of_spectra(spectra)
    return recipe.record(Made(_packed(found), {}))


def _of_traces(pairs: Sequence[tuple[KnownElectrode, Trace]], curve: SignalDefinition) -> WindowProposal:
    ranges = [ends for _, trace in pairs for ends in _swept(trace, curve)]
    common = _common(ranges)
    if common is None:
        return WindowProposal(reason=f"the curves share no {curve.sweep} sweep")
    whole = SignalDefinition("height", curve.sweep, curve.cycle, common)
    grid = np.linspace(*common, max(round((common[1] - common[0]) / STEP_V), 50) + 1)
    taken, rows = [], []
    for one, trace in pairs:
        try:
            segment = take_segment(trace, whole)
        except Refused:
            continue
        current, _ = without_spikes(DIRECTIONS[curve.sweep] * segment.current_A)
        rows.append(onto_grid(segment.potential_V, current, grid))
        taken.append(one)
    return _proposed(grid, rows, taken, ROUND_V)


def _swept(trace: Trace, curve: SignalDefinition) -> list[tuple[float, float]]:
    """The widest sweep of the definition's direction, none when there is none."""
    parts = [
        trace.potential_V[sweep.start : sweep.stop]
        for sweep in find_sweeps(trace.potential_V, trace.cycle)
        if sweep.direction == DIRECTIONS[curve.sweep]
    ]
    ends = [(float(part.min()), float(part.max())) for part in parts]
    return [max(ends, key=lambda one: one[1] - one[0])] if ends else []


def _common(ranges: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    if not ranges:
        return None
    low = float(np.quantile([low for low, _ in ranges], COVERED, method="inverted_cdf"))
    high = float(np.quantile([high for _, high in ranges], 1.0 - COVERED, method="inverted_cdf"))
    return (low, high) if low < high else None


def _of_spectra(pairs: Sequence[tuple[KnownElectrode, Spectrum]]) -> WindowProposal:
    common = _common([(float(one.wavelength_nm[0]), float(one.wavelength_nm[-1])) for _, one in pairs])
    if common is None:
        return WindowProposal(reason="the spectra share no range")
    grid = np.linspace(*common, max(round((common[1] - common[0]) / STEP_NM), 50) + 1)
    covering = [
        (one, s) for one, s in pairs if s.wavelength_nm[0] <= common[0] + 1 and s.wavelength_nm[-1] >= common[1] - 1
    ]
    rows = [onto_grid(s.wavelength_nm, without_spikes(s.absorbance)[0], grid) for _, s in covering]
    return _proposed(grid, rows, [one for one, _ in covering], ROUND_NM)


def _proposed(
    grid: FloatArray, rows: Sequence[FloatArray], taken: Sequence[KnownElectrode], step: float
) -> WindowProposal:
    if not rows:
        return WindowProposal(reason="no curve covers what the others cover")
    levels = np.array([one.level for one in taken], dtype=np.float64)
    return propose_windows(grid, np.array(rows), levels, [one.life.batch for one in taken], step)


def _packed(found: WindowProposal) -> dict[str, JsonValue]:
    return asdict(found) | {"windows": [list(window) for window in found.windows]}


def proposal_of(record: Record) -> WindowProposal:
    """The windows that a record holds."""
    results: Any = record.results
    return WindowProposal(**{**results, "windows": tuple((low, high) for low, high in results["windows"])})

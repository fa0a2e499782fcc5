"""Windows that the curves of blanks and standards propose themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from brinemark.science.curve.absorbance import against_prescan
from brinemark.science.curve.chord import without_spikes
from brinemark.science.curve.proposing import WindowProposal, propose_windows
from brinemark.science.curve.sweeps import DIRECTIONS, find_sweeps, take_segment
from brinemark.science.curve.waves import onto_grid
from brinemark.steps.curves import is_against_prescan
from brinemark.steps.definition_lock import STUDY
from brinemark.steps.identity import Definition, Made, Recipe, instrument_identity
from brinemark.steps.measure import Traces
from brinemark.steps.study_electrodes import KnownElectrode
from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import CurveDefinition, SignalDefinition, Spectrum, Trace
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

WINDOWS = "windows"
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


@dataclass(frozen=True, slots=True, eq=False)
class WholeCurves:
    """Curves (E, n), wave upwards, on the stretch (n,) that they share; of : their electrodes; reason : why none."""

    grid: FloatArray
    rows: FloatArray
    of: tuple[KnownElectrode, ...]
    reason: str | None = None


def propose(recipe: Recipe, known: Sequence[KnownElectrode], curve: CurveDefinition, traces: Traces) -> Record:
    """The record of windows, or of the reason why there are none."""
    found = whole_curves([one for one in known if one.teaches], curve, traces)
    step = ROUND_V if isinstance(curve, SignalDefinition) else ROUND_NM
    return recipe.record(Made(_packed(_proposed(found, step)), {}))


def whole_curves(known: Sequence[KnownElectrode], curve: CurveDefinition, traces: Traces) -> WholeCurves:
    """The curves of electrodes as a definition's sweep and cycle, or its pre-scan, has them, over all they share.

    A curve that does not reach over the stretch that nine of ten share is left out.
    """
    pairs = [(one, traces.seen(one.row, one.trace, curve)) for one in known]
    if isinstance(curve, SignalDefinition):
        return _of_traces([(one, seen.curve) for one, seen in pairs if isinstance(seen.curve, Trace)], curve)
    spectra = []
    for one, seen in pairs:
        if is_against_prescan(curve) and isinstance(seen.prescan, Spectrum) and isinstance(seen.curve, Spectrum):
            spectra.append((one, against_prescan(seen.curve, seen.prescan)))
        elif not is_against_prescan(curve) and isinstance(seen.curve, Spectrum):
            spectra.append((one, seen.curve))
    return _of_spectra(spectra)


def _none(reason: str) -> WholeCurves:
    return WholeCurves(np.zeros(0), np.zeros((0, 0)), (), reason)


def _of_traces(pairs: Sequence[tuple[KnownElectrode, Trace]], curve: SignalDefinition) -> WholeCurves:
    common = _common([ends for _, trace in pairs for ends in _swept(trace, curve)])
    if common is None:
        return _none(f"the curves share no {curve.sweep} sweep")
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
    return _taken(grid, rows, taken)


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


def _of_spectra(pairs: Sequence[tuple[KnownElectrode, Spectrum]]) -> WholeCurves:
    common = _common([(float(one.wavelength_nm[0]), float(one.wavelength_nm[-1])) for _, one in pairs])
    if common is None:
        return _none("the spectra share no range")
    grid = np.linspace(*common, max(round((common[1] - common[0]) / STEP_NM), 50) + 1)
    low, high = common[0] + STEP_NM, common[1] - STEP_NM
    covering = [(one, s) for one, s in pairs if s.wavelength_nm[0] <= low and s.wavelength_nm[-1] >= high]
    rows = [onto_grid(s.wavelength_nm, without_spikes(s.absorbance)[0], grid) for _, s in covering]
    return _taken(grid, rows, [one for one, _ in covering])


def _taken(grid: FloatArray, rows: Sequence[FloatArray], taken: Sequence[KnownElectrode]) -> WholeCurves:
    if not rows:
        return _none("no curve covers what the others cover")
    return WholeCurves(grid, np.array(rows), tuple(taken))


def _proposed(found: WholeCurves, step: float) -> WindowProposal:
    if found.reason is not None:
        return WindowProposal(reason=found.reason)
    levels = np.array([one.level for one in found.of], dtype=np.float64)
    return propose_windows(found.grid, found.rows, levels, [one.life.batch for one in found.of], step)


def _packed(found: WindowProposal) -> dict[str, JsonValue]:
    return asdict(found) | {"windows": [list(window) for window in found.windows]}


def proposal_of(record: Record) -> WindowProposal:
    """The windows that a record holds."""
    results: Any = record.results
    return WindowProposal(**{**results, "windows": tuple((low, high) for low, high in results["windows"])})

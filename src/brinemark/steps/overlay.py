"""Many curves as one picture, and what known electrodes give by a definition as another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeAlias

import numpy as np

from brinemark.outputs.charts import Kind, definitions_chart, overlay_chart, render, shown_unit
from brinemark.science.curve.sweeps import find_sweeps
from brinemark.steps.candidates import own_window
from brinemark.steps.chosen import newest_waves
from brinemark.steps.curves import is_against_prescan, take_apart
from brinemark.steps.draw import reference_of
from brinemark.steps.identity import definition_of
from brinemark.steps.measure import Traces, WaveSet
from brinemark.steps.place import Place
from brinemark.steps.trial_answers import DefinitionLook, DefinitionTrial
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Dissection, SignalDefinition, Spectrum, Trace
from brinemark.terms.errors import Refused
from brinemark.terms.pictures import DefinitionPanel, OverlaidCurve, OverlayPicture
from brinemark.terms.runs import StoredRow

Line: TypeAlias = tuple[FloatArray, FloatArray]
WITHOUT, WITH, ONLY = "none", "with", "only"
"""Pre-scans: left away, drawn beside the rows' own curves, or alone."""


def draw_overlay(
    place: Place, rows: Sequence[StoredRow], kind: Kind, prescans: str = WITHOUT, above_baseline: bool = False
) -> bytes:
    """The curves of rows over one another. Raises Refused when none of them has one."""
    return render(overlay_chart(overlay_picture(place, rows, prescans, above_baseline)), kind)


def overlay_picture(
    place: Place, rows: Sequence[StoredRow], prescans: str = WITHOUT, above_baseline: bool = False
) -> OverlayPicture:
    """Curves of rows, whole, or in the window of the signal with the baseline taken off. Raises Refused."""
    if prescans not in (WITHOUT, WITH, ONLY):
        raise Refused(f"pre-scans {prescans!r}", f"{WITHOUT}, {WITH} or {ONLY}", "name one of them")
    with place.database.reading() as reader:
        bench = _Bench(place, Traces(place, reader), newest_waves(place, reader)[0], above_baseline)
        curves = tuple(bench.curves(rows, prescans))
    if not curves:
        came = "; ".join(f"{name}: {reason}" for name, reason in bench.left_out[:2]) or "no curve among these rows"
        raise Refused(came, "at least one curve to draw", "choose other rows")
    name, up = ("wavelength, nm", "absorbance") if place.settings.of_spectra else ("potential, V", "current")
    references = {reference_of(place, row) for row in rows}
    reference = references.pop() if len(references) == 1 and not place.settings.of_spectra else None
    return OverlayPicture(
        _title(rows, above_baseline),
        f"{name} against {reference}" if reference else name,
        f"{up} above its baseline" if above_baseline else up,
        "1" if place.settings.of_spectra else "A",
        None if above_baseline else own_window(place.settings.signal),
        curves,
        tuple(bench.left_out),
        bench.cut,
    )


class _Bench:
    def __init__(self, place: Place, traces: Traces, waves: WaveSet, above_baseline: bool) -> None:
        self.place, self.traces, self.waves, self.above_baseline = place, traces, waves, above_baseline
        self.definition = definition_of(place.settings).curve
        self.left_out: list[tuple[str, str]] = []
        self.cut = False

    def curves(self, rows: Sequence[StoredRow], prescans: str) -> Iterator[OverlaidCurve]:
        self.traces.remember_prescans(rows)
        unit = shown_unit(self.place.settings.analyte.level_unit)
        for row in rows:
            wanted = [(row.prescan_sha256, True)] if prescans != WITHOUT else []
            wanted += [(row.trace_sha256, False)] if prescans != ONLY else []
            for sha256, prescan in wanted:
                if prescan and self.above_baseline and is_against_prescan(self.definition):
                    self.left_out.append((row.row.electrode, "its pre-scan is what is taken off"))
                    continue
                line = None if sha256 is None else self._line(row, sha256)
                if line is not None:
                    yield OverlaidCurve(row.row.electrode, *_held(row, unit), *line, prescan)

    def _line(self, row: StoredRow, sha256: str) -> Line | None:
        try:
            return self._apart(row, sha256) if self.above_baseline else self._whole(row, sha256)
        except Refused as fault:
            self.left_out.append((row.row.electrode, fault.came))
            return None

    def _whole(self, row: StoredRow, sha256: str) -> Line:
        curve = self.traces.get(sha256, row.row.instrument)
        if isinstance(curve, Spectrum):
            return curve.wavelength_nm, curve.absorbance
        cycle = self.definition.cycle if isinstance(self.definition, SignalDefinition) else ""
        part = last_cycle(curve) if cycle == "last" else slice(None)
        self.cut |= (part.start or 0) > 0
        return curve.potential_V[part], curve.current_A[part]

    def _apart(self, row: StoredRow, sha256: str) -> Line:
        wave = self.traces.wave(self.waves.for_row(row))
        one = take_apart(self.traces.seen(row, sha256, self.definition), self.definition, wave)
        if isinstance(one, Dissection):
            return one.potential_V, one.current_A - one.baseline_A
        return one.wavelength_nm, one.absorbance - one.baseline


def last_cycle(trace: Trace) -> slice:
    """Where the last complete cycle of a trace stands; all of it without any. Raises Refused as find_sweeps."""
    sweeps = find_sweeps(trace.potential_V, trace.cycle)
    complete = [one for one in sweeps if one.complete] or sweeps
    if not complete:
        return slice(None)
    mine = [one for one in sweeps if one.cycle == complete[-1].cycle]
    return slice(min(one.start for one in mine), max(one.stop for one in mine))


def _held(row: StoredRow, unit: str) -> tuple[str, float | None]:
    """What the cell held, as a legend names it, with its level where the row says it."""
    given = row.row
    if given.role == "standard" and given.level is not None:
        return f"{given.level:g} {unit}", given.level
    return given.role, 0.0 if given.role == "blank" else None


def _title(rows: Sequence[StoredRow], above_baseline: bool) -> str:
    batches = list(dict.fromkeys(row.row.batch for row in rows))
    said = f"Curves of batch {batches[0]}" if len(batches) == 1 else f"Curves of {len(batches)} batches"
    if len(rows) == 1:
        said = f"Curve of electrode {rows[0].row.electrode}"
    return f"{said}, baseline taken off" if above_baseline else said


def draw_trial(trial: DefinitionTrial, kind: Kind) -> bytes:
    """Signal against level of known electrodes, by the present definition and by the tried one."""
    panels = [_panel(look) for look in trial.looks]
    if not any(panel.level.size for panel in panels):
        raise Refused("definitions that read no curve", "one that reads some", "choose another window")
    return render(definitions_chart(panels, trial.unit, "What definitions of the signal give"), kind)


def _panel(look: DefinitionLook) -> DefinitionPanel:
    pairs = [(one, one.signal) for one in look.readings if one.signal is not None]
    name = "present" if look.candidate.present else "tried"
    return DefinitionPanel(
        f"{name}: {look.words}",
        look.unit,
        tuple(one.role for one, _ in pairs),
        np.array([one.level for one, _ in pairs], dtype=np.float64),
        np.array([signal.value for _, signal in pairs], dtype=np.float64),
        np.array([signal.u for _, signal in pairs], dtype=np.float64),
        len(look.readings) - len(pairs),
    )

"""What differs between voltammograms and spectra: reading a file, keeping its columns, shapes and signals.

What reads files and curves is loaded when a curve is read: a sample whose signals are stored waits for none of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TypeAlias

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import (
    PRESCAN_SPECTRUM,
    Band,
    Curve,
    CurveDefinition,
    CurveDissection,
    Shape,
    Signal,
    SignalDefinition,
    Spectrometer,
    Spectrum,
    SpectrumDefinition,
    Trace,
    Wave,
)
from brinemark.terms.errors import Refused
from brinemark.terms.settings import InstrumentSection

Cut: TypeAlias = Callable[[Trace, SignalDefinition, FloatArray], tuple[FloatArray, float] | None]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One curve with what is needed to read it: the electrode's own spectrum from before, where the definition takes
    it off; scan rate [V/s] of a voltammogram; range of the spectrometer."""

    curve: Curve
    prescan: Curve | None
    scan_rate_V_per_s: float | None
    spectrometer: Spectrometer


def definition_json(definition: CurveDefinition) -> dict[str, JsonValue]:
    """All that a definition says, as its signals' recipes keep it."""
    found = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(definition).items()}
    return {key: value for key, value in found.items() if value is not None}


def is_against_prescan(definition: CurveDefinition) -> bool:
    """Whether the electrode's own pre-scan is taken off before a signal is read."""
    return isinstance(definition, SpectrumDefinition) and definition.against == PRESCAN_SPECTRUM


def spectrometer(section: InstrumentSection) -> Spectrometer:
    """The range of a spectrometer as its settings give it, else the usual one."""
    usual = Spectrometer()
    return Spectrometer(
        usual.max_absorbance if section.max_absorbance is None else section.max_absorbance,
        usual.stray_light if section.stray_light is None else section.stray_light,
    )


def parse_curve(data: bytes, section: InstrumentSection, name: str, of_spectra: bool) -> Curve:
    """Bytes of a file as the curve that the logbook holds. Raises Refused."""
    if of_spectra:
        from brinemark.records.spectra import parse_spectrum

        return parse_spectrum(data, section, name)
    from brinemark.records.traces import parse_trace

    return parse_trace(data, section, name)


def columns_of(curve: Curve) -> dict[str, FloatArray]:
    """The columns of a curve by name, as the cache keeps them."""
    if isinstance(curve, Spectrum):
        return {"wavelength_nm": curve.wavelength_nm, "absorbance": curve.absorbance}
    columns = {"potential_V": curve.potential_V, "current_A": curve.current_A}
    if curve.time_s is not None:
        columns["time_s"] = curve.time_s
    if curve.cycle is not None:
        columns["cycle"] = curve.cycle.astype(np.float64)
    return columns


def curve_from(columns: Mapping[str, FloatArray]) -> Curve:
    """The curve that `columns_of` took apart."""
    if "wavelength_nm" in columns:
        return Spectrum(columns["wavelength_nm"], columns["absorbance"])
    cycle = columns.get("cycle")
    return Trace(
        columns["potential_V"],
        columns["current_A"],
        columns.get("time_s"),
        None if cycle is None else cycle.astype(np.int64),
    )


def stated_shape(definition: CurveDefinition) -> Shape:
    """The wave of theory, or the band that the definition states, while none has been learned."""
    if isinstance(definition, SignalDefinition):
        from brinemark.science.curve.waves import theoretical_wave

        return theoretical_wave(definition)
    from brinemark.science.curve.absorbance import stated_band

    return stated_band(definition)


def learns_a_shape(definition: CurveDefinition) -> bool:
    """Whether curves can teach the shape; a difference of two wavelengths has none."""
    return isinstance(definition, SignalDefinition) or definition.window_nm is not None


def remembering_cut() -> Cut:
    """What a trace teaches, worked out once however many waves it teaches; for traces that stay in memory."""
    from brinemark.science.curve.waves import taught_by

    known: dict[tuple[int, str, str, tuple[float, float]], tuple[FloatArray, float] | None] = {}

    def cut(trace: Trace, definition: SignalDefinition, grid: FloatArray) -> tuple[FloatArray, float] | None:
        key = id(trace), definition.sweep, definition.cycle, definition.window_V
        if key not in known:
            known[key] = taught_by(trace, definition, grid)
        return known[key]

    return cut


def learned_shape(
    standards: Sequence[Seen], definition: CurveDefinition, blanks: Sequence[Seen], cut: Cut | None = None
) -> Shape:
    """Place and shape of wave or band from curves of known standards and blanks; cut : as `remembering_cut`."""
    if isinstance(definition, SignalDefinition):
        from brinemark.science.curve.waves import learn_wave, taught_by

        return learn_wave(_traces(standards), definition, _traces(blanks), cut or taught_by)
    from brinemark.science.curve.absorbance import learn_band

    return learn_band(_spectra(standards, definition), definition, _spectra(blanks, definition))


def read_signal(seen: Seen, definition: CurveDefinition, shape: Shape) -> Signal:
    """One number from a curve. Raises Refused."""
    if isinstance(definition, SignalDefinition) and isinstance(seen.curve, Trace) and isinstance(shape, Wave):
        from brinemark.science.curve.voltammetry import measure

        return measure(seen.curve, definition, shape, seen.scan_rate_V_per_s)
    if isinstance(definition, SpectrumDefinition) and isinstance(seen.curve, Spectrum) and isinstance(shape, Band):
        from brinemark.science.curve.absorbance import measure_spectrum

        return measure_spectrum(seen.curve, definition, shape, _before(seen), seen.spectrometer)
    raise _mixed(definition)


def take_apart(seen: Seen, definition: CurveDefinition, shape: Shape) -> CurveDissection:
    """The same signal taken apart for the eye. Raises Refused."""
    if isinstance(definition, SignalDefinition) and isinstance(seen.curve, Trace) and isinstance(shape, Wave):
        from brinemark.science.curve.voltammetry import dissect

        return dissect(seen.curve, definition, shape, seen.scan_rate_V_per_s)
    if isinstance(definition, SpectrumDefinition) and isinstance(seen.curve, Spectrum) and isinstance(shape, Band):
        from brinemark.science.curve.absorbance import dissect_spectrum

        return dissect_spectrum(seen.curve, definition, shape, _before(seen), seen.spectrometer)
    raise _mixed(definition)


def _before(seen: Seen) -> Spectrum | None:
    return seen.prescan if isinstance(seen.prescan, Spectrum) else None


def _mixed(definition: CurveDefinition) -> Refused:
    kinds = (
        ("a spectrum", "voltammograms") if isinstance(definition, SignalDefinition) else ("a voltammogram", "spectra")
    )
    return Refused(
        f"{kinds[0]}, and a signal that is defined for {kinds[1]}",
        "one kind of curve in a logbook",
        "keep a logbook for each kind, or put [signal] back as it was",
    )


def _traces(seen: Sequence[Seen]) -> list[Trace]:
    return [one.curve for one in seen if isinstance(one.curve, Trace)]


def _spectra(seen: Sequence[Seen], definition: SpectrumDefinition) -> list[Spectrum]:
    """Spectra as the signal sees them; one without the pre-scan that is to be taken off teaches nothing."""
    from brinemark.science.curve.absorbance import against_prescan

    found = []
    for one in seen:
        if not isinstance(one.curve, Spectrum):
            continue
        if not is_against_prescan(definition):
            found.append(one.curve)
        elif isinstance(one.prescan, Spectrum):
            found.append(against_prescan(one.curve, one.prescan))
    return found

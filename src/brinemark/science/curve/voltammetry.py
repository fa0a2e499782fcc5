"""From a trace and a wave to one number with its standard uncertainty."""

from __future__ import annotations

import math

import numpy as np

from brinemark.science.curve.charging import dissect_charging, measure_charging
from brinemark.science.curve.chord import height_weights
from brinemark.science.curve.cycles import compare_cycles
from brinemark.science.curve.flags import (
    no_wave_flag,
    noise_flag,
    place_flags,
    prescan_ratio_flag,
    saturation_flag,
    spike_flag,
    tilt_flag,
    width_flag,
)
from brinemark.science.curve.placing import expected_width, find_place, find_width
from brinemark.science.curve.window import Part, Window, open_window, part, weights_of_charge, weights_of_height
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import CHARGING, Dissection, Flag, Signal, SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

__all__ = ["dissect", "measure", "prescan_ratio_flag"]

QUANTITIES = ("height", "charge", "potential", "width", CHARGING)


def measure(trace: Trace, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None = None) -> Signal:
    """Read one number from a trace; linear in the current, never clipped, negative when it is.

    height [A] = least-squares projection of the current above its baseline on the wave above its baseline, at the
    expected place; positive for an anodic wave on an anodic and a cathodic wave on a cathodic sweep. charge [C]
    = integral over time of the current above the baseline, same sign. potential [V] = place of the wave by
    shifting the shape until it fits best, the expected place with flag "no wave" when there is none. width [V] = width
    at half height, by shifting and stretching the shape until it fits best; the wave's own, with flag "no width", where
    there is no wave to speak of. Both then have u = window/sqrt(12). charging [A] : `measure_charging`, without wave.

    u^2 = u_noise^2 + u_baseline^2: see `docs/decisions` on how u is made. Of three complete cycles and more the scatter
    between them is compared with u_noise; a mean of cycles takes the larger of the two.

    Raises
    ------
    Refused
        As `take_segment`; for a charge without time or scan rate; for an unknown quantity or baseline, or a
        wave whose grid does not reach over the window.
    """
    if definition.quantity == CHARGING:
        return measure_charging(trace, definition)
    return _signal(open_window(trace, definition, wave), definition, wave, scan_rate_V_per_s)


def dissect(
    trace: Trace, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None = None
) -> Dissection:
    """The same signal taken apart: current = baseline + wave + residual, all (m,) [A] over the window.

    The baseline is that of the current; the wave is the fitted height times the shape above its own.
    Raises Refused as `measure`.
    """
    if definition.quantity == CHARGING:
        return dissect_charging(trace, definition)
    view = open_window(trace, definition, wave)
    signal = _signal(view, definition, wave, scan_rate_V_per_s)
    baseline = view.baseline.line(view.current)
    height = float(height_weights(view.baseline, view.shape, view.everywhere) @ view.current)
    fitted = height * view.baseline.above(view.shape)
    residual = view.raw - baseline - fitted
    baseline, fitted, residual = (
        np.asarray(view.sign * part, dtype=np.float64) for part in (baseline, fitted, residual)
    )
    return Dissection(view.potential, view.segment.current_A, baseline, fitted, residual, signal)


def _signal(view: Window, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None) -> Signal:
    if definition.quantity not in QUANTITIES:
        known = ", ".join(f'"{name}"' for name in QUANTITIES)
        raise Refused(f"quantity {definition.quantity!r}", known, "change the quantity")
    height = part(view, weights_of_height(view, view.shape))
    found = height
    if definition.quantity == "charge":
        found = part(view, weights_of_charge(view, _seconds(view, scan_rate_V_per_s)))
    nothing = no_wave_flag(found.value, found.u)
    at_its_place = no_wave_flag(height.value, height.u_noise) is None
    place = find_place(view, wave, nothing is None) if at_its_place else None
    flags = _flags(view, height, nothing)
    flags += () if place is None else place_flags(place.value, wave.place_V, definition.window_V)
    if definition.quantity == "potential":
        found = place or _unknown(view, wave.place_V)
    if definition.quantity == "width":
        width = find_width(view, wave) if place is not None else None
        flags += () if width is not None else (width_flag(height.value, height.u),)
        found = width or _unknown(view, expected_width(wave))
    return _make_signal(view, found, definition, flags)


def _unknown(view: Window, expected_V: float) -> Part:
    """A place or width that the curve says nothing about: anywhere in the window."""
    spread = float(np.ptp(view.potential)) / math.sqrt(12.0)
    return Part(expected_V, spread, 0.0, np.zeros(view.potential.size))


def _flags(view: Window, height: Part, nothing: Flag | None) -> tuple[Flag, ...]:
    line = view.baseline.line(view.current)
    found = [nothing, saturation_flag(view.raw), spike_flag(view.spikes)]
    if nothing is None:
        found += [noise_flag(height.value, height.u_noise), tilt_flag(float(line[-1] - line[0]), height.value)]
    return tuple(flag for flag in found if flag is not None)


def _seconds(view: Window, scan_rate_V_per_s: float | None) -> FloatArray:
    """Time [s] at every point: the file's, or from the scan rate [V/s]."""
    if view.segment.time_s is not None:
        return view.segment.time_s
    if scan_rate_V_per_s is None or not scan_rate_V_per_s > 0.0:
        raise Refused(
            "a charge without time or scan rate",
            "a time column, or a scan rate above 0 V/s",
            "give scan_rate_V_per_s in the sheet or for the instrument",
        )
    return np.asarray(view.potential / scan_rate_V_per_s, dtype=np.float64)


def _make_signal(view: Window, found: Part, definition: SignalDefinition, flags: tuple[Flag, ...]) -> Signal:
    values = view.cycles @ found.weights if found.weights.any() else np.empty(0)
    u_noise, differing = compare_cycles(values, found.u_noise, definition.cycle == "mean")
    flags += () if differing is None else (differing,)
    u = math.hypot(u_noise, found.u_baseline)
    return Signal(found.value, u, definition.unit, flags, u_noise, found.u_baseline)

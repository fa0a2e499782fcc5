"""From a trace and a wave to one number with its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from brinemark.science.curve.chord import (
    Chord,
    beside_weights,
    charge_weights,
    height_weights,
    time_weights,
    without_spikes,
)
from brinemark.science.curve.chosen_baseline import (
    AnyBaseline,
    bow_power,
    check_baseline,
    make_baseline,
    softer_baselines,
)
from brinemark.science.curve.flags import (
    NO_WAVE_LIMIT,
    no_wave_flag,
    noise_flag,
    place_flags,
    prescan_ratio_flag,
    saturation_flag,
    spike_flag,
    tilt_flag,
)
from brinemark.science.curve.noise import NoiseSpectrum, noise_spectrum, weighed
from brinemark.science.curve.sweeps import DIRECTIONS, take_segment
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import Dissection, Flag, Segment, Signal, SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

__all__ = ["dissect", "measure", "prescan_ratio_flag"]

END_MOVE = 0.10
"""Share of the window by which each end is moved to see what the baseline does to the signal."""

ELSEWHERE_LIMIT = 15.0
"""A wave away from its place, where the signal shows none, is believed above this many u (our choice)."""

PLACE_ROUNDS = 8
PLACE_STEP_V = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """One window ready for reading.

    potential, current : (m,) rising [V], and [A] without spikes and with the wave upwards; raw : the same with
    them; shape : (m,) the wave; moved : a baseline and the points inside for each window with moved ends.
    """

    segment: Segment
    potential: FloatArray
    current: FloatArray
    raw: FloatArray
    sign: int
    spikes: int
    shape: FloatArray
    baseline: AnyBaseline
    noise: NoiseSpectrum
    moved: tuple[tuple[AnyBaseline, BoolArray], ...]

    @property
    def everywhere(self) -> BoolArray:
        return np.ones(self.potential.size, dtype=bool)


def measure(trace: Trace, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None = None) -> Signal:
    """Read one number from a trace; linear in the current, never clipped, negative when it is.

    height [A] = least-squares projection of the current above its baseline on the wave above its baseline, at the
    expected place; positive for an anodic wave on an anodic and a cathodic wave on a cathodic sweep. charge [C]
    = integral over time of the current above the baseline, same sign. potential [V] = place of the wave by
    shifting the shape until it fits best, the expected place with flag "no wave" when there is none.

    u^2 = u_noise^2 + u_baseline^2: see `docs/decisions` on how u is made.

    Raises
    ------
    Refused
        As `take_segment`; for a charge without time or scan rate; for an unknown quantity or baseline, or a
        wave whose grid does not reach over the window.
    """
    return _signal(_open_window(trace, definition, wave), definition, wave, scan_rate_V_per_s)


def dissect(
    trace: Trace, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None = None
) -> Dissection:
    """The same signal taken apart: current = baseline + wave + residual, all (m,) [A] over the window.

    The baseline is that of the current; the wave is the fitted height times the shape above its own.
    Raises Refused as `measure`.
    """
    view = _open_window(trace, definition, wave)
    signal = _signal(view, definition, wave, scan_rate_V_per_s)
    baseline = view.baseline.line(view.current)
    height = float(height_weights(view.baseline, view.shape, view.everywhere) @ view.current)
    fitted = height * view.baseline.above(view.shape)
    residual = view.raw - baseline - fitted
    baseline, fitted, residual = (
        np.asarray(view.sign * part, dtype=np.float64) for part in (baseline, fitted, residual)
    )
    return Dissection(view.potential, view.segment.current_A, baseline, fitted, residual, signal)


def _open_window(trace: Trace, definition: SignalDefinition, wave: Wave) -> _Window:
    check_baseline(definition.baseline)
    segment = take_segment(trace, definition)
    potential, window_V = segment.potential_V, definition.window_V
    _check_wave(wave, window_V)
    sign = DIRECTIONS[definition.sweep]
    raw = np.asarray(sign * segment.current_A, dtype=np.float64)
    current, spikes = without_spikes(raw)
    shape, _ = _shape_and_slope(potential, wave)
    noise = noise_spectrum(current, potential, _wave_terms(potential, wave))
    baseline, *moved = _baselines(definition, potential, shape)
    return _Window(segment, potential, current, raw, sign, spikes, shape, baseline[0], noise, tuple(moved))


def _baselines(
    definition: SignalDefinition, potential: FloatArray, shape: FloatArray
) -> list[tuple[AnyBaseline, BoolArray]]:
    """The signal's own baseline, then others to compare with, each with the points inside its window."""
    windows = (definition.window_V, *_moved_windows(definition.window_V))
    insides = tuple((potential >= low) & (potential <= high) for low, high in windows)
    insides = (np.ones(potential.size, dtype=bool), *insides[1:])
    made = [make_baseline(definition.baseline, potential, window, shape) for window in windows]
    softer = softer_baselines(made[0], potential, windows[0], shape)
    return list(zip([*made, *softer], [*insides, *insides[: len(softer)]], strict=True))


def _check_wave(wave: Wave, window_V: tuple[float, float]) -> None:
    low, high = float(wave.potential_V[0]), float(wave.potential_V[-1])
    slack = 0.02 * (window_V[1] - window_V[0])
    if low > window_V[0] + slack or high < window_V[1] - slack:
        raise Refused(
            f"a wave known from {low:g} to {high:g} V",
            f"one that covers {window_V[0]:g} to {window_V[1]:g} V",
            "learn the wave with the same window_V",
        )


def _moved_windows(window_V: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """The window with its low, then its high end moved inwards; outwards would need what is outside."""
    low, high = window_V
    move = END_MOVE * (high - low)
    return (low + move, high), (low, high - move)


def _shape_and_slope(potential_V: FloatArray, wave: Wave, shift_V: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Shape and its derivative [1/V] at potential_V, for a wave moved by shift_V."""
    slope = np.gradient(wave.shape, wave.potential_V)
    place = potential_V - shift_V
    return np.interp(place, wave.potential_V, wave.shape), np.interp(place, wave.potential_V, slope)


def _wave_terms(potential_V: FloatArray, wave: Wave) -> FloatArray:
    """(m, 3) the shape with its first and second derivative: a wave a little moved or widened is no noise."""
    slope = np.gradient(wave.shape, wave.potential_V)
    terms = (wave.shape, slope, np.gradient(slope, wave.potential_V))
    return np.column_stack([np.interp(potential_V, wave.potential_V, term / np.abs(term).max()) for term in terms])


def _signal(view: _Window, definition: SignalDefinition, wave: Wave, scan_rate_V_per_s: float | None) -> Signal:
    height = _value(view, _height_weights(view, view.shape))
    parts = height
    if definition.quantity == "charge":
        parts = _value(view, _charge_weights(view, _seconds(view, scan_rate_V_per_s)))
    elif definition.quantity not in ("height", "potential"):
        raise Refused(f"quantity {definition.quantity!r}", '"height", "charge" or "potential"', "change the quantity")
    nothing = no_wave_flag(parts[0], math.hypot(*parts[1:]))
    place = _find_place(view, wave, nothing is None) if no_wave_flag(*height[:2]) is None else None
    if definition.quantity == "potential":
        spread = (definition.window_V[1] - definition.window_V[0]) / math.sqrt(12.0)
        parts = place or (wave.place_V, spread, 0.0)
    flags = _flags(view, height, nothing)
    flags += () if place is None else place_flags(place[0], wave.place_V, definition.window_V)
    return _make_signal(parts, definition, flags)


def _flags(view: _Window, height: tuple[float, float, float], nothing: Flag | None) -> tuple[Flag, ...]:
    line = view.baseline.line(view.current)
    found = [nothing, saturation_flag(view.raw), spike_flag(view.spikes)]
    if nothing is None:
        found += [noise_flag(height[0], height[1]), tilt_flag(float(line[-1] - line[0]), height[0])]
    return tuple(flag for flag in found if flag is not None)


def _seconds(view: _Window, scan_rate_V_per_s: float | None) -> FloatArray:
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


def _make_signal(parts: tuple[float, float, float], definition: SignalDefinition, flags: tuple[Flag, ...]) -> Signal:
    value, u_noise, u_baseline = parts
    return Signal(value, math.hypot(u_noise, u_baseline), definition.unit, flags, u_noise, u_baseline)


def _value(view: _Window, weights: FloatArray) -> tuple[float, float, float]:
    """Value, noise part and baseline part of u, for weights (1 + K, m): the signal's own, then other baselines."""
    return weighed(weights, view.current, view.noise)


def _bow(view: _Window) -> FloatArray:
    """(m,) the lowest even power of the potential that the baseline does not follow: 2 for the chord, else 4."""
    place = (view.potential - view.potential.mean()) / float(np.ptp(view.potential))
    return np.asarray(place ** bow_power(view.baseline), dtype=np.float64)


def _height_weights(view: _Window, shape: FloatArray) -> FloatArray:
    """(K, m) weights of the height: the window's baseline; each other one; its own with a bow beside the wave."""
    own = height_weights(view.baseline, shape, view.everywhere)
    moved = [height_weights(chord, shape, inside) for chord, inside in view.moved]
    return np.stack([own, *moved, beside_weights(view.baseline, shape, _bow(view), view.everywhere)])


def _charge_weights(view: _Window, seconds: FloatArray) -> FloatArray:
    """(K, m) weights of the charge, as for the height; a moved window is scaled to the part of the wave it holds.

    A curve that follows the wave's feet takes a fifth of its charge away; it is given back in the wave's own shape.
    """
    own = charge_weights(view.baseline, seconds, view.everywhere)
    if not isinstance(view.baseline, Chord):
        whole = float(time_weights(seconds, view.everywhere) @ view.shape)
        own = own * (whole / float(own @ view.shape))
    moved = [charge_weights(chord, seconds, inside) for chord, inside in view.moved]
    scaled = [weights * float(own @ view.shape) / float(weights @ view.shape) for weights in moved]
    bow = _bow(view)
    bowed = own - float(own @ bow) * beside_weights(view.baseline, bow, view.shape, view.everywhere)
    return np.stack([own, *scaled, bowed])


def _find_place(view: _Window, wave: Wave, expected: bool) -> tuple[float, float, float] | None:
    """Place of the wave [V] with the two parts of its u, or None when there is none near.

    A wave must be clear of 3 u where it is found; when none was `expected` from the signal at its own place, it
    must be upwards and clear of ELSEWHERE_LIMIT u, since a search finds the best of many places.

    For a small shift d of a wave of height s, s w(E - d) = s w(E) - s d w'(E), so d is the fitted amount of -w'
    over that of w, both above their baselines; repeated at the shifted shape (Gauss-Newton).
    """
    limit = END_MOVE * float(np.ptp(view.potential))
    shift = 0.0
    for _ in range(PLACE_ROUNDS):
        shape, slope = _shape_and_slope(view.potential, wave, shift)
        height = float(beside_weights(view.baseline, shape, slope, view.everywhere) @ view.current)
        weights = beside_weights(view.baseline, slope, shape, view.everywhere) / -height
        step = float(np.clip(weights @ view.current, -limit, limit))
        shift += step
        if abs(step) < PLACE_STEP_V:
            break
    there, *u_there = _value(view, _height_weights(view, shape))
    clear = NO_WAVE_LIMIT if expected else ELSEWHERE_LIMIT
    if (abs(there) if expected else there) <= clear * math.hypot(*u_there):
        return None
    moved = [beside_weights(chord, slope, shape, inside) / -height for chord, inside in view.moved]
    _, u_noise, u_baseline = _value(view, np.stack([weights, *moved]))
    return wave.place_V + shift, u_noise, u_baseline

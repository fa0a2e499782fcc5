"""One window of a trace ready for reading: its baseline and those it is compared with, and the two parts of u."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

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
from brinemark.science.curve.noise import NoiseSpectrum, noise_spectrum, weighed
from brinemark.science.curve.sweeps import DIRECTIONS, take_cycles
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import Segment, SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

END_MOVE = 0.10
"""Share of the window by which each end is moved to see what the baseline does to the signal."""


class Part(NamedTuple):
    """One number read from a window, the two parts of its u, and the weights (m,) that a change of current has."""

    value: float
    u_noise: float
    u_baseline: float
    weights: FloatArray

    @property
    def u(self) -> float:
        return math.hypot(self.u_noise, self.u_baseline)


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """One window ready for reading.

    potential, current : (m,) rising [V], and [A] without spikes and with the wave upwards; raw : the same with
    them; shape : (m,) the wave; cycles : (k, m) the currents of all
    cycles to compare, as current; moved : a baseline and the points inside for each window with moved ends.
    """

    segment: Segment
    potential: FloatArray
    current: FloatArray
    raw: FloatArray
    sign: int
    spikes: int
    cycles: FloatArray
    shape: FloatArray
    baseline: AnyBaseline
    noise: NoiseSpectrum
    moved: tuple[tuple[AnyBaseline, BoolArray], ...]

    @property
    def everywhere(self) -> BoolArray:
        return np.ones(self.potential.size, dtype=bool)


def open_window(trace: Trace, definition: SignalDefinition, wave: Wave) -> Window:
    check_baseline(definition.baseline)
    segment, cycles = take_cycles(trace, definition)
    potential, window_V = segment.potential_V, definition.window_V
    _check_wave(wave, window_V)
    sign = DIRECTIONS[definition.sweep]
    raw = np.asarray(sign * segment.current_A, dtype=np.float64)
    current, spikes = without_spikes(raw)
    cycles = np.stack([without_spikes(sign * one)[0] for one in cycles]) if len(cycles) else cycles
    shape, _ = shape_and_slope(potential, wave)
    noise = noise_spectrum(current, potential, _wave_terms(potential, wave))
    baseline, *moved = _baselines(definition, potential, shape)
    return Window(segment, potential, current, raw, sign, spikes, cycles, shape, baseline[0], noise, tuple(moved))


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


def shape_and_slope(potential_V: FloatArray, wave: Wave, shift_V: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Shape and its derivative [1/V] at potential_V, for a wave moved by shift_V."""
    slope = np.gradient(wave.shape, wave.potential_V)
    place = potential_V - shift_V
    return np.interp(place, wave.potential_V, wave.shape), np.interp(place, wave.potential_V, slope)


def _wave_terms(potential_V: FloatArray, wave: Wave) -> FloatArray:
    """(m, 3) the shape with its first and second derivative: a wave a little moved or widened is no noise."""
    slope = np.gradient(wave.shape, wave.potential_V)
    terms = (wave.shape, slope, np.gradient(slope, wave.potential_V))
    return np.column_stack([np.interp(potential_V, wave.potential_V, term / np.abs(term).max()) for term in terms])


def part(view: Window, weights: FloatArray) -> Part:
    """Value, noise part and baseline part of u, for weights (1 + K, m): the signal's own, then other baselines."""
    return Part(*weighed(weights, view.current, view.noise), weights[0])


def bow(view: Window) -> FloatArray:
    """(m,) the lowest even power of the potential that the baseline does not follow: 2 for the chord, else 4."""
    place = (view.potential - view.potential.mean()) / float(np.ptp(view.potential))
    return np.asarray(place ** bow_power(view.baseline), dtype=np.float64)


def weights_of_height(view: Window, shape: FloatArray) -> FloatArray:
    """(K, m) weights of the height: the window's baseline; each other one; its own with a bow beside the wave."""
    own = height_weights(view.baseline, shape, view.everywhere)
    moved = [height_weights(chord, shape, inside) for chord, inside in view.moved]
    return np.stack([own, *moved, beside_weights(view.baseline, shape, bow(view), view.everywhere)])


def weights_of_charge(view: Window, seconds: FloatArray) -> FloatArray:
    """(K, m) weights of the charge, as for the height; a moved window is scaled to the part of the wave it holds.

    A curve that follows the wave's feet takes a fifth of its charge away; it is given back in the wave's own shape.
    """
    own = charge_weights(view.baseline, seconds, view.everywhere)
    if not isinstance(view.baseline, Chord):
        whole = float(time_weights(seconds, view.everywhere) @ view.shape)
        own = own * (whole / float(own @ view.shape))
    moved = [charge_weights(chord, seconds, inside) for chord, inside in view.moved]
    scaled = [weights * float(own @ view.shape) / float(weights @ view.shape) for weights in moved]
    bowed = bow(view)
    bowed = own - float(own @ bowed) * beside_weights(view.baseline, bowed, view.shape, view.everywhere)
    return np.stack([own, *scaled, bowed])

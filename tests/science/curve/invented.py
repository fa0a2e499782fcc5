"""Invented voltammograms with known truth: backgrounds, waves and the kinds of noise that instruments give."""

from __future__ import annotations

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import SignalDefinition, Trace, Wave

WINDOW_V = (0.40, 0.76)
PLACE_V = 0.58
NOISE_A = 1e-9
DEFINITION = SignalDefinition("height", "anodic", "last", WINDOW_V)


def bell(potential_V: FloatArray, place_V: float = PLACE_V, width_V: float = 0.0514) -> FloatArray:
    """1/cosh^2, the shape of a surface-confined wave; height 1."""
    return np.asarray(np.cosh((potential_V - place_V) / width_V) ** -2.0)


def known_wave(place_V: float = PLACE_V) -> Wave:
    grid = np.linspace(*WINDOW_V, 181)
    return Wave(grid, bell(grid, place_V), place_V, "theoretical", 0)


def sweep_up(step_V: float = 0.001) -> FloatArray:
    return np.round(np.arange(0.30, 0.85 + step_V / 2, step_V), 6)


def white(rng: np.random.Generator, points: int) -> FloatArray:
    return rng.normal(size=points)


def autoregressive(rng: np.random.Generator, points: int, memory: float) -> FloatArray:
    """x_k = memory x_(k-1) + e_k, past its start, sd of e 1."""
    e = rng.normal(size=points + 100)
    kernel = memory ** np.arange(100)
    return np.asarray(np.convolve(e, kernel)[100 : 100 + points])


def running_mean(values: FloatArray, width: int) -> FloatArray:
    """Mean over `width` neighbours (odd), as a filter in an instrument or its export gives."""
    padded = np.pad(values, width // 2, mode="edge")
    return np.asarray(np.convolve(padded, np.ones(width) / width, mode="valid"))


def smoothed(rng: np.random.Generator, points: int, width: int) -> FloatArray:
    return running_mean(rng.normal(size=points + 2 * width), width)[width : width + points]


def make_noise(kind: str, rng: np.random.Generator, points: int) -> FloatArray:
    """kind : "white", "memory .5", "memory .8", "mean of 5", "mean of 11"."""
    name, _, number = kind.rpartition(" ")
    if name == "memory":
        return autoregressive(rng, points, float(number))
    if name == "mean of":
        return smoothed(rng, points, int(number))
    return white(rng, points)


def straight(potential_V: FloatArray) -> FloatArray:
    return np.asarray(2e-8 + 5e-8 * potential_V)


def tailed(potential_V: FloatArray, size_A: float) -> FloatArray:
    """Charging of the capacitance from 0.30 V on (0.1 s at 0.1 V/s), and an oxidation tail of size_A at 0.85 V [A]."""
    charging = 2e-8 * (1.0 - np.exp(-(potential_V - 0.30) / 0.01))
    return np.asarray(charging + straight(potential_V) + size_A * np.exp((potential_V - 0.85) / 0.06))


def trace_of(current_A: FloatArray, potential_V: FloatArray) -> Trace:
    return Trace(potential_V, np.asarray(current_A, dtype=np.float64))

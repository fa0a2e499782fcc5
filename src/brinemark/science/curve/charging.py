"""The charging current of an electrode: half the distance between its anodic and its cathodic sweep.

Where no wave stands, a triangle sweep of rate v gives +vC one way and -vC the other (C : capacitance of double layer
and film; A. J. Bard and L. R. Faulkner, Electrochemical Methods, 2nd edition, Wiley 2001, section 1.2.4), on top of
what flows both ways alike. Half the distance is therefore vC, and what is common to both sweeps drops out.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from brinemark.science.curve.chord import without_spikes
from brinemark.science.curve.flags import saturation_flag, spike_flag
from brinemark.science.curve.noise import noise_spectrum
from brinemark.science.curve.sweeps import take_segment
from brinemark.science.curve.window import END_MOVE
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Dissection, Flag, Segment, Signal, SignalDefinition, Trace


def measure_charging(trace: Trace, definition: SignalDefinition) -> Signal:
    """Mean over the window of half the anodic less half the cathodic current [A], on the anodic sweep's potentials.

    The sweep of the definition plays no part: both are read, in the cycle that it names. u^2 = u_noise^2 +
    u_baseline^2 : the noise of each sweep by its own spectrum, whose value at the lowest cosine stands for that of a
    mean; and, since a window has no edge of its own, how far the mean moves when an end moves by 10 % of it, as a
    rectangle of that half-width (JCGM 100:2008, 4.3.7). Noise as slow as memory .8 from point to point makes u 1.3
    times too small on 75 points (400 simulated traces). Raises Refused as `take_segment`, for either sweep.
    """
    return _read(*_sweeps(trace, definition), definition)


def dissect_charging(trace: Trace, definition: SignalDefinition) -> Dissection:
    """The same taken apart: anodic current = middle of the two sweeps (as baseline) + charging current + residual."""
    anodic, cathodic = _sweeps(trace, definition)
    signal = _read(anodic, cathodic, definition)
    forth, back = anodic.current_A, _onto(anodic, cathodic)
    middle, wave = (forth + back) / 2.0, np.full(forth.size, signal.value)
    return Dissection(anodic.potential_V, forth, middle, wave, forth - middle - wave, signal, charging=True)


def _sweeps(trace: Trace, definition: SignalDefinition) -> tuple[Segment, Segment]:
    first, second = (take_segment(trace, replace(definition, sweep=sweep)) for sweep in ("anodic", "cathodic"))
    return first, second


def _onto(anodic: Segment, cathodic: Segment) -> FloatArray:
    return np.interp(anodic.potential_V, cathodic.potential_V, cathodic.current_A)


def _read(anodic: Segment, cathodic: Segment, definition: SignalDefinition) -> Signal:
    cleaned = [without_spikes(segment.current_A) for segment in (anodic, cathodic)]
    forth, back = (replace(s, current_A=one) for s, (one, _) in zip((anodic, cathodic), cleaned, strict=True))
    half = (forth.current_A - _onto(forth, back)) / 2.0
    value = float(half.mean())
    low, high = definition.window_V
    move = END_MOVE * (high - low)
    inside = (anodic.potential_V >= low + move), (anodic.potential_V <= high - move)
    moved = max(abs(float(half[part].mean()) - value) for part in inside)
    u_noise = 0.5 * math.hypot(*(_mean_u(segment) for segment in (forth, back)))
    u_baseline = moved / math.sqrt(3.0)
    flags = (*_saturated((anodic, cathodic)), spike_flag(sum(count for _, count in cleaned)))
    found = tuple(flag for flag in flags if flag is not None)
    return Signal(value, math.hypot(u_noise, u_baseline), definition.unit, found, u_noise, u_baseline)


def _mean_u(segment: Segment) -> float:
    """Standard deviation that noise gives the mean of a sweep's current."""
    nothing = np.zeros((segment.potential_V.size, 0))
    spectrum = noise_spectrum(segment.current_A, segment.potential_V, nothing)
    return math.sqrt(float(spectrum.level[0]) / segment.potential_V.size)


def _saturated(sweeps: tuple[Segment, Segment]) -> tuple[Flag, ...]:
    found = (saturation_flag(sweep.current_A) for sweep in sweeps)
    return tuple(flag for flag in found if flag is not None)[:1]

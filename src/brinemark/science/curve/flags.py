"""Remarks on a signal, each with its number and the limit it passed."""

from __future__ import annotations

import numpy as np

from brinemark.science.curve.chord import END_SHARE
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Flag

NO_WAVE_LIMIT = 3.0
"""A signal within this many u of zero is no wave (common practice, no source)."""

WIDTH_LIMIT = 10.0
"""A wave whose height is within this many u of zero has no width to speak of (by simulation)."""

NOISE_LIMIT = 0.2
"""Noise part of u relative to the signal above which a present wave counts as noisy (our choice)."""

RUN_LIMIT = 5
"""Fewest equal extreme values in a row that look like a converter at its end (our choice) ..."""

STAIR_RATIO = 5
"""... which must also be this many times the longest run of any other value near that extreme. A broad summit
read in coarse counts has runs too: its top step is at most 2/(sqrt(2) - 1) = 4.83 times as long as the next."""

NEAR_SHARE = 0.1
"""Points within this share of the window's current range of an extreme show how long its other runs are."""

TILT_LIMIT = 20.0
"""Rise of the chord across the window, in heights of the wave, above which the background rules (our choice)."""

MOVED_LIMIT_V = 0.03
"""Distance [V] of the wave from its expected place above which the reference may have drifted (our choice)."""


def no_wave_flag(value: float, u: float) -> Flag | None:
    """Set when |value| <= 3 u: nothing there that noise and baseline could not make. An answer, not a fault."""
    if abs(value) > NO_WAVE_LIMIT * u:
        return None
    ratio = abs(value) / u if u > 0.0 else 0.0
    return Flag(
        "no wave", ratio, NO_WAVE_LIMIT, "at the expected place the signal is within 3 standard uncertainties of zero"
    )


def width_flag(value: float, u: float) -> Flag:
    """The width that came back is the expected one: the wave is too small, or fits at no believable width."""
    ratio = abs(value) / u if u > 0.0 else 0.0
    return Flag(
        "no width", ratio, WIDTH_LIMIT, "no wave whose width could be told; the expected one is given", severe=True
    )


def noise_flag(value: float, u_noise: float) -> Flag | None:
    """Set when the noise alone makes a present wave uncertain by more than a fifth."""
    if value == 0.0 or u_noise <= NOISE_LIMIT * abs(value):
        return None
    return Flag("noisy", u_noise / abs(value), NOISE_LIMIT, "the trace's noise is a large share of the signal")


def saturation_flag(current_A: FloatArray) -> Flag | None:
    """Set when the largest or smallest current (m,) repeats in a row far more often than values next to it."""
    span = float(np.ptp(current_A))
    if span == 0.0:
        return Flag("saturated", float(current_A.size), RUN_LIMIT, "the current never changes", severe=True)
    longest = max(_clipped_run(current_A, extreme, NEAR_SHARE * span) for extreme in _ends(current_A))
    if longest < RUN_LIMIT:
        return None
    return Flag("saturated", float(longest), RUN_LIMIT, "equal extreme currents in a row: converter full", severe=True)


def spike_flag(spikes: int) -> Flag | None:
    """Set when single points were replaced by the median of their neighbours before the signal was read."""
    if spikes == 0:
        return None
    return Flag("spikes", float(spikes), 0.0, "single points far from their neighbours were left out")


def _ends(current_A: FloatArray) -> tuple[float, float]:
    return float(current_A.max()), float(current_A.min())


def _clipped_run(current_A: FloatArray, extreme: float, near: float) -> int:
    """Longest run of points equal to `extreme`, 0 when other values near it have runs that are not far shorter."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(current_A) != 0.0) + 1, [current_A.size]])
    lengths, values = np.diff(edges), current_A[edges[:-1]]
    at_end = values == extreme
    others = lengths[~at_end & (np.abs(values - extreme) <= near)]
    longest = int(lengths[at_end].max())
    return longest if others.size == 0 or longest >= STAIR_RATIO * int(others.max()) else 0


def tilt_flag(rise_A: float, height_A: float) -> Flag | None:
    """Set when the chord rises across the window by many heights of a present wave: resistance, leak or bare film."""
    if abs(rise_A) <= TILT_LIMIT * abs(height_A):
        return None
    ratio = abs(rise_A / height_A)
    return Flag("tilted", ratio, TILT_LIMIT, "the background rises by many times the wave: look for resistance")


def place_flags(place_V: float, expected_V: float, window_V: tuple[float, float]) -> tuple[Flag, ...]:
    """Flags of a wave that was found in an end of the window, or far from where it is expected."""
    margin = min(place_V - window_V[0], window_V[1] - place_V) / (window_V[1] - window_V[0])
    moved = abs(place_V - expected_V)
    flags = []
    if margin < END_SHARE:
        flags.append(Flag("edge", margin, END_SHARE, "the wave sits at the window's edge: move window_V", severe=True))
    if moved > MOVED_LIMIT_V:
        flags.append(
            Flag("moved", moved, MOVED_LIMIT_V, "a wave stands away from the place: check the reference", severe=True)
        )
    return tuple(flags)


def prescan_ratio_flag(value: float, reference: float, max_ratio: float) -> Flag | None:
    """Set when a pre-scan value is further than max_ratio, either way, from the reference of its batch.

    value, reference : same unit, reference > 0 (for example the batch's median); max_ratio : above 1.
    Raises ValueError when reference or max_ratio cannot be used.
    """
    if not reference > 0.0 or not max_ratio > 1.0:
        raise ValueError(f"reference {reference:g} must be positive and max_ratio {max_ratio:g} above 1")
    ratio = value / reference
    if 1.0 / max_ratio <= ratio <= max_ratio:
        return None
    why = "film thick or short-circuited" if ratio > max_ratio else "film thin, lifted or not in contact"
    limit = max_ratio if ratio > max_ratio else 1.0 / max_ratio
    return Flag("pre-scan", ratio, limit, f"the pre-scan is far from its batch: {why}", severe=True)

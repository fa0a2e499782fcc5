"""Where a wave stands and how wide it is: its known shape shifted, and stretched, until it fits best."""

from __future__ import annotations

import math

import numpy as np

from brinemark.science.curve.chord import beside_weights
from brinemark.science.curve.chosen_baseline import AnyBaseline
from brinemark.science.curve.flags import NO_WAVE_LIMIT, WIDTH_LIMIT
from brinemark.science.curve.window import END_MOVE, Part, Window, bow, part, shape_and_slope, weights_of_height
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import Wave
from brinemark.terms.errors import Refused

ELSEWHERE_LIMIT = 15.0
"""A wave away from its place, where the signal shows none, is believed above this many u (our choice)."""

PLACE_ROUNDS = 8
PLACE_STEP_V = 1e-5

STRETCH_ROUNDS = 30
STRETCH_STEP = 1e-6
STRETCH_LIMIT = math.log(2.5)
"""Largest |ln of stretched over known width| that is believed (our choice)."""


def find_place(view: Window, wave: Wave, expected: bool) -> Part | None:
    """Place of the wave [V] with the two parts of its u, or None when there is none near.

    A wave must be upwards and clear of 3 u where it is found, since a dip has no place to speak of; when none was
    `expected` from the signal at its own place, clear of ELSEWHERE_LIMIT u: a search finds the best of many places.

    For a small shift d of a wave of height s, s w(E - d) = s w(E) - s d w'(E), so d is the fitted amount of -w'
    over that of w, both above their baselines; repeated at the shifted shape (Gauss-Newton).
    """
    limit = END_MOVE * float(np.ptp(view.potential))
    shift = 0.0
    for _ in range(PLACE_ROUNDS):
        shape, slope = shape_and_slope(view.potential, wave, shift)
        height = float(beside_weights(view.baseline, shape, slope, view.everywhere) @ view.current)
        weights = beside_weights(view.baseline, slope, shape, view.everywhere) / -height
        step = float(np.clip(weights @ view.current, -limit, limit))
        shift += step
        if abs(step) < PLACE_STEP_V:
            break
    there = part(view, weights_of_height(view, shape))
    clear = NO_WAVE_LIMIT if expected else ELSEWHERE_LIMIT
    if there.value <= clear * there.u:
        return None
    moved = [beside_weights(chord, slope, shape, inside) / -height for chord, inside in view.moved]
    return part(view, np.stack([weights, *moved]))._replace(value=wave.place_V + shift)


def expected_width(wave: Wave) -> float:
    """Width of the known shape at half its height [V].

    Raises Refused when the shape does not fall to half inside its window on both sides.
    """
    top = int(np.argmax(wave.shape))
    below = np.flatnonzero(wave.shape < 0.5 * float(wave.shape[top]))
    left, right = below[below < top], below[below > top]
    if left.size == 0 or right.size == 0:
        raise Refused(
            "a wave that does not fall to half its height inside the window",
            "a window that holds the wave's width",
            'widen window_V, or write quantity = "height"',
        )
    ends = [_half_way(wave, int(left[-1]), 1), _half_way(wave, int(right[0]), -1)]
    return ends[1] - ends[0]


def _half_way(wave: Wave, outside: int, inwards: int) -> float:
    """Potential [V] of half height between a point below it and its neighbour towards the summit."""
    low, high = (float(wave.shape[k]) for k in (outside, outside + inwards))
    share = (0.5 * float(wave.shape.max()) - low) / (high - low)
    return float(wave.potential_V[outside] + share * (wave.potential_V[outside + inwards] - wave.potential_V[outside]))


def find_width(view: Window, wave: Wave) -> Part | None:
    """Width of the wave at half height [V] with the two parts of its u, or None when there is none to speak of.

    The shape w((E - E0 - d)/k + E0) is fitted by Gauss-Newton in d and ln k: for small steps the amounts of its
    derivatives -w' and -(E - E0 - d) w' over that of w itself, all above their baselines. None when the height is
    within WIDTH_LIMIT u of zero, or k leaves the believable range.
    """
    known = expected_width(wave)
    shift = stretch = 0.0
    for _ in range(STRETCH_ROUNDS):
        terms = _stretched_terms(view.potential, wave, shift, stretch)
        height, along, wider = _amounts(view.baseline, terms, view.everywhere) @ view.current
        limit = 0.5 * END_MOVE * float(np.ptp(view.potential))
        step = float(np.clip(along / height, -limit, limit)), float(np.clip(wider / height, -0.2, 0.2))
        shift, stretch = shift + step[0], stretch + step[1]
        if abs(stretch) > STRETCH_LIMIT or abs(shift) > float(np.ptp(view.potential)):
            return None
        if abs(step[1]) < STRETCH_STEP:
            break
    there = part(view, weights_of_height(view, terms[:, 0]))
    if abs(there.value) <= WIDTH_LIMIT * there.u:
        return None
    width = known * math.exp(stretch)
    own = _amounts(view.baseline, terms, view.everywhere)[2]
    bowed = _amounts(view.baseline, np.column_stack([terms, bow(view)]), view.everywhere)[2]
    moved = [_amounts(baseline, terms, inside)[2] for baseline, inside in view.moved]
    return part(view, np.stack([own, *moved, bowed]) * (width / height))._replace(value=width)


def _stretched_terms(potential_V: FloatArray, wave: Wave, shift_V: float, stretch: float) -> FloatArray:
    """(m, 3) the shifted and stretched shape and its derivatives by shift [1/V] and by ln k [1]."""
    factor = math.exp(stretch)
    away = (potential_V - wave.place_V - shift_V) / factor
    shape, slope = shape_and_slope(away + wave.place_V, wave)
    return np.column_stack([shape, -slope / factor, -away * slope])


def _amounts(baseline: AnyBaseline, terms: FloatArray, inside: BoolArray) -> FloatArray:
    """(K, m) weights of the amounts of the terms (m, K), fitted together by least squares above their baselines."""
    above = np.column_stack([np.where(inside, baseline.above(term), 0.0) for term in terms.T])
    scale = np.linalg.norm(above, axis=0)
    return np.stack([baseline.transposed(row) for row in np.linalg.pinv(above / scale) / scale[:, None]])

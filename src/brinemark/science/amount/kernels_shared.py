"""The rule of shared_points.py, where it is explained, in compiled loops: an electrode read once."""

from __future__ import annotations

from math import ceil, inf, sqrt

import numpy as np

from brinemark.science.amount.kernels_base import FARTHEST, Latents, exponential, logarithm, uncounted, whole
from brinemark.science.amount.quadrature import LOG_2PI
from brinemark.science.amount.shared_points import FARTHEST_START, LEAST, MOST, REACH, STEP, TOGETHER
from brinemark.terms.arrays import FloatArray

# Rows of room (ROWS, A or MOST): the normal density at the nodes of the batch, what takes it from one point to the
# next, what takes that from one point to the next, step in sd, sum; densities at the points, 1 over the sd there.
NORMAL, RATIO, BEND, BY, TOTAL, VALUES, FACTORS = range(7)
ROWS = 7
# Rows of lanes (LANES, A) of an electrode at the A nodes of its batch: z of the batch (3), centre of the electrode's
# nodes (3), ln K and floor of the batch, log of the median signal, spread of the own latent, log of the integral.
MIDDLE, BATCH_K, BATCH_FLOOR, MEDIAN, SPREAD, SUM = 3, 6, 7, 8, 9, 10
LANES = 11
PLACES = np.arange(float(MOST))


@uncounted
def points_of(lanes: FloatArray, sd: float) -> tuple[float, float, int]:
    """First point, step, and how many; none where they would be too many."""
    low, high, thinnest = inf, -inf, inf
    for a in range(lanes.shape[1]):
        spread = lanes[SPREAD, a]
        centre, reach = lanes[MEDIAN, a] + spread * lanes[MIDDLE, a], REACH * sd * spread
        low, high, thinnest = min(low, centre - reach), max(high, centre + reach), min(thinnest, spread)
    wanted = (high - low) / (STEP * sd * thinnest)
    if not wanted <= MOST - 1:
        return low, 0.0, 0
    count = TOGETHER * ceil((wanted + 1.0) / TOGETHER)
    return low, (high - low) / (count - 1.0), count


@uncounted
def densities(reading: Latents, points: tuple[float, float, int], room: FloatArray) -> float:
    """Into room the density of a reading at the points, in units of the largest exponential, whose log is given.
    reading : additive variance, signal, cv."""
    (additive, signal, cv), (low, step, count) = reading, points
    size = whole(count)
    for j in range(size):
        away, room[FACTORS, j] = misfit(additive, signal, cv, low + step * PLACES[j])
        room[VALUES, j] = -0.5 * away * away
    top = -inf
    for j in range(count):
        top = max(top, room[VALUES, j])
    for j in range(size):
        room[VALUES, j] = exponential(room[VALUES, j] - top) * room[FACTORS, j]
    room[VALUES, 0] *= 0.5
    room[VALUES, count - 1] *= 0.5
    return top


@uncounted
def misfit(additive: float, signal: float, cv: float, log_mean: float) -> tuple[float, float]:
    """How many sd a reading is away, and 1 over the sd."""
    mean = exponential(min(log_mean, FARTHEST))
    relative = cv * mean
    factor = 1.0 / sqrt(additive + relative * relative)
    return (signal - mean) * factor, factor


@uncounted
def over_shared(reading: Latents, lanes: FloatArray, sd: float, room: FloatArray) -> bool:
    """Into lanes[SUM] log int N(x; median, spread^2) p(y | x) dx without (2 pi)^(-1/2) of the reading; whether the
    points served. sd : of the product in units of spread."""
    low, step, count = points_of(lanes, sd)
    if count == 0:
        return False
    top = densities(reading, (low, step, count), room) - 0.5 * LOG_2PI
    served = begun(lanes, low, step, room)
    for j in range(0, count, TOGETHER):
        add_four(j, lanes.shape[1], room)
    for a in range(lanes.shape[1]):
        served += room[TOTAL, a] > LEAST
        lanes[SUM, a] = logarithm(room[TOTAL, a] * room[BY, a]) + top
    return served == 2 * lanes.shape[1]


@uncounted
def begun(lanes: FloatArray, low: float, step: float, room: FloatArray) -> int:
    """The normal density at the first point, and what takes it further; at how many nodes it is near enough."""
    near, size = 0, lanes.shape[1]
    # One exponential a loop: the compiler would take a longer one in pieces that leave some over.
    for a in range(size):
        inverse = 1.0 / lanes[SPREAD, a]
        start = (low - lanes[MEDIAN, a]) * inverse
        room[BY, a], room[TOTAL, a] = step * inverse, start
        near += abs(start) <= FARTHEST_START
    for a in range(size):
        room[NORMAL, a] = exponential(-0.5 * room[TOTAL, a] * room[TOTAL, a])
    for a in range(size):
        room[RATIO, a] = exponential(-room[BY, a] * (room[TOTAL, a] + 0.5 * room[BY, a]))
    for a in range(size):
        room[BEND, a] = exponential(-room[BY, a] * room[BY, a])
        room[TOTAL, a] = 0.0
    return near


@uncounted
def add_four(j: int, size: int, room: FloatArray) -> None:
    """Four points more into the sums."""
    first, second, third, fourth = room[VALUES, j], room[VALUES, j + 1], room[VALUES, j + 2], room[VALUES, j + 3]
    for a in range(size):
        n, r, b = room[NORMAL, a], room[RATIO, a], room[BEND, a]
        found = room[TOTAL, a] + n * first
        n *= r
        r *= b
        found += n * second
        n *= r
        r *= b
        found += n * third
        n *= r
        r *= b
        room[TOTAL, a] = found + n * fourth
        room[NORMAL, a] = n * r
        room[RATIO, a] = r * b

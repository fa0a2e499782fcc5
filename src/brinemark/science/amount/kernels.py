"""The loops behind compiled.py: likelihoods of lives.py for one electrode at a time, compiled by numba.

Imported only when the extra "fast" is installed and somebody asks for it. Formulas, limits of exponents and their
order are those of lives.py and response.py, where they are explained; tests hold both to 1e-8.

A pack holds, for D parameter vectors, U electrodes and R readings: population (rows below, D); centre (2, D, U) log
gain and spread; by_draw (4, D, R) cell level, factor of the gain, additive variance, factor of the floor; by_reading
(3, R) signal, whether another dip than the main one, relative u of the level; starts (U + 1,) first reading of each.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import TypeAlias

import numpy as np
from numba import njit

from brinemark.science.amount.response import LOG_2PI
from brinemark.terms.arrays import FloatArray, IntArray

Pack: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, IntArray]
Latents: TypeAlias = tuple[float, float, float]
Node: TypeAlias = tuple[int, int, int]  # of the batch, parameter vector, electrode
# z (3, A, D, U), centre of the electrode's nodes (3, A, D, U), their lower root (3, 3, D, U), 1 for absent latents
Place: TypeAlias = tuple[FloatArray, FloatArray, FloatArray]
# nodes (3, N) and log weights (3, N) of each latent, how many there are (3,): 1 for absent latents
Rule: TypeAlias = tuple[FloatArray, FloatArray, IntArray]

FARTHEST = 150.0
SMALL, LARGE = 1e-40, 1e40  # a product of variances is set aside as its log before it leaves these
ROWS = ("batch_sd", "ln_K", "ln_K_sd", "h", "ln_floor", "floor_batch_sd", "floor_sd", "own_K_sd", "cv", "drift_sd")
BATCH_SD, LN_K, LN_K_SD, H, LN_FLOOR, FLOOR_BATCH_SD, FLOOR_SD, OWN_K_SD, CV, DRIFT_SD = range(len(ROWS))
LEVEL, GAIN, ADDITIVE, FLOOR = range(4)
SIGNAL, OTHER_DIP, LEVEL_U = range(3)

compiled = njit(cache=True, error_model="numpy", nogil=True)


@compiled
def occupied(level: float, ln_K: float, h: float) -> float:
    if level <= 0.0:
        return 0.0
    exponent = h * (log(level) - ln_K)
    return 1.0 / (1.0 + exp(-min(max(exponent, -700.0), 700.0)))


@compiled
def log_response(pack: Pack, at: tuple[int, int], k: float, p: float) -> tuple[float, float]:
    """Mean and variance of the log response of an electrode read once, over its floor, K, level and drift.

    at : parameter vector and reading; k, p : the batch's ln K and ln floor in population sd.
    """
    population, _, by_draw, by_reading, _ = pack
    d, r = at
    h = population[H, d]
    occupancy = occupied(by_draw[LEVEL, d, r], population[LN_K, d] + population[LN_K_SD, d] * k, h)
    floor = exp(min(population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * p, FARTHEST)) * by_draw[FLOOR, d, r]
    total = max(floor + occupancy, 1e-300)
    share, by_K = floor / total, -h * occupancy * (1.0 - occupancy) / total
    K_bend = -h * (1.0 - 2.0 * occupancy) * by_K - by_K**2
    floor_var = population[FLOOR_SD, d] ** 2
    K_var = population[OWN_K_SD, d] ** 2 + by_reading[LEVEL_U, r] ** 2
    bend_floor, bend_K = 0.5 * share * (1.0 - share) * floor_var, 0.5 * K_bend * K_var
    variance = share**2 * floor_var + by_K**2 * K_var + 2.0 * (bend_floor**2 + bend_K**2)
    variance += by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2
    return log(total) + bend_floor + bend_K + log(by_draw[GAIN, d, r]), variance


@compiled
def single(pack: Pack, at: tuple[int, int], z: Latents, e: float) -> float:
    """Log density of the only reading of an electrode; at : parameter vector and electrode."""
    population, centre, by_draw, by_reading, starts = pack
    d, u = at
    r = starts[u]
    value, variance = log_response(pack, (d, r), z[1], z[2])
    spread = sqrt(centre[1, d, u] ** 2 + variance)
    log_mean = centre[0, d, u] + population[BATCH_SD, d] * z[0] + value + spread * e
    mean = exp(min(log_mean, FARTHEST))
    noise = by_draw[ADDITIVE, d, r] + (population[CV, d] * mean) ** 2
    return -0.5 * ((by_reading[SIGNAL, r] - mean) ** 2 / noise + log(noise) + LOG_2PI)


@compiled
def logs_of(pack: Pack, at: tuple[int, int], z: Latents, e: Latents, own_K: bool) -> Latents:
    """Log gain, ln K and ln floor of an electrode read several times."""
    population, centre = pack[0], pack[1]
    d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * z[0] + centre[1, d, u] * e[0]
    ln_K = population[LN_K, d] + population[LN_K_SD, d] * z[1]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * z[2] + population[FLOOR_SD, d] * e[1]
    return log_gain, ln_K + (population[OWN_K_SD, d] * e[2] if own_K else 0.0), ln_floor


@compiled
def life(pack: Pack, at: tuple[int, int], logs: Latents, own_K: bool) -> float:
    """Log density of all readings of an electrode; without own_K its K is integrated in closed form."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, K_sd = population[H, d], population[OWN_K_SD, d]
    gain, floor = exp(min(logs[0], FARTHEST)), exp(min(logs[2], FARTHEST))
    plain, pull, size = 0.0, 0.0, 1.0
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LEVEL, d, r], logs[1], h)
        rise = h * occupancy * (1.0 - occupancy)
        own_gain = gain * by_draw[GAIN, d, r]
        shape = floor * by_draw[FLOOR, d, r] + occupancy
        if not own_K:
            shape += 0.5 * K_sd**2 * h * rise * (1.0 - 2.0 * occupancy)
        mean = own_gain * shape
        relative = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2
        variance = by_draw[ADDITIVE, d, r] + relative * mean**2 + (own_gain * rise * by_reading[LEVEL_U, r]) ** 2
        away = by_reading[SIGNAL, r] - mean
        plain += away**2 / variance + log(variance) + LOG_2PI
        if not own_K:
            by_K = -own_gain * rise * K_sd
            pull += by_K / variance * away
            size += by_K / variance * by_K
    return -0.5 * (plain - pull**2 / size + log(size))


@compiled
def density(pack: Pack, at: tuple[int, int], z: Latents, e: Latents, own_K: bool) -> float:
    """Of an electrode read once or several times."""
    starts = pack[4]
    if starts[at[1] + 1] - starts[at[1]] == 1:
        return single(pack, at, z, e[0])
    return life(pack, at, logs_of(pack, at, z, e, own_K), own_K)


@compiled
def densities(pack: Pack, z: FloatArray, e: FloatArray, own_K: bool) -> FloatArray:
    """(A, D, U) at latents z (3, A, D, U), e (3, A, D, U)."""
    _, nodes, draws, units = z.shape
    out = np.empty((nodes, draws, units))
    for a in range(nodes):
        for d in range(draws):
            for u in range(units):
                zs = (z[0, a, d, u], z[1, a, d, u], z[2, a, d, u])
                es = (e[0, a, d, u], e[1, a, d, u], e[2, a, d, u])
                out[a, d, u] = density(pack, (d, u), zs, es, own_K)
    return out


@compiled
def integrals(pack: Pack, place: Place, rule: Rule, own_K: bool) -> FloatArray:
    """log int p(e) p(y | z, e) de (A, D, U), standard normal e."""
    nodes, draws, units = place[0].shape[1:]
    starts, (_, _, sides) = pack[4], rule
    out = np.empty((nodes, draws, units))
    count = sides[0] * sides[1] * sides[2]
    values = np.empty((2, count))
    longest = np.diff(starts).max()
    kept = np.empty((4, longest))
    for d in range(draws):
        for u in range(units):
            several = starts[u + 1] - starts[u] > 1
            for a in range(nodes):
                if not several:
                    over_single(pack, (a, d, u), place, rule, values)
                elif own_K:
                    over_three(pack, (a, d, u), place, rule, values)
                else:
                    over_two(pack, (a, d, u), place, (rule, kept), values)
                out[a, d, u] = log_sum(values) - 0.5 * LOG_2PI * (starts[u + 1] - starts[u])
            for i in range(3):
                out[:, d, u] += log(place[2][i, i, d, u])
    return out


@compiled
def over_single(pack: Pack, at: Node, place: Place, rule: Rule, values: FloatArray) -> None:
    """values (2, N): exponent and variance at each node of an electrode read once."""
    population, centre, by_draw, by_reading, starts = pack
    (z, middle, root), (points, log_weights, sides) = place, rule
    a, d, u = at
    r = starts[u]
    value, variance = log_response(pack, (d, r), z[1, a, d, u], z[2, a, d, u])
    spread = sqrt(centre[1, d, u] ** 2 + variance)
    log_median = centre[0, d, u] + population[BATCH_SD, d] * z[0, a, d, u] + value
    for n in range(sides[0]):
        e = middle[0, a, d, u] + root[0, 0, d, u] * points[0, n]
        mean = exp(min(log_median + spread * e, FARTHEST))
        noise = by_draw[ADDITIVE, d, r] + (population[CV, d] * mean) ** 2
        values[0, n] = -0.5 * ((by_reading[SIGNAL, r] - mean) ** 2 / noise + e**2) + log_weights[0, n]
        values[1, n] = noise


@compiled
def over_two(pack: Pack, at: Node, place: Place, rule: tuple[Rule, FloatArray], values: FloatArray) -> None:
    """values (2, N) of an electrode read several times, own K in closed form."""
    population, centre = pack[0], pack[1]
    (z, middle, root), ((points, log_weights, sides), kept) = place, rule
    a, d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * z[0, a, d, u]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * z[2, a, d, u]
    keep_shapes(pack, (d, u), z[1, a, d, u], kept)
    n = 0
    for i in range(sides[0]):
        e0 = middle[0, a, d, u] + root[0, 0, d, u] * points[0, i]
        gain = exp(min(log_gain + centre[1, d, u] * e0, FARTHEST))
        along = middle[1, a, d, u] + root[1, 0, d, u] * points[0, i]
        for j in range(sides[1]):
            e1 = along + root[1, 1, d, u] * points[1, j]
            floor = exp(min(ln_floor + population[FLOOR_SD, d] * e1, FARTHEST))
            misfit, determinant = over_readings(pack, (d, u), gain, floor, kept)
            values[0, n] = -0.5 * (misfit + e0**2 + e1**2) + log_weights[0, i] + log_weights[1, j]
            values[1, n] = determinant
            n += 1


@compiled
def keep_shapes(pack: Pack, at: tuple[int, int], k: float, kept: FloatArray) -> None:
    """kept (4, J): mean shape without floor, slope by level and by own K, relative variance of each reading."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, K_sd = population[H, d], population[OWN_K_SD, d]
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LEVEL, d, r], population[LN_K, d] + population[LN_K_SD, d] * k, h)
        rise = h * occupancy * (1.0 - occupancy)
        j = r - starts[u]
        kept[0, j] = occupancy + 0.5 * K_sd**2 * h * rise * (1.0 - 2.0 * occupancy)
        kept[1, j] = (rise * by_reading[LEVEL_U, r]) ** 2
        kept[2, j] = -rise * K_sd
        kept[3, j] = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2


@compiled
def over_readings(pack: Pack, at: tuple[int, int], gain: float, floor: float, kept: FloatArray) -> tuple[float, float]:
    """Squared misfit with the logs of the variances that were set aside, and the product of the others."""
    _, _, by_draw, by_reading, starts = pack
    d, u = at
    misfit, pull, size, product = 0.0, 0.0, 1.0, 1.0
    for r in range(starts[u], starts[u + 1]):
        j = r - starts[u]
        own_gain = gain * by_draw[GAIN, d, r]
        mean = own_gain * (floor * by_draw[FLOOR, d, r] + kept[0, j])
        variance = by_draw[ADDITIVE, d, r] + kept[3, j] * mean**2 + own_gain**2 * kept[1, j]
        away, by_K = by_reading[SIGNAL, r] - mean, own_gain * kept[2, j]
        weight = 1.0 / variance
        misfit += away**2 * weight
        pull += by_K * weight * away
        size += by_K * weight * by_K
        product *= variance
        if product < SMALL or product > LARGE:
            misfit += log(product)
            product = 1.0
    return misfit - pull**2 / size, product * size


@compiled
def over_three(pack: Pack, at: Node, place: Place, rule: Rule, values: FloatArray) -> None:
    """values (2, N) of an electrode read several times, own K on nodes as well."""
    population, centre = pack[0], pack[1]
    (z, middle, root), (points, log_weights, sides) = place, rule
    a, d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * z[0, a, d, u]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * z[2, a, d, u]
    ln_K = population[LN_K, d] + population[LN_K_SD, d] * z[1, a, d, u]
    n = 0
    for i in range(sides[0]):
        e0 = middle[0, a, d, u] + root[0, 0, d, u] * points[0, i]
        gain = exp(min(log_gain + centre[1, d, u] * e0, FARTHEST))
        for j in range(sides[1]):
            e1 = middle[1, a, d, u] + root[1, 0, d, u] * points[0, i] + root[1, 1, d, u] * points[1, j]
            floor = exp(min(ln_floor + population[FLOOR_SD, d] * e1, FARTHEST))
            along = middle[2, a, d, u] + root[2, 0, d, u] * points[0, i] + root[2, 1, d, u] * points[1, j]
            for k in range(sides[2]):
                e2 = along + root[2, 2, d, u] * points[2, k]
                misfit, determinant = with_own_K(pack, (d, u), gain, floor, ln_K + population[OWN_K_SD, d] * e2)
                weight = log_weights[0, i] + log_weights[1, j] + log_weights[2, k]
                values[0, n] = -0.5 * (misfit + e0**2 + e1**2 + e2**2) + weight
                values[1, n] = determinant
                n += 1


@compiled
def with_own_K(pack: Pack, at: tuple[int, int], gain: float, floor: float, ln_K: float) -> tuple[float, float]:
    """As over_readings, at a K of the electrode's own."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, misfit, product = population[H, d], 0.0, 1.0
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LEVEL, d, r], ln_K, h)
        own_gain = gain * by_draw[GAIN, d, r]
        mean = own_gain * (floor * by_draw[FLOOR, d, r] + occupancy)
        by_level = own_gain * h * occupancy * (1.0 - occupancy) * by_reading[LEVEL_U, r]
        relative = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2
        variance = by_draw[ADDITIVE, d, r] + relative * mean**2 + by_level**2
        misfit += (by_reading[SIGNAL, r] - mean) ** 2 / variance
        product *= variance
        if product < SMALL or product > LARGE:
            misfit += log(product)
            product = 1.0
    return misfit, product


@compiled
def log_sum(values: FloatArray) -> float:
    """log of the sum of exp(values[0]) / sqrt(values[1]); all -inf, or a nan among them, gives that."""
    top = -np.inf
    for value in values[0]:
        if np.isnan(value):
            return value
        top = max(top, value)
    if not np.isfinite(top):
        return top
    total = 0.0
    for n in range(values.shape[1]):
        total += exp(values[0, n] - top) / sqrt(values[1, n])
    return top + log(total)

"""The loops behind compiled.py: likelihoods of lives.py for one electrode at a time, compiled by numba.

Imported only when the extra "fast" is installed and somebody asks for it. Formulas, limits of exponents and their
order are those of lives.py and response.py, where they are explained; tests hold both to 1e-8. What a pack holds is
in kernels_base.py.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.kernels_base import (
    ADDITIVE,
    BATCH_SD,
    CV,
    DRIFT_SD,
    FARTHEST,
    FLOOR,
    FLOOR_BATCH_SD,
    FLOOR_SD,
    GAIN,
    LEVEL_U,
    LN_FLOOR,
    LN_K,
    LN_K_SD,
    LOG_LEVEL,
    OTHER_DIP,
    OWN_K_SD,
    SIGNAL,
    H,
    Latents,
    Pack,
    Rule,
    compiled,
    exponential,
    logarithm,
    uncounted,
    whole,
)
from brinemark.science.amount.kernels_shared import LANES, MIDDLE, ROWS, SUM
from brinemark.science.amount.kernels_single import batch_lanes, occupied, over_single, single
from brinemark.science.amount.quadrature import LOG_2PI
from brinemark.science.amount.shared_points import MOST
from brinemark.terms.arrays import FloatArray, IntArray

Node: TypeAlias = tuple[int, int, int]  # of the batch, parameter vector, electrode
# lanes of an electrode (kernels_shared.py), lower root (3, 3) of its nodes, 1 for absent latents; how many nodes of the
# batch come before its K and floor repeat, and how many there are without those that only fill up
Place: TypeAlias = tuple[FloatArray, FloatArray, tuple[int, int]]
# room for (2, nodes of an electrode, nodes of a batch), (2, nodes of an electrode), (4, readings of an electrode), and
# for shared points (kernels_shared.py)
Work: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
# nodes (3, A) and log weights (A,) of a batch, and the same two numbers
Outer: TypeAlias = tuple[FloatArray, FloatArray, tuple[int, int]]
# first electrode of each batch (G + 1,), and the first and last but one of the pairs d G + g that are wanted
Jobs: TypeAlias = tuple[IntArray, int, int]
Modes: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]

SMALL, LARGE = 1e-40, 1e40  # a product of variances is set aside as its log before it leaves these


@uncounted
def logs_of(pack: Pack, at: tuple[int, int], z: Latents, e: Latents, own_K: bool) -> Latents:
    """Log gain, ln K and ln floor of an electrode read several times."""
    population, centre = pack[0], pack[1]
    d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * z[0] + centre[1, d, u] * e[0]
    ln_K = population[LN_K, d] + population[LN_K_SD, d] * z[1]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * z[2] + population[FLOOR_SD, d] * e[1]
    return log_gain, ln_K + (population[OWN_K_SD, d] * e[2] if own_K else 0.0), ln_floor


@uncounted
def life(pack: Pack, at: tuple[int, int], logs: Latents, own_K: bool) -> float:
    """Log density of all readings of an electrode; without own_K its K is integrated in closed form."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, K_sd = population[H, d], population[OWN_K_SD, d]
    gain, floor = exponential(min(logs[0], FARTHEST)), exponential(min(logs[2], FARTHEST))
    plain, pull, size = 0.0, 0.0, 1.0
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LOG_LEVEL, d, r], logs[1], h)
        rise = h * occupancy * (1.0 - occupancy)
        own_gain = gain * by_draw[GAIN, d, r]
        shape = floor * by_draw[FLOOR, d, r] + occupancy
        if not own_K:
            shape += 0.5 * K_sd**2 * h * rise * (1.0 - 2.0 * occupancy)
        mean = own_gain * shape
        relative = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2
        variance = by_draw[ADDITIVE, d, r] + relative * mean**2 + (own_gain * rise * by_reading[LEVEL_U, r]) ** 2
        away = by_reading[SIGNAL, r] - mean
        plain += away**2 / variance + logarithm(variance) + LOG_2PI
        if not own_K:
            by_K = -own_gain * rise * K_sd
            pull += by_K / variance * away
            size += by_K / variance * by_K
    return -0.5 * (plain - pull**2 / size + logarithm(size))


@uncounted
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
def integrals(pack: Pack, place: tuple[FloatArray, FloatArray, FloatArray], rule: Rule, own_K: bool) -> FloatArray:
    """log int p(e) p(y | z, e) de (A, D, U), standard normal e; place : z (3, A, D, U), centre of the electrodes' nodes
    (3, A, D, U), their lower root (3, 3, D, U), 1 for absent latents."""
    nodes, draws, units = place[0].shape[1:]
    out = np.empty((nodes, draws, units))
    size = whole(nodes)
    lanes, root = np.zeros((LANES, size)), np.empty((3, 3))
    work = workspace(pack, (rule, rule), size)
    for d in range(draws):
        for u in range(units):
            for a in range(size):
                node = min(a, nodes - 1)
                lanes[:3, a], lanes[MIDDLE : MIDDLE + 3, a] = place[0][:, node, d, u], place[1][:, node, d, u]
            root[:] = place[2][:, :, d, u]
            batch_lanes(pack, d, lanes, size)
            over_electrode(pack, (d, u), (lanes, root, (size, nodes)), (rule, rule), work, own_K)
            out[:, d, u] = lanes[SUM, :nodes]
    return out


@compiled
def workspace(pack: Pack, rules: tuple[Rule, Rule], nodes: int) -> Work:
    """Room for one electrode, read once or several times, at that many nodes of its batch."""
    one, several = rules
    count = several[2][0] * several[2][1] * several[2][2]
    return (
        np.empty((2, one[2][0], nodes)),
        np.empty((2, count)),
        np.empty((4, np.diff(pack[4]).max())),
        np.empty((ROWS, max(nodes, MOST))),
    )


@uncounted
def over_electrode(
    pack: Pack, at: tuple[int, int], place: Place, rules: tuple[Rule, Rule], work: Work, own_K: bool
) -> None:
    """Into lanes[SUM] log int p(e) p(y | z, e) de; rules : of electrodes read once, and several times."""
    (d, u), (lanes, root, (pairs, nodes)), starts = at, place, pack[4]
    if starts[u + 1] - starts[u] == 1:
        over_single(pack, (d, u), (lanes, pairs), root[0, 0], (rules[0], work[0], work[3]))
    else:
        for a in range(nodes):
            if own_K:
                over_three(pack, (a, d, u), place, rules[1], work[1])
            else:
                over_two(pack, (a, d, u), place, (rules[1], work[2]), work[1])
            lanes[SUM, a] = log_sum(work[1])
        size = logarithm(root[0, 0] * root[1, 1] * root[2, 2])
        for a in range(lanes.shape[1]):
            lanes[SUM, a] += size
    for a in range(lanes.shape[1]):
        lanes[SUM, a] -= 0.5 * LOG_2PI * (starts[u + 1] - starts[u])


@compiled
def marginals(
    pack: Pack, jobs: Jobs, modes: Modes, rules: tuple[Outer, Rule, Rule], own_K: bool, out: FloatArray
) -> None:
    """Into out (D, G) the log marginal likelihood of some batches under some parameter vectors.

    modes : what climb (kernels_climb.py) gives; rules : of the batch, of electrodes read once, and several times.
    """
    groups, first, last = jobs
    (points, log_weights, counts), one, several = rules
    nodes, dims = log_weights.size, modes[2].shape[0]
    lanes, root, total = np.zeros((LANES, nodes)), np.eye(3), np.empty(nodes)
    work = workspace(pack, (one, several), nodes)
    for job in range(first, last):
        d, g = job // (groups.size - 1), job % (groups.size - 1)
        batch_nodes(modes, (d, g), points, lanes)
        batch_lanes(pack, d, lanes, counts[0])
        for a in range(nodes):
            z = lanes[:3, a]
            total[a] = log_weights[a] - 0.5 * (z[0] * z[0] + z[1] * z[1] + z[2] * z[2] + 3.0 * LOG_2PI)
        for u in range(groups[g], groups[g + 1]):
            electrode_nodes(modes, (d, g, u), lanes)
            for i in range(dims):
                for j in range(dims):
                    root[i, j] = modes[4][i, j, d, u]
            over_electrode(pack, (d, u), (lanes, root, counts), (one, several), work, own_K)
            for a in range(nodes):
                total[a] += lanes[SUM, a]
        z_root = modes[1][:, :, d, g]
        out[d, g] = sum_of_logs(total) + logarithm(z_root[0, 0] * z_root[1, 1] * z_root[2, 2])


@uncounted
def batch_nodes(modes: Modes, at: tuple[int, int], points: FloatArray, lanes: FloatArray) -> None:
    """z of the batch at its nodes."""
    (d, g), z, root = at, modes[0], modes[1]
    for i in range(3):
        for a in range(points.shape[1]):
            lanes[i, a] = z[i, d, g]
        for j in range(i, 3):
            for a in range(points.shape[1]):
                lanes[i, a] += root[i, j, d, g] * points[j, a]


@uncounted
def electrode_nodes(modes: Modes, at: Node, lanes: FloatArray) -> None:
    """Centre of an electrode's nodes at every node of its batch: along the ridge from the joint mode."""
    (d, g, u), (z, _, e, slope, _) = at, modes
    for i in range(e.shape[0]):
        start = e[i, d, u]
        for j in range(3):
            start -= slope[i, j, d, u] * z[j, d, g]
        by_gain, by_K, by_floor = slope[i, 0, d, u], slope[i, 1, d, u], slope[i, 2, d, u]
        gain, k, p, middle = lanes[0], lanes[1], lanes[2], lanes[MIDDLE + i]
        for a in range(gain.size):
            middle[a] = start + by_gain * gain[a] + by_K * k[a] + by_floor * p[a]


@uncounted
def sum_of_logs(values: FloatArray) -> float:
    """log of the sum of exp(values); all -inf, or a nan among them, gives that."""
    top = -inf
    for value in values:
        if np.isnan(value):
            return value
        top = max(top, value)
    if not np.isfinite(top):
        return top
    total = 0.0
    for value in values:
        total += exponential(value - top)
    return top + logarithm(total)


@uncounted
def over_two(pack: Pack, at: Node, place: Place, rule: tuple[Rule, FloatArray], values: FloatArray) -> None:
    """values (2, N) of an electrode read several times, own K in closed form."""
    population, centre = pack[0], pack[1]
    (lanes, root, _), ((points, log_weights, sides), kept) = place, rule
    a, d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * lanes[0, a]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * lanes[2, a]
    keep_shapes(pack, (d, u), lanes[1, a], kept)
    n = 0
    for i in range(sides[0]):
        e0 = lanes[MIDDLE, a] + root[0, 0] * points[0, i]
        gain = exponential(min(log_gain + centre[1, d, u] * e0, FARTHEST))
        along = lanes[MIDDLE + 1, a] + root[1, 0] * points[0, i]
        for j in range(sides[1]):
            e1 = along + root[1, 1] * points[1, j]
            floor = exponential(min(ln_floor + population[FLOOR_SD, d] * e1, FARTHEST))
            misfit, determinant = over_readings(pack, (d, u), gain, floor, kept)
            values[0, n] = -0.5 * (misfit + e0**2 + e1**2) + log_weights[0, i] + log_weights[1, j]
            values[1, n] = determinant
            n += 1


@uncounted
def keep_shapes(pack: Pack, at: tuple[int, int], k: float, kept: FloatArray) -> None:
    """kept (4, J): mean shape without floor, slope by level and by own K, relative variance of each reading."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, K_sd = population[H, d], population[OWN_K_SD, d]
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LOG_LEVEL, d, r], population[LN_K, d] + population[LN_K_SD, d] * k, h)
        rise = h * occupancy * (1.0 - occupancy)
        j = r - starts[u]
        kept[0, j] = occupancy + 0.5 * K_sd**2 * h * rise * (1.0 - 2.0 * occupancy)
        kept[1, j] = (rise * by_reading[LEVEL_U, r]) ** 2
        kept[2, j] = -rise * K_sd
        kept[3, j] = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2


@uncounted
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
            misfit += logarithm(product)
            product = 1.0
    return misfit - pull**2 / size, product * size


@uncounted
def over_three(pack: Pack, at: Node, place: Place, rule: Rule, values: FloatArray) -> None:
    """values (2, N) of an electrode read several times, own K on nodes as well."""
    population, centre = pack[0], pack[1]
    (lanes, root, _), (points, log_weights, sides) = place, rule
    a, d, u = at
    log_gain = centre[0, d, u] + population[BATCH_SD, d] * lanes[0, a]
    ln_floor = population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * lanes[2, a]
    ln_K = population[LN_K, d] + population[LN_K_SD, d] * lanes[1, a]
    n = 0
    for i in range(sides[0]):
        e0 = lanes[MIDDLE, a] + root[0, 0] * points[0, i]
        gain = exponential(min(log_gain + centre[1, d, u] * e0, FARTHEST))
        for j in range(sides[1]):
            e1 = lanes[MIDDLE + 1, a] + root[1, 0] * points[0, i] + root[1, 1] * points[1, j]
            floor = exponential(min(ln_floor + population[FLOOR_SD, d] * e1, FARTHEST))
            along = lanes[MIDDLE + 2, a] + root[2, 0] * points[0, i] + root[2, 1] * points[1, j]
            for k in range(sides[2]):
                e2 = along + root[2, 2] * points[2, k]
                misfit, determinant = with_own_K(pack, (d, u), gain, floor, ln_K + population[OWN_K_SD, d] * e2)
                weight = log_weights[0, i] + log_weights[1, j] + log_weights[2, k]
                values[0, n] = -0.5 * (misfit + e0**2 + e1**2 + e2**2) + weight
                values[1, n] = determinant
                n += 1


@uncounted
def with_own_K(pack: Pack, at: tuple[int, int], gain: float, floor: float, ln_K: float) -> tuple[float, float]:
    """As over_readings, at a K of the electrode's own."""
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    h, misfit, product = population[H, d], 0.0, 1.0
    for r in range(starts[u], starts[u + 1]):
        occupancy = occupied(by_draw[LOG_LEVEL, d, r], ln_K, h)
        own_gain = gain * by_draw[GAIN, d, r]
        mean = own_gain * (floor * by_draw[FLOOR, d, r] + occupancy)
        by_level = own_gain * h * occupancy * (1.0 - occupancy) * by_reading[LEVEL_U, r]
        relative = population[CV, d] ** 2 + by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2
        variance = by_draw[ADDITIVE, d, r] + relative * mean**2 + by_level**2
        misfit += (by_reading[SIGNAL, r] - mean) ** 2 / variance
        product *= variance
        if product < SMALL or product > LARGE:
            misfit += logarithm(product)
            product = 1.0
    return misfit, product


@uncounted
def log_sum(values: FloatArray) -> float:
    """log of the sum of exp(values[0]) / sqrt(values[1]); all -inf, or a nan among them, gives that."""
    top = -inf
    for value in values[0]:
        if np.isnan(value):
            return value
        top = max(top, value)
    if not np.isfinite(top):
        return top
    for n in range(values.shape[1]):
        values[0, n] = exponential(values[0, n] - top) / sqrt(values[1, n])
    total = 0.0
    for value in values[0]:
        total += value
    return top + logarithm(total) if total > 0.0 else -inf

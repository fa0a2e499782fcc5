"""The search for the modes of quadrature.py (adapt) in compiled loops: one parameter vector, one batch at a time.

The same Newton steps, halving and stopping as _Climb of quadrature.py, where they are explained, under standard normal
latents. Derivatives are differences in what the latents act through: log gain, ln K and ln floor.
"""

from __future__ import annotations

from math import exp, isfinite, log, sqrt
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.kernels import (
    ADDITIVE,
    BATCH_SD,
    CV,
    FARTHEST,
    FLOOR_BATCH_SD,
    FLOOR_SD,
    LN_K_SD,
    OWN_K_SD,
    SIGNAL,
    Pack,
    compiled,
    life,
    log_response,
    logs_of,
)
from brinemark.science.amount.newton import FLOOR as LEAST
from brinemark.science.amount.newton import THINNEST, stencil_points
from brinemark.science.amount.quadrature import LOG_2PI, MAX_NEWTON, SHORTEST, STEP_DONE
from brinemark.terms.arrays import FloatArray, IntArray

STEP = 3e-4  # of the differences, on logs
STENCIL, FLAT = stencil_points(3, 1.0).T.copy(), stencil_points(2, 1.0).T.copy()
PAIRS = ((0, 1), (0, 2), (1, 2))
# gradient (U, 6) and negative Hessian (U, 6, 6) of each electrode in z and e, inverse (U, 3, 3) of its block of e
Blocks: TypeAlias = tuple[FloatArray, FloatArray, FloatArray]
Point: TypeAlias = tuple[FloatArray, FloatArray]


@compiled
def climb(pack: Pack, groups: IntArray, start: Point, dims: int, own_K: bool) -> tuple[FloatArray, ...]:
    """z (3, D, G), root (3, 3, D, G), e (dims, D, U), slope (dims, 3, D, U), root (dims, dims, D, U) of the modes.

    groups : (G + 1,) first electrode of each batch; start : z (3, D, G) and e (dims, D, U) to start from.
    """
    z, e = start[0].copy(), start[1].copy()
    draws, units = e.shape[1:]
    z_root, slope = np.zeros((3, 3, *z.shape[1:])), np.zeros((dims, 3, draws, units))
    e_root = np.zeros((dims, dims, draws, units))
    for d in range(draws):
        for g in range(groups.size - 1):
            first, last = groups[g], groups[g + 1]
            own = np.zeros((last - first, 3))
            own[:, :dims] = e[:, d, first:last].T
            at = np.ascontiguousarray(z[:, d, g])
            blocks, schur = one_climb(pack, (d, first), (at, own), dims, own_K)
            z[:, d, g], e[:, d, first:last] = at, own[:, :dims].T
            z_root[:, :, d, g] = root_of(inverse(schur))
            for i in range(last - first):
                slope[:, :, d, first + i] = -(blocks[2][i] @ np.ascontiguousarray(blocks[1][i, :3, 3:].T))[:dims]
                e_root[:, :, d, first + i] = root_of(blocks[2][i])[:dims, :dims]
    return z, z_root, e, slope, e_root


@compiled
def one_climb(pack: Pack, first: tuple[int, int], point: Point, dims: int, own_K: bool) -> tuple[Blocks, FloatArray]:
    """The mode of one batch, from and into point: z (3,), e (n, 3); its blocks, and the negative Hessian of z with e
    maximised out. first : parameter vector and first electrode."""
    z, e = point
    blocks, height = curvature(pack, first, (z, e), dims, own_K)
    schur = eliminated(blocks, z)[1]
    dz, de, size = newton_step(blocks, (z, e))
    shrink = 1.0
    for _ in range(MAX_NEWTON):
        if not (size > STEP_DONE and shrink > SHORTEST):
            break
        trial = z + shrink * dz, e + shrink * de
        found, there = curvature(pack, first, trial, dims, own_K)
        if there >= height - 1e-10 * abs(height):
            z[:], e[:], height, blocks = trial[0], trial[1], there, found
            shrink = min(1.0, 2.0 * shrink)
            schur = eliminated(blocks, z)[1]
            dz, de, size = newton_step(blocks, (z, e))
        else:
            shrink *= 0.5
    return blocks, schur


@compiled
def newton_step(blocks: Blocks, point: Point) -> tuple[FloatArray, FloatArray, float]:
    """Steps dz (3,), de (n, 3), and the size of the step in posterior sd."""
    gradient, hessian, inverse_ee = blocks
    pulled, schur = eliminated(blocks, point[0])
    h_z = positive(schur)
    dz = inverse(h_z) @ pulled
    de = np.empty_like(point[1])
    size = dz @ h_z @ dz
    for i in range(de.shape[0]):
        de[i] = inverse_ee[i] @ (gradient[i, 3:] - np.ascontiguousarray(hessian[i, :3, 3:].T) @ dz)
        size = max(size, de[i] @ positive(np.ascontiguousarray(hessian[i, 3:, 3:])) @ de[i])
    root = sqrt(size) if size >= 0.0 else 0.0
    return dz, de, root if isfinite(root) else 0.0


@compiled
def eliminated(blocks: Blocks, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gradient (3,) and negative Hessian (3, 3) of z, its prior included, after all e are maximised out."""
    gradient, hessian, inverse_ee = blocks
    pulled, schur = -z, np.eye(3)
    for i in range(gradient.shape[0]):
        h_ze = np.ascontiguousarray(hessian[i, :3, 3:])
        border = h_ze @ inverse_ee[i]
        pulled += gradient[i, :3] - border @ gradient[i, 3:]
        schur += hessian[i, :3, :3] - border @ h_ze.T
    return pulled, schur


@compiled
def curvature(pack: Pack, first: tuple[int, int], point: Point, dims: int, own_K: bool) -> tuple[Blocks, float]:
    """Blocks of the electrodes of a batch at a point, and the height of the log joint there, -inf if none."""
    starts = pack[4]
    (d, begin), (z, e) = first, point
    count = e.shape[0]
    gradient, hessian, inverse_ee = np.zeros((count, 6)), np.zeros((count, 6, 6)), np.zeros((count, 3, 3))
    height = -0.5 * (float(z @ z) + 3.0 * LOG_2PI)
    for i in range(count):
        u = begin + i
        if starts[u + 1] - starts[u] == 1:
            height += single_slopes(pack, (d, u), (z, e[i]), gradient[i], hessian[i])
        else:
            height += life_slopes(pack, (d, u), (z, e[i]), (gradient[i], hessian[i]), own_K)
        gradient[i, 3:] -= e[i]
        hessian[i, 3:, 3:] += np.eye(3)
        inverse_ee[i] = inverse(np.ascontiguousarray(hessian[i, 3:, 3:]))
        height -= 0.5 * (float(e[i] @ e[i]) + dims * LOG_2PI)
    blocks = gradient, hessian, inverse_ee
    return blocks, height if isfinite(height) else -np.inf


@compiled
def life_slopes(pack: Pack, at: tuple[int, int], point: Point, found: Point, own_K: bool) -> float:
    """Log density of an electrode read several times; found : its gradient (6,) and negative Hessian (6, 6)."""
    population, centre = pack[0], pack[1]
    (d, u), (z, e), (gradient, hessian) = at, point, found
    by_sd = np.zeros((3, 6))
    by_sd[0, 0], by_sd[0, 3] = population[BATCH_SD, d], centre[1, d, u]
    by_sd[1, 1], by_sd[1, 5] = population[LN_K_SD, d], population[OWN_K_SD, d] if own_K else 0.0
    by_sd[2, 2], by_sd[2, 4] = population[FLOOR_BATCH_SD, d], population[FLOOR_SD, d]
    logs = np.array(logs_of(pack, at, (z[0], z[1], z[2]), (e[0], e[1], e[2]), own_K))
    values = np.empty(13)
    slope, bend = np.empty(3), np.empty((3, 3))
    for n in range(13):
        x = logs + STEP * STENCIL[n]
        values[n] = life(pack, at, (x[0], x[1], x[2]), own_K)
    for i in range(3):
        up, down = values[1 + 2 * i], values[2 + 2 * i]
        slope[i] = (up - down) / (2.0 * STEP)
        bend[i, i] = (up + down - 2.0 * values[0]) / STEP**2
    for n in range(3):
        i, j = PAIRS[n]
        alone = values[1 + 2 * i] + values[2 + 2 * i] + values[1 + 2 * j] + values[2 + 2 * j]
        both = values[7 + 2 * n] + values[8 + 2 * n] + 2.0 * values[0]
        bend[i, j] = bend[j, i] = (both - alone) / (2.0 * STEP**2)
    gradient[:] = by_sd.T @ slope
    hessian[:] = -(by_sd.T @ (bend @ by_sd))
    return values[0]


@compiled
def single_slopes(pack: Pack, at: tuple[int, int], point: Point, gradient: FloatArray, hessian: FloatArray) -> float:
    """The same of an electrode read once, whose spread moves with the batch's K and floor: gradient (6,), (6, 6)."""
    population, centre, by_draw, by_reading, starts = pack
    (d, u), (z, e) = at, point
    r = starts[u]
    value, spread = np.empty(9), np.empty(9)
    for n in range(9):
        value[n], variance = log_response(pack, (d, r), z[1] + STEP * FLAT[n, 0], z[2] + STEP * FLAT[n, 1])
        spread[n] = sqrt(centre[1, d, u] ** 2 + variance)
    log_mean = value + spread * e[0]
    middle = centre[0, d, u] + population[BATCH_SD, d] * z[0] + log_mean[0]
    density, noise = np.empty(3), 0.0
    for n in range(3):
        mean = exp(min(middle + STEP * (n - 1), FARTHEST))
        noise = by_draw[ADDITIVE, d, r] + (population[CV, d] * mean) ** 2
        density[n] = -0.5 * ((by_reading[SIGNAL, r] - mean) ** 2 / noise + log(noise) + LOG_2PI)
    slope = (density[2] - density[0]) / (2.0 * STEP)
    bend = (density[2] + density[0] - 2.0 * density[1]) / STEP**2
    first, second = np.zeros(6), np.zeros((6, 6))
    first[0], first[3] = population[BATCH_SD, d], spread[0]
    for i in range(2):
        up, down = 1 + 2 * i, 2 + 2 * i
        first[1 + i] = (log_mean[up] - log_mean[down]) / (2.0 * STEP)
        second[1 + i, 1 + i] = (log_mean[up] + log_mean[down] - 2.0 * log_mean[0]) / STEP**2
        second[1 + i, 3] = second[3, 1 + i] = (spread[up] - spread[down]) / (2.0 * STEP)
    alone = log_mean[1] + log_mean[2] + log_mean[3] + log_mean[4]
    second[1, 2] = second[2, 1] = (log_mean[5] + log_mean[6] + 2.0 * log_mean[0] - alone) / (2.0 * STEP**2)
    gradient[:] = slope * first
    hessian[:] = -(bend * np.outer(first, first) + slope * second)
    return density[1]


@compiled
def positive(block: FloatArray) -> FloatArray:
    """A symmetric 3 x 3 block with absolute eigenvalues, floored, where it is not positive definite."""
    sound = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            sound[i, j] = block[i, j] if isfinite(block[i, j]) else (1.0 if i == j else 0.0)
    if is_positive(sound - LEAST * np.eye(3)):
        return sound
    values, vectors = np.linalg.eigh(sound)
    size = np.abs(values)
    size = np.maximum(size, max(LEAST, 2.0 * THINNEST * size.max()))
    return np.ascontiguousarray(vectors * size) @ np.ascontiguousarray(vectors.T)


@compiled
def is_positive(block: FloatArray) -> bool:
    """By the leading minors."""
    two = block[0, 0] * block[1, 1] - block[0, 1] * block[1, 0]
    three = (
        block[2, 2] * two
        - block[2, 1] * (block[0, 0] * block[1, 2] - block[1, 0] * block[0, 2])
        + block[2, 0] * (block[0, 1] * block[1, 2] - block[1, 1] * block[0, 2])
    )
    return block[0, 0] > 0.0 and two > 0.0 and three > 0.0


@compiled
def inverse(block: FloatArray) -> FloatArray:
    """Of a symmetric 3 x 3 block, after it is made positive definite."""
    m = positive(block)
    cofactor = np.empty((3, 3))
    cofactor[0, 0] = m[1, 1] * m[2, 2] - m[1, 2] * m[2, 1]
    cofactor[1, 1] = m[0, 0] * m[2, 2] - m[0, 2] * m[2, 0]
    cofactor[2, 2] = m[0, 0] * m[1, 1] - m[0, 1] * m[1, 0]
    cofactor[0, 1] = cofactor[1, 0] = m[0, 2] * m[2, 1] - m[0, 1] * m[2, 2]
    cofactor[0, 2] = cofactor[2, 0] = m[0, 1] * m[1, 2] - m[0, 2] * m[1, 1]
    cofactor[1, 2] = cofactor[2, 1] = m[0, 2] * m[1, 0] - m[0, 0] * m[1, 2]
    return cofactor / (m[0, 0] * cofactor[0, 0] + m[0, 1] * cofactor[1, 0] + m[0, 2] * cofactor[2, 0])


@compiled
def root_of(m: FloatArray) -> FloatArray:
    """Lower Cholesky root of a positive definite 3 x 3 block."""
    root = np.zeros((3, 3))
    root[0, 0] = sqrt(m[0, 0])
    root[1, 0], root[2, 0] = m[1, 0] / root[0, 0], m[2, 0] / root[0, 0]
    root[1, 1] = sqrt(m[1, 1] - root[1, 0] ** 2)
    root[2, 1] = (m[2, 1] - root[2, 0] * root[1, 0]) / root[1, 1]
    root[2, 2] = sqrt(m[2, 2] - root[2, 0] ** 2 - root[2, 1] ** 2)
    return root

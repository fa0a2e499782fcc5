"""The search for the modes of quadrature.py (adapt) in compiled loops: one parameter vector, one batch at a time.

The same Newton steps, halving and stopping as _Climb of quadrature.py, where they are explained, under standard normal
latents. Derivatives of electrodes read several times are differences in what the latents act through: log gain, ln K
and ln floor.
"""

from __future__ import annotations

from math import isfinite, sqrt
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.kernels import Jobs, life, logs_of
from brinemark.science.amount.kernels_base import (
    BATCH_SD,
    FLOOR_BATCH_SD,
    FLOOR_SD,
    LN_K_SD,
    OWN_K_SD,
    Pack,
    compiled,
)
from brinemark.science.amount.kernels_blocks import inverse, inverse_upper_root, positive, root_of
from brinemark.science.amount.kernels_climb_single import Modes, climb_single, states
from brinemark.science.amount.kernels_single import single_slopes
from brinemark.science.amount.newton import stencil_points
from brinemark.science.amount.quadrature import LOG_2PI, MAX_NEWTON, SHORTEST, STEP_DONE
from brinemark.terms.arrays import FloatArray

STEP = 3e-4  # of the differences, on logs
STENCIL = stencil_points(3, 1.0).T.copy()
PAIRS = ((0, 1), (0, 2), (1, 2))
# gradient (U, 6) and negative Hessian (U, 6, 6) of each electrode in z and e, inverse (U, 3, 3) of its block of e
Blocks: TypeAlias = tuple[FloatArray, FloatArray, FloatArray]
Point: TypeAlias = tuple[FloatArray, FloatArray]


@compiled
def climb(pack: Pack, jobs: Jobs, modes: Modes, own_K: bool) -> None:
    """From the starting points in modes to the modes, into modes, for some batches and parameter vectors.

    modes : z (3, D, G), root (3, 3, D, G), e (dims, D, U), slope (dims, 3, D, U), root (dims, dims, D, U); z and e hold
    the starting points, the others zeros.
    """
    groups, first, last = jobs
    dims = modes[2].shape[0]
    rooms = states(groups)
    for job in range(first, last):
        d, g = job // (groups.size - 1), job % (groups.size - 1)
        if dims == 1:
            climb_single(pack, (d, g, groups[g], groups[g + 1]), modes, rooms)
        else:
            climb_lives(pack, (d, g, groups[g], groups[g + 1]), modes, own_K)


@compiled
def climb_lives(pack: Pack, at: tuple[int, int, int, int], modes: Modes, own_K: bool) -> None:
    """The same for one batch in which an electrode was read several times."""
    (d, g, first, last), (z, z_root, e, slope, e_root) = at, modes
    dims = e.shape[0]
    own = np.zeros((last - first, 3))
    own[:, :dims] = e[:, d, first:last].T
    point = np.ascontiguousarray(z[:, d, g])
    blocks, schur = one_climb(pack, (d, first), (point, own), dims, own_K)
    z[:, d, g], e[:, d, first:last] = point, own[:, :dims].T
    z_root_here = np.empty((3, 3))
    inverse_upper_root(positive(schur), z_root_here)
    z_root[:, :, d, g] = z_root_here
    for i in range(last - first):
        slope[:, :, d, first + i] = -(blocks[2][i] @ np.ascontiguousarray(blocks[1][i, :3, 3:].T))[:dims]
        e_root[:, :, d, first + i] = root_of(blocks[2][i])[:dims, :dims]


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
    height, found = -0.5 * (float(z @ z) + 3.0 * LOG_2PI), np.empty(14)
    for i in range(count):
        u = begin + i
        if starts[u + 1] - starts[u] == 1:
            height += single_slopes(pack, (d, u), (z, e[i, 0]), found)
            spread_out(found, gradient[i], hessian[i])
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
def spread_out(found: FloatArray, gradient: FloatArray, hessian: FloatArray) -> None:
    """What single_slopes (kernels_single.py) gives, as gradient (6,) and negative Hessian (6, 6) in z and e."""
    gradient[:4] = found[:4]
    n = 4
    for i in range(4):
        for j in range(i, 4):
            hessian[i, j] = hessian[j, i] = -found[n]
            n += 1

"""The search for the modes of a batch whose electrodes were all read once, in compiled loops.

The same Newton steps, halving and stopping as _Climb of quadrature.py, where they are explained, under standard normal
latents; the derivatives are exact. An electrode has one latent, so its blocks are numbers.
"""

from __future__ import annotations

from math import isfinite, sqrt
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.kernels_base import Latents, Pack, compiled, uncounted
from brinemark.science.amount.kernels_blocks import inverse_upper_root, mend
from brinemark.science.amount.kernels_single import single_slopes
from brinemark.science.amount.newton import FLOOR as LEAST
from brinemark.science.amount.quadrature import LOG_2PI, MAX_NEWTON, SHORTEST, STEP_DONE
from brinemark.terms.arrays import FloatArray, IntArray

# z (3,) and e (n,); of each electrode (n, 5) the gradient of e, the inverse of its negative Hessian, that of z with e;
# the negative Hessian of z with e maximised out (3, 3); its gradient (3,)
State: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]
Modes: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]
Rooms: TypeAlias = tuple[State, State, FloatArray, FloatArray, FloatArray]
SLOPE, INVERSE, BORDER = 0, 1, 2


@compiled
def states(groups: IntArray) -> Rooms:
    """Room for two points of the largest batch, for a step, for derivatives of an electrode, and for a root."""
    count = np.diff(groups).max()
    here = np.empty(3), np.empty(count), np.empty((count, 5)), np.empty((3, 3)), np.empty(3)
    there = np.empty(3), np.empty(count), np.empty((count, 5)), np.empty((3, 3)), np.empty(3)
    return here, there, np.empty(3 + count), np.empty(14), np.empty((3, 3))


@compiled
def climb_single(pack: Pack, at: tuple[int, int, int, int], modes: Modes, rooms: Rooms) -> None:
    """From a start in modes to the mode, into modes;
    at : parameter vector, batch, first electrode of it and of the next."""
    d, g, first, last = at
    here, there, step, found, root = rooms
    z, e = here[0], here[1]
    count = last - first
    for i in range(3):
        z[i] = modes[0][i, d, g]
    for i in range(count):
        e[i] = modes[2][0, d, first + i]
    height = look(pack, (d, first, count), here, found)
    mend(here[3])
    size = step_from(here, count, step)
    shrink = 1.0
    for _ in range(MAX_NEWTON):
        if not (size > STEP_DONE and shrink > SHORTEST):
            break
        for i in range(3):
            there[0][i] = here[0][i] + shrink * step[i]
        for i in range(count):
            there[1][i] = here[1][i] + shrink * step[3 + i]
        risen = look(pack, (d, first, count), there, found)
        if risen >= height - 1e-10 * abs(height):
            here, there, height = there, here, risen
            mend(here[3])
            shrink = min(1.0, 2.0 * shrink)
            size = step_from(here, count, step)
        else:
            shrink *= 0.5
    inverse_upper_root(here[3], root)
    keep(here, at, root, modes)


@uncounted
def keep(here: State, at: tuple[int, int, int, int], root: FloatArray, modes: Modes) -> None:
    """What a search has found, and the root of the batch's nodes, into modes."""
    (d, g, first, last), (z, z_root, e, slope, e_root) = at, modes
    for i in range(3):
        z[i, d, g] = here[0][i]
        for j in range(3):
            z_root[i, j, d, g] = root[i, j]
    for i in range(last - first):
        u, inverse_e = first + i, here[2][i, INVERSE]
        e[0, d, u], e_root[0, 0, d, u] = here[1][i], sqrt(inverse_e)
        for j in range(3):
            slope[0, j, d, u] = -inverse_e * here[2][i, BORDER + j]


@uncounted
def look(pack: Pack, at: tuple[int, int, int], state: State, found: FloatArray) -> float:
    """Fill in what belongs to the point of a state, and give the height of the log joint there, -inf if none.
    found : (14,) to write on."""
    d, first, count = at
    z, e, units, block, pulled = state
    for i in range(3):
        pulled[i] = -z[i]
        for j in range(3):
            block[i, j] = 1.0 if i == j else 0.0
    height = -0.5 * (z[0] * z[0] + z[1] * z[1] + z[2] * z[2] + 3.0 * LOG_2PI)
    for i in range(count):
        height += single_slopes(pack, (d, first + i), (z, e[i]), found) - 0.5 * (e[i] * e[i] + LOG_2PI)
        bend = 1.0 - found[13]
        inverse_e = 1.0 / max(abs(bend), LEAST) if isfinite(bend) else 1.0
        slope_e = found[3] - e[i]
        x, k, p = -found[7], -found[10], -found[12]
        units[i, SLOPE], units[i, INVERSE] = slope_e, inverse_e
        units[i, BORDER], units[i, BORDER + 1], units[i, BORDER + 2] = x, k, p
        pulled[0] += found[0] - x * inverse_e * slope_e
        pulled[1] += found[1] - k * inverse_e * slope_e
        pulled[2] += found[2] - p * inverse_e * slope_e
        block[0, 0] -= found[4] + x * inverse_e * x
        block[0, 1] -= found[5] + x * inverse_e * k
        block[0, 2] -= found[6] + x * inverse_e * p
        block[1, 1] -= found[8] + k * inverse_e * k
        block[1, 2] -= found[9] + k * inverse_e * p
        block[2, 2] -= found[11] + p * inverse_e * p
    block[1, 0], block[2, 0], block[2, 1] = block[0, 1], block[0, 2], block[1, 2]
    return height if isfinite(height) else -np.inf


@uncounted
def step_from(state: State, count: int, step: FloatArray) -> float:
    """Into step (3 + n,) the Newton step of z and e; its size in posterior sd."""
    _, _, units, block, pulled = state
    x, k, p = solved(block, (pulled[0], pulled[1], pulled[2]))
    step[0], step[1], step[2] = x, k, p
    size = x * pulled[0] + k * pulled[1] + p * pulled[2]
    for i in range(count):
        pull = units[i, SLOPE] - units[i, BORDER] * x - units[i, BORDER + 1] * k - units[i, BORDER + 2] * p
        step[3 + i] = units[i, INVERSE] * pull
        size = max(size, units[i, INVERSE] * pull * pull)
    root = sqrt(size) if size >= 0.0 else 0.0
    return root if isfinite(root) else 0.0


@uncounted
def solved(block: FloatArray, pulled: Latents) -> Latents:
    """block^-1 pulled of a positive definite 3 x 3 block."""
    a, b, c, f, g, i = block[0, 0], block[0, 1], block[0, 2], block[1, 1], block[1, 2], block[2, 2]
    aa, ab, ac = f * i - g * g, c * g - b * i, b * g - c * f
    bb, bc, cc = a * i - c * c, b * c - a * g, a * f - b * b
    inverse_size = 1.0 / (a * aa + b * ab + c * ac)
    x, y, z = pulled
    return (
        inverse_size * (aa * x + ab * y + ac * z),
        inverse_size * (ab * x + bb * y + bc * z),
        inverse_size * (ac * x + bc * y + cc * z),
    )

"""Newton steps for the joint mode of the latents of each group: small dense blocks, arrow structure.

The negative Hessian of a group's log joint has one block per unit (e_u with itself), one block for z, and
borders between each e_u and z. Blocks that are not positive definite are made so by taking absolute
eigenvalues, so that every step climbs.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

FD_STEP = 1e-3
FLOOR = 1e-6
THINNEST = 1e-13  # smallest over largest eigenvalue that a determinant in double precision still tells from 0


@dataclass(frozen=True, slots=True, eq=False)
class UnitCurvature:
    """Gradient and negative Hessian blocks of each unit: g_z (dg, D, U), g_e (du, D, U),
    h_zz (dg, dg, D, U), h_ze (dg, du, D, U), h_ee (du, du, D, U)."""

    g_z: FloatArray
    g_e: FloatArray
    h_zz: FloatArray
    h_ze: FloatArray
    h_ee: FloatArray

    def rows(self, rows: IntArray) -> UnitCurvature:
        """The blocks of some parameter vectors."""
        return UnitCurvature(*(block[..., rows, :] for block in self._blocks()))

    def put(self, rows: IntArray, other: UnitCurvature, where: BoolArray) -> None:
        """Overwrite the blocks of some parameter vectors where (rows, U) is true."""
        for mine, new in zip(self._blocks(), other._blocks(), strict=True):
            mine[..., rows, :] = np.where(where, new, mine[..., rows, :])

    def _blocks(self) -> tuple[FloatArray, ...]:
        return self.g_z, self.g_e, self.h_zz, self.h_ze, self.h_ee

    def eliminated(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Unit contributions to the gradient and Hessian of z after e is maximised out, and inverse h_ee."""
        inverse = inverse_spd(self.h_ee)
        border = np.einsum("ikdu,kldu->ildu", self.h_ze, inverse)
        schur = self.h_zz - np.einsum("ildu,jldu->ijdu", border, self.h_ze)
        gradient = self.g_z - np.einsum("ildu,ldu->idu", border, self.g_e)
        return gradient, schur, inverse

    def slope_and_root(self) -> tuple[FloatArray, FloatArray]:
        """de/dz along the ridge, (du, dg, D, U), and a lower root of the inverse of h_ee."""
        inverse = inverse_spd(self.h_ee)
        return -np.einsum("kldu,jldu->kjdu", inverse, self.h_ze), lower_root(inverse)


@dataclass(frozen=True, slots=True, eq=False)
class GroupCurvature:
    """Gradient g (dg, D, G) and negative Hessian h (dg, dg, D, G) of the group prior."""

    g: FloatArray
    h: FloatArray

    def rows(self, rows: IntArray) -> GroupCurvature:
        """The blocks of some parameter vectors."""
        return GroupCurvature(self.g[:, rows], self.h[:, :, rows])

    def put(self, rows: IntArray, other: GroupCurvature, where: BoolArray) -> None:
        """Overwrite the blocks of some parameter vectors where (rows, G) is true."""
        self.g[:, rows] = np.where(where, other.g, self.g[:, rows])
        self.h[:, :, rows] = np.where(where, other.h, self.h[:, :, rows])

    def root(self, units: UnitCurvature, starts: IntArray) -> FloatArray:
        """Upper root of the inverse of the negative Hessian of z with all e maximised out."""
        _, schur, _ = units.eliminated()
        return upper_root(inverse_spd(self.h + np.add.reduceat(schur, starts, axis=-1)))


def newton_step(
    group: GroupCurvature, units: UnitCurvature, group_of_unit: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Steps dz (dg, D, G), de (du, D, U) and the size of the step per (D, G) in posterior sd."""
    starts = np.flatnonzero(np.diff(group_of_unit, prepend=-1))
    gradient, schur, inverse_ee = units.eliminated()
    g_z = group.g + np.add.reduceat(gradient, starts, axis=-1)
    h_z = positive(group.h + np.add.reduceat(schur, starts, axis=-1))
    dz = np.einsum("ijdg,jdg->idg", inverse_spd(h_z), g_z)
    pulled = units.g_e - np.einsum("jkdu,jdu->kdu", units.h_ze, dz[..., group_of_unit])
    de = np.einsum("kldu,ldu->kdu", inverse_ee, pulled)
    size_z = np.einsum("idg,ijdg,jdg->dg", dz, h_z, dz)
    size_e = np.einsum("kdu,kldu,ldu->du", de, positive(units.h_ee), de)
    size = np.sqrt(np.maximum(size_z, np.maximum.reduceat(size_e, starts, axis=-1)))
    return dz, de, np.where(np.isfinite(size), size, 0.0)


def positive(blocks: FloatArray) -> FloatArray:
    """Symmetric blocks (n, n, ...) with absolute eigenvalues, floored, so that they are positive definite."""
    size = blocks.shape[0]
    blocks = np.where(np.isfinite(blocks), blocks, np.eye(size).reshape(size, size, *[1] * (blocks.ndim - 2)))
    if size == 0:
        return blocks
    if size == 1:
        return np.maximum(np.abs(blocks), FLOOR)
    moved = np.moveaxis(blocks, (0, 1), (-2, -1))
    if size == 2:
        determinant = blocks[0, 0] * blocks[1, 1] - blocks[0, 1] * blocks[1, 0]
        enough = np.maximum(FLOOR * blocks[0, 0], THINNEST * (blocks[0, 0] + blocks[1, 1]) ** 2)
        sound = (blocks[0, 0] > FLOOR) & (determinant > enough)
    else:
        sound = np.linalg.eigvalsh(moved)[..., 0] > FLOOR
    if sound.all():
        return blocks
    values, vectors = np.linalg.eigh(moved[~sound])
    size_of = np.abs(values)
    floored = np.maximum(size_of, np.maximum(FLOOR, 2.0 * THINNEST * size_of.max(axis=-1, keepdims=True)))
    fixed = np.einsum("...ik,...k,...jk->...ij", vectors, floored, vectors)
    moved = moved.copy()
    moved[~sound] = fixed
    return np.asarray(np.moveaxis(moved, (-2, -1), (0, 1)))


def inverse_spd(blocks: FloatArray) -> FloatArray:
    """Inverse of symmetric blocks (n, n, ...) after they are made positive definite."""
    size = blocks.shape[0]
    sound = positive(blocks)
    if size == 0:
        return sound
    if size == 1:
        return 1.0 / sound
    if size == 2:
        (a, b), (c, d) = sound
        return np.asarray(np.array([[d, -b], [-c, a]]) / (a * d - b * c))
    return np.asarray(np.moveaxis(np.linalg.inv(np.moveaxis(sound, (0, 1), (-2, -1))), (-2, -1), (0, 1)))


def lower_root(blocks: FloatArray) -> FloatArray:
    """Lower Cholesky root of positive definite blocks (n, n, ...)."""
    size = blocks.shape[0]
    if size == 0:
        return blocks
    if size == 1:
        return np.sqrt(blocks)
    if size == 2:
        first = np.sqrt(blocks[0, 0])
        low = blocks[1, 0] / first
        last = np.sqrt(blocks[1, 1] - low**2)
        return np.array([[first, np.zeros_like(first)], [low, last]])
    return np.asarray(np.moveaxis(np.linalg.cholesky(np.moveaxis(blocks, (0, 1), (-2, -1))), (-2, -1), (0, 1)))


def upper_root(blocks: FloatArray) -> FloatArray:
    """Upper root of positive definite blocks (n, n, ...)."""
    return lower_root(blocks[::-1, ::-1])[::-1, ::-1]


@dataclass(frozen=True, slots=True, eq=False)
class Stencil:
    """Points for central first and second differences in dg + du dimensions at once.

    Order of the points: 0; then +i, -i for each i; then (+i+j), (-i-j) for each pair i < j. Mixed second
    derivative: [f(+i+j) + f(-i-j) + 2 f(0) - f(+i) - f(-i) - f(+j) - f(-j)] / 2 h^2.
    """

    group_dim: int
    unit_dim: int
    group_shift: FloatArray = field(init=False)
    unit_shift: FloatArray = field(init=False)
    prior_shift: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        points = stencil_points(self.group_dim + self.unit_dim)
        object.__setattr__(self, "group_shift", points[: self.group_dim])
        object.__setattr__(self, "unit_shift", points[self.group_dim :])
        object.__setattr__(self, "prior_shift", stencil_points(self.group_dim))

    def unit(self, values: FloatArray) -> UnitCurvature:
        """Derivatives from values (S, D, U) of the log of likelihood times unit prior."""
        gradient, hessian = differences(values, self.group_dim + self.unit_dim)
        n = self.group_dim
        return UnitCurvature(gradient[:n], gradient[n:], -hessian[:n, :n], -hessian[:n, n:], -hessian[n:, n:])

    def group(self, values: FloatArray) -> GroupCurvature:
        """Derivatives from values (S, D, G) of the log group prior."""
        gradient, hessian = differences(values, self.group_dim)
        return GroupCurvature(gradient, -hessian)


def stencil_points(dims: int, step: float = FD_STEP) -> FloatArray:
    """(dims, S) shifts in the order described in Stencil."""
    unit = np.eye(dims) * step
    rows = [np.zeros(dims)]
    for i in range(dims):
        rows += [unit[i], -unit[i]]
    for i, j in itertools.combinations(range(dims), 2):
        rows += [unit[i] + unit[j], -unit[i] - unit[j]]
    return np.array(rows).reshape(len(rows), dims).T


def differences(values: FloatArray, dims: int, step: float = FD_STEP) -> tuple[FloatArray, FloatArray]:
    """Gradient (dims, ...) and Hessian (dims, dims, ...) from values (S, ...) at stencil_points."""
    tail = values.shape[1:]
    gradient, hessian = np.zeros((dims, *tail)), np.zeros((dims, dims, *tail))
    for i in range(dims):
        up, down = values[1 + 2 * i], values[2 + 2 * i]
        gradient[i] = (up - down) / (2 * step)
        hessian[i, i] = (up + down - 2 * values[0]) / step**2
    for n, (i, j) in enumerate(itertools.combinations(range(dims), 2)):
        both = values[1 + 2 * dims + 2 * n] + values[2 + 2 * dims + 2 * n] + 2 * values[0]
        single = values[1 + 2 * i] + values[2 + 2 * i] + values[1 + 2 * j] + values[2 + 2 * j]
        hessian[i, j] = hessian[j, i] = (both - single) / (2 * step**2)
    return gradient, hessian

"""Marginal likelihood of a two-level latent model by nested adaptive Gauss-Hermite quadrature.

The model is anyone's: readings belong to units (electrodes), units to groups (batches). A group has zero to
three latent numbers z, a unit zero or more latent numbers e, and the caller gives the log-likelihood of all
readings of a unit given parameters, z and e. For one parameter vector

    p(y_g) = int p(z) prod_u [ int p(e) p(y_u | theta, z, e) de ] dz.

Axes, everywhere: D parameter vectors, U units (ordered by group), G groups, A group nodes, B unit nodes. The
log-likelihood is called as f(theta, z, e) with theta (P, D, 1), z (dg, A, D, U), e (du, B, A, D, U) and gives
(B, A, D, U), so ordinary trailing broadcasting does the work and sums over nodes run along leading axes.

Both integrals are centred on the joint mode of (z, e) of each group and scaled by its curvature; the centre
of e follows z linearly. Source of the rule: adaptive Gauss-Hermite quadrature in the sense of Journal of
Computational and Graphical Statistics 4 (1995) 12-35, "Approximations to the Log-Likelihood Function in the
Nonlinear Mixed-Effects Model", doi 10.1080/10618600.1995.10474663. Deviation: two nested levels, and the
scale comes from finite differences, which moves nodes but not the value integrated.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.newton import GroupCurvature, Stencil, UnitCurvature, newton_step
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

UnitLogLikelihood: TypeAlias = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]
UnitIntegral: TypeAlias = Callable[[FloatArray, FloatArray, FloatArray, FloatArray, tuple[int, ...]], FloatArray]
Climb: TypeAlias = Callable[[FloatArray, IntArray, FloatArray, FloatArray], tuple[FloatArray, ...]]
Marginal: TypeAlias = Callable[[FloatArray, IntArray, tuple[FloatArray, ...], tuple[int, ...]], FloatArray]
LatentLogPrior: TypeAlias = Callable[[FloatArray, FloatArray], FloatArray]

LOG_2PI = float(np.log(2.0 * np.pi))
STEP_DONE = 0.03  # of a posterior sd of the latent: nodes need no better centre
SHORTEST = 1e-7  # share of a step below which nothing climbs any more
MAX_NEWTON = 60
USUAL_UNIT_NODES = 7
BLOCK = 2**14  # numbers worked on at once: a temporary of these stays in the cache and in the heap


def standard_normal(theta: FloatArray, latents: FloatArray) -> FloatArray:
    """Log density of independent standard normal latents, summed over the first axis."""
    del theta
    return np.asarray(-0.5 * (latents**2).sum(axis=0) - 0.5 * LOG_2PI * latents.shape[0])


@dataclass(frozen=True, slots=True, eq=False)
class UnitClass:
    """Units (their indices) whose likelihood depends on the first len(nodes) unit latents only, nodes a side of each,
    and the likelihood of these units alone.

    integral : where somebody has the whole integral ready, under a standard normal prior: (theta, z, centre, root,
    nodes) as in _Inner, giving (A, D, U)."""

    units: IntArray
    nodes: tuple[int, ...]
    log_likelihood: UnitLogLikelihood
    integral: UnitIntegral | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LatentModel:
    """A two-level latent model and the shape of its data.

    log_likelihood : f(theta, z, e) of the readings of each unit (see the module's text for shapes);
    group_of_unit : (U,) group index of each unit, rising, every group present; group_dim : 0..3;
    unit_dim : 0 or more; the priors default to standard normal latents; classes : where units differ in how many
    latents they need, the classes that all units fall into (the mode is still sought with unit_dim latents);
    climb : where somebody has the search for the modes ready, under standard normal priors: (theta, group_of_unit, z,
    e) to the fields of Adapted; marginal : the same of the whole integral: (theta, group_of_unit, fields of Adapted,
    nodes of the group) to (D, G).
    """

    log_likelihood: UnitLogLikelihood
    group_of_unit: IntArray
    group_dim: int
    unit_dim: int
    log_group_prior: LatentLogPrior = standard_normal
    log_unit_prior: LatentLogPrior = standard_normal
    classes: tuple[UnitClass, ...] = ()
    climb: Climb | None = None
    marginal: Marginal | None = None

    def __post_init__(self) -> None:
        groups = np.asarray(self.group_of_unit)
        starts_at_zero = groups.size > 0 and groups[0] == 0
        if not starts_at_zero or np.any((np.diff(groups) != 0) & (np.diff(groups) != 1)):
            raise ValueError(f"group_of_unit must rise from 0 without gaps, got {groups.tolist()}")
        if not 0 <= self.group_dim <= 3 or self.unit_dim < 0:
            raise ValueError(f"group_dim must be 0..3 and unit_dim >= 0, got {self.group_dim}, {self.unit_dim}")

    @property
    def starts(self) -> IntArray:
        """(G,) index of the first unit of each group."""
        return np.flatnonzero(np.diff(self.group_of_unit, prepend=-1))

    @property
    def n_groups(self) -> int:
        return int(self.group_of_unit[-1]) + 1

    def log_unit(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """Log of likelihood times prior of the unit latents: (B, A, D, U)."""
        return self.log_likelihood(theta, z, e) + self.log_unit_prior(theta, e)

    def sum_units(self, values: FloatArray) -> FloatArray:
        """Sum the last axis (U) within groups: (..., G)."""
        if self.n_groups == values.shape[-1]:
            return values
        return np.add.reduceat(values, self.starts, axis=-1)


@dataclass(frozen=True, slots=True)
class Nodes:
    """Nodes a side for group and unit integrals; unit None: those of each class of units, 7 where there are no classes.
    Measured on 60 simulated electrodes, nine parameter vectors, worst error of the log marginal: (5, 5) 1.2e-3, (5, 7)
    1.2e-4, (9, 9) 3e-6 (benchmarks/quadrature.py)."""

    group: int | tuple[int, ...] = 5
    unit: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Adapted:
    """Centre and scale of the nodes: z (dg, D, G), z_root (dg, dg, D, G), e (du, D, U),
    slope de/dz (du, dg, D, U), e_root (du, du, D, U), lower triangular. z_root is upper triangular, so that the last
    latents of a group take the same few values at all nodes of the first (kernels.py)."""

    z: FloatArray
    z_root: FloatArray
    e: FloatArray
    slope: FloatArray
    e_root: FloatArray

    def repeat(self, count: int) -> Adapted:
        """The first parameter vector's nodes used for count vectors."""

        def spread(values: FloatArray) -> FloatArray:
            first = values[..., :1, :]
            return np.broadcast_to(first, (*first.shape[:-2], count, first.shape[-1]))

        return Adapted(*map(spread, self.fields))

    @property
    def fields(self) -> tuple[FloatArray, ...]:
        """All five, in their order."""
        return self.z, self.z_root, self.e, self.slope, self.e_root


def adapt(model: LatentModel, parameters: FloatArray, start: Adapted | None = None) -> Adapted:
    """Centre and scale the nodes on the joint mode of every group, for each of (D, P) parameters.

    Newton with step halving; a step is finished below STEP_DONE posterior sd. Groups that have not finished
    after MAX_NEWTON steps keep their best point: the quadrature stays valid, only less efficient.
    """
    theta = parameters.T[:, :, None]
    begin = _starting_point(model, parameters.shape[0], start)
    if model.climb is not None:
        return Adapted(*model.climb(theta, model.group_of_unit, *begin))
    climb = _Climb.begin(model, theta, *begin)
    for _ in range(MAX_NEWTON):
        rows = np.flatnonzero(climb.active.any(axis=1))
        if rows.size == 0:
            break
        climb.advance(model, theta, rows)
    slope, e_root = climb.units.slope_and_root()
    return Adapted(climb.z, climb.groups.root(climb.units, model.starts), climb.e, slope, e_root)


def adapt_from_middle(model: LatentModel, parameters: FloatArray) -> Adapted:
    """As adapt, from the modes at the median of the parameters (D, P): they are draws of one posterior."""
    return adapt(model, parameters, adapt(model, np.median(parameters, axis=0)[None]))


def _starting_point(model: LatentModel, count: int, start: Adapted | None) -> tuple[FloatArray, FloatArray]:
    """Latents to start from: zeros, or those of start, one vector's spread over all."""
    if start is None:
        return np.zeros((model.group_dim, count, model.n_groups)), np.zeros(
            (model.unit_dim, count, model.group_of_unit.size)
        )
    first = start if start.z.shape[-2] == count and start.e.shape[-2] == count else start.repeat(count)
    return np.array(first.z), np.array(first.e)


@dataclass(slots=True, eq=False)
class _Climb:
    """State of the search for all modes at once; only parameter vectors with unfinished groups are recomputed."""

    z: FloatArray
    e: FloatArray
    height: FloatArray
    units: UnitCurvature
    groups: GroupCurvature
    dz: FloatArray
    de: FloatArray
    size: FloatArray
    shrink: FloatArray
    stencil: Stencil

    @classmethod
    def begin(cls, model: LatentModel, theta: FloatArray, z: FloatArray, e: FloatArray) -> _Climb:
        stencil = Stencil(model.group_dim, model.unit_dim)
        units, groups, height = _curvature(model, theta, z, e, stencil)
        dz, de, size = newton_step(groups, units, model.group_of_unit)
        return cls(z, e, height, units, groups, dz, de, size, np.ones_like(height), stencil)

    @property
    def active(self) -> BoolArray:
        """(D, G): whether the mode is farther than STEP_DONE, by the full step: where the curvature misleads, a step
        that is short only because it was halved is no arrival."""
        return (self.size > STEP_DONE) & (self.shrink > SHORTEST)

    def advance(self, model: LatentModel, theta: FloatArray, rows: IntArray) -> None:
        """Try the pending step of the groups of some parameter vectors; keep it where it climbs, else halve it."""
        owner, active = model.group_of_unit, self.active[rows]
        factor = np.where(active, self.shrink[rows], 0.0)
        z = self.z[:, rows] + factor * self.dz[:, rows]
        e = self.e[:, rows] + factor[:, owner] * self.de[:, rows]
        units, groups, height = _curvature(model, theta[:, rows], z, e, self.stencil)
        before = self.height[rows]
        better = active & (height >= before - 1e-10 * np.abs(before))
        self.shrink[rows] = np.where(
            better, np.minimum(1.0, 2.0 * self.shrink[rows]), np.where(active, 0.5, 1.0) * self.shrink[rows]
        )
        if not better.any():
            return
        self.z[:, rows] = np.where(better, z, self.z[:, rows])
        self.e[:, rows] = np.where(better[:, owner], e, self.e[:, rows])
        self.height[rows] = np.where(better, height, before)
        self.units.put(rows, units, better[:, owner])
        self.groups.put(rows, groups, better)
        step = newton_step(self.groups.rows(rows), self.units.rows(rows), owner)
        self.dz[:, rows], self.de[:, rows], self.size[rows] = step


def _curvature(
    model: LatentModel, theta: FloatArray, z: FloatArray, e: FloatArray, stencil: Stencil
) -> tuple[UnitCurvature, GroupCurvature, FloatArray]:
    """Derivatives of the log joint at (z, e) by central differences, and its height per (D, G)."""
    z_unit = z[..., model.group_of_unit]
    values = np.empty((stencil.group_shift.shape[1], *z_unit.shape[1:]))
    for block in blocks(theta.shape[1], values[:, 0].size):
        z_points = z_unit[:, None, block] + stencil.group_shift[:, :, None, None]
        e_points = e[:, None, None, block] + stencil.unit_shift[:, None, :, None, None]
        values[:, block] = model.log_unit(theta[:, block], z_points, e_points)[0]
    prior = model.log_group_prior(theta, z[:, None] + stencil.prior_shift[:, :, None, None])
    height = model.sum_units(values[0]) + prior[0]
    return stencil.unit(values), stencil.group(prior), np.where(np.isfinite(height), height, -np.inf)


def blocks(count: int, each: int) -> list[slice]:
    """Slices of count parameter vectors, each vector bringing so many numbers, that stay below BLOCK."""
    size = max(1, BLOCK // max(each, 1))
    return [slice(start, start + size) for start in range(0, count, size)]


def log_marginal_by_group(
    model: LatentModel, parameters: FloatArray, nodes: Nodes, adapted: Adapted | None = None
) -> FloatArray:
    """Log marginal likelihood of each group, (D, G), for parameters (D, P)."""
    adapted = adapt(model, parameters) if adapted is None else adapted
    if model.marginal is not None and nodes.unit is None:
        sides = _sides(nodes.group, model.group_dim)
        return model.marginal(parameters.T[:, :, None], model.group_of_unit, adapted.fields, sides)
    points, log_weights = hermite_grid(_sides(nodes.group, model.group_dim))
    offset = np.einsum("ijdg,ja->iadg", adapted.z_root, points)
    inner = log_group_integrand(model, parameters, adapted, adapted.z[:, None] + offset, nodes.unit)
    log_det = sum(np.log(adapted.z_root[i, i]) for i in range(model.group_dim))
    return np.asarray(log_sum_exp(inner + log_weights[:, None, None]) + log_det)


def log_marginal(
    model: LatentModel, parameters: FloatArray, nodes: Nodes, adapted: Adapted | None = None
) -> FloatArray:
    """Log marginal likelihood of all readings, (D,), for parameters (D, P); nan becomes -inf."""
    total = log_marginal_by_group(model, parameters, nodes, adapted).sum(axis=-1)
    return np.where(np.isnan(total), -np.inf, total)


def log_group_integrand(
    model: LatentModel, parameters: FloatArray, adapted: Adapted, z: FloatArray, unit_nodes: int | None = None
) -> FloatArray:
    """log [ p(z) prod_u int p(e) p(y_u | theta, z, e) de ] at z (dg, A, D, G), giving (A, D, G)."""
    theta = parameters.T[:, :, None]
    z_unit = z[..., model.group_of_unit]
    centre = np.broadcast_to(adapted.e[:, None], (model.unit_dim, *z_unit.shape[1:]))
    if model.group_dim and model.unit_dim:
        away = (z - adapted.z[:, None])[..., model.group_of_unit]
        centre = centre + np.einsum("ijdu,jadu->iadu", adapted.slope, away)
    everybody = np.arange(model.group_of_unit.size)
    whole = UnitClass(everybody, _sides(unit_nodes or USUAL_UNIT_NODES, model.unit_dim), model.log_likelihood)
    inner = _Inner(model, theta, z_unit, centre, adapted.e_root)
    per_unit = np.empty(z_unit.shape[1:])
    for part in model.classes if model.classes and unit_nodes is None else (whole,):
        if part.integral is not None:
            z_part, centre_part, root = (values[..., part.units] for values in (z_unit, centre, adapted.e_root))
            per_unit[..., part.units] = part.integral(theta, z_part, centre_part, root, part.nodes)
            continue
        each = int(np.prod(part.nodes)) * part.units.size
        for rows in blocks(theta.shape[1], each * z.shape[1]):
            for nodes in blocks(z.shape[1], each):
                per_unit[nodes, rows, part.units] = inner.over_unit(part, nodes, rows)
    return np.asarray(model.sum_units(per_unit) + model.log_group_prior(theta, z))


@dataclass(frozen=True, slots=True, eq=False)
class _Inner:
    """The integral over the unit latents at group nodes z (dg, A, D, U), its nodes centred on centre (du, A, D, U)."""

    model: LatentModel
    theta: FloatArray
    z: FloatArray
    centre: FloatArray
    e_root: FloatArray

    def over_unit(self, part: UnitClass, nodes: slice, rows: slice) -> FloatArray:
        """log int p(e) p(y_u | theta, z, e) de (a, d, u) for a class of units, some group nodes and some vectors."""
        dims, units = len(part.nodes), part.units
        points, log_weights = hermite_grid(part.nodes)
        root = self.e_root[:dims, :dims, rows][..., units]
        e = self.centre[:dims, None, nodes, rows][..., units] + np.einsum("ijdu,jb->ibdu", root, points)[:, :, None]
        values = part.log_likelihood(self.theta[:, rows], self.z[:, nodes, rows][..., units], e)
        values = values + self.model.log_unit_prior(self.theta[:, rows], e) + log_weights[:, None, None, None]
        log_det = sum(np.log(root[i, i]) for i in range(dims))
        return np.asarray(log_sum_exp(values) + log_det)


def _sides(nodes: int | tuple[int, ...], dims: int) -> tuple[int, ...]:
    return (nodes,) * dims if isinstance(nodes, int) else nodes


@lru_cache(maxsize=16)
def hermite_grid(sides: tuple[int, ...]) -> tuple[FloatArray, FloatArray]:
    """Product Gauss-Hermite nodes x (dims, N), sides a side, and log weights for int f(x) dx (no Gaussian factor)."""
    rules = [np.polynomial.hermite_e.hermegauss(side) for side in sides]
    logs = [np.log(w) + 0.5 * x**2 for x, w in rules]
    points = np.array(list(itertools.product(*(x for x, _ in rules)))).reshape(int(np.prod(sides)), len(rules)).T
    weights = np.array([sum(pick) for pick in itertools.product(*logs)], dtype=float)
    return points, weights


def log_sum_exp(values: FloatArray) -> FloatArray:
    """log of the sum of exponentials along the first axis; all -inf gives -inf."""
    top = values.max(axis=0)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.exp(values - top).sum(axis=0)) + top)

"""The log-likelihood of an electrode's readings, integrated over as few of its own latents as will do.

An electrode has three latents: gain, floor and K. Electrodes with one reading need one number: the scatter of floor
and K is folded into that of the gain by the moments of the log response (LogResponse.moments). Electrodes with
several readings need two, gain and floor; their K is integrated in closed form, the response taken as linear in k_e
(with its mean to second order), unless K's own scatter is to be estimated, which takes all three. Measured against
dense grids, 24 electrodes with pre-scan, sample and spike, every parameter moved by a posterior sd: log-likelihood
differences err by at most .02 (s_k .10), one reading on 40 electrodes: .012; see benchmarks/quadrature.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.compiled import CompiledResponse, loaded
from brinemark.science.amount.quadrature import LatentModel, Nodes, UnitClass, blocks, hermite_grid, log_sum_exp
from brinemark.science.amount.response import (
    LOG_2PI,
    Centre,
    LogResponse,
    ParameterLayout,
    Population,
    UnitData,
    centre,
    occupancy,
    population,
    reading_log_density,
)
from brinemark.science.amount.shared_points import over_log_mean
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

# A trial point of the search may lie absurdly far out; exp(150) is as impossible as infinity, and finite.
FARTHEST = 150.0
NODES = Nodes(group=(3, 4, 3))
SINGLE_NODES, LIFE_NODES = (7,), (5, 4, 3)


@dataclass(frozen=True, slots=True, eq=False)
class _Response:
    """What both kinds of electrodes share. Batch latents z = (gain, ln K, ln floor) in population sd."""

    data: UnitData
    layout: ParameterLayout

    def prepared(self, theta: FloatArray) -> tuple[Population, Centre, FloatArray]:
        """Population, centre of each electrode, and the additive variance (D, R) of each reading."""
        pop = population(theta, self.layout)
        middle = centre(pop, self.data)
        noise = pop.noise[self.data.instrument, :, 0].T[..., self.data.unit]
        return pop, middle, self.data.u**2 + noise**2


class SingleResponse(_Response):
    """Electrodes with one reading each; electrode latent e = total own log deviate in its sd."""

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """(B, A, D, U) for theta (P, D, 1), z (3, A, D, U), e (1 or more, B, A, D, U)."""
        pop, middle, additive = self.prepared(theta)
        median, spread = self._signals(pop, middle, z)
        return self._density(pop, additive, median + spread * e[0])

    def integral(
        self, theta: FloatArray, z: FloatArray, middle: FloatArray, root: FloatArray, sides: tuple[int, ...]
    ) -> FloatArray:
        """log int p(e) p(y_u | theta, z, e) de (A, D, U), on points that all nodes share (shared_points.py), or on
        nodes of e (sides a side) centred on middle (1 or more, A, D, U) with sd root (1 or more, same, D, U)."""
        out = np.empty(z.shape[1:])
        for rows in blocks(z.shape[2], z[0, :, 0].size):
            part = theta[:, rows], z[:, :, rows], middle[0, :, rows], root[0, 0, rows]
            out[:, rows], served = self._on_shared_points(*part)
            if not served.all():
                out[:, rows] = np.where(served, out[:, rows], self._on_own_nodes(*part, sides))
        return out

    def _on_shared_points(
        self, theta: FloatArray, z: FloatArray, middle: FloatArray, sd: FloatArray
    ) -> tuple[FloatArray, BoolArray]:
        """The integral, and whether the points served."""
        pop, centre, additive = self.prepared(theta)
        median, spread = self._signals(pop, centre, z)

        def log_density(log_mean: FloatArray) -> FloatArray:
            return self._density(pop, additive, log_mean)

        return over_log_mean(median, spread, median + spread * middle, sd, log_density)

    def _on_own_nodes(
        self, theta: FloatArray, z: FloatArray, middle: FloatArray, sd: FloatArray, sides: tuple[int, ...]
    ) -> FloatArray:
        """The integral with nodes of e."""
        (points,), log_weights = hermite_grid(sides[:1])
        e = middle + sd * points[:, None, None, None]
        values = self(theta, z, e[None]) - 0.5 * (e**2 + LOG_2PI) + log_weights[:, None, None, None]
        return log_sum_exp(values) + np.log(sd)

    def _signals(self, pop: Population, middle: Centre, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Log of the median signal, and sd of its log over what is the electrode's own, (A, D, U)."""
        data = self.data
        response = LogResponse.at(
            occupancy(pop.levels(data), pop.ln_K + pop.ln_K_sd * z[1], pop.h),
            np.exp(np.minimum(pop.ln_floor + pop.floor_batch_sd * z[2], FARTHEST)) * pop.floor_factor(data),
            pop.h,
        )
        own_K = np.sqrt(pop.own_K_sd**2 + data.level_rel_u**2)
        value, variance = response.moments(pop.floor_sd, own_K)
        apart = (data.dip != 0) * pop.drift_sd**2
        spread = np.sqrt(middle.spread**2 + variance + apart)
        return middle.log_gain + pop.batch_sd * z[0] + pop.shift(data.dip, data.spike) + value, spread

    def _density(self, pop: Population, additive: FloatArray, log_mean: FloatArray) -> FloatArray:
        mean = np.exp(np.minimum(log_mean, FARTHEST))
        return reading_log_density(mean, additive + (pop.cv * mean) ** 2, self.data.signal)


class LifeResponse(_Response):
    """Electrodes with several readings; electrode latents e = (own gain, own ln floor[, own ln K]) in their sd."""

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """(B, A, D, U) for theta (P, D, 1), z (3, A, D, U), e (2 or 3, B, A, D, U)."""
        data, (pop, middle, additive) = self.data, self.prepared(theta)
        pick = data.unit
        own_gain = np.exp(np.minimum(middle.log_gain + pop.batch_sd * z[0] + middle.spread * e[0], FARTHEST))
        gain = own_gain[..., pick] * np.exp(pop.shift(data.dip, data.spike))
        floor = np.exp(np.minimum(pop.ln_floor + pop.floor_batch_sd * z[2] + pop.floor_sd * e[1], FARTHEST))[..., pick]
        floor = floor * pop.floor_factor(data)
        ln_K = pop.ln_K + pop.ln_K_sd * z[1]
        if self.layout.own_K:
            ln_K = ln_K + pop.own_K_sd * e[2]
        occupied = occupancy(pop.levels(data), ln_K[..., pick], pop.h)
        rise = pop.h * occupied * (1.0 - occupied)
        relative = pop.cv**2 + (data.dip != 0) * pop.drift_sd**2
        own_level = (gain * rise * data.level_rel_u) ** 2 if data.level_u.any() else 0.0
        if self.layout.own_K:
            mean = gain * (floor + occupied)
            variance = additive + relative * mean**2 + own_level
            return self._by_unit(reading_log_density(mean, variance, data.signal))
        mean = gain * (floor + occupied + 0.5 * pop.own_K_sd**2 * pop.h * rise * (1.0 - 2.0 * occupied))
        variance = additive + relative * mean**2 + own_level
        return self._over_own_K(mean, variance, -gain * rise * pop.own_K_sd)

    def _over_own_K(self, mean: FloatArray, variance: FloatArray, by_K: FloatArray) -> FloatArray:
        """Log density of each electrode's readings with k_e ~ N(0, 1) integrated, readings linear in it."""
        away = self.data.signal - mean
        plain = self._by_unit(away**2 / variance + np.log(variance) + LOG_2PI)
        weight = by_K / variance
        pull, size = self._by_unit(weight * away), 1.0 + self._by_unit(weight * by_K)
        return np.asarray(-0.5 * (plain - pull**2 / size + np.log(size)))

    def _by_unit(self, values: FloatArray) -> FloatArray:
        """Sums over the readings of each electrode."""
        starts = np.flatnonzero(np.diff(self.data.unit, prepend=-1))
        return np.asarray(np.add.reduceat(values, starts, axis=-1))


@dataclass(frozen=True, slots=True, eq=False)
class MixedResponse:
    """Both kinds of electrodes in their common order: what the search for the modes climbs."""

    single: SingleResponse
    single_units: IntArray
    life: LifeResponse
    life_units: IntArray

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """(B, A, D, U); latents that an electrode does not have leave its likelihood alone."""
        one = self.single(theta, z[..., self.single_units], e[:1][..., self.single_units])
        out = np.empty((*one.shape[:-1], self.single_units.size + self.life_units.size))
        out[..., self.single_units] = one
        out[..., self.life_units] = self.life(theta, z[..., self.life_units], e[..., self.life_units])
        return out


def latent_model_of(data: UnitData, batch: IntArray, layout: ParameterLayout) -> LatentModel:
    """The two-level model of some electrodes: batches with three latents, electrodes with one to three."""
    several = np.bincount(data.unit, minlength=data.instrument.size) > 1
    ones, lives = np.flatnonzero(~several), np.flatnonzero(several)
    dims = 3 if layout.own_K else 2
    loops = loaded()
    if loops is not None:
        return _compiled(CompiledResponse(loops, data, layout), batch, {SINGLE_NODES: ones, LIFE_NODES[:dims]: lives})
    single, life = SingleResponse(data.of_units(ones), layout), LifeResponse(data.of_units(lives), layout)
    alone, together = UnitClass(ones, SINGLE_NODES, single, single.integral), UnitClass(lives, LIFE_NODES[:dims], life)
    if not lives.size:
        return LatentModel(single, batch, group_dim=3, unit_dim=1, classes=(alone,))
    if not ones.size:
        return LatentModel(life, batch, group_dim=3, unit_dim=dims, classes=(together,))
    mixed = MixedResponse(single, ones, life, lives)
    return LatentModel(mixed, batch, group_dim=3, unit_dim=dims, classes=(together, alone))


def _compiled(
    response: CompiledResponse, batch: IntArray, electrodes: Mapping[tuple[int, ...], IntArray]
) -> LatentModel:
    """The same model with the integrals in compiled loops; electrodes : those of each set of nodes."""
    parts = {nodes: (units, response.of_units(units)) for nodes, units in electrodes.items() if units.size}
    classes = tuple(UnitClass(units, nodes, part, part.integral) for nodes, (units, part) in parts.items())

    def marginal(
        theta: FloatArray, group_of_unit: IntArray, modes: tuple[FloatArray, ...], sides: tuple[int, ...]
    ) -> FloatArray:
        return response.marginal(theta, group_of_unit, modes, (sides, SINGLE_NODES, LIFE_NODES[: max(map(len, parts))]))

    dims = max(map(len, parts))
    return LatentModel(
        response, batch, group_dim=3, unit_dim=dims, classes=classes, climb=response.climb, marginal=marginal
    )

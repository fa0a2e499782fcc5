"""The likelihoods of lives.py in compiled loops, once the extra "fast" is installed and loaded.

Loading takes about as long as a reading from cold, so readings never ask for it, and give the same digits in whatever
process they are made: calibrating does, and studies that read thousands. With the same nodes, log
marginals agree to rounding; nodes sought by either differ by what their differences leave, log marginals by 1e-8.
"""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.quadrature import LOG_2PI, hermite_grid
from brinemark.science.amount.response import ParameterLayout, Population, UnitData, centre, population
from brinemark.terms.arrays import FloatArray, IntArray

LATENTS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Loops:
    """What kernels.py and kernels_climb.py offer; rows : names of the population's parameters in their order."""

    rows: tuple[str, ...]
    densities: Callable[..., FloatArray]
    integrals: Callable[..., FloatArray]
    climb: Callable[..., tuple[FloatArray, ...]]


class _Process:
    """The compiled loops of this process, None = not asked for."""

    loops: Loops | None = None


def load() -> bool:
    """Use the compiled loops from now on; False where the extra "fast" is not installed."""
    if importlib.util.find_spec("numba") is None:
        return False
    sums = importlib.import_module("brinemark.science.amount.kernels")
    modes = importlib.import_module("brinemark.science.amount.kernels_climb")
    _Process.loops = Loops(sums.ROWS, sums.densities, sums.integrals, modes.climb)
    return True


def unload() -> None:
    """Go back to the loops of numpy."""
    _Process.loops = None


@contextmanager
def compiled_loops() -> Iterator[None]:
    """Compiled loops for a while, where they are installed; then what was in use before."""
    before = _Process.loops
    load()
    try:
        yield
    finally:
        _Process.loops = before


def loaded() -> Loops | None:
    """The compiled loops where they are in use."""
    return _Process.loops


@dataclass(frozen=True, slots=True, eq=False)
class CompiledResponse:
    """Electrodes with one or several readings in common order. Batch latents z = (gain, ln K, ln floor), electrode
    latents e = (gain[, ln floor[, ln K]]), all in population sd; latents that are not given are 0."""

    loops: Loops
    data: UnitData
    layout: ParameterLayout

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """(1, A, D, U) for theta (P, D, 1), z (3, A, D, U), e (1 to 3, 1, A, D, U)."""
        z_all, e_all = np.broadcast_arrays(z, _padded(e[:, 0], 0))
        found = self.loops.densities(self._pack(theta), z_all, e_all, self.layout.own_K)
        return np.asarray(found)[None]

    def integral(
        self, theta: FloatArray, z: FloatArray, middle: FloatArray, root: FloatArray, sides: tuple[int, ...]
    ) -> FloatArray:
        """log int p(e) p(y_u | theta, z, e) de (A, D, U) over the first len(sides) latents, sides nodes each, centred
        on middle (du, A, D, U) with lower root (du, du, D, U)."""
        dims = len(sides)
        whole = np.zeros((LATENTS, LATENTS, *root.shape[2:]))
        whole[:] = np.eye(LATENTS)[:, :, None, None]
        whole[:dims, :dims] = root[:dims, :dims]
        place = z, _padded(middle[:dims], 0), whole
        return np.asarray(self.loops.integrals(self._pack(theta), place, _rule(sides), self.layout.own_K))

    def climb(self, theta: FloatArray, group_of_unit: IntArray, z: FloatArray, e: FloatArray) -> tuple[FloatArray, ...]:
        """What adapt of quadrature.py finds from z (3, D, G), e (du, D, U): the five arrays of Adapted."""
        groups = np.append(np.flatnonzero(np.diff(group_of_unit, prepend=-1)), group_of_unit.size)
        start = np.ascontiguousarray(z), np.ascontiguousarray(e)
        found = self.loops.climb(self._pack(theta), groups, start, e.shape[0], self.layout.own_K)
        return tuple(np.asarray(values) for values in found)

    def of_units(self, units: IntArray) -> CompiledResponse:
        """Some of the electrodes."""
        return CompiledResponse(self.loops, self.data.of_units(units), self.layout)

    def _pack(self, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, IntArray]:
        """What the loops take (kernels.py)."""
        data, pop = self.data, population(theta, self.layout)
        middle = centre(pop, data)
        rows = np.array([getattr(pop, name)[:, 0] for name in self.loops.rows])
        starts = np.append(np.flatnonzero(np.diff(data.unit, prepend=-1)), data.unit.size)
        own = np.array([data.signal, (data.dip != 0).astype(float), data.level_rel_u])
        return rows, np.stack([middle.log_gain, middle.spread]), self._by_draw(pop), own, starts

    def _by_draw(self, pop: Population) -> FloatArray:
        """(4, D, R): cell level, factor of the gain, additive variance, factor of the floor."""
        data = self.data
        noise = pop.noise[data.instrument, :, 0].T[..., data.unit]
        gain = np.exp(pop.shift(data.dip, data.spike))
        each = pop.levels(data), gain, data.u**2 + noise**2, pop.floor_factor(data)
        return np.stack([np.broadcast_to(values, gain.shape) for values in each])


def _rule(sides: tuple[int, ...]) -> tuple[FloatArray, FloatArray, IntArray]:
    """Nodes and log weights of each latent (kernels.py), the standard normal's constant included."""
    points, log_weights = np.zeros((2, LATENTS, max(sides)))
    for i, side in enumerate(sides):
        (points[i, :side],), weights = hermite_grid((side,))
        log_weights[i, :side] = weights - 0.5 * LOG_2PI
    return points, log_weights, np.array([*sides, 1, 1][:LATENTS])


def _padded(values: FloatArray, axis: int) -> FloatArray:
    """Zeros for the latents that are not there."""
    missing = [(0, LATENTS - values.shape[axis] if i == axis else 0) for i in range(values.ndim)]
    return np.pad(values, missing)

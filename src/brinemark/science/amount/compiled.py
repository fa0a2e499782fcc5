"""The likelihoods of lives.py and the tails of law.py in compiled loops, once the extra "fast" is installed and loaded.

Loading takes about as long as a reading from cold, so the command that reads never asks for it, and gives the same
digits in whatever process: calibrating does, and studies that read thousands. With the same nodes, log marginals agree
to rounding; nodes sought by either differ by what their differences leave, log marginals by 1e-8. Tails agree to 1e-12.

Every batch under every parameter vector is a piece of work of its own, with a place of its own for its result, so that
results do not depend on how many threads share them.
"""

from __future__ import annotations

import importlib
import importlib.util
import itertools
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.quadrature import LOG_2PI, hermite_grid
from brinemark.science.amount.response import ParameterLayout, Population, UnitData, centre, population
from brinemark.terms.arrays import FloatArray, IntArray

LATENTS = 3
AT_ONCE = 16  # LANES_AT_ONCE of kernels_base.py
PIECES = 8  # that work is cut into where threads share it: more than threads, since some take longer
ROOM = 2**21  # numbers of a pack held at once, so that memory does not grow with the parameter vectors
Rule: TypeAlias = tuple[FloatArray, FloatArray, IntArray]
Pack: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, IntArray]


@dataclass(frozen=True, slots=True, eq=False)
class Loops:
    """What the kernels offer; rows : names of the population's parameters in their order; pool : threads that share the
    work, None = the caller's alone."""

    rows: tuple[str, ...]
    densities: Callable[..., FloatArray]
    integrals: Callable[..., FloatArray]
    marginals: Callable[..., None]
    climb: Callable[..., None]
    tails: Callable[..., FloatArray]
    tails_by_node: Callable[..., FloatArray]
    pool: Executor | None = None

    def share(self, work: Callable[[int, int], None], count: int) -> None:
        """work(first, last) over the whole of range(count)."""
        if self.pool is None:
            work(0, count)
            return
        edges = [count * piece // PIECES for piece in range(PIECES + 1)]
        for done in [self.pool.submit(work, *edge) for edge in itertools.pairwise(edges)]:
            done.result()


_IN_USE: ContextVar[Loops | None] = ContextVar("compiled loops of this thread, None = not asked for", default=None)


def _found(pool: Executor | None = None) -> Loops | None:
    """The compiled loops; None where the extra "fast" is not installed."""
    if importlib.util.find_spec("numba") is None:
        return None
    sums = importlib.import_module("brinemark.science.amount.kernels")
    base = importlib.import_module("brinemark.science.amount.kernels_base")
    modes = importlib.import_module("brinemark.science.amount.kernels_climb")
    tails = importlib.import_module("brinemark.science.amount.kernels_tails")
    of_tails = tails.approximate, tails.by_node
    return Loops(base.ROWS, sums.densities, sums.integrals, sums.marginals, modes.climb, *of_tails, pool)


def load() -> bool:
    """Use the compiled loops from now on; False where the extra "fast" is not installed."""
    loops = _found()
    if loops is not None:
        _IN_USE.set(loops)
    return loops is not None


def unload() -> None:
    """Go back to the loops of numpy."""
    _IN_USE.set(None)


@contextmanager
def compiled_loops(threads: int = 1) -> Iterator[None]:
    """Compiled loops for a while, where they are installed; then what was in use before."""
    with ThreadPoolExecutor(threads) as pool:
        loops = _found(pool if threads > 1 else None)
        before = _IN_USE.set(loops or loaded())
        try:
            yield
        finally:
            _IN_USE.reset(before)


def loaded() -> Loops | None:
    """The compiled loops where they are in use."""
    return _IN_USE.get()


@dataclass(frozen=True, slots=True, eq=False)
class CompiledResponse:
    """Electrodes with one or several readings in common order. Batch latents z = (gain, ln K, ln floor), electrode
    latents e = (gain[, ln floor[, ln K]]), all in population sd; latents that are not given are 0."""

    loops: Loops
    data: UnitData
    layout: ParameterLayout
    own_K: bool = field(init=False)
    starts: IntArray = field(init=False)
    last: dict[bytes, Pack] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "own_K", self.layout.own_K)
        starts = np.append(np.flatnonzero(np.diff(self.data.unit, prepend=-1)), self.data.unit.size)
        object.__setattr__(self, "starts", starts)

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        """(B, A, D, U) for theta (P, D, 1), z (3, A, D, U), e (1 to 3, B, A, D, U)."""
        pack, own_K = self._pack(theta), self.layout.own_K
        each = [np.broadcast_arrays(z, _padded(one, 0)) for one in np.moveaxis(e, 1, 0)]
        return np.stack([self.loops.densities(pack, *place, own_K) for place in each])

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
        dims, (count, units), groups = e.shape[0], e.shape[1:], self._groups(group_of_unit)
        z, z_root, e = z.copy(), np.zeros((LATENTS, *z.shape)), e.copy()
        slope, e_root = np.zeros((dims, LATENTS, count, units)), np.zeros((dims, dims, count, units))
        modes = z, z_root, e, slope, e_root
        for rows in self._rows(count):
            pack, part = self._pack(theta[:, rows]), tuple(np.ascontiguousarray(one[..., rows, :]) for one in modes)

            def work(first: int, last: int, pack: Pack = pack, part: tuple[FloatArray, ...] = part) -> None:
                self.loops.climb(pack, (groups, first, last), part, self.own_K)

            self.loops.share(work, part[0].shape[1] * (groups.size - 1))
            for whole, found in zip(modes, part, strict=True):
                whole[..., rows, :] = found
        return modes

    def marginal(
        self,
        theta: FloatArray,
        group_of_unit: IntArray,
        modes: tuple[FloatArray, ...],
        sides: tuple[tuple[int, ...], ...],
    ) -> FloatArray:
        """Log marginal likelihood (D, G) of each batch; modes : the five arrays of Adapted; sides : nodes of a batch,
        of electrodes read once, and several times."""
        groups, outer, rules = self._groups(group_of_unit), _outer(sides[0]), tuple(map(_rule, sides[1:]))
        out = np.empty((theta.shape[1], groups.size - 1))
        for rows in self._rows(theta.shape[1]):
            pack, part = self._pack(theta[:, rows]), tuple(np.ascontiguousarray(one[..., rows, :]) for one in modes)
            found = out[rows]

            def work(
                first: int,
                last: int,
                pack: Pack = pack,
                part: tuple[FloatArray, ...] = part,
                found: FloatArray = found,
            ) -> None:
                self.loops.marginals(pack, (groups, first, last), part, (outer, *rules), self.own_K, found)

            self.loops.share(work, found.size)
        return out

    def _groups(self, group_of_unit: IntArray) -> IntArray:
        """(G + 1,) first electrode of each batch."""
        return np.append(np.flatnonzero(np.diff(group_of_unit, prepend=-1)), group_of_unit.size)

    def _rows(self, count: int) -> list[slice]:
        """Slices of count parameter vectors whose packs fit into ROOM."""
        size = max(1, ROOM // (8 * self.data.unit.size))
        return [slice(start, start + size) for start in range(0, count, size)]

    def of_units(self, units: IntArray) -> CompiledResponse:
        """Some of the electrodes."""
        return CompiledResponse(self.loops, self.data.of_units(units), self.layout)

    def _pack(self, theta: FloatArray) -> Pack:
        """What the loops take (kernels_base.py); the last one is kept, since integrals follow the search for modes."""
        key = theta.tobytes()
        if key not in self.last:
            self.last.clear()
            self.last[key] = self._packed(theta)
        return self.last[key]

    def _packed(self, theta: FloatArray) -> Pack:
        data, pop = self.data, population(theta, self.layout)
        middle = centre(pop, data)
        rows = np.array([getattr(pop, name)[:, 0] for name in self.loops.rows])
        own = np.array([data.signal, (data.dip != 0).astype(float), data.level_rel_u])
        return rows, np.stack([middle.log_gain, middle.spread]), self._by_draw(pop), own, self.starts

    def _by_draw(self, pop: Population) -> FloatArray:
        """(5, D, R): log of the cell level, log of the factor of the gain, the factor, additive variance, factor of
        the floor."""
        data = self.data
        noise = pop.noise[data.instrument, :, 0].T[..., data.unit]
        shift = pop.shift(data.dip, data.spike)
        with np.errstate(divide="ignore"):
            log_level = np.log(pop.levels(data))
        each = log_level, shift, np.exp(shift), data.u**2 + noise**2, pop.floor_factor(data)
        return np.stack([np.broadcast_to(values, shift.shape) for values in each])


def _rule(sides: tuple[int, ...]) -> Rule:
    """Nodes and log weights of each latent (kernels_base.py), the standard normal's constant included."""
    points, log_weights = np.zeros((2, LATENTS, max(sides)))
    for i, side in enumerate(sides):
        (points[i, :side],), weights = hermite_grid((side,))
        log_weights[i, :side] = weights - 0.5 * LOG_2PI
    return points, log_weights, np.array([*sides, 1, 1][:LATENTS])


def _outer(sides: tuple[int, ...]) -> tuple[FloatArray, FloatArray, tuple[int, int]]:
    """Nodes (3, A), log weights (A,), how many nodes come before the last two latents repeat, and how many there are; A
    in sixteens, the last nodes once more, without weight, where there are fewer."""
    (points, log_weights), pairs = hermite_grid(sides), sides[1] * sides[2]
    again = log_weights.size - pairs + np.arange(-log_weights.size % AT_ONCE) % pairs
    log_weights = np.append(log_weights, np.full(again.size, -np.inf))
    return np.concatenate([points, points[:, again]], axis=1), log_weights, (pairs, points.shape[1])


def _padded(values: FloatArray, axis: int) -> FloatArray:
    """Zeros for the latents that are not there."""
    missing = [(0, LATENTS - values.shape[axis] if i == axis else 0) for i in range(values.ndim)]
    return np.pad(values, missing)

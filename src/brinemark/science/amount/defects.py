"""Films with low or high gain, as a component with an estimated share (docs/decisions/0033).

An electrode is sound with odds 1, or of a kind k with odds o_k; then its own ln G has mean m_k more and variance s_k^2
more. A batch's likelihood is the sum over all assignments of kinds to its electrodes,

    L_b(theta) = sum_a prod_u pi_(a_u) L_b(theta | a),    pi_0 = 1 / (1 + sum o_k), pi_k = o_k pi_0,

each L_b(theta | a) an integral with one mode, by the rule that serves sound batches. Assignments that matter are few:
an electrode whose odds of being of another kind stay below SUSPECT keeps the kind it has in the likeliest assignment,
with the small chance of the others as a factor, ln sum_k pi_k r_uk; r_uk : ratio of the batch's likelihoods with u of
kind k and as it is, at one theta.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.lives import NODES, latent_model_of
from brinemark.science.amount.quadrature import Adapted, LatentModel, Nodes, log_marginal_by_group
from brinemark.science.amount.response import KINDS, ParameterLayout, UnitData
from brinemark.science.amount.scale import Scale, unit_data
from brinemark.terms.amounts import ElectrodeReadings, FilmDoubt
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

SUSPECT = 0.02  # odds from which on another kind of an electrode is tried
MOST_CHANGED = 3  # electrodes of one batch at once, from either origin
MOST_ASSIGNMENTS = 250  # of one batch that are tried
BESIDE = np.array([0.0, -0.25, 0.25])  # of ln_electrode_sd, at which assignments are weighed
KEPT = 1e-2  # weight of an assignment within its batch from which on it stays


@dataclass(frozen=True, slots=True, eq=False)
class Electrodes:
    """Electrodes of some batches, ready for the model: data, batch (U,) rising from 0, layout, names (U,)."""

    data: UnitData
    batch: IntArray
    layout: ParameterLayout
    names: tuple[str, ...]

    def units_of(self, batch: int) -> IntArray:
        return np.flatnonzero(self.batch == batch)

    @property
    def batches(self) -> int:
        return int(self.batch[-1]) + 1


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """The assignments that are summed over, each a group of the model.

    model : V groups; owner : (V,) batch of each, rising; kinds : (U,) per group concatenated, 0 sound, 1.. KINDS;
    units : electrode of each; suspected : as units, whether its kind is summed over; ratio : (1 + K, E) r_uk.
    """

    model: LatentModel
    owner: IntArray
    kinds: IntArray
    units: IntArray
    suspected: BoolArray
    ratio: FloatArray
    layout: ParameterLayout

    @property
    def starts(self) -> IntArray:
        """First assignment of each batch."""
        return np.flatnonzero(np.diff(self.owner, prepend=-1))

    def log_prior(self, parameters: FloatArray) -> FloatArray:
        """(D, V) log probability of each assignment under parameters (D, P)."""
        log_share = log_shares(parameters, self.layout)
        small = np.log(np.exp(log_share) @ self.ratio[:, self.units])
        return self.model.sum_units(np.where(self.suspected, log_share[:, self.kinds], small))

    def by_assignment(self, parameters: FloatArray, nodes: Nodes, adapted: Adapted | None = None) -> FloatArray:
        """(D, V) log of probability times marginal likelihood."""
        return log_marginal_by_group(self.model, parameters, nodes, adapted) + self.log_prior(parameters)

    def log_marginal(self, parameters: FloatArray, nodes: Nodes, adapted: Adapted | None = None) -> FloatArray:
        """(D,) log marginal likelihood of all readings; nan becomes -inf."""
        total = np.logaddexp.reduceat(self.by_assignment(parameters, nodes, adapted), self.starts, axis=1).sum(axis=1)
        return np.where(np.isnan(total), -np.inf, total)

    @property
    def assignments(self) -> list[IntArray]:
        """Kinds of the electrodes of each group."""
        return np.split(self.kinds, self.model.starts[1:])

    def weights(self, parameters: FloatArray) -> FloatArray:
        """(D, V) probability of each assignment within its batch."""
        joint = self.by_assignment(parameters, NODES)
        whole = np.logaddexp.reduceat(joint, self.starts, axis=1)
        return np.asarray(np.exp(joint - whole[:, self.owner]))

    def probabilities(self, parameters: FloatArray) -> FloatArray:
        """(K, E) probability of each electrode being of each kind, averaged over parameters (D, P)."""
        mine = self.weights(parameters).mean(axis=0)[self.model.group_of_unit]
        count = int(self.units.max()) + 1
        found, suspected = np.zeros((1 + len(KINDS), count)), np.zeros(count, dtype=bool)
        np.add.at(found, (self.kinds, self.units), mine)
        suspected[self.units[self.suspected]] = True
        small = np.exp(log_shares(parameters, self.layout)).mean(axis=0)[:, None] * self.ratio
        return np.where(suspected, found, small / small.sum(axis=0))[1:]


def electrodes_of(readings: ElectrodeReadings, scale: Scale) -> Electrodes:
    """Calibration electrodes in the order of the model."""
    data, batch, batches = unit_data(readings, scale)
    place = {name: number for number, name in enumerate(batches)}
    order = sorted(range(len(readings.electrode)), key=lambda one: place[readings.batch[one]])
    return Electrodes(data, batch, scale.layout, tuple(readings.electrode[one] for one in order))


def film_doubts(electrodes: Electrodes, mixture: Mixture, parameters: FloatArray) -> tuple[FilmDoubt, ...]:
    """Probability of every electrode being of each kind, over draws (D, P)."""
    low, high = mixture.probabilities(parameters)
    return tuple(FilmDoubt(*row) for row in zip(electrodes.names, low.tolist(), high.tolist(), strict=True))


def log_shares(parameters: FloatArray, layout: ParameterLayout) -> FloatArray:
    """(D, 1 + K) log share of sound electrodes and of each kind."""
    places = [layout.names.index(kind.parameter) for kind in KINDS]
    odds = np.column_stack([np.zeros(parameters.shape[0]), parameters[:, places]])
    return np.asarray(odds - np.logaddexp.reduce(odds, axis=1)[:, None])


def mixture_at(
    electrodes: Electrodes, theta: FloatArray, before: Mixture | None = None, odds_from: float = SUSPECT
) -> Mixture:
    """The assignments that matter at theta (P,), and those that a mixture of before has.

    Two origins: all films sound, and what is reached from there by making, in each batch, the change of one electrode
    that raises its probability most, until none does. Around either, electrodes whose odds of another kind are above
    odds_from are changed, up to MOST_CHANGED together; of these assignments those with a weight above KEPT stay.
    """
    sound = np.zeros(electrodes.batch.size, dtype=np.int64)
    base, around = sound.copy(), _changes(electrodes, theta, sound)
    origins = [(sound, around)]
    for _ in range(MOST_CHANGED):
        here = np.arange(around.odds.shape[0])[:, None] == base
        better = _best_of_batches(np.where(here, 0.0, around.odds), electrodes)
        if not better:
            break
        base = base.copy()
        for unit, kind in better:
            base[unit] = kind
        around = _changes(electrodes, theta, base)
    if base.any():
        origins.append((base, around))
    chosen = [_around(electrodes.units_of(batch), origins, odds_from) for batch in range(electrodes.batches)]
    found = _mixture(electrodes, chosen, around.ratio)
    weight = found.weights(_beside(theta, electrodes.layout)).max(axis=0)
    return _mixture(electrodes, _kept(found, weight, before), around.ratio)


def _beside(theta: FloatArray, layout: ParameterLayout) -> FloatArray:
    """(3, P) theta, and with the electrodes' own scatter smaller and larger: what the weights depend on most."""
    found = np.repeat(theta[None], 3, axis=0)
    found[:, layout.names.index("ln_electrode_sd")] += BESIDE
    return found


def _kept(found: Mixture, weight: FloatArray, before: Mixture | None) -> list[list[IntArray]]:
    """Assignments of each batch that weigh enough, and those of before."""
    kept: list[dict[bytes, IntArray]] = [{} for _ in range(int(found.owner[-1]) + 1)]
    if before is not None:
        for owner, kinds in zip(before.owner, before.assignments, strict=True):
            kept[owner][kinds.tobytes()] = kinds
    for owner, kinds, one in zip(found.owner, found.assignments, weight, strict=True):
        if one > KEPT:
            kept[owner][kinds.tobytes()] = kinds
    return [list(batch.values()) for batch in kept]


def _best_of_batches(odds: FloatArray, electrodes: Electrodes) -> list[tuple[int, int]]:
    """(unit, kind) of the likeliest change in each batch, where it raises the probability."""
    found = []
    for batch in range(electrodes.batches):
        units = electrodes.units_of(batch)
        kind, place = np.unravel_index(int(np.argmax(odds[:, units])), (odds.shape[0], units.size))
        if odds[kind, units[place]] > 1.0:
            found.append((int(units[place]), int(kind)))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Changes:
    """(1 + K, U) likelihood of each electrode being of each kind over that of an origin, the others as there.

    odds : the same times the shares.
    """

    ratio: FloatArray
    odds: FloatArray


def _changes(electrodes: Electrodes, theta: FloatArray, base: IntArray) -> _Changes:
    groups, place = [], []
    for batch in range(electrodes.batches):
        units = electrodes.units_of(batch)
        groups.append((units, base[units]))
        place.append((-1, 0))
        for unit, kind in itertools.product(range(units.size), range(1 + len(KINDS))):
            if kind != base[units[unit]]:
                changed = base[units].copy()
                changed[unit] = kind
                groups.append((units, changed))
                place.append((int(units[unit]), kind))
    values = log_marginal_by_group(_group_model(electrodes, groups), theta[None], NODES)[0]
    log_share = log_shares(theta[None], electrodes.layout)[0]
    ratio, now = np.ones((log_share.size, base.size)), 0.0
    for (unit, kind), value in zip(place, values, strict=True):
        if unit < 0:
            now = float(value)
        else:
            ratio[kind, unit] = np.exp(min(float(value) - now, 50.0))
    return _Changes(ratio, ratio * np.exp(log_share[:, None] - log_share[base]))


def _around(units: IntArray, origins: Sequence[tuple[IntArray, _Changes]], odds_from: float) -> list[IntArray]:
    """Kinds (n,) of a batch's electrodes: each origin, and changes of it in the order of the product of their odds."""
    found: dict[bytes, tuple[float, IntArray]] = {}
    for whole, changes in origins:
        base, odds = whole[units], changes.odds[:, units]
        found.setdefault(base.tobytes(), (np.inf, base))
        large = [np.flatnonzero(odds[:, unit] > odds_from) for unit in range(base.size)]
        choices = [[int(k) for k in kinds if k != base[unit]] for unit, kinds in enumerate(large)]
        open_units = [unit for unit, kinds in enumerate(choices) if kinds]
        for many in range(1, MOST_CHANGED + 1):
            for some in itertools.combinations(open_units, many):
                for kinds in itertools.product(*(choices[unit] for unit in some)):
                    one = base.copy()
                    one[list(some)] = kinds
                    log_odds = sum(float(np.log(odds[k, u])) for u, k in zip(some, kinds, strict=True))
                    found.setdefault(one.tobytes(), (log_odds, one))
    ranked = sorted(found.values(), key=lambda pair: -pair[0])
    return [one for _, one in ranked[:MOST_ASSIGNMENTS]]


def _mixture(electrodes: Electrodes, chosen: Sequence[Sequence[IntArray]], ratio: FloatArray) -> Mixture:
    """chosen : assignments of each batch."""
    groups = [(electrodes.units_of(batch), kinds) for batch, many in enumerate(chosen) for kinds in many]
    owner = np.repeat(np.arange(len(chosen)), [len(many) for many in chosen])
    units, kinds = (np.concatenate([pair[i] for pair in groups]) for i in (0, 1))
    seen = np.zeros((1 + len(KINDS), electrodes.batch.size), dtype=bool)
    seen[kinds, units] = True
    suspected = np.isin(units, np.flatnonzero(seen.sum(axis=0) > 1))
    return Mixture(_group_model(electrodes, groups), owner, kinds, units, suspected, ratio, electrodes.layout)


def _group_model(electrodes: Electrodes, groups: Sequence[tuple[IntArray, IntArray]]) -> LatentModel:
    """A model in which every assignment is a batch of its own."""
    units, kinds = (np.concatenate([pair[i] for pair in groups]) for i in (0, 1))
    mean, sd = np.array([[0.0, *(k.mean for k in KINDS)], [0.0, *(k.sd for k in KINDS)]])
    data = replace(electrodes.data.of_units(units), offset=mean[kinds], extra_var=sd[kinds] ** 2)
    group = np.repeat(np.arange(len(groups)), [pair[0].size for pair in groups])
    return latent_model_of(data, group, electrodes.layout)

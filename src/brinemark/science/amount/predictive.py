"""Draws of the population and of the batches that read a sample.

Every electrode that reads a sample is described by M equally weighted draws of (population, batch). The batch's three
latents come from that batch's calibration electrodes and each stored draw of the population; a batch without
calibration electrodes takes them from history, N(0, 1), and is wider. Electrodes added to a batch since the
calibration reweight the population draws by the ratio of that batch's marginal likelihoods. What the law of an
electrode's readings is, given such draws, stands in law.py.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np

from brinemark.science.amount.defects import Mixture, electrodes_of, mixture_at
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.quadrature import adapt_from_middle, log_group_integrand, log_marginal
from brinemark.science.amount.scale import Scale, latent_model, scale_of_calibration
from brinemark.science.amount.weights import normalised, systematic_resample
from brinemark.terms.amounts import Calibration, ElectrodeReadings
from brinemark.terms.arrays import BoolArray, FloatArray

CANDIDATES, FEWEST_EACH = 16, 4  # for each draw, and for each assignment of kinds to the films
LATENTS = 3
KEPT = 8  # sets of draws that are held at once
USES, COMMON = 4, 64  # ways of using electrodes whose tables a set of draws holds, and what it holds beside them


@dataclass(frozen=True, slots=True, eq=False)
class BatchDraws:
    """Joint draws: theta (M, P); per batch name, its three latents (3, M) in population sd; the shift of ln K (M,)
    that the sample's water brings, one for all electrodes; standard normals (3, M) for shifts between dips that the
    calibration has not seen; seed : of what is drawn for each electrode; known : by how an electrode is used, what its
    laws have worked out; common : what all of them have."""

    theta: FloatArray
    latents: dict[str, FloatArray]
    matrix: FloatArray
    unseen: FloatArray
    seed: int = 0
    known: Memo = field(default_factory=lambda: Memo(USES))
    common: Memo = field(default_factory=lambda: Memo(COMMON))

    def scale(self, calibration: Calibration) -> Scale:
        """The scale of the calibration that the draws come from."""
        return self.common.of("scale", lambda: scale_of_calibration(calibration))


@dataclass(frozen=True, slots=True, eq=False)
class BatchPart:
    """What one batch's electrodes say under the stored draws: latents (3, M), and ln of how much more likely (M,) each
    draw is by its present electrodes than by those of the calibration."""

    latents: FloatArray
    log_ratio: FloatArray


class DrawMemory:
    """Batch draws that were made before, so that samples read on the same batches share them.

    lookup : what another process kept of a part under its key (for one calibration), or None; fresh : parts made here,
    by key. The last KEPT sets of draws are held, so that memory does not grow with the number of samples.
    """

    def __init__(self, lookup: Callable[[str], BatchPart | None] | None = None) -> None:
        self._asked = Memo(KEPT)
        self._kept = Memo(KEPT)
        self._lookup = lookup or (lambda key: None)
        self.fresh: dict[str, BatchPart] = {}

    def draws(
        self, calibration: Calibration, readings: ElectrodeReadings, batches: Sequence[str], seed: int
    ) -> BatchDraws:
        """As batch_draws. The calibration has to be the same in all calls, but for what it says of itself."""
        wanted = tuple(dict.fromkeys(batches))
        return self._asked.of((readings, wanted, seed), lambda: self._draws(calibration, readings, wanted, seed))

    def _draws(
        self, calibration: Calibration, readings: ElectrodeReadings, batches: Sequence[str], seed: int
    ) -> BatchDraws:
        """The same, told apart by what the readings hold."""
        present = {batch: of_batch(readings, batch) for batch in batches}
        keys = {batch: _part_key(own, batch, seed) for batch, own in present.items()}

        def make() -> BatchDraws:
            parts = {name: self._part(keys[name], calibration, own, name, seed) for name, own in present.items()}
            return _together(calibration, parts, seed)

        return self._kept.of(tuple(keys.values()), make)

    def for_other_water(self) -> DrawMemory:
        """A memory of the same parts for a calibration that differs in what it knows of waters, which they do not."""
        other = DrawMemory(self._lookup)
        other.fresh = self.fresh
        return other

    def _part(self, key: str, calibration: Calibration, own: ElectrodeReadings, batch: str, seed: int) -> BatchPart:
        known = self.fresh.get(key) or self._lookup(key)
        if known is None:
            known = self.fresh[key] = batch_part(calibration, own, batch, seed)
        return known


def _part_key(own: ElectrodeReadings, batch: str, seed: int) -> str:
    """Name of a part of one calibration: batch, seed and all that is known of its present electrodes."""
    digest = hashlib.sha256(f"{seed} {batch}".encode())
    for one in fields(own):
        value = getattr(own, one.name)
        digest.update(value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode())
    return digest.hexdigest()


def batch_draws(calibration: Calibration, readings: ElectrodeReadings, batches: Sequence[str], seed: int) -> BatchDraws:
    """Draws of population and batch latents given the stored draws and the batches' present electrodes.

    readings : the present calibration electrodes (others than those of the batches asked for are ignored).
    """
    return DrawMemory().draws(calibration, readings, batches, seed)


def batch_part(calibration: Calibration, own: ElectrodeReadings, batch: str, seed: int) -> BatchPart:
    """One batch by its present electrodes, the same whatever other batches read the sample."""
    then, ratio = of_batch(calibration.readings, batch), np.zeros(calibration.draws.shape[0])
    if not same_electrodes(own, then):
        ratio = _log_evidence(calibration, own) - _log_evidence(calibration, then)
    return BatchPart(batch_latents(calibration, own, batch, seed), ratio)


def batch_latents(calibration: Calibration, own: ElectrodeReadings, batch: str, seed: int) -> FloatArray:
    """Latents (3, M) of a batch given some electrodes of its own, one draw for each stored draw of the population,
    which stays as it is."""
    rng = np.random.default_rng(np.random.SeedSequence([seed, 1, zlib.crc32(batch.encode())]))
    return _latents(calibration, own, rng)


def _together(calibration: Calibration, parts: Mapping[str, BatchPart], seed: int) -> BatchDraws:
    rng = np.random.default_rng(np.random.SeedSequence([seed, 1]))
    theta = calibration.draws
    latents = {batch: part.latents for batch, part in parts.items()}
    log_ratio = np.sum([part.log_ratio for part in parts.values()], axis=0)
    if log_ratio.any():
        picked = systematic_resample(normalised(log_ratio), theta.shape[0], rng)
        theta, latents = theta[picked], {name: values[:, picked] for name, values in latents.items()}
    normal = rng.normal(size=(4, theta.shape[0]))
    return BatchDraws(theta, latents, _water_sd(calibration, rng) * normal[0], normal[1:], seed)


def _water_sd(calibration: Calibration, rng: np.random.Generator) -> FloatArray | float:
    """Scatter of ln K between waters: the default that is held, or draws (M,) of what recoveries say."""
    if calibration.water is None:
        return calibration.matrix_K_sd
    return np.asarray(rng.choice(np.array(calibration.water.quantiles), size=calibration.draws.shape[0]))


def of_batch(readings: ElectrodeReadings, batch: str) -> ElectrodeReadings:
    """The electrodes of one batch only."""
    keep = np.array([name == batch for name in readings.batch], dtype=bool)
    return subset(readings, keep)


def subset(readings: ElectrodeReadings, keep: BoolArray) -> ElectrodeReadings:
    """The electrodes marked in keep (E,), with their readings."""
    new_index = np.cumsum(keep) - 1
    rows = keep[readings.unit] if readings.unit.size else np.zeros(0, dtype=bool)

    def pick(names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name, kept in zip(names, keep, strict=True) if kept)

    return ElectrodeReadings(
        pick(readings.electrode),
        pick(readings.batch),
        pick(readings.instrument),
        readings.covariate[keep],
        new_index[readings.unit[rows]],
        readings.signal[rows],
        readings.u[rows],
        readings.level[rows],
        readings.dip[rows],
        readings.level_u[rows],
        readings.stocks,
        readings.stock_part[:, rows],
        readings.stock_rel_u,
        readings.salinity[rows],
        readings.kept[rows],
        readings.further,
        readings.further_covariate[:, keep] if readings.further else readings.further_covariate,
    )


def same_electrodes(one: ElectrodeReadings, other: ElectrodeReadings) -> bool:
    """Whether two sets hold the same electrodes with the same levels and signals (to six digits)."""

    def key(readings: ElectrodeReadings) -> list[tuple[str, float, str]]:
        rows = zip(readings.unit, readings.level, readings.signal, strict=True)
        return sorted((readings.electrode[u], float(c), f"{y:.5e}") for u, c, y in rows)

    return key(one) == key(other)


def _latents(calibration: Calibration, readings: ElectrodeReadings, rng: np.random.Generator) -> FloatArray:
    """One draw of the batch latents (3, M) per stored draw: the best of CANDIDATES by importance resampling, over
    all assignments of kinds to the batch's films where these may be defective."""
    count = calibration.draws.shape[0]
    if not readings.electrode:
        return rng.normal(size=(LATENTS, count))
    mixture = _mixture(calibration, readings)
    model = latent_model(readings, scale_of_calibration(calibration)) if mixture is None else mixture.model
    adapted = adapt_from_middle(model, calibration.draws)
    candidates = max(FEWEST_EACH, CANDIDATES // model.n_groups)
    normal = rng.normal(size=(LATENTS, candidates, count, model.n_groups))
    widen = 1.2
    z = adapted.z[:, None] + widen * np.einsum("ijdv,jadv->iadv", adapted.z_root, normal)
    weights = log_group_integrand(model, calibration.draws, adapted, z) + 0.5 * (normal**2).sum(axis=0)
    if mixture is not None:
        log_det = sum(np.log(adapted.z_root[i, i]) for i in range(LATENTS))
        weights = weights + log_det + mixture.log_prior(calibration.draws)
    scored = np.where(np.isfinite(weights), weights, -np.inf) + rng.gumbel(size=weights.shape)
    best = np.argmax(np.moveaxis(scored, 1, 0).reshape(count, -1), axis=1)
    return np.asarray(np.moveaxis(z, 2, 1).reshape(LATENTS, count, -1)[:, np.arange(count), best])


def _mixture(calibration: Calibration, readings: ElectrodeReadings) -> Mixture | None:
    """Kinds of a batch's films, where the calibration allows for defective ones."""
    scale = scale_of_calibration(calibration)
    if not scale.layout.defects:
        return None
    return mixture_at(electrodes_of(readings, scale), np.median(calibration.draws, axis=0))


def _log_evidence(calibration: Calibration, readings: ElectrodeReadings) -> FloatArray:
    """Log marginal likelihood (M,) of one batch's electrodes at every stored draw; 0 without electrodes."""
    if not readings.electrode:
        return np.zeros(calibration.draws.shape[0])
    mixture = _mixture(calibration, readings)
    if mixture is not None:
        return mixture.log_marginal(calibration.draws, NODES)
    return log_marginal(latent_model(readings, scale_of_calibration(calibration)), calibration.draws, NODES)

"""New batches that a logbook's history expects: draws of population and batch, and what burned electrodes tell of them.

A new batch is a stored draw of the population with a batch drawn from that population. Some of the draws are taken as
true in turn; electrodes burned in a true batch are simulated from the exact law (DipLaw.simulate), and every other draw
is weighted by the density of their readings: importance sampling from history's own expectation, with the draw that is
true left out, so that nothing is judged by itself. The density of an electrode's stretched readings under one draw is
normal (joint_likelihood.py), for each kind of film it may have.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from brinemark.science.amount.electrodes import electrode_laws, film_kinds
from brinemark.science.amount.joint_likelihood import Stretch, stretched_parts
from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.predictive import BatchDraws
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.science.amount.simulate import MAIN, Protocol
from brinemark.science.planning.plans import Burned
from brinemark.terms.amounts import FIRST_COVARIATE, Calibration, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray, IntArray

NEW = "new batch"
LATENTS = 3
LIKELY = 1e-12  # of the weights; less is nothing


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """An electrode as if its film were of one kind: log share (M,) and the laws of its readings."""

    log_share: FloatArray
    laws: tuple[DipLaw, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FreshElectrode:
    """Laws of a fresh electrode's readings: as simulated (kinds of film drawn with the batch), and kind by kind; how it
    is read, and the dilution that it sees."""

    laws: tuple[DipLaw, ...]
    kinds: tuple[Kind, ...]
    protocol: Protocol
    dilution: float

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        return tuple(map(Stretch.of, self.laws))


@dataclass(frozen=True, slots=True, eq=False)
class NewBatches:
    """draws : of batches as standards see them; in_water : the same in samples' waters; u : of a trace [signal unit];
    seed : of all simulated electrodes; instrument : on which all are read; known : what was worked out before."""

    calibration: Calibration
    draws: BatchDraws
    in_water: BatchDraws
    u: float
    seed: int
    instrument: str = ""
    known: Memo = field(default_factory=lambda: Memo(1024))

    @classmethod
    def of(cls, calibration: Calibration, seed: int, instrument: str | None = None) -> NewBatches:
        """New batches by a calibration: every stored draw of the population with one batch of it, in random order.

        instrument : on which they are read, None = that of most calibration electrodes.
        """
        rng = np.random.default_rng(np.random.SeedSequence([seed, 11]))
        theta = calibration.draws[rng.permutation(calibration.draws.shape[0])]
        count = theta.shape[0]
        latents = {NEW: rng.normal(size=(LATENTS, count))}
        unseen, water = rng.normal(size=(3, count)), rng.normal(size=count)
        water_sd = np.full(count, calibration.matrix_K_sd)
        if calibration.water is not None:
            water_sd = rng.choice(np.array(calibration.water.quantiles), size=count)
        plain = BatchDraws(theta, latents, np.zeros(count), unseen, seed)
        u = float(np.median(calibration.readings.u))
        used = calibration.readings.instrument
        where = instrument or max(calibration.instruments, key=used.count)
        return cls(calibration, plain, BatchDraws(theta, latents, water_sd * water, unseen, seed), u, seed, where)

    @property
    def count(self) -> int:
        """How many draws there are."""
        return int(self.draws.theta.shape[0])

    def standard(self, protocol: Protocol) -> FreshElectrode:
        """An electrode that reads a standard."""
        return self._fresh(self.draws, protocol, 1.0, 0)

    def sample(self, protocol: Protocol, dilution: float, place: int) -> FreshElectrode:
        """An electrode that reads a sample; place : among those of its sample."""
        return self._fresh(self.in_water, protocol, dilution, place)

    def _fresh(self, draws: BatchDraws, protocol: Protocol, dilution: float, place: int) -> FreshElectrode:
        key = "fresh", draws is self.draws, protocol, dilution, place
        return self.known.of(key, lambda: self._made(draws, protocol, dilution, place))

    def _made(self, draws: BatchDraws, protocol: Protocol, dilution: float, place: int) -> FreshElectrode:
        scale = scale_of_calibration(self.calibration)
        portion = self.portion(protocol, dilution, f"{dilution:g}-{place}")
        laws, _ = electrode_laws(draws, scale, portion)
        films = film_kinds(draws, scale, portion)
        kinds = tuple(Kind(film.log_share, film.laws) for film in films)
        return FreshElectrode(laws, kinds or (Kind(np.zeros(self.count), laws),), protocol, dilution)

    def portion(self, protocol: Protocol, dilution: float, electrode: str) -> SamplePortion:
        """A fresh electrode with the calibration electrodes' median covariates and trace noise, before it is read."""
        calibration, added = self.calibration, protocol.risen[MAIN:]
        pairs = zip(calibration.covariates.names, calibration.covariates.reference.tolist(), strict=True)
        others = [OtherDip(-1, 0.0, self.u, 0.0, 0.0)] if protocol.prescan else []
        later = range(1, len(protocol.additions) + 1)
        others += [OtherDip(dip, 0.0, self.u, 1.0 / dilution, float(added[dip])) for dip in later]
        return SamplePortion(
            electrode,
            NEW,
            self.instrument,
            calibration.covariate_ref,
            0.0,
            self.u,
            dilution,
            others=tuple(others),
            further=tuple((name, value) for name, value in pairs if name != FIRST_COVARIATE),
        )

    def lived(self, electrode: FreshElectrode, level: float, true: IntArray, key: str) -> FloatArray:
        """Signals (S, J) of one electrode of each true batch at a level: what nature does."""
        return self.signals(electrode, level, true, key)

    def signals(self, electrode: FreshElectrode, level: float, true: IntArray, key: str) -> FloatArray:
        """Signals (S, J) of one electrode under each of some draws; the same key, the same random numbers."""
        rng = self.random(key)
        own, normal = rng.normal(size=(3, true.size)), rng.normal(size=(len(electrode.laws), 3, true.size))
        dips = [law.simulate(level, true, own, one) for law, one in zip(electrode.laws, normal, strict=True)]
        return np.stack(dips, axis=1)

    def random(self, key: str) -> np.random.Generator:
        """Random numbers of a key."""
        return np.random.default_rng(np.random.SeedSequence([self.seed, 13, zlib.crc32(key.encode())]))

    def weights(self, burned: Sequence[Burned], true: IntArray) -> FloatArray:
        """Weights (S, M) of the draws in each true batch, by what its burned electrodes say; each row sums to 1."""
        log = np.zeros((true.size, self.count))
        for one, electrode in zip(burned, burned_keys(burned), strict=True):
            key = "told", one, electrode, true.size
            log = log + self.known.of(key, lambda one=one, key=electrode: self._told(one, true, key))  # type: ignore[misc]
        log[np.arange(true.size), true] = -np.inf
        weights = np.exp(log - log.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        return np.where(weights < LIKELY, 0.0, weights)

    def _told(self, burned: Burned, true: IntArray, key: str) -> FloatArray:
        """Log density (S, M) of a burned electrode of each true batch under every draw."""
        electrode = self.standard(burned.protocol)
        stretches = electrode.stretches
        signals = self.lived(electrode, burned.level, true, key)
        seen = np.stack([s.at(y) for s, y in zip(stretches, signals.T, strict=True)], axis=1)
        each = []
        for kind in electrode.kinds:
            parts = stretched_parts(kind.laws, stretches, np.array([burned.level]))
            middle, arm, own = (part[..., 0, :, :] for part in parts)
            covariance = np.einsum("ldj,ldk->djk", arm, arm)
            diagonal = np.arange(middle.shape[-1])
            covariance[:, diagonal, diagonal] += own
            each.append(kind.log_share + products(seen) @ quadratic(middle, covariance).T)
        return each[0] if len(each) == 1 else np.asarray(np.logaddexp.reduce(each, axis=0))


def burned_keys(burned: Sequence[Burned]) -> list[str]:
    """Of the random numbers of burned electrodes, by level, so that one electrode read in two ways is the same."""
    met: dict[float, int] = {}
    keys = []
    for one in burned:
        met[one.level] = met.get(one.level, 0) + 1
        keys.append(f"burned {one.level:g} {met[one.level]}")
    return keys


def quadratic(mean: FloatArray, covariance: FloatArray) -> FloatArray:
    """Coefficients (..., F) of products() that give the log normal density, but for a constant, with mean (..., J) and
    covariance (..., J, J)."""
    precision = np.linalg.inv(covariance)
    pull = np.einsum("...jk,...k->...j", precision, mean)
    _, log_det = np.linalg.slogdet(covariance)
    constant = -0.5 * (log_det + (pull * mean).sum(axis=-1))
    i, j = np.triu_indices(mean.shape[-1])
    pairs = -np.where(i == j, 0.5, 1.0) * precision[..., i, j]
    return np.concatenate([pairs, pull, constant[..., None]], axis=-1)


def products(values: FloatArray) -> FloatArray:
    """Products of two of the last axis (J), themselves, and 1: (..., F)."""
    i, j = np.triu_indices(values.shape[-1])
    ones = np.ones((*values.shape[:-1], 1))
    return np.concatenate([values[..., i] * values[..., j], values, ones], axis=-1)

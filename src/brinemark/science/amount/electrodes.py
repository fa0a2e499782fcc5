"""The laws of an electrode that read a sample, from its portion and the draws of its batch.

What electrodes of one batch have in common is worked out once and kept beside the draws.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.covariates import filled, raw_of_portion
from brinemark.science.amount.defects import log_shares
from brinemark.science.amount.law import KNOWN, DipLaw, ElectrodeLaw, FilmKind
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.predictive import BatchDraws
from brinemark.science.amount.response import DEFAULT_SHIFT_SD, KINDS, Population, population
from brinemark.science.amount.salinity import relative_salinity
from brinemark.science.amount.scale import Scale, is_closing_spike
from brinemark.terms.amounts import OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray, IntArray


def film_kinds(draws: BatchDraws, scale: Scale, portion: SamplePortion) -> tuple[FilmKind, ...]:
    """A sample electrode of every kind, sound first; none where the calibration knows sound films only."""
    if not scale.layout.defects:
        return ()
    names = ("sound", *(kind.name for kind in KINDS))
    shares = log_shares(draws.theta, scale.layout).T
    count = draws.theta.shape[0]
    kinds = (electrode_laws(draws, scale, portion, np.full(count, k))[0] for k in range(len(names)))
    return tuple(FilmKind(*one) for one in zip(names, shares, kinds, strict=True))


def electrode_laws(
    draws: BatchDraws, scale: Scale, portion: SamplePortion, kinds: IntArray | None = None
) -> tuple[tuple[DipLaw, ...], tuple[float, ...]]:
    """Laws of a sample electrode's readings, main one first, and their relative signals.

    kinds : (M,) of its film under each draw, 0 sound; None draws them where the calibration allows for defects.
    """
    electrode = _electrode(draws, scale, portion)
    if scale.layout.defects:
        electrode = _of_kinds(electrode, _drawn_kinds(draws, scale, portion.electrode) if kinds is None else kinds)
    share = 1.0 / portion.dilution if portion.share is None else portion.share
    held = portion.added, portion.added_u, portion.stock_parts, portion.salinity
    main = OtherDip(0, portion.signal, portion.u, share, *held)
    dips = (main, *portion.others)
    spikes = closing_spike(portion.others, scale.spike_level)
    laws = tuple(_dip(portion.batch, electrode, draws, scale, dip, dip is spikes) for dip in dips)
    return laws, tuple(dip.signal / scale.signal_ref for dip in dips)


def _population(draws: BatchDraws, scale: Scale) -> Population:
    """Parameters on their natural scale, (M, 1) each."""
    return draws.common.of("population", lambda: population(draws.theta.T[:, :, None], scale.layout))


def closing_spike(others: Sequence[OtherDip], spike_level: float) -> OtherDip | None:
    """The last dip, when what was added by then saturates the electrode."""
    last = max(others, key=lambda dip: dip.dip, default=None)
    return last if last is not None and is_closing_spike(last.dip, last.dip, last.added, spike_level) else None


def _electrode(draws: BatchDraws, scale: Scale, portion: SamplePortion) -> ElectrodeLaw:
    """The law of an electrode: its batch's, moved and widened by what its covariates say."""
    key = "electrode", portion.batch, portion.instrument
    plain = draws.common.of(key, lambda: _batch_electrode(draws, scale, portion.batch, portion.instrument))
    if not scale.covariates.names:
        return plain
    x, cov = filled(scale.covariates, raw_of_portion(portion))
    slope = _population(draws, scale).slope[:, :, 0]
    moved = replace(plain, log_gain=plain.log_gain + x[:, 0] @ slope)
    if not cov.any():
        return moved
    more = draws.common.of(("missing", cov.tobytes()), lambda: np.einsum("id,ij,jd->d", slope, cov[:, :, 0], slope))
    return replace(moved, spread=np.sqrt(plain.spread**2 + more))


def _batch_electrode(draws: BatchDraws, scale: Scale, batch: str, instrument: str) -> ElectrodeLaw:
    """An electrode of a batch on an instrument whose covariates are at their references."""
    pop, z, place = _population(draws, scale), draws.latents[batch], scale.instruments.index(instrument)
    return ElectrodeLaw(
        log_gain=pop.gain[:, 0] + pop.offset[place, :, 0] + pop.batch_sd[:, 0] * z[0],
        ln_K=pop.ln_K[:, 0] + pop.ln_K_sd[:, 0] * z[1] + draws.matrix,
        h=pop.h[:, 0],
        floor=np.exp(pop.ln_floor[:, 0] + pop.floor_batch_sd[:, 0] * z[2]),
        spread=np.array(pop.electrode_sd[:, 0]),
        floor_sd=pop.floor_sd[:, 0],
        own_K_sd=pop.own_K_sd[:, 0],
        cv=pop.cv[:, 0],
        noise=pop.noise[place, :, 0] ** 2,
        drift_sd=pop.drift_sd[:, 0],
    )


def _of_kinds(electrode: ElectrodeLaw, kinds: IntArray) -> ElectrodeLaw:
    mean, sd = np.array([[0.0, *(k.mean for k in KINDS)], [0.0, *(k.sd for k in KINDS)]])
    spread = np.sqrt(electrode.spread**2 + sd[kinds] ** 2)
    return replace(electrode, log_gain=electrode.log_gain + mean[kinds], spread=spread)


def _drawn_kinds(draws: BatchDraws, scale: Scale, electrode: str) -> IntArray:
    """A kind for every draw. As many of each as their shares say, to within one or two (systematic sampling over the
    draws in random order), since few draws of a small share would make its tail uncertain."""
    share = np.exp(log_shares(draws.theta, scale.layout))
    rng = np.random.default_rng([draws.seed, 3, zlib.crc32(electrode.encode())])
    count = share.shape[0]
    rest, left, kinds = rng.permutation(count), np.ones(count), np.zeros(count, dtype=np.int64)
    for kind in range(1, share.shape[1]):
        start = rng.uniform()
        steps = np.floor(start + np.cumsum((share[:, kind] / left)[rest]))
        taken = np.diff(steps, prepend=np.floor(start)) > 0
        kinds[rest[taken]] = kind
        rest, left = rest[~taken], left - share[:, kind]
    return kinds


@dataclass(frozen=True, slots=True, eq=False)
class _Use:
    """What electrodes of a batch that are used alike have in common: added, K_factor, floor_factor and known as in
    DipLaw."""

    added: FloatArray
    K_factor: FloatArray | float
    floor_factor: FloatArray | float
    known: Memo

    @classmethod
    def of(cls, draws: BatchDraws, scale: Scale, dip: OtherDip) -> _Use:
        pop = _population(draws, scale)
        factor = dict(zip(scale.layout.stocks, pop.stock[:, :, 0], strict=True))
        added = np.full(draws.theta.shape[0], dip.added)
        for stock, part in dip.stock_parts:
            added = added + part * (factor.get(stock, 1.0) - 1.0)
        return cls(added, *_salt(pop, scale, dip.salinity), Memo(KNOWN))


def _dip(batch: str, electrode: ElectrodeLaw, draws: BatchDraws, scale: Scale, dip: OtherDip, spike: bool) -> DipLaw:
    """The law of one dip."""
    key = batch, dip.share, dip.added, dip.added_u, dip.stock_parts, dip.salinity
    use = draws.known.of(key, lambda: _Use.of(draws, scale, dip))
    shift = draws.common.of(("shift", dip.dip, spike), lambda: _shift(draws, scale, dip.dip, spike))
    u, factors = dip.u / scale.signal_ref, (use.K_factor, use.floor_factor)
    return DipLaw(electrode, u, dip.share, use.added, dip.added_u, shift, dip.dip != 0, *factors, use.known)


def _shift(draws: BatchDraws, scale: Scale, dip: int, spike: bool) -> FloatArray:
    """Shift (M,) of a dip; one that the calibration knows nothing of is drawn from its default."""
    layout, unseen = scale.layout, draws.unseen
    shift = _population(draws, scale).shift(np.array([dip]), np.array([spike]))[:, 0]
    if dip < 0 and not layout.prescan:
        shift = DEFAULT_SHIFT_SD["prescan_shift"] * unseen[0]
    elif spike and not layout.spike:
        shift = DEFAULT_SHIFT_SD["spike_shift"] * unseen[1]
    elif dip > 0 and not spike and not layout.later:
        shift = DEFAULT_SHIFT_SD["dip_drift"] * dip * unseen[2]
    return np.asarray(shift)


def _salt(pop: Population, scale: Scale, salinity: float | None) -> tuple[FloatArray | float, FloatArray | float]:
    """What a salinity makes of K and of the floor; 1 at the reference, where it is not known or has no part."""
    if salinity is None or not scale.layout.salinity:
        return 1.0, 1.0
    apart = relative_salinity(np.array([salinity]), scale.salinity_ref)
    return 1.0 + pop.salinity_K[:, 0] * apart, np.exp(pop.salinity_floor[:, 0] * apart)

"""What nobody can do better than: intervals of one who knows the population and hides from himself only some of it.

The oracle knows every number of the population and of the batch; an electrode's own gain (and whether its film is
defective), floor and K and the drift of each dip are integrated by quadrature, exactly but for its nodes. The batch
reader knows the population too, but learns the batch from its calibration electrodes, as the program must. Intervals
are equal-tailed, with a prior uniform in ln(1 + c / .2) up to 2,000 ug/L, and where the likelihood root stays within
1.96; of lone readings also the levels that leave each tail of the signal more than .025.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from brinemark.science.amount.simulate import (
    SINGLE,
    Protocol,
    TrueBatch,
    Truth,
    draw_batches,
    occupied_share,
    simulate_electrodes,
    simulate_history,
)
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray

OFFSET, HIGHEST = 0.2, 2000.0
T = np.linspace(0.0, np.log1p(HIGHEST / OFFSET), 161)
LEVELS = OFFSET * np.expm1(T)
TAIL, BLANK_RATE = 0.025, 0.05
ROOT = 1.96
NOTHING = 1e-3  # stands for a scatter of 0 where the model has only positive ones
GAIN_NODES, OWN_NODES, DRIFT_NODES, BATCH_NODES = 41, 9, 9, 17


class Interval(NamedTuple):
    """Ends of a two-sided 95 % interval; 0 and inf where open."""

    lower: float
    upper: float

    @property
    def fold(self) -> float:
        return self.upper / self.lower if self.lower > 0 else np.inf


class Both(NamedTuple):
    """The two intervals of one sample."""

    credible: Interval
    root: Interval


@dataclass(frozen=True, slots=True, eq=False)
class LoneTails:
    """What a lone reading's tails say: P(Y >= y | blank), the levels they hold, the level at which y is the median."""

    p_blank: float
    interval: Interval
    median: float


@dataclass(frozen=True, slots=True, eq=False)
class BatchPoints:
    """Points (Z,) of a batch's log gain and ln K with log weights."""

    log_gain: FloatArray
    ln_K: FloatArray
    floor_shift: float
    log_weight: FloatArray


class Dip(NamedTuple):
    """One reading: its cell holds share * c + added; log factor of the gain, its sd, factor of the plateau."""

    share: float
    added: float
    signal: float
    shift: float
    shift_sd: float
    top: float


def normal_nodes(sd: float, count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of N(0, sd^2): a trapezoid over +-4.5 sd, one node where sd is 0."""
    if sd == 0:
        return np.zeros(1), np.ones(1)
    nodes = np.linspace(-4.5, 4.5, count)
    weights = np.exp(-0.5 * nodes**2)
    return sd * nodes, weights / weights.sum()


def gain_nodes(truth: Truth) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of an electrode's own log gain, over sound and defective films."""
    nodes, weights = normal_nodes(truth.electrode_sd, GAIN_NODES)
    kinds = [
        (1.0 - truth.low_share - truth.high_share, 1.0),
        (truth.low_share, truth.low_gain),
        (truth.high_share, truth.high_gain),
    ]
    there = [(share, gain) for share, gain in kinds if share > 0]
    return (
        np.concatenate([nodes + np.log(gain) for _, gain in there]),
        np.concatenate([weights * share for share, _ in there]),
    )


def known(batch: TrueBatch) -> BatchPoints:
    """A batch whose numbers are known."""
    return BatchPoints(np.array([batch.log_gain]), np.array([batch.ln_K]), batch.floor_shift, np.zeros(1))


def learned(truth: Truth, batch: TrueBatch, readings: ElectrodeReadings, protocol: Protocol) -> BatchPoints:
    """A batch's gain and K from its calibration electrodes, of which those with several readings went through the
    protocol; its floor is taken as known."""
    gains, gain_weights = normal_nodes(truth.batch_sd, 2 * BATCH_NODES + 1)
    ln_Ks, K_weights = normal_nodes(truth.ln_K_sd, BATCH_NODES)
    grid = [part.ravel() for part in np.meshgrid(gains, truth.ln_K + ln_Ks, indexing="ij")]
    weight = np.log(np.outer(gain_weights, K_weights).ravel())
    points = BatchPoints(grid[0], grid[1], batch.floor_shift, weight)
    for unit, name in enumerate(readings.batch):
        if name == batch.name:
            rows = readings.unit == unit
            dips = [
                _dip(truth, protocol, int(dip), float(y), (0.0, float(level)))
                for dip, y, level in zip(readings.dip[rows], readings.signal[rows], readings.level[rows], strict=True)
            ]
            found = _electrode(truth, points, float(np.log(readings.covariate[unit])), dips, np.zeros(1))
            weight = weight + found[:, 0]
    kept = weight > weight.max() - 12.0
    return BatchPoints(grid[0][kept], grid[1][kept], batch.floor_shift, weight[kept])


def _dip(truth: Truth, protocol: Protocol, dip: int, signal: float, cell: tuple[float, float]) -> Dip:
    shift = truth.prescan_shift if dip < 0 else dip * truth.drift
    sd = 0.0 if dip == 0 else truth.prescan_sd if dip < 0 else truth.drift_sd
    spike = protocol.spiked and dip == len(protocol.additions)
    return Dip(*cell, signal, shift, sd, truth.plateau if spike else 1.0)


def dips_of(truth: Truth, protocol: Protocol, portion: SamplePortion) -> list[Dip]:
    """The readings of a sample's electrode; a lone main reading where the others were left out."""
    main = OtherDip(0, portion.signal, portion.u, 1.0 / portion.dilution, portion.added)
    return [_dip(truth, protocol, one.dip, one.signal, (one.share, one.added)) for one in (main, *portion.others)]


def _electrode(truth: Truth, points: BatchPoints, x: float, dips: Sequence[Dip], levels: FloatArray) -> FloatArray:
    """Log-likelihood (Z, C) of one electrode's readings, its own latents integrated."""
    (gain, floor, K), weight = _own_nodes(truth)
    log_weight = np.log(weight)
    own_floor = truth.floor * np.exp(points.floor_shift + floor)
    total = np.zeros((points.ln_K.size, levels.size, gain.size)) + log_weight
    for dip in dips:
        cell = (dip.share * levels + dip.added)[:, None]
        occupied = dip.top * occupied_share(truth, points.ln_K[:, None, None] + K, cell)
        log_gain = points.log_gain[:, None, None] + truth.slope * x + gain + dip.shift
        total += _log_density(truth, np.exp(log_gain) * (own_floor + occupied), dip)
    top = total.max(axis=-1)
    return np.asarray(np.log(np.exp(total - top[..., None]).sum(axis=-1)) + top)


def _own_nodes(truth: Truth) -> tuple[tuple[FloatArray, ...], FloatArray]:
    """Nodes of an electrode's own log gain, log floor and ln K, and their weights (N,)."""
    parts = [
        gain_nodes(truth),
        normal_nodes(truth.floor_sd, OWN_NODES),
        normal_nodes(truth.electrode_K_sd, OWN_NODES),
    ]
    nodes = tuple(part.ravel() for part in np.meshgrid(*(nodes for nodes, _ in parts), indexing="ij"))
    return nodes, np.einsum("i,j,k->ijk", *(weights for _, weights in parts)).ravel()


def lone_tails(truth: Truth, points: BatchPoints, portion: SamplePortion) -> LoneTails:
    """A lone undiluted main reading by P(Y <= y | c), exact but for the nodes; open ends are 0 and inf."""
    x = float(np.log(portion.covariate)) if portion.covariate else 0.0
    (gain, floor, K), own_weight = _own_nodes(truth)
    weight = np.exp(points.log_weight - points.log_weight.max())
    occupied = occupied_share(truth, points.ln_K[:, None, None] + K, LEVELS[:, None])
    log_gain = points.log_gain[:, None, None] + truth.slope * x + gain
    mean = np.exp(log_gain) * (truth.floor * np.exp(points.floor_shift + floor) + occupied)
    below = ndtr((portion.signal - mean) / np.sqrt(truth.noise**2 + (truth.cv * mean) ** 2)) @ own_weight
    tail = np.asarray(weight @ below / weight.sum())

    def level(target: float, beyond: float) -> float:
        """Where the tail, which falls with the level, reaches the target."""
        if tail[0] <= target:
            return 0.0
        return beyond if tail[-1] > target else float(OFFSET * np.expm1(np.interp(-target, -tail, T)))

    return LoneTails(1.0 - float(tail[0]), Interval(level(1.0 - TAIL, 0.0), level(TAIL, np.inf)), level(0.5, np.nan))


def best_level(log_l: FloatArray) -> float:
    """The likeliest of LEVELS."""
    return float(LEVELS[int(np.argmax(log_l))])


def _log_density(truth: Truth, mean: FloatArray, dip: Dip) -> FloatArray:
    """Log density of one signal, the drift of its dip integrated."""
    nodes, weights = normal_nodes(dip.shift_sd, DRIFT_NODES)
    density = np.zeros_like(mean)
    for node, weight in zip(nodes, weights, strict=True):
        moved = mean * np.exp(node)
        variance = truth.noise**2 + (truth.cv * moved) ** 2
        density += weight * np.exp(-0.5 * (dip.signal - moved) ** 2 / variance) / np.sqrt(variance)
    return np.asarray(np.log(np.maximum(density, 1e-300)))


def log_likelihood(
    truth: Truth, points: BatchPoints, portions: Sequence[SamplePortion], protocol: Protocol
) -> FloatArray:
    """ln L (C,) of a sample at LEVELS; all its electrodes come from one batch."""
    total = np.zeros((points.ln_K.size, LEVELS.size)) + points.log_weight[:, None]
    for portion in portions:
        x = float(np.log(portion.covariate)) if portion.covariate else 0.0
        total += _electrode(truth, points, x, dips_of(truth, protocol, portion), LEVELS)
    top = total.max(axis=0)
    return np.asarray(np.log(np.exp(total - top).sum(axis=0)) + top)


def intervals(log_l: FloatArray) -> Both:
    """The equal-tailed interval, and the one where the likelihood root stays within ROOT."""
    mass = np.exp(log_l - log_l.max())
    below = np.concatenate([[0.0], np.cumsum(0.5 * (mass[1:] + mass[:-1]))])
    ends = np.interp([TAIL, 1.0 - TAIL], below / below[-1], T)
    credible = Interval(*(float(OFFSET * np.expm1(t)) for t in ends))
    return Both(credible, _root_interval(log_l))


def _root_interval(log_l: FloatArray) -> Interval:
    away = np.sqrt(np.maximum(0.0, 2.0 * (log_l.max() - log_l)))
    best = int(np.argmax(log_l))
    lower = np.interp(-ROOT, -away[: best + 1], T[: best + 1]) if away[0] > ROOT else 0.0
    upper = np.interp(ROOT, away[best:], T[best:]) if away[-1] > ROOT else np.inf
    return Interval(float(OFFSET * np.expm1(lower)), float(OFFSET * np.expm1(upper)))


def oracle(truth: Truth, batch: TrueBatch, portions: Sequence[SamplePortion], protocol: Protocol) -> Both:
    """Intervals of one who knows all but the electrodes' own numbers."""
    return intervals(log_likelihood(truth, known(batch), portions, protocol))


def with_true_population(calibration: Calibration, truth: Truth) -> Calibration:
    """The calibration as if it knew the population: every stored draw the truth, waters all alike."""
    values = true_parameters(truth, calibration.signal_ref, calibration.covariate_ref or 1.0)
    point = np.array([values[name.partition(":")[0]] for name in calibration.names])
    return replace(calibration, draws=np.tile(point, (calibration.draws.shape[0], 1)), matrix_K_sd=0.0)


def true_parameters(truth: Truth, signal_ref: float, covariate_ref: float) -> dict[str, float]:
    """Parameters on their working scale, by name; the closing spike's shift is that of a full plateau."""
    tau = np.hypot(truth.electrode_sd, truth.cv)
    spike = np.log((truth.floor + truth.plateau) / (truth.floor + 1.0))
    return {
        "ln_gain": truth.slope * float(np.log(covariate_ref)) - float(np.log(signal_ref)),
        "ln_K": truth.ln_K,
        "ln_h": float(np.log(truth.h)),
        "ln_floor": float(np.log(truth.floor)),
        "ln_batch_sd": float(np.log(truth.batch_sd)),
        "ln_electrode_sd": float(np.log(tau)),
        "ln_K_sd": float(np.log(truth.ln_K_sd)),
        "logit_share": 2.0 * float(np.log(truth.cv / truth.electrode_sd)),
        "ln_floor_sd": float(np.log(max(truth.floor_sd, NOTHING))),
        "ln_floor_batch_sd": float(np.log(max(truth.floor_batch_sd, NOTHING))),
        "ln_own_K_sd": float(np.log(max(truth.electrode_K_sd, NOTHING))),
        "ln_drift_sd": float(np.log(max(truth.drift_sd, NOTHING))),
        "prescan_shift": truth.prescan_shift,
        "dip_drift": truth.drift,
        "spike_shift": truth.drift + float(spike),
        "ln_noise": float(np.log(truth.noise / signal_ref)),
        "slope": truth.slope,
    }


def blank_tails(truth: Truth, points: BatchPoints, x: FloatArray, signal: FloatArray) -> FloatArray:
    """P(Y >= y | blank) (n,) of lone readings of electrodes with log covariates x."""
    (gain, floor, _), own_weight = _own_nodes(truth)
    log_gains, place = np.unique(points.log_gain, return_inverse=True)  # a blank does not depend on K
    weight = np.bincount(place, np.exp(points.log_weight - points.log_weight.max()))
    log_gain = log_gains[:, None, None] + truth.slope * x[:, None] + gain
    blank = truth.floor * np.exp(points.floor_shift + floor + log_gain)
    sd = np.sqrt(truth.noise**2 + (truth.cv * blank) ** 2)
    return np.asarray(1.0 - weight @ (ndtr((signal[:, None] - blank) / sd) @ own_weight) / weight.sum())


def lone_power(
    truth: Truth, level: float, burned: Sequence[float] | None = None, batches: int = 1000
) -> tuple[float, float]:
    """How often one who knows the population detects a level in a lone reading at .05, by exact tails; and its error.

    burned : levels of the electrodes that tell of the batch, None = it is known; 50 samples in each batch.
    """
    rng = np.random.default_rng(0)
    seen = []
    for batch in draw_batches(truth, ["new"] * batches, rng):
        points = known(batch)
        if burned is not None:
            readings = simulate_history(truth, [batch], [np.array(burned)], rng)
            points = learned(truth, batch, readings, SINGLE)
        x, signal = simulate_electrodes(truth, batch, np.full(50, level), rng)
        seen.append(float(np.mean(blank_tails(truth, points, x, signal) <= BLANK_RATE)))
    return float(np.mean(seen)), float(np.std(seen, ddof=1) / np.sqrt(len(seen)))

"""Electrodes simulated through their whole life, for studies on known truth.

Reading j (pre-scan, main, additions, closing spike) of electrode e of batch b at cell level c:

    y        = G_e exp(delta_j + s_eta eta_ej) [ phi_e + T_ej theta_e(c) ] + sqrt(noise^2 + (cv mean)^2) eps_ej
    ln G_e   = a_b + slope x_e + s_el t_e + trend place_e + ln dud_e
    ln phi_e = ln floor + p_b + s_p p_e
    theta_e  = (1 - w) theta(c; K_e, h) + w theta(c; r K_e, h)
    ln K_e   = ln K_b + s_k k_e, and + ln m in a sample's water
    delta_j  = j drift after the main reading, prescan_shift before it; T_ej = 1 but for a closing spike

What is random of an electrode is drawn as standard deviates before anything is read, so that one electrode can be read
by two protocols, and lived through in two worlds, on the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.response import occupancy
from brinemark.terms.amounts import ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.errors import Refused

LATER = 4  # dips after the main one for which deviates are drawn
DIPS = np.arange(-1, LATER + 1)
MAIN = 1  # column of the main reading in DIPS
BENCH = "bench"


@dataclass(frozen=True, slots=True)
class Truth:
    """A population of electrodes, in units of its own plateau (gain 1) and of the level unit.

    batch_sd, electrode_sd : of the log gain, the latter beyond the covariate; slope, covariate_sd : of
    x = ln covariate; ln_K, ln_K_sd; h; floor : floor over top; noise, cv : additive and multiplicative reading noise.

    What one life adds, absent unless said: floor_batch_sd, floor_sd : of ln floor between batches and between a
    batch's electrodes; electrode_K_sd : of ln K between a batch's electrodes; drift, drift_sd : log factor of the gain
    per dip after the main one, and sd of each later reading about it; prescan_shift, prescan_sd : the same for the
    pre-scan; plateau, plateau_sd : median and sd of the log of T, what a closing spike reaches over the standards' top.

    What the fitted model does not contain: matrix : factor on K in a sample's water; second_share, second_ratio :
    share of sites whose K is second_ratio times as large; tail_freedom : degrees of freedom of a t distribution of
    own gains with the same sd (3 or more), 0 = normal; place_trend : rise of the log gain from the first to the last
    place in the batch, where low levels take the early places; low_share, low_gain, high_share, high_gain : duds.
    """

    batch_sd: float = 0.25
    electrode_sd: float = 0.15
    slope: float = 0.8
    covariate_sd: float = 0.25
    ln_K: float = float(np.log(2.0))
    ln_K_sd: float = 0.2
    h: float = 1.3
    floor: float = 0.3
    noise: float = 0.02
    cv: float = 0.05
    floor_batch_sd: float = 0.0
    floor_sd: float = 0.0
    electrode_K_sd: float = 0.0
    drift: float = 0.0
    drift_sd: float = 0.0
    prescan_shift: float = 0.0
    prescan_sd: float = 0.0
    plateau: float = 1.0
    plateau_sd: float = 0.0
    matrix: float = 1.0
    second_share: float = 0.0
    second_ratio: float = 10.0
    tail_freedom: int = 0
    place_trend: float = 0.0
    low_share: float = 0.0
    low_gain: float = 0.4
    high_share: float = 0.0
    high_gain: float = 2.0


@dataclass(frozen=True, slots=True)
class Protocol:
    """The order in which an electrode's life is read: [pre-scan in clean seawater], main reading, additions.

    additions : rise of the cell level by each addition [level unit], at most LATER of them; spiked : the last of
    them is a closing spike, whose plateau need not be that of the standards.
    """

    prescan: bool = False
    additions: tuple[float, ...] = ()
    spiked: bool = False

    def __post_init__(self) -> None:
        if len(self.additions) > LATER or any(rise < 0 for rise in self.additions):
            came = f"additions {', '.join(f'{rise:g}' for rise in self.additions)}"
            raise Refused(came, f"at most {LATER} additions, none negative", "shorten the protocol")
        if self.spiked and not self.additions:
            raise Refused("a closing spike without an addition", "its rise as the last addition", "add it")

    @property
    def dips(self) -> IntArray:
        """Places in the electrode's life, rising: -1 pre-scan, 0 main, 1, 2, ..."""
        return np.arange(-1 if self.prescan else 0, len(self.additions) + 1)

    @property
    def risen(self) -> FloatArray:
        """Rise (LATER + 2,) of the cell level over the main reading's at each of DIPS; nan where nothing is read."""
        risen = np.full(DIPS.size, np.nan)
        risen[MAIN : MAIN + 1 + len(self.additions)] = np.cumsum([0.0, *self.additions])
        return risen


SINGLE = Protocol()
WITH_PRESCAN = Protocol(prescan=True)
SPIKED = Protocol(additions=(100.0,), spiked=True)
PRESCAN_AND_SPIKE = Protocol(prescan=True, additions=(100.0,), spiked=True)
RISING = Protocol(prescan=True, additions=(2.0, 100.0), spiked=True)
LADDER = (1.0, 10.0, 100.0)  # dilutions of one sample over three electrodes


@dataclass(frozen=True, slots=True)
class TrueBatch:
    """One batch's own numbers: log gain, ln K, and how far its ln floor lies from the population's."""

    name: str
    log_gain: float
    ln_K: float
    floor_shift: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class LifeDraws:
    """Standard deviates of n electrodes.

    covariate, gain, floor, K, plateau : (n,) normal, gain from t where tails are heavy; fate : (n,) uniform, which
    tells duds; place : (n,) in -1/2 to 1/2, first to last place in the batch; drift, noise : (n, LATER + 2) normal.
    """

    covariate: FloatArray
    gain: FloatArray
    floor: FloatArray
    K: FloatArray
    plateau: FloatArray
    fate: FloatArray
    place: FloatArray
    drift: FloatArray
    noise: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Lives:
    """Readings of n electrodes: x (n,) log covariates; dip (J,); level (n, J) true cell levels; signal (n, J)."""

    x: FloatArray
    dip: IntArray
    level: FloatArray
    signal: FloatArray


def draw_batches(truth: Truth, names: Sequence[str], rng: np.random.Generator) -> tuple[TrueBatch, ...]:
    """Batches drawn from the population."""
    (floors,) = rng.spawn(1)
    gains = truth.batch_sd * rng.normal(size=len(names))
    ln_K = truth.ln_K + truth.ln_K_sd * rng.normal(size=len(names))
    shifts = truth.floor_batch_sd * floors.normal(size=len(names))
    rows = zip(names, gains, ln_K, shifts, strict=True)
    return tuple(TrueBatch(name, float(a), float(k), float(p)) for name, a, k, p in rows)


def draw_lives(count: int, rng: np.random.Generator, tail_freedom: int = 0) -> LifeDraws:
    """Deviates of fresh electrodes, the same whatever is done with them; tail_freedom as in Truth.

    What several readings need comes from children of rng, so that rng moves on as for single readings.
    """
    rest, tails = rng.spawn(2)
    covariate, gain, main = rng.normal(size=(3, count))
    if tail_freedom:
        gain = gain * np.sqrt((tail_freedom - 2.0) / tails.chisquare(tail_freedom, count))
    floor, K, plateau = rest.normal(size=(3, count))
    fate, place = rest.random(size=(2, count))
    drift, noise = rest.normal(size=(2, count, DIPS.size))
    noise[:, MAIN] = main
    return LifeDraws(covariate, gain, floor, K, plateau, fate, place - 0.5, drift, noise)


def median_response(truth: Truth, batch: TrueBatch, x: FloatArray, level: FloatArray) -> FloatArray:
    """Median signal (n,) of main readings of electrodes with log covariate x at levels."""
    floor = truth.floor * np.exp(batch.floor_shift)
    return np.asarray(np.exp(batch.log_gain + truth.slope * x) * (floor + occupied_share(truth, batch.ln_K, level)))


def occupied_share(truth: Truth, ln_K: float | FloatArray, level: FloatArray) -> FloatArray:
    """Share of the sites occupied at levels, over both kinds of sites."""
    h, second = np.asarray(truth.h), truth.second_share
    first = occupancy(level, np.asarray(ln_K), h)
    if second == 0:
        return first
    return np.asarray((1 - second) * first + second * occupancy(level, ln_K + np.log(truth.second_ratio), h))


def live(truth: Truth, batch: TrueBatch, draws: LifeDraws, level: FloatArray, protocol: Protocol) -> Lives:
    """What electrodes of a batch with these deviates answer; level : (n,) cell level of each main reading."""
    rows = np.searchsorted(DIPS, protocol.dips)
    cell = np.asarray(level, dtype=float)[:, None] + protocol.risen
    cell[:, DIPS < 0] = 0.0
    mean = _means(truth, batch, draws, cell, protocol)
    spread = np.sqrt(truth.noise**2 + (truth.cv * mean) ** 2)
    signal = mean + spread * draws.noise
    return Lives(truth.covariate_sd * draws.covariate, protocol.dips, cell[:, rows], signal[:, rows])


def _means(truth: Truth, batch: TrueBatch, draws: LifeDraws, cell: FloatArray, protocol: Protocol) -> FloatArray:
    """Signals (n, LATER + 2) before the noise of the reading, nan where nothing is read."""
    x = truth.covariate_sd * draws.covariate
    own = truth.electrode_sd * draws.gain + truth.place_trend * draws.place + _log_dud(truth, draws.fate)
    log_gain = batch.log_gain + truth.slope * x + own
    shift = np.where(DIPS < 0, truth.prescan_shift, DIPS * truth.drift)
    shift_sd = np.select([DIPS < 0, DIPS > 0], [truth.prescan_sd, truth.drift_sd])
    floor = truth.floor * np.exp(batch.floor_shift + truth.floor_sd * draws.floor)
    share = occupied_share(truth, (batch.ln_K + truth.electrode_K_sd * draws.K)[:, None], cell)
    if protocol.spiked:
        top = truth.plateau * np.exp(truth.plateau_sd * draws.plateau)
        share[:, MAIN + len(protocol.additions)] *= top
    return np.asarray(np.exp(log_gain[:, None] + shift + shift_sd * draws.drift) * (floor[:, None] + share))


def _log_dud(truth: Truth, fate: FloatArray) -> FloatArray:
    """Log factor (n,) of the gain of duds, 0 for sound electrodes."""
    kinds = [fate < truth.low_share, fate >= 1.0 - truth.high_share]
    return np.asarray(np.log(np.select(kinds, [truth.low_gain, truth.high_gain], 1.0)))


def simulate_life(
    truth: Truth, batch: TrueBatch, level: FloatArray, protocol: Protocol, rng: np.random.Generator
) -> Lives:
    """Lives of fresh electrodes of a batch, main readings at the cell levels (n,)."""
    level = np.asarray(level, dtype=float)
    return live(truth, batch, draw_lives(level.size, rng, truth.tail_freedom), level, protocol)


def simulate_electrodes(
    truth: Truth, batch: TrueBatch, level: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Log covariates and signals (n,) of fresh electrodes of a batch, one reading each at the levels (n,)."""
    lives = simulate_life(truth, batch, level, SINGLE, rng)
    return lives.x, lives.signal[:, 0]


def simulate_history(
    truth: Truth,
    batches: Sequence[TrueBatch],
    levels: Sequence[FloatArray],
    rng: np.random.Generator,
    protocols: Sequence[Sequence[Protocol]] | None = None,
) -> ElectrodeReadings:
    """Calibration electrodes of several batches; one instrument, u(y) = 0, levels exact, covariate exp(x).

    levels : per batch, of main readings; protocols : per batch, one for each electrode, None = one reading each. The
    place of an electrode in its batch goes with its level, which matters where the truth has a place_trend.
    """
    plans = protocols if protocols is not None else [[SINGLE] * len(c) for c in levels]
    found: list[tuple[TrueBatch, Lives]] = []
    for batch, level, plan in zip(batches, levels, plans, strict=True):
        main = np.asarray(level, dtype=float)
        draws = draw_lives(main.size, rng, truth.tail_freedom)
        draws = replace(draws, place=_places(main))
        found += [(batch, _one(live(truth, batch, draws, main, p), i)) for i, p in _numbered(plan, main.size)]
    return _as_readings(found)


def _numbered(plan: Sequence[Protocol], count: int) -> list[tuple[int, Protocol]]:
    """Electrodes of a batch with their protocols."""
    return list(zip(range(count), plan, strict=True))


def _places(level: FloatArray) -> FloatArray:
    """Places (n,) in -1/2 to 1/2 in order of level."""
    rank = np.argsort(np.argsort(level, kind="stable"))
    return np.asarray((rank + 0.5) / max(level.size, 1) - 0.5)


def _one(lives: Lives, i: int) -> Lives:
    return Lives(lives.x[i : i + 1], lives.dip, lives.level[i : i + 1], lives.signal[i : i + 1])


def _as_readings(found: Sequence[tuple[TrueBatch, Lives]]) -> ElectrodeReadings:
    """One electrode per life, in order."""
    owner = tuple(batch.name for batch, _ in found)
    length = [lives.dip.size for _, lives in found]

    def joined(parts: Sequence[FloatArray]) -> FloatArray:
        return np.concatenate([np.ravel(part) for part in parts]) if parts else np.zeros(0)

    return ElectrodeReadings(
        electrode=tuple(f"{name}-{i}" for i, name in enumerate(owner)),
        batch=owner,
        instrument=(BENCH,) * len(owner),
        covariate=np.exp(joined([lives.x for _, lives in found])),
        unit=np.repeat(np.arange(len(owner)), length),
        signal=joined([lives.signal for _, lives in found]),
        u=np.zeros(sum(length)),
        level=joined([lives.level for _, lives in found]),
        dip=np.concatenate([lives.dip for _, lives in found]) if found else np.zeros(0, dtype=np.int64),
    )


def simulate_sample(
    truth: Truth,
    batches: Sequence[TrueBatch],
    level: float,
    protocol: Protocol,
    rng: np.random.Generator,
    dilutions: Sequence[float] = (1.0,),
) -> tuple[SamplePortion, ...]:
    """One sample of a level read by one fresh electrode for each batch and dilution, zipped; u(y) = 0.

    Diluents are clean and additions change no volume, so that a cell holds level / dilution + what was added. The
    water's factor on K acts at every dilution alike. The electrodes' places in their batches are random.
    """
    portions = []
    for i, (batch, dilution) in enumerate(zip(batches, dilutions, strict=True)):
        in_water = replace(batch, ln_K=batch.ln_K + float(np.log(truth.matrix)))
        lives = simulate_life(truth, in_water, np.array([level / dilution]), protocol, rng)
        portions.append(_as_portion(f"{batch.name}-sample-{i}", batch.name, dilution, lives, protocol))
    return tuple(portions)


def _as_portion(electrode: str, batch: str, dilution: float, lives: Lives, protocol: Protocol) -> SamplePortion:
    signals = {int(dip): float(y) for dip, y in zip(lives.dip, lives.signal[0], strict=True)}
    added = protocol.risen[MAIN:]
    others = tuple(
        OtherDip(dip, signal, 0.0, 0.0, 0.0) if dip < 0 else OtherDip(dip, signal, 0.0, 1.0 / dilution, added[dip])
        for dip, signal in signals.items()
        if dip != 0
    )
    covariate = float(np.exp(lives.x[0]))
    return SamplePortion(electrode, batch, BENCH, covariate, signals[0], 0.0, dilution, others=others)


def main_readings(readings: ElectrodeReadings) -> ElectrodeReadings:
    """The same electrodes as if nothing but their main readings had been taken."""
    keep = readings.dip == 0
    own = ("unit", "signal", "u", "level", "dip", "level_u", "salinity", "kept")
    parts = {name: getattr(readings, name)[keep] for name in own}
    return replace(readings, **parts, stock_part=readings.stock_part[:, keep])


def main_portions(portions: Sequence[SamplePortion]) -> tuple[SamplePortion, ...]:
    """The same electrodes of a sample as if nothing but their main readings had been taken."""
    return tuple(replace(portion, others=()) for portion in portions)

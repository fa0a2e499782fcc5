"""Critical value, minimum detectable value and working range of a fresh electrode of a batch.

In the sense of ISO 11843 and of "Nomenclature in evaluation of analytical methods including detection and
quantification capabilities", Pure and Applied Chemistry 67 (1995) 1699-1723, doi 10.1351/pac199567101699: the
critical signal is exceeded by a blank with probability alpha; the minimum detectable value exceeds it with probability
1 - beta. Both come from the model's predictive distribution, so they hold for one more electrode of this batch, its
gain unknown. For a straight line, known scatter and no gain scatter they are Currie's 1.645 and 3.290 sigma.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from brinemark.science.amount.electrodes import electrode_laws, film_kinds
from brinemark.science.amount.joint import JointReading
from brinemark.science.amount.law import GAIN_NODES, GAIN_WEIGHTS, DipLaw
from brinemark.science.amount.normal import normal_quantile, normal_scores
from brinemark.science.amount.predictive import BatchDraws, batch_draws, of_batch
from brinemark.science.amount.reading import working_range
from brinemark.science.amount.scale import closing_spikes, scale_of_calibration
from brinemark.science.amount.statistic import Observed, SingleReading, search_levels
from brinemark.science.amount.tails import SignalTail
from brinemark.terms.amounts import FIRST_COVARIATE, Calibration, ElectrodeReadings, Limits, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import DecisionSection

_Place: TypeAlias = tuple[str, str, str, int, float | None]
BAND, BAND_DRAWS = 0.95, 160
BAND_GRID = np.linspace(-3.4, 4.0, 19)


def batch_limits(
    calibration: Calibration,
    readings: ElectrodeReadings,
    batch: str,
    instrument: str,
    decision: DecisionSection,
    draws: BatchDraws,
) -> tuple[Limits, ...]:
    """Limits of a fresh electrode of a batch on an instrument, for one reading and for each protocol in use.

    The electrode has the median covariate, and a reading noise as small as the calibration electrodes' own traces
    (their median u). readings : the present calibration electrodes; a protocol is in use when one of theirs, of this
    batch on this instrument, went through it; draws : of this batch.
    """
    electrode = _fresh(calibration, draws, batch, instrument)
    law = electrode.laws[0]
    critical, value, detectable = critical_and_detectable(law, decision)
    statistic = SingleReading(SignalTail.of(law, critical, search_levels([electrode])))
    working = working_range(statistic, calibration.highest_level, decision)
    count = len(of_batch(readings, batch).electrode)
    place: _Place = (batch, instrument, "single", count, critical * calibration.signal_ref)
    found = [_limits(place, calibration, value, detectable, working)]
    for protocol, others in protocols_in_use(calibration, readings, batch, instrument):
        lived = _fresh(calibration, draws, batch, instrument, others)
        value, detectable, working = lived_limits(lived, calibration.highest_level, decision, draws.seed)
        place = (batch, instrument, protocol, count, None)
        found.append(_limits(place, calibration, value, detectable, working))
    return tuple(found)


def _limits(
    place: _Place,
    calibration: Calibration,
    value: float | None,
    detectable: float | None,
    working: tuple[float, float] | None,
) -> Limits:
    """A record of limits, none of them beyond the standards."""
    lower, upper = working or (None, None)
    value, detectable = (_within(level, calibration.highest_level) for level in (value, detectable))
    return Limits(*place, value, detectable, lower, upper)


def protocols_in_use(
    calibration: Calibration, readings: ElectrodeReadings, batch: str, instrument: str
) -> list[tuple[str, tuple[OtherDip, ...]]]:
    """Protocols that electrodes of a batch went through on an instrument, beside a single reading: name and dips.

    The dips are those of a fresh electrode: u as in batch_limits, the median rise of the batch's closing spikes.
    """
    mine = of_batch(readings, batch)
    spikes = closing_spikes(mine, calibration.spike_level)
    u = float(np.median(calibration.readings.u))
    found: dict[str, tuple[OtherDip, ...]] = {}
    for number, where in enumerate(mine.instrument):
        own = mine.unit == number
        before, spiked = bool((mine.dip[own] < 0).any()), bool(spikes[own].any())
        if where != instrument or not (before or spiked):
            continue
        prescan = (OtherDip(-1, 0.0, u, 0.0, 0.0),) if before else ()
        rise = float(np.median(mine.level[spikes])) if spiked else 0.0
        spike = (OtherDip(1, 0.0, u, 1.0, rise),) if spiked else ()
        name = " and ".join([*(["pre-scan"] if before else []), *(["spike"] if spiked else [])])
        found[f"with {name}"] = prescan + spike
    return sorted(found.items())


def lived_limits(
    electrode: Observed, highest: float, decision: DecisionSection, seed: int
) -> tuple[float | None, float | None, tuple[float, float] | None]:
    """Critical value, minimum detectable value and working range of an electrode with several readings.

    By the signed root at level 0, simulated at the levels of the search: a blank exceeds the critical root with
    probability alpha; the critical value's median root is it, the minimum detectable value's exceeds it with
    probability 1 - beta.
    """
    statistic, levels, roots = JointReading.everywhere(electrode, seed)
    critical = float(np.quantile(roots[0], 1.0 - decision.alpha))
    short = np.array([float((row <= critical).mean()) for row in roots])
    value, detectable = _falls_to(0.5, levels, short), _falls_to(decision.beta, levels, short)
    return value, detectable, working_range(statistic, highest, decision)


def power_curve(
    calibration: Calibration, readings: ElectrodeReadings, limits: Limits, alpha: float, draws: BatchDraws
) -> tuple[FloatArray, FloatArray]:
    """Levels (n,) [cell level unit], rising from 0, and the probability (n,) that the electrode of some limits detects
    them when a blank is called detected with probability alpha, which may be another than that of the limits.

    Simulated for an electrode with several readings. The probability does not fall: a fall is noise of the simulation.
    """
    others = dict(protocols_in_use(calibration, readings, limits.batch, limits.instrument)).get(limits.protocol, ())
    electrode = _fresh(calibration, draws, limits.batch, limits.instrument, others)
    if others:
        _, levels, roots = JointReading.everywhere(electrode, draws.seed)
        chance = (roots > np.quantile(roots[0], 1.0 - alpha)).mean(axis=1)
    else:
        law, levels = electrode.laws[0], search_levels([electrode])
        critical = float(law.quantile(1.0 - alpha, np.zeros(1))[0])
        chance = 1.0 - SignalTail.of(law, critical, levels).ladder
    chance[0] = alpha  # by the meaning of the critical value, free of the noise in it
    return levels, np.maximum.accumulate(chance)


def _falls_to(target: float, levels: FloatArray, short: FloatArray) -> float | None:
    """Level at which a falling probability reaches target, linear between levels; None when it never does."""
    low = np.minimum.accumulate(short)
    if low[-1] > target:
        return None
    i = int(np.argmax(low <= target))
    if i == 0:
        return 0.0
    return float(np.interp(-target, [-low[i - 1], -low[i]], [levels[i - 1], levels[i]]))


def _fresh(
    calibration: Calibration, draws: BatchDraws, batch: str, instrument: str, others: tuple[OtherDip, ...] = ()
) -> Observed:
    """A fresh electrode of a batch with the median covariate and the calibration electrodes' median trace noise."""
    u = float(np.median(calibration.readings.u))
    covariates, first = calibration.covariates, calibration.covariate_ref
    pairs = zip(covariates.names, covariates.reference.tolist(), strict=True)
    further = tuple((name, value) for name, value in pairs if name != FIRST_COVARIATE)
    portion = SamplePortion("", batch, instrument, first, 0.0, u, others=others, further=further)
    scale = scale_of_calibration(calibration)
    return Observed(*electrode_laws(draws, scale, portion), 1.0, film_kinds(draws, scale, portion))


def response_band(
    calibration: Calibration,
    readings: ElectrodeReadings,
    batch: str,
    instrument: str,
    level: FloatArray,
    draws: BatchDraws | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Median and 95 % band, lower and upper (n,) [signal unit], of what a fresh electrode answers at cell levels (n,).

    The electrode is the one of batch_limits; a batch without electrodes in readings stands for a new batch, known from
    history only. draws : of this batch, when they are there already. Equal tails of the predictive distribution, over
    the first BAND_DRAWS draws: for drawing, not for statements (against 1,024 draws its ends move by less than a tenth
    of the band).
    """
    draws = draws or batch_draws(calibration, readings, [batch], calibration.seed)
    law = _fresh(calibration, draws, batch, instrument).laws[0].thinned(BAND_DRAWS)
    tail = (1.0 - BAND) / 2.0
    middle, lower, upper = _quantiles(law, (0.5, tail, 1.0 - tail), level) * calibration.signal_ref
    return middle, lower, upper


def _quantiles(law: DipLaw, probability: tuple[float, ...], level: FloatArray) -> FloatArray:
    """Quantiles (k, n) of the signal at levels (n,), read off normal scores on a grid.

    Against bisection the ends differ by less than 1 % of a 95 % band's width.
    """
    middle, spread = law.log_normal(law.responses(level))
    mean = np.exp(middle[..., None] + spread[..., None] * GAIN_NODES)
    first = (mean @ GAIN_WEIGHTS).mean(axis=1)
    square = ((1.0 + law.electrode.cv[:, None] ** 2) * mean**2 + law.variance[:, None]) @ GAIN_WEIGHTS
    sd = np.sqrt(square.mean(axis=1) - first**2)
    grid = first + sd * BAND_GRID[:, None]
    score = np.stack([normal_scores(law.cdf(signal, level), 1e-12) for signal in grid])
    wanted = [normal_quantile(p) for p in probability]
    return np.stack([np.interp(wanted, score[:, n], grid[:, n]) for n in range(level.size)], axis=1)


def critical_and_detectable(law: DipLaw, decision: DecisionSection) -> tuple[float, float | None, float | None]:
    """Critical relative signal, the level whose median signal it is, and the minimum detectable level."""
    critical = float(law.quantile(1.0 - decision.alpha, np.zeros(1))[0])
    tail = SignalTail.of(law, critical, search_levels([Observed((law,), (critical,), 1.0)]))
    return critical, tail.falls_to(0.5), tail.falls_to(decision.beta)


def _within(level: float | None, highest: float) -> float | None:
    """A level that the standards span, else None."""
    return level if level is not None and level <= highest else None

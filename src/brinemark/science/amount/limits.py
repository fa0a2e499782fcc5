"""Critical value, minimum detectable value and working range of a fresh electrode of a batch.

In the sense of ISO 11843 and of "Nomenclature in evaluation of analytical methods including detection and
quantification capabilities", Pure and Applied Chemistry 67 (1995) 1699-1723, doi 10.1351/pac199567101699: the
critical signal is exceeded by a blank with probability alpha; the minimum detectable value exceeds it with probability
1 - beta. Both come from the model's predictive distribution, so they hold for one more electrode of this batch, its
gain unknown. For a straight line, known scatter and no gain scatter they are Currie's 1.645 and 3.290 sigma.
"""

from __future__ import annotations

import numpy as np

from brinemark.science.amount.calibration import scale_of_calibration
from brinemark.science.amount.law import GAIN_NODES, GAIN_WEIGHTS, DipLaw, electrode_laws
from brinemark.science.amount.predictive import batch_draws, of_batch
from brinemark.science.amount.reading import working_range
from brinemark.science.amount.statistic import Observed, SingleReading, crossing, search_levels
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Limits, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import DecisionSection

BAND_DRAWS = 160
BAND_GRID = np.linspace(-3.4, 4.0, 19)


def batch_limits(
    calibration: Calibration,
    readings: ElectrodeReadings,
    batch: str,
    instrument: str,
    decision: DecisionSection,
    seed: int,
) -> Limits:
    """Limits for one reading of a fresh electrode of a batch on an instrument.

    The electrode has the median covariate, and a reading noise as small as the calibration electrodes' own traces
    (their median u). readings : the present calibration electrodes.
    """
    electrode = _fresh(calibration, readings, batch, instrument, seed)
    law = electrode.laws[0]
    critical, value, detectable = critical_and_detectable(law, decision)
    statistic = SingleReading(law, critical, search_levels([electrode]), np.empty(0), critical)
    working = working_range(statistic, calibration.highest_level, decision)
    return Limits(
        batch=batch,
        instrument=instrument,
        protocol="single",
        electrodes=len(of_batch(readings, batch).electrode),
        critical_signal=critical * calibration.signal_ref,
        critical_value=_within(value, calibration.highest_level),
        minimum_detectable=_within(detectable, calibration.highest_level),
        working_lower=None if working is None else working[0],
        working_upper=None if working is None else working[1],
    )


def _fresh(
    calibration: Calibration,
    readings: ElectrodeReadings,
    batch: str,
    instrument: str,
    seed: int,
    others: tuple[OtherDip, ...] = (),
) -> Observed:
    """A fresh electrode of a batch with the median covariate and the calibration electrodes' median trace noise."""
    draws = batch_draws(calibration, readings, [batch], seed)
    u = float(np.median(calibration.readings.u))
    portion = SamplePortion("", batch, instrument, calibration.covariate_ref, 0.0, u, others=others)
    return Observed(*electrode_laws(draws, scale_of_calibration(calibration), portion), 1.0)


def response_band(
    calibration: Calibration,
    readings: ElectrodeReadings,
    batch: str,
    instrument: str,
    level: FloatArray,
    interval: float = 0.95,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Median, lower and upper (n,) [signal unit] of what a fresh electrode answers at cell levels (n,).

    The electrode is the one of batch_limits; a batch without electrodes in readings stands for a new batch, known from
    history only. Equal tails of the predictive distribution, over the first BAND_DRAWS draws: for drawing, not for
    statements (against 1,024 draws its ends move by less than a tenth of the band).
    """
    law = _fresh(calibration, readings, batch, instrument, calibration.seed).laws[0].thinned(BAND_DRAWS)
    tail = (1.0 - interval) / 2.0
    middle, lower, upper = _quantiles(law, (0.5, tail, 1.0 - tail), level) * calibration.signal_ref
    return middle, lower, upper


def _quantiles(law: DipLaw, probability: tuple[float, ...], level: FloatArray) -> FloatArray:
    """Quantiles (k, n) of the signal at levels (n,), read off normal scores on a grid.

    Against bisection the ends differ by less than 1 % of a 95 % band's width.
    """
    from scipy.special import ndtri

    middle, spread = law.log_normal(level)
    mean = np.exp(middle[..., None] + spread[..., None] * GAIN_NODES)
    first = (mean @ GAIN_WEIGHTS).mean(axis=1)
    square = ((1.0 + law.electrode.cv[:, None] ** 2) * mean**2 + law.variance[:, None]) @ GAIN_WEIGHTS
    sd = np.sqrt(square.mean(axis=1) - first**2)
    grid = first + sd * BAND_GRID[:, None]
    score = ndtri(np.clip([law.cdf(signal, level) for signal in grid], 1e-12, 1.0 - 1e-12))
    wanted = ndtri(np.array(probability))
    return np.stack([np.interp(wanted, score[:, n], grid[:, n]) for n in range(level.size)], axis=1)


def critical_and_detectable(law: DipLaw, decision: DecisionSection) -> tuple[float, float | None, float | None]:
    """Critical relative signal, the level whose median signal it is, and the minimum detectable level."""
    critical = float(law.quantile(1.0 - decision.alpha, np.zeros(1))[0])
    search = search_levels([Observed((law,), (critical,), 1.0)])

    def below(level: FloatArray) -> FloatArray:
        return law.cdf(np.array([critical]), level)

    ladder = below(search)
    return critical, crossing(below, 0.5, search, ladder), crossing(below, decision.beta, search, ladder)


def _within(level: float | None, highest: float) -> float | None:
    """A level that the standards span, else None."""
    return level if level is not None and level <= highest else None

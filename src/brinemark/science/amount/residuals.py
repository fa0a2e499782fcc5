"""How far each calibration electrode lies from what is expected of it, on a scale on which sound ones are normal.

The residual of a reading y at level c is the normal score of its predictive probability,

    r = Phi^-1( P(Y <= y | c, its covariates, the other electrodes of its batch) ),

a quantile residual ("Randomized Quantile Residuals", Journal of Computational and Graphical Statistics 5 (1996)
236-244, doi 10.1080/10618600.1996.10474708; nothing is random here, since signals are continuous). It is 0 at the
median and +-1.96 at the ends of the 95 % band, whatever the skewness, which grows with the level: a distance in units
of the predictive sd would call high gains far and low ones near.

The electrode is left out of its batch, or it would have drawn the median to itself: with three electrodes in a batch by
about a third of the way. The population keeps it, as one among all; deviation from a full leaving-out, declared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brinemark.science.amount.covariates import raw_of_readings
from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.normal import normal_scores
from brinemark.science.amount.predictive import BatchDraws, batch_latents, of_batch, subset
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.terms.amounts import FIRST_COVARIATE, Calibration, ElectrodeReadings, Residual, SamplePortion

DRAWS = 160  # as many as the bands of the calibration's picture are drawn from
LEAST = 1e-12  # probability at which a score ends, 7.03 sd


def residuals(calibration: Calibration, batches: Sequence[str] | None = None) -> tuple[Residual, ...]:
    """Residuals of the main readings of a calibration's electrodes, in the order of its batches.

    batches : None = all. The first DRAWS draws of the population are used. Water: that of the standards, without the
    scatter of K between waters that a sample's reading allows for.
    """
    thin = replace(calibration, draws=calibration.draws[:DRAWS])
    wanted = dict.fromkeys(calibration.readings.batch if batches is None else batches)
    return tuple(one for batch in wanted for one in _of_batch(thin, of_batch(thin.readings, batch), batch))


def _of_batch(calibration: Calibration, mine: ElectrodeReadings, batch: str) -> list[Residual]:
    found = []
    for reading in np.flatnonzero(mine.dip == 0).tolist():
        unit = int(mine.unit[reading])
        others = subset(mine, np.arange(len(mine.electrode)) != unit)
        draws = _draws(calibration, others, batch)
        law = electrode_laws(draws, scale_of_calibration(calibration), _portion(mine, unit, reading))[0][0]
        signal = mine.signal[reading : reading + 1] / calibration.signal_ref
        score = float(normal_scores(law.cdf(signal, np.zeros(1)), LEAST)[0])
        level = float(mine.level[reading])
        found.append(Residual(mine.electrode[unit], batch, mine.instrument[unit], level, score))
    return found


def _draws(calibration: Calibration, others: ElectrodeReadings, batch: str) -> BatchDraws:
    """The batch as its other electrodes show it; only main readings are predicted, so no shift is unseen."""
    count = calibration.draws.shape[0]
    latents = {batch: batch_latents(calibration, others, batch, calibration.seed)}
    return BatchDraws(calibration.draws, latents, np.zeros(count), np.zeros((3, count)), calibration.seed)


def _portion(mine: ElectrodeReadings, unit: int, reading: int) -> SamplePortion:
    """The electrode as if it had read a sample without thiocyanate to which its whole level was added."""
    raw = {name: float(values[unit]) for name, values in raw_of_readings(mine).items()}
    first = raw.pop(FIRST_COVARIATE)
    parts = tuple(zip(mine.stocks, mine.stock_part[:, reading].tolist(), strict=True))
    salinity = float(mine.salinity[reading])
    return SamplePortion(
        mine.electrode[unit],
        mine.batch[unit],
        mine.instrument[unit],
        None if np.isnan(first) else first,
        float(mine.signal[reading]),
        float(mine.u[reading]),
        added=float(mine.level[reading]),
        added_u=float(mine.level_u[reading]),
        share=0.0,
        stock_parts=parts,
        salinity=None if np.isnan(salinity) else salinity,
        further=tuple(raw.items()),
    )

"""What is said beside a sample's statement: where its calibration, batches and electrodes are weak."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from brinemark.science.amount.covariates import missing_covariates
from brinemark.science.amount.life_checks import unmeasured_drift
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.predictive import BatchDraws
from brinemark.science.amount.response import population
from brinemark.science.amount.scale import Scale
from brinemark.science.amount.waters import water_words
from brinemark.science.amount.weaknesses import batch_weaknesses
from brinemark.terms.amounts import Calibration, ElectrodeReadings, SamplePortion

SAME_SALINITY = 0.5  # what a hand refractometer rounds to (common practice, no source)
BATCHES_KNOWN = 64  # batches whose weaknesses are remembered


def warnings(
    usable: Sequence[SamplePortion],
    calibration: Calibration,
    readings: ElectrodeReadings,
    draws: BatchDraws,
    said: Memo,
) -> tuple[str, ...]:
    """Where the calibration, the batches and the electrodes of a sample are weak; said : about batches before."""
    found = list(calibration.weaknesses)
    for batch in dict.fromkeys(p.batch for p in usable):
        mine = [portion for portion in usable if portion.batch == batch]
        own_blank = all(any(dip.dip < 0 for dip in portion.others) for portion in mine)
        found += said.of((readings, batch, own_blank), partial(batch_weaknesses, readings, batch, own_blank))
    found += [words for p in usable for words in missing_covariates(p, calibration.covariates)]
    found += salinity_words(usable, calibration, draws.scale(calibration))
    drift = unmeasured_drift(usable, calibration)
    told = any(text.startswith("drift between dips") for text in calibration.weaknesses)
    found += [drift] if drift and not told else []
    if calibration.water is not None:
        found += water_words(calibration.water)
    elif calibration.matrix_K_sd > 0:
        found.append(
            f"how this water shifts K is not measured: {calibration.matrix_K_sd:.0%} stands for it "
            "([prior] matrix_K_sd); a stronger shift biases the amount, and electrodes of one water share it"
        )
    return tuple(found)


def salinity_words(usable: Sequence[SamplePortion], calibration: Calibration, scale: Scale) -> list[str]:
    """What was done for the salinity of the sample's cells, one sentence for each that is not the standards' own."""
    if not scale.layout.salinity:
        return []
    pop = population(calibration.draws.T[:, :, None], scale.layout)
    known = calibration.readings.salinity
    found = []
    for salinity in dict.fromkeys(p.salinity for p in usable if p.salinity is not None):
        apart = salinity / scale.salinity_ref - 1.0
        if abs(salinity - scale.salinity_ref) < SAME_SALINITY:
            continue
        K, floor = np.median(1.0 + pop.salinity_K * apart), np.median(np.exp(pop.salinity_floor * apart))
        found.append(
            f"salinity {salinity:g}, the standards' median {scale.salinity_ref:g}: K counts as {K:.2f} times and the "
            f"floor as {floor:.2f} times theirs, by electrodes at {np.nanmin(known):g} to {np.nanmax(known):g}"
        )
    return found

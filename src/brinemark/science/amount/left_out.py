"""Known electrodes read as if unknown, each by what the electrodes of the other batches teach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.classical.comparison import charge_scaled_curve, pooled_curve
from brinemark.science.amount.life_checks import as_unknown, known_life
from brinemark.science.amount.predictive import batch_draws, subset
from brinemark.science.amount.reading import observe, statistic_of
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection


@dataclass(frozen=True, slots=True)
class ModelSections:
    """The settings that the response model takes."""

    analyte: AnalyteSection
    prior: PriorSection
    calibration: CalibrationSection


def has_charges(readings: ElectrodeReadings) -> bool:
    """Whether every electrode has a covariate above 0, by which a classical curve can scale its signal."""
    return bool(np.all(np.isfinite(readings.covariate) & (readings.covariate > 0.0)))


def by_curve(readings: ElectrodeReadings, teaches: BoolArray) -> FloatArray:
    """Levels (E,) of E electrodes with one reading each, by one saturating curve through those of other batches.

    teaches : (E,) whether an electrode may teach (standards and blanks; not controls). Signals are divided by the
    covariate when all electrodes have one. inf : above the plateau; nan : no curve can be fitted without the batch.
    """
    scaled = has_charges(readings)
    fit = charge_scaled_curve if scaled else pooled_curve
    batches = np.array(readings.batch)
    read = np.full(batches.size, np.nan)
    for name in np.unique(batches):
        curve = fit(subset(readings, teaches & (batches != name)))
        if curve.reason is not None:
            continue
        for k in np.flatnonzero(batches == name):
            charge = float(readings.covariate[k]) if scaled else None
            estimate = curve.read(float(readings.signal[k]), charge=charge).estimate
            read[k] = np.inf if estimate is None else estimate
    return read


def by_model(readings: ElectrodeReadings, teaches: BoolArray, sections: ModelSections) -> FloatArray:
    """The same by the response model: one calibration from all who teach, out of which each batch is taken in turn.

    A batch is taken out by weighing the draws of the population with the inverse of that batch's marginal likelihood,
    as when electrodes are withdrawn after a calibration (predictive.py); what stays of it is the scale of the priors,
    which rests on all signals. The electrode is read as a sample's is, with all its covariates. Stock errors move the
    stated levels and are no part of it. The level is the one that fits best, inf when none is finite. Raises Refused,
    GateFailed.
    """
    made = calibrate(subset(readings, teaches), sections.analyte, sections.prior, sections.calibration)
    batches = np.array(readings.batch)
    read = np.zeros(batches.size)
    for name in np.unique(batches):
        others = subset(readings, teaches & (batches != name))
        draws = batch_draws(made, others, [str(name)], made.seed)
        for k in np.flatnonzero(batches == name):
            unknown = as_unknown(known_life(readings, int(k), np.flatnonzero(readings.unit == k)))
            statistic = statistic_of(observe([unknown], made, draws), made.seed)
            best = statistic.best()
            read[k] = np.inf if best is None else best
    return read

"""Covariates of electrodes: x = ln(q / reference), and what is known of those that are missing.

x of an electrode is taken as normal among the calibration electrodes. A missing one is integrated: given the others
of its electrode its mean is m_a + S_ab S_bb^-1 (x_b - m_b) and its covariance S_aa - S_ab S_bb^-1 S_ba (conditional
normal distribution; a for missing, b for known), so that the gain's centre gets beta . x with the mean filled in, and
its variance beta' S beta more.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from brinemark.terms.amounts import FIRST_COVARIATE, CovariateScale, ElectrodeReadings, SamplePortion
from brinemark.terms.arrays import FloatArray

ENOUGH_KNOWN = 3  # electrodes, before a covariate is used


def raw_of_readings(readings: ElectrodeReadings) -> dict[str, FloatArray]:
    """Raw quantities (E,) by the covariate's name, nan = missing."""
    further = zip(readings.further, readings.further_covariate, strict=True)
    return {FIRST_COVARIATE: readings.covariate, **dict(further)}


def raw_of_portion(portion: SamplePortion) -> dict[str, FloatArray]:
    """The same of one electrode that read a sample, (1,) each."""
    first = np.nan if portion.covariate is None else portion.covariate
    return {name: np.array([value]) for name, value in ((FIRST_COVARIATE, first), *portion.further)}


def covariate_scale(readings: ElectrodeReadings) -> CovariateScale:
    """References (medians), means and covariances of the covariates that three electrodes or more have.

    The covariance of two comes from the electrodes that have both; it is 0 where fewer than three do, and the matrix
    is drawn to its diagonal as far as it must be to stay positive.
    """
    raw = raw_of_readings(readings)
    used = [name for name, values in raw.items() if np.isfinite(values).sum() >= ENOUGH_KNOWN]
    if not used:
        return CovariateScale()
    reference = np.array([float(np.nanmedian(raw[name])) for name in used])
    x = np.log(np.array([raw[name] for name in used]) / reference[:, None])
    return CovariateScale(tuple(used), reference, np.nanmean(x, axis=1), _covariance(x))


def _covariance(x: FloatArray) -> FloatArray:
    sd = np.nanstd(x, axis=1, ddof=1)
    correlation = np.eye(sd.size)
    for i, j in zip(*np.triu_indices(sd.size, 1), strict=True):
        both = np.isfinite(x[i]) & np.isfinite(x[j])
        if both.sum() >= ENOUGH_KNOWN and x[i, both].std() > 0 and x[j, both].std() > 0:
            correlation[i, j] = correlation[j, i] = np.corrcoef(x[i, both], x[j, both])[0, 1]
    lowest = float(np.linalg.eigvalsh(correlation)[0])
    if lowest < 0:
        correlation = (correlation - lowest * np.eye(sd.size)) / (1.0 - lowest)
    return np.asarray(correlation * sd[:, None] * sd)


def filled(scale: CovariateScale, raw: Mapping[str, FloatArray]) -> tuple[FloatArray, FloatArray]:
    """x (C, U) of electrodes with what is missing filled in, and its covariance (C, C, U): 0 where all is known.

    raw : (U,) by name; a name that is not there is missing everywhere.
    """
    count = next(iter(raw.values())).size
    table = np.array([raw.get(name, np.full(count, np.nan)) for name in scale.names]).reshape(len(scale.names), count)
    x = np.log(table / scale.reference[:, None])
    left = np.zeros((*scale.cov.shape, count))
    gone = np.isnan(x)
    for column in dict.fromkeys(map(tuple, gone.T[gone.any(axis=0)].tolist())):
        pattern = np.array(column, dtype=bool)
        units = np.flatnonzero((gone == pattern[:, None]).all(axis=0))
        missing, known = np.flatnonzero(pattern), np.flatnonzero(~pattern)
        # A pseudo-inverse: covariates that go together exactly say the same thing twice.
        weight = scale.cov[np.ix_(missing, known)] @ np.linalg.pinv(scale.cov[np.ix_(known, known)], hermitian=True)
        away = x[np.ix_(known, units)] - scale.center[known, None]
        x[np.ix_(missing, units)] = scale.center[missing, None] + weight @ away
        rest = scale.cov[np.ix_(missing, missing)] - weight @ scale.cov[np.ix_(known, missing)]
        left[np.ix_(missing, missing, units)] = rest[:, :, None]
    return x, left


def missing_covariates(portion: SamplePortion, scale: CovariateScale) -> list[str]:
    """A sentence for each covariate in use that an electrode has not."""
    raw = raw_of_portion(portion)
    return [
        f"electrode {portion.electrode} has no {f'covariate {name}' if name else 'pre-scan covariate'}: "
        "read without it, and wider"
        for name in scale.names
        if name not in raw or np.isnan(raw[name][0])
    ]

"""Ordinary saturating-curve calibrations that the accuracy study sets beside the product's readings.

One curve for all electrodes, a curve per batch, and a curve of the signal divided by the film's charge. Each is the
work of a careful analyst with least squares; none knows that electrodes and batches differ in gain.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from brinemark.science.amount.classical.curve_fit import CurveFit, fit_curve
from brinemark.science.amount.classical.lines import fit_linear
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray

GRID = 800


class InverseReading(NamedTuple):
    """Level read back from a signal: estimate and interval ends [level unit], None = no finite one.

    p_blank = P(signal of a blank >= the observed one). All None when there is no curve to read with.
    """

    estimate: float | None
    lower: float | None
    upper: float | None
    p_blank: float | None


@dataclass(frozen=True, slots=True, eq=False)
class SaturatingCurve:
    """y = floor + top c^h / (K^h + c^h) with the spread of a new reading about it.

    parameters : (4,) floor, top, ln K, ln h; covariance : (4, 4), zero where a parameter is held;
    residual_sd, df : of the fit; charge : what signals are divided by per unit of charge, or None;
    reason : why there is no usable curve, None = usable.
    """

    parameters: FloatArray
    covariance: FloatArray
    residual_sd: float
    df: int
    charge: float | None = None
    reason: str | None = None

    def read(self, signal: float, interval: float = 0.95, charge: float | None = None) -> InverseReading:
        """Levels whose prediction band holds the signal: |y - f(c)| <= t sqrt(s^2 + g(c)' V g(c)), g = df/dparameters.

        The band uses the delta method; its set of levels need not be bounded, and an open end is None. The estimate is
        the level at which f equals the signal, 0 below the floor, None above the plateau. A signal that fits no level
        gets the interval (0, 0) when below all bands and an open one far above K when above them.
        """
        if self.reason is not None or (self.charge is not None and not _known(charge)):
            return InverseReading(None, None, None, None)
        if self.charge is not None and charge is not None:
            signal = signal * self.charge / charge
        return _read(self, signal, interval)


def pooled_curve(readings: ElectrodeReadings) -> SaturatingCurve:
    """One curve through the readings of all electrodes of known level, equal weights."""
    known = np.isfinite(readings.level)
    return _fit_saturating(readings.level[known], readings.signal[known])


def charge_scaled_curve(readings: ElectrodeReadings) -> SaturatingCurve:
    """One curve through signal x (median charge / charge): the film's charge taken as its gain."""
    charge = readings.covariate[readings.unit]
    known = np.isfinite(readings.level) & np.isfinite(charge) & (charge > 0.0)
    if not np.any(known):
        return _no_curve("no electrode has a film charge")
    middle = float(np.median(charge[known]))
    curve = _fit_saturating(readings.level[known], readings.signal[known] * middle / charge[known])
    return replace(curve, charge=middle)


def batch_curves(readings: ElectrodeReadings, *, pooled_sd: bool = False) -> Mapping[str, SaturatingCurve]:
    """A curve for each batch: floor and top from its own electrodes, K and h held at those of all batches.

    With pooled_sd the residual sd and its degrees of freedom are shared by all batches, else each has its own
    (often a single degree of freedom). A batch without 3 readings at 2 levels has a curve with a reason.
    """
    shape = pooled_curve(readings)
    batch = np.array(readings.batch)[readings.unit]
    names = sorted(set(readings.batch))
    if shape.reason is not None:
        return dict.fromkeys(names, shape)
    curves = {}
    for name in names:
        mine = (batch == name) & np.isfinite(readings.level)
        curves[name] = _two_parameters(shape, readings.level[mine], readings.signal[mine])
    return _share_sd(curves) if pooled_sd else curves


def saturating(parameters: FloatArray, level: FloatArray) -> FloatArray:
    """floor + top c^h / (K^h + c^h); parameters = floor, top, ln K, ln h (h held at 1 when left out)."""
    return np.asarray(parameters[0] + parameters[1] * _share(parameters, level))


def _share(parameters: FloatArray, level: FloatArray) -> FloatArray:
    h = np.exp(parameters[3]) if len(parameters) > 3 else 1.0
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-h * (np.log(level) - parameters[2]))))


def _gradient(parameters: FloatArray, level: FloatArray) -> FloatArray:
    """(n, 4) derivatives of the curve by floor, top, ln K, ln h."""
    share, h = _share(parameters, level), np.exp(parameters[3])
    slope = parameters[1] * share * (1.0 - share)
    positive = np.where(level > 0.0, level, 1.0)
    log_ratio = np.where((level > 0.0) & np.isfinite(level), np.log(positive) - parameters[2], 0.0)
    return np.column_stack([np.ones_like(share), share, -h * slope, h * slope * np.where(slope == 0, 0.0, log_ratio)])


def _fit_saturating(level: FloatArray, signal: FloatArray) -> SaturatingCurve:
    """Free h when the data determine it (at least 5 levels), else h = 1; best of three starts for K."""
    levels = np.unique(level)
    if levels.size < 3 or level.size < 5:
        return _no_curve(f"{level.size} readings at {levels.size} levels; a curve needs 5 readings at 3 levels")
    scale = float(np.max(np.abs(signal))) or 1.0
    for free in (True, False):
        if free and levels.size < 5:
            continue
        fit = _best_start(level, signal / scale, free)
        if fit is not None and fit.parameters[1] > 0.0:
            return _as_curve(fit, scale)
    return _no_curve("no saturating curve fits these readings")


def _best_start(level: FloatArray, signal: FloatArray, free: bool) -> CurveFit | None:
    floor = float(np.mean(signal[level == np.min(level)]))
    top = float(np.max(signal)) - floor
    middle = float(np.mean(np.log(level[level > 0.0])))
    fits = []
    for shift in (-1.2, 0.0, 1.2):
        start = [floor, top, middle + shift, 0.0][: 4 if free else 3]
        fit = fit_curve(saturating, level, signal, start)
        if fit.converged and np.all(np.isfinite(fit.sd)):
            fits.append(fit)
    return min(fits, key=lambda fit: fit.rss) if fits else None


def _as_curve(fit: CurveFit, scale: float) -> SaturatingCurve:
    p = fit.parameters.size
    units = np.array([scale, scale, 1.0, 1.0])
    parameters, covariance = np.zeros(4), np.zeros((4, 4))
    parameters[:p], covariance[:p, :p] = fit.parameters, fit.covariance
    return SaturatingCurve(parameters * units, covariance * np.outer(units, units), fit.residual_sd * scale, fit.df)


def _two_parameters(shape: SaturatingCurve, level: FloatArray, signal: FloatArray) -> SaturatingCurve:
    if level.size < 3 or np.unique(level).size < 2:
        return _no_curve(f"{level.size} readings in this batch; its own curve needs 3 at 2 levels")
    fit = fit_linear(np.column_stack([np.ones_like(level), _share(shape.parameters, level)]), signal)
    if not fit.coefficients[1] > 0.0:
        return _no_curve("the signals of this batch do not rise with the level")
    covariance = np.zeros((4, 4))
    covariance[:2, :2] = fit.covariance
    return SaturatingCurve(np.append(fit.coefficients, shape.parameters[2:]), covariance, fit.residual_sd, fit.df)


def _share_sd(curves: Mapping[str, SaturatingCurve]) -> Mapping[str, SaturatingCurve]:
    usable = [curve for curve in curves.values() if curve.reason is None and curve.residual_sd > 0.0]
    df = sum(curve.df for curve in usable)
    if df == 0:
        return curves
    sd = math.sqrt(sum(curve.df * curve.residual_sd**2 for curve in usable) / df)
    shared = {}
    for name, curve in curves.items():
        factor = (sd / curve.residual_sd) ** 2 if curve in usable else 1.0
        shared[name] = replace(curve, covariance=curve.covariance * factor, residual_sd=sd, df=df)
    return shared


def _read(curve: SaturatingCurve, signal: float, interval: float) -> InverseReading:
    from scipy.special import stdtr, stdtrit

    middle, h = curve.parameters[2], float(np.exp(curve.parameters[3]))
    log_level = np.linspace(middle - 12.0 / h, middle + 12.0 / h, GRID)
    level = np.concatenate([[0.0], np.exp(log_level), [np.inf]])
    gradient = _gradient(curve.parameters, level)
    spread = np.sqrt(curve.residual_sd**2 + np.einsum("ij,jk,ik->i", gradient, curve.covariance, gradient))
    height = saturating(curve.parameters, level)
    distance = (signal - height) / spread
    t = float(stdtrit(curve.df, (1.0 + interval) / 2.0))
    lower, upper = _ends(level, np.abs(distance) - t, distance)
    return InverseReading(_level_at(curve, signal), lower, upper, float(stdtr(curve.df, -distance[0])))


def _ends(level: FloatArray, outside: FloatArray, distance: FloatArray) -> tuple[float | None, float | None]:
    """Ends of the set where outside <= 0, by linear interpolation."""
    held = np.flatnonzero(outside <= 0.0)
    if held.size == 0:
        return _ends_of_nothing(level, distance)
    first, last = int(held[0]), int(held[-1])
    lower = 0.0 if first == 0 else _crossing(level, outside, first - 1)
    upper = None if last == level.size - 1 else _crossing(level, outside, last)
    return lower, upper


def _ends_of_nothing(level: FloatArray, distance: FloatArray) -> tuple[float | None, float | None]:
    """No level of the grid fits: below the band of every level, above it, or between two neighbours of the grid."""
    if distance[0] < 0.0:
        return 0.0, 0.0
    if distance[-1] > 0.0:
        return float(level[-2]), None
    meets = _crossing(level, distance, int(np.flatnonzero(distance > 0.0)[-1]))
    return meets, meets


def _crossing(level: FloatArray, outside: FloatArray, index: int) -> float:
    share = outside[index] / (outside[index] - outside[index + 1])
    if not math.isfinite(level[index + 1]):
        return float(level[index])
    return float(level[index] + share * (level[index + 1] - level[index]))


def _level_at(curve: SaturatingCurve, signal: float) -> float | None:
    floor, top, log_k, log_h = (float(value) for value in curve.parameters)
    share = (signal - floor) / top
    if share <= 0.0:
        return 0.0
    return None if share >= 1.0 else math.exp(log_k + math.log(share / (1.0 - share)) / math.exp(log_h))


def _known(charge: float | None) -> bool:
    return charge is not None and math.isfinite(charge) and charge > 0.0


def _no_curve(reason: str) -> SaturatingCurve:
    return SaturatingCurve(np.full(4, math.nan), np.full((4, 4), math.nan), math.nan, 0, reason=reason)

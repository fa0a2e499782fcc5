"""Noise of one trace from its own residuals, through its spectrum at low frequencies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from brinemark.terms.arrays import FloatArray

BAND = 80
"""Cosines used: the lowest 80, twenty times what a wave a quarter of the window wide reaches."""

TABLE_POINTS = 4000
"""Windows of more points use the fast transform, whose memory does not grow with the number of cosines."""

SMOOTH_TERMS = 4
"""Powers of the potential (1, x, x^2, x^3) taken off with the wave before noise is looked for."""

FILTERS = 12
"""Time constants tried for each kind of filter."""

WIDEST = (15.0, 6.0)
"""Longest time constant and widest running mean tried: window points divided by these."""

FILTER_FLOOR = 0.02
"""Power a filter leaves at every frequency, relative to frequency 0 (rounding, the converter's own noise)."""

BASELINE_LIMIT = 5.0
"""Variances of its own noise that another baseline's effect must exceed before it counts (by simulation)."""

UNFILTERED = 0.5
"""Weight, before the residuals are seen, of noise that no filter has touched."""


@dataclass(frozen=True, slots=True, eq=False)
class NoiseSpectrum:
    """Variance of the cosine coefficients of the noise: level[j] for cosine j+1 (J,), the last one beyond."""

    level: FloatArray

    def variance(self, weights: FloatArray) -> float:
        """Variance of weights . noise for weights (m,) that sum to zero."""
        power = _coefficients(weights, self.level.size) ** 2
        rest = max(float(weights @ weights) - float(power.sum()), 0.0)
        return float(self.level @ power + self.level[-1] * rest)


def weighed(weights: FloatArray, values: FloatArray, noise: NoiseSpectrum) -> tuple[float, float, float]:
    """Value, noise part and baseline part of u, for weights (1 + K, m): the signal's own, then other baselines.

    d_k = (g_k - g) . y is how far another baseline moves the signal and v_k the variance that noise alone
    gives it. The true signal is taken to lie anywhere within |d_k|, so the largest of d_k^2 - 5 v_k (0 when
    all are negative) is divided by 3, the variance of a rectangle of half-width d being d^2/3
    (JCGM 100:2008, 4.3.7).
    """
    found = weights @ values
    beyond = [
        (value - found[0]) ** 2 - BASELINE_LIMIT * noise.variance(other - weights[0])
        for value, other in zip(found[1:], weights[1:], strict=True)
    ]
    u_noise = math.sqrt(noise.variance(weights[0]))
    return float(found[0]), u_noise, math.sqrt(max(0.0, *beyond) / 3.0)


def _coefficients(values: FloatArray, count: int) -> FloatArray:
    """Products (count,) or (count, k) of the lowest cosines with values (m,) or (m, k)."""
    if len(values) <= TABLE_POINTS:
        return np.asarray(_cosines(len(values), count) @ values, dtype=np.float64)
    return _fast_coefficients(values, count)


def _fast_coefficients(values: FloatArray, count: int) -> FloatArray:
    """The same from one Fourier transform of as many points, even ones first, then odd ones backwards.

    Source: A fast cosine transform in one and two dimensions, IEEE Transactions on Acoustics, Speech, and Signal
    Processing 28 (1980) 27, doi 10.1109/TASSP.1980.1163351 (from memory); needs count <= m/2.
    """
    points = len(values)
    spectrum = np.fft.rfft(np.concatenate([values[::2], values[1::2][::-1]]), axis=0)[1 : count + 1]
    turn = np.exp(-0.5j * np.pi * np.arange(1, count + 1) / points)
    turned = spectrum * (turn if values.ndim == 1 else turn[:, None])
    return np.asarray(np.sqrt(2.0 / points) * turned.real, dtype=np.float64)


@lru_cache(maxsize=64)
def _cosines(points: int, count: int) -> FloatArray:
    """(count, points) orthonormal cosines sqrt(2/m) cos(pi j (k + 1/2)/m), j = 1..count."""
    phase = np.pi * np.outer(np.arange(1, count + 1), np.arange(points) + 0.5) / points
    table: FloatArray = np.sqrt(2.0 / points) * np.cos(phase)
    table.setflags(write=False)
    return table


@lru_cache(maxsize=64)
def _filters(points: int, count: int) -> tuple[FloatArray, FloatArray]:
    """(G, count) power of white noise after a filter, 1 at frequency 0, and (G,) log weights; row 0 is no filter.

    One pole, (1 - r)^2/(1 - 2 r cos w + r^2) with r = exp(-1/tau), and running means of k points by the fall
    of their main lobe, exp(-(k w)^2/12); w = pi j/points.
    """
    angle = np.pi * np.arange(1, count + 1) / points
    pole = np.exp(-1.0 / np.geomspace(0.4, max(points / WIDEST[0], 1.0), FILTERS))[:, None]
    one = (1 - pole) ** 2 / (1 - 2 * pole * np.cos(angle) + pole**2)
    width = np.geomspace(2.0, max(points / WIDEST[1], 3.0), FILTERS)[:, None]
    mean = np.exp(-((width * angle) ** 2) / 12)
    table = np.vstack([np.ones((1, count)), one, mean]) * (1 - FILTER_FLOOR) + FILTER_FLOOR
    weight = np.full(len(table), (1 - UNFILTERED) / (len(table) - 1))
    weight[0] = UNFILTERED
    return table, np.log(weight)


def noise_spectrum(current: FloatArray, potential: FloatArray, wave_terms: FloatArray) -> NoiseSpectrum:
    """Spectrum of the noise of a stationary process from one window of current (m,).

    Smooth terms (a cubic in the potential) and wave_terms (m, k) are taken off by least squares; each
    cosine coefficient z_j of what is left is normal with variance S_j times the share k_j that was not
    taken off. Every filter shape is scaled by its own likelihood in the form of Whittle (Arkiv for Matematik
    2 (1953) 423-434, doi 10.1007/BF02590998) with sum(k_j) degrees of freedom, and the logarithms of the
    spectra are averaged with the likelihoods as weights. Smoothed curves, whose neighbouring points agree,
    therefore keep their slow noise, which a formula for independent points would miss.
    """
    span = potential - potential.mean()
    powers = np.vander(span / np.abs(span).max(), SMOOTH_TERMS, increasing=True)
    basis, _ = np.linalg.qr(np.column_stack([powers, wave_terms]))
    left = current - basis @ (basis.T @ current)
    count = min(BAND, current.size - 1)
    share = 1.0 - (_coefficients(basis, count) ** 2).sum(axis=1)
    return NoiseSpectrum(_average_spectrum(_coefficients(left, count) ** 2, share, current.size))


def _average_spectrum(squares: FloatArray, share: FloatArray, points: int) -> FloatArray:
    """Geometric posterior mean of S_j over filter shapes, flat in the logarithm of the scale."""
    filters, prior = _filters(points, squares.size)
    freedom = float(share.sum())
    total = (squares / filters).sum(axis=1)
    if not total.min() > 0.0:
        return np.zeros(squares.size)
    support = prior - 0.5 * (freedom * np.log(total) + np.log(filters) @ share)
    weight = np.exp(support - support.max())
    logs = np.log(total / (freedom - 2.0))[:, None] + np.log(filters)
    return np.asarray(np.exp(weight @ logs / weight.sum()), dtype=np.float64)

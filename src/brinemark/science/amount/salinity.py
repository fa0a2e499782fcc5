"""How an electrode's response moves with salinity: a competing ion on the sites, and a floor of its own.

With a competitor whose level follows the practical salinity S (chloride, bromide: Reference Composition in constant
proportions), sites obey

    theta = (c/K) / (1 + c/K + S/K_s)      (methods, "Response"; two ligands on one kind of site, mass action)

which is the response without competitor at K_eff(S) = K (1 + S/K_s). Against the reference salinity S_0 of the
standards, with w = (S_0/K_s) / (1 + S_0/K_s) in 0..1, the exponent d ln K_eff / d ln S at S_0,

    ln K_eff(S) - ln K_eff(S_0) = ln(1 - w + w S/S_0)
    ln phi(S)   - ln phi(S_0)   = f (S/S_0 - 1)

Deviations, our own: for h other than 1 the same K_eff is put into c^h / (K_eff^h + c^h); the floor moves with a
coefficient f of its own that stands for bound chloride and capacitance alike (f is its exponent at S_0, and the form
stays finite in fresh water). Neither says anything of an ion that is missing from the reference proportions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray, IntArray

FEWEST_SALINITIES = 2
APART = 2.0  # practical salinity; salinities nearer than this are one (a hand refractometer reads to about 1)
GRID = np.linspace(0.0, 1.0, 41)
FLOOR_SD = 1.0  # prior sd of f: 1 is a floor in proportion to the salt


@dataclass(frozen=True, slots=True, eq=False)
class SalinityData:
    """E electrodes of known level: signal, u [signal unit], level [level unit], salinity, index of the batch."""

    signal: FloatArray
    u: FloatArray
    level: FloatArray
    salinity: FloatArray
    batch: IntArray

    def distinct(self, keep: FloatArray | None = None) -> tuple[float, ...]:
        """Salinities, rising, of which each lies at least APART above the one before."""
        found: list[float] = []
        for value in np.sort(self.salinity if keep is None else self.salinity[keep.astype(bool)]):
            if not found or value - found[-1] >= APART:
                found.append(float(value))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class KnownResponse:
    """What a calibration says at the reference salinity: (center, sd) of logs, h, and standard deviations.

    ln_gain [ln signal unit], ln_K [ln level unit], ln_floor; batch_sd, electrode_sd : of ln gain; noise : additive
    beyond u [signal unit].
    """

    ln_gain: tuple[float, float]
    ln_K: tuple[float, float]
    ln_floor: tuple[float, float]
    h: float
    batch_sd: float
    electrode_sd: float
    noise: float


@dataclass(frozen=True, slots=True, eq=False)
class SalinityEffect:
    """Posterior of w (K_exponent) and f (floor_slope): means, covariance (2, 2), central 95 % interval of w.

    reference : S_0; span : lowest and highest salinity of the electrodes behind it.
    """

    reference: float
    K_exponent: float
    floor_slope: float
    covariance: FloatArray
    K_interval: tuple[float, float]
    span: tuple[float, float]


@dataclass(frozen=True, slots=True)
class SalinityShift:
    """What is added to ln K and ln phi of a reading, with standard uncertainties and their correlation."""

    ln_K: float
    ln_floor: float
    ln_K_u: float
    ln_floor_u: float
    correlation: float


def ln_K_shift(salinity: FloatArray | float, reference: float, K_exponent: FloatArray | float) -> FloatArray:
    """ln K_eff(S) - ln K_eff(S_0) for an exponent w in 0..1 at S_0; broadcasts."""
    return np.asarray(np.log1p(np.asarray(K_exponent) * (np.asarray(salinity, dtype=float) / reference - 1.0)))


def ln_floor_shift(salinity: FloatArray | float, reference: float, floor_slope: FloatArray | float) -> FloatArray:
    """ln phi(S) - ln phi(S_0); broadcasts."""
    return np.asarray(np.asarray(floor_slope) * (np.asarray(salinity, dtype=float) / reference - 1.0))


def local_exponent(salinity: FloatArray | float, reference: float, K_exponent: float) -> FloatArray:
    """d ln K_eff / d ln S at S: (S/K_s) / (1 + S/K_s), rising from 0 to 1."""
    relative = np.asarray(salinity, dtype=float) / reference
    return np.asarray(K_exponent * relative / (1.0 - K_exponent + K_exponent * relative))


def correction_refusal(data: SalinityData, salinity: float) -> str | None:
    """Why no correction to this salinity may be applied; None when it may.

    Blanks at two salinities at least are required (without them a floor that moves reads as analyte), and the
    salinity has to lie between those of the electrodes.
    """
    blanks = data.distinct(np.asarray(data.level == 0))
    if len(blanks) < FEWEST_SALINITIES:
        at = f" (all at {blanks[0]:g})" if blanks else ""
        required = f"blanks at {FEWEST_SALINITIES} salinities are required before any correction"
        return f"{required}, and there is {len(blanks)}{at}"
    low, high = float(data.salinity.min()), float(data.salinity.max())
    if not low <= salinity <= high:
        return f"salinity {salinity:g} lies outside the {low:g} to {high:g} of the electrodes behind the correction"
    return None


def shift_at(effect: SalinityEffect, salinity: float) -> SalinityShift:
    """Shifts of ln K and ln phi at a salinity, to first order in the uncertainty of the coefficients."""
    apart = salinity / effect.reference - 1.0
    slope = np.array([apart / (1.0 + effect.K_exponent * apart), apart])
    u = np.abs(slope) * np.sqrt(np.diag(effect.covariance))
    both = float(slope[0] * slope[1] * effect.covariance[0, 1])
    return SalinityShift(
        ln_K=float(ln_K_shift(salinity, effect.reference, effect.K_exponent)),
        ln_floor=float(ln_floor_shift(salinity, effect.reference, effect.floor_slope)),
        ln_K_u=float(u[0]),
        ln_floor_u=float(u[1]),
        correlation=both / float(u[0] * u[1]) if u.all() else 0.0,
    )


def estimate_effect(data: SalinityData, known: KnownResponse, reference: float) -> SalinityEffect | None:
    """Posterior of both coefficients; None when the electrodes do not span two salinities.

    w is uniform on 0..1 and f normal (0, FLOOR_SD). For every w of GRID the other unknowns (f, ln K, ln phi, ln gain,
    one term for every batch and one for every electrode) are at their mode, and integrated by Laplace's method; the
    mixture over w is exact in w. Gains stay on the logarithmic scale and noise on the linear one.
    """
    if len(data.distinct()) < FEWEST_SALINITIES:
        return None
    fits = _fits(data, known, reference)
    log_weight = np.array([fit[0] for fit in fits])
    weight = np.exp(log_weight - log_weight.max()) * _trapezoid()
    weight /= weight.sum()
    floor, floor_var = np.array([fit[1] for fit in fits]), np.array([fit[2] for fit in fits])
    mean = np.array([weight @ GRID, weight @ floor])
    apart = np.stack([GRID - mean[0], floor - mean[1]])
    covariance = (apart * weight) @ apart.T
    covariance[1, 1] += weight @ floor_var
    return SalinityEffect(
        reference=reference,
        K_exponent=float(mean[0]),
        floor_slope=float(mean[1]),
        covariance=covariance,
        K_interval=_interval(weight),
        span=(float(data.salinity.min()), float(data.salinity.max())),
    )


def _trapezoid() -> FloatArray:
    ends = np.ones(GRID.size)
    ends[[0, -1]] = 0.5
    return ends


def _interval(weight: FloatArray) -> tuple[float, float]:
    """2.5 and 97.5 % points of the mixture over GRID, the density linear between its points."""
    density = weight / _trapezoid()
    steps = 0.5 * (density[1:] + density[:-1])
    below = np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])
    low, high = np.interp([0.025, 0.975], below, GRID)
    return float(low), float(high)


def _fits(data: SalinityData, known: KnownResponse, reference: float) -> list[tuple[float, float, float]]:
    """For every w of GRID its log evidence (up to a constant), and mean and variance of f given w."""
    from scipy.optimize import least_squares

    found, start = [], None
    for w in GRID:
        problem = _Problem(data, known, ln_K_shift(data.salinity, reference, w), data.salinity / reference - 1.0)
        start = problem.start() if start is None else start
        fit = least_squares(problem.residual, start, jac=problem.jacobian, method="lm", x_scale="jac")
        start, hessian = fit.x, fit.jac.T @ fit.jac
        _, log_det = np.linalg.slogdet(hessian)
        found.append((-float(fit.cost) - 0.5 * float(log_det), float(fit.x[0]), float(np.linalg.inv(hessian)[0, 0])))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Least squares in (f, ln K, ln phi, ln gain, batches, electrodes), every residual of unit variance.

    shift : (E,) of ln K; apart : (E,) S/S_0 - 1.
    """

    data: SalinityData
    known: KnownResponse
    shift: FloatArray
    apart: FloatArray

    def start(self) -> FloatArray:
        known = self.known
        latents = np.zeros(int(self.data.batch.max()) + 1 + self.data.signal.size)
        return np.concatenate([[0.0, known.ln_K[0], known.ln_floor[0], known.ln_gain[0]], latents])

    def _parts(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Gain, floor and occupied share of every electrode."""
        batches = int(self.data.batch.max()) + 1
        own = x[4 : 4 + batches][self.data.batch] * self.known.batch_sd + x[4 + batches :] * self.known.electrode_sd
        with np.errstate(divide="ignore"):
            exponent = self.known.h * (np.log(self.data.level) - x[1] - self.shift)
        share = 1.0 / (1.0 + np.exp(-np.clip(exponent, -700.0, 700.0))) * (self.data.level > 0)
        return np.exp(x[3] + own), np.exp(x[2] + x[0] * self.apart), share

    def _noise(self) -> FloatArray:
        return np.asarray(np.sqrt(self.data.u**2 + self.known.noise**2))

    def residual(self, x: FloatArray) -> FloatArray:
        gain, floor, share = self._parts(x)
        misfit = (gain * (floor + share) - self.data.signal) / self._noise()
        return np.concatenate([misfit, (x - self._center()) / self._sd()])

    def jacobian(self, x: FloatArray) -> FloatArray:
        gain, floor, share = self._parts(x)
        count, batches = gain.size, int(self.data.batch.max()) + 1
        mean, rows = gain * (floor + share), np.arange(count)
        slope = np.zeros((count, x.size))
        slope[:, 0] = gain * floor * self.apart
        slope[:, 1] = -gain * self.known.h * share * (1.0 - share)
        slope[:, 2] = gain * floor
        slope[:, 3] = mean
        slope[rows, 4 + self.data.batch] = mean * self.known.batch_sd
        slope[rows, 4 + batches + rows] = mean * self.known.electrode_sd
        return np.concatenate([slope / self._noise()[:, None], np.diag(1.0 / self._sd())])

    def _center(self) -> FloatArray:
        return self.start()

    def _sd(self) -> FloatArray:
        named: Sequence[float] = (FLOOR_SD, self.known.ln_K[1], self.known.ln_floor[1], self.known.ln_gain[1])
        return np.concatenate([named, np.ones(self.start().size - len(named))])

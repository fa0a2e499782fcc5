"""Response of an electrode to the level in its cell, and the parameters that describe a population of them.

Electrode e of batch b on instrument m, read at cell level c (methods, section "Response"):

    ln u = mu + delta_m + a_b + beta x_e + eps_e + ln[ phi + theta(c; K_b, h) ]
    theta(c; K, h) = c^h / (K^h + c^h)
    y ~ N( u, u(y)^2 + s0_m^2 + cv^2 u^2 )

    a_b ~ N(0, s_b^2)    ln K_b ~ N(ln K, s_K^2)    eps_e ~ N(0, s_el^2)
    tau^2 = s_el^2 + cv^2    rho = cv^2 / tau^2

The gain spreads on the logarithmic scale, the noise of the reading on the linear one, so a reading at or below
zero is an ordinary value. Only the product of gain and top exists, so top = 1 and the floor phi is a ratio. A
missing covariate is integrated over its distribution N(m_x, s_x^2) among the calibration electrodes, which adds
(beta s_x)^2 to s_el^2. Signals are divided by a reference before anything is computed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.terms.arrays import FloatArray, IntArray

LOG_2PI = float(np.log(2.0 * np.pi))
FIXED = ("ln_gain", "ln_K", "ln_h", "ln_floor", "ln_batch_sd", "ln_electrode_sd", "ln_K_sd", "logit_share")


@dataclass(frozen=True, slots=True)
class ParameterLayout:
    """Names and places of the parameters in a vector: eight common ones, noise per instrument, an offset for
    every instrument but the first, and the covariate's slope where a covariate is used."""

    instruments: tuple[str, ...]
    has_covariate: bool

    @property
    def names(self) -> tuple[str, ...]:
        noise = tuple(f"ln_noise:{name}" for name in self.instruments)
        offsets = tuple(f"instrument_offset:{name}" for name in self.instruments[1:])
        return FIXED + noise + offsets + (("slope",) if self.has_covariate else ())

    def noise_index(self) -> int:
        return len(FIXED)

    def offset_index(self) -> int:
        return len(FIXED) + len(self.instruments)


@dataclass(frozen=True, slots=True, eq=False)
class UnitData:
    """Readings of U electrodes with R readings in all, ready for the model (signals already divided).

    instrument : (U,) index; covariate : (U,) x, nan = missing; unit : (R,) rising electrode index;
    signal, u : (R,) relative signals; level : (R,) cell levels [level unit].
    """

    instrument: IntArray
    covariate: FloatArray
    unit: IntArray
    signal: FloatArray
    u: FloatArray
    level: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Population:
    """Parameters on their natural scale; every field is (D, 1) and broadcasts against (..., D, U)."""

    gain: FloatArray
    ln_K: FloatArray
    h: FloatArray
    floor: FloatArray
    batch_sd: FloatArray
    electrode_sd: FloatArray
    cv: FloatArray
    ln_K_sd: FloatArray
    noise: FloatArray
    offset: FloatArray
    slope: FloatArray


def population(theta: FloatArray, layout: ParameterLayout) -> Population:
    """Natural-scale parameters from theta (P, D, 1); noise and offset are (instruments, D, 1)."""
    gain, ln_K, ln_h, ln_floor, ln_batch, ln_tau, ln_K_sd, logit = theta[: len(FIXED)]
    share = 1.0 / (1.0 + np.exp(-logit))
    tau = np.exp(ln_tau)
    count = len(layout.instruments)
    noise = np.exp(theta[layout.noise_index() : layout.noise_index() + count])
    offsets = theta[layout.offset_index() : layout.offset_index() + count - 1]
    slope = theta[-1] if layout.has_covariate else np.zeros_like(gain)
    return Population(
        gain=gain,
        ln_K=ln_K,
        h=np.exp(ln_h),
        floor=np.exp(ln_floor),
        batch_sd=np.exp(ln_batch),
        electrode_sd=tau * np.sqrt(1.0 - share),
        cv=tau * np.sqrt(share),
        ln_K_sd=np.exp(ln_K_sd),
        noise=noise,
        offset=np.concatenate([np.zeros_like(gain)[None], offsets]),
        slope=slope,
    )


def occupancy(level: FloatArray, ln_K: FloatArray, h: FloatArray) -> FloatArray:
    """theta(c; K, h) = c^h / (K^h + c^h), exactly 0 at c = 0 and 1 at c = inf."""
    with np.errstate(divide="ignore"):
        exponent = h * (np.log(level) - ln_K)
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(exponent, -700.0, 700.0)))) * (level > 0)


@dataclass(frozen=True, slots=True, eq=False)
class Centre:
    """What an electrode answers before its own gain: (D, U) logs that depend on theta and data only."""

    log_gain: FloatArray
    spread: FloatArray


def centre(pop: Population, data: UnitData, center: float, sd: float) -> Centre:
    """Log gain without batch and electrode terms, and the sd of the electrode's own term, both (D, U).

    center, sd : mean and sd of the covariate among calibration electrodes, for missing ones.
    """
    missing = np.isnan(data.covariate)
    x = np.where(missing, center, data.covariate)
    offset = pop.offset[data.instrument, :, 0].T
    log_gain = pop.gain + offset + pop.slope * x
    spread = np.sqrt(pop.electrode_sd**2 + np.where(missing, (pop.slope * sd) ** 2, 0.0))
    return Centre(log_gain, np.broadcast_to(spread, log_gain.shape))


def reading_log_density(mean: FloatArray, variance: FloatArray, signal: FloatArray) -> FloatArray:
    """Log density of readings given their mean and variance."""
    return np.asarray(-0.5 * ((signal - mean) ** 2 / variance + np.log(variance)) - 0.5 * LOG_2PI)


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeResponse:
    """The log-likelihood of (parameters, batch latents, electrode latents) that calibration and reading integrate.

    Batch latents z = (gain, ln K) in population sd; electrode latent e = own gain in electrode sd.
    """

    data: UnitData
    layout: ParameterLayout
    covariate_center: float
    covariate_sd: float

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        data, pop = self.data, population(theta, self.layout)
        middle = centre(pop, data, self.covariate_center, self.covariate_sd)
        own_noise = pop.noise[data.instrument, :, 0].T ** 2
        single = data.unit.size == data.instrument.size
        pick = slice(None) if single else data.unit
        ln_K = (pop.ln_K + pop.ln_K_sd * z[1])[..., pick]
        log_gain = (middle.log_gain + pop.batch_sd * z[0])[..., pick]
        log_base = log_gain + np.log(pop.floor + occupancy(data.level, ln_K, pop.h))
        # A trial point of the search may lie absurdly far out; exp(150) is as impossible as infinity, and finite.
        mean = np.exp(np.minimum(log_base + (middle.spread * e[0])[..., pick], 150.0))
        variance = data.u**2 + own_noise[..., pick] + (pop.cv * mean) ** 2
        values = reading_log_density(mean, variance, data.signal)
        if single:
            return values
        starts = np.flatnonzero(np.diff(data.unit, prepend=-1))
        return np.asarray(np.add.reduceat(values, starts, axis=-1))

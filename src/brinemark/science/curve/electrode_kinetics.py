"""Waves that electron transfer slows down, and what the scan rate says of where a couple sits.

Signs and symbols as in `electrode_theory`: written for a reduction that starts from the oxidised form.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from brinemark.science.curve.electrode_theory import FARADAY, IRREVERSIBLE_PEAK, IRREVERSIBLE_PEAK_W, thermal_voltage
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

START_X = 12.0
"""Where the sweep starts, nF(E - E_half)/RT [1]: 308/n mV before E_half, where exp(-12) of the couple has reacted."""

STEP_X = 0.02
"""Step of the sweep [1], 0.5/n mV; halving it moves a peak separation by at most 0.002/n mV."""

DIFFUSING_SLOPE = 0.5
"""Slope of log i_p against log v for a couple that diffuses: i_p goes with v^0.5."""

SURFACE_SLOPE = 1.0
"""The same for a couple bound to the surface: i_p goes with v."""

FEWEST_RATES = 3
CONFIDENCE = 0.95


class CyclicWave(NamedTuple):
    """potential_V : (m,) E - E_half [V], down and back; function : (m,) sqrt(pi) chi [1]; turn : the switch's place."""

    potential_V: FloatArray
    function: FloatArray
    turn: int


class ScanRateStudy(NamedTuple):
    """slope of log i_p against log v with its standard uncertainty u [1], its 95 % interval, and what it says."""

    slope: float
    u: float
    interval: tuple[float, float]
    couple: str
    reason: str


def kinetic_parameter(
    rate_m_per_s: float, diffusion: float, scan_rate_V_per_s: float, n: float = 1.0, temperature_K: float = 298.15
) -> float:
    """psi = k0/sqrt(pi D n F v/RT) [1] for equal diffusion coefficients D [m2/s]; k0 [m/s], v [V/s].

    Source: Analytical Chemistry 37 (1965) 1351, doi 10.1021/ac60230a016.
    """
    return rate_m_per_s / math.sqrt(math.pi * diffusion * scan_rate_V_per_s / thermal_voltage(temperature_K) * n)


def quasi_reversible_wave(
    psi: float, switch_V: float, alpha: float = 0.5, n: float = 1.0, temperature_K: float = 298.15
) -> CyclicWave:
    """Current function of one cycle, switched switch_V [V] past E_half; current: n F A C sqrt(pi D b) chi, b = nFv/RT.

    chi(s) = psi exp(-alpha x) (1 - (1 + exp(x)) int_0^s chi(z)/sqrt(s - z) dz), x = nF(E - E_half)/RT, s = b t; the
    integral equation of Analytical Chemistry 37 (1965) 1351, doi 10.1021/ac60230a016, for planar diffusion and equal
    diffusion coefficients. Numerics, not in the source: chi is taken as straight between steps and integrated
    against the root without error. Raises Refused for psi or alpha out of range and a switch before E_half.
    """
    _check_wave(psi, switch_V, alpha)
    volt = thermal_voltage(temperature_K) / n
    depth = switch_V / volt
    turn = math.ceil((START_X + depth) / STEP_X)
    step = (START_X + depth) / turn
    x = step * np.abs(np.arange(2 * turn + 1) - turn) - depth
    rate = psi * np.exp(-alpha * x)
    chi = _product_integration(rate, rate * (1.0 + np.exp(x)), step)
    return CyclicWave(x * volt, np.asarray(math.sqrt(math.pi) * chi, dtype=np.float64), turn)


def _check_wave(psi: float, switch_V: float, alpha: float) -> None:
    if not (psi > 0.0 and switch_V > 0.0 and 0.0 < alpha < 1.0):
        raise Refused(
            f"psi {psi:g}, switch_V {switch_V:g}, alpha {alpha:g}",
            "psi and switch_V above 0, alpha between 0 and 1",
            "give the switch as volts past E_half",
        )


def _product_integration(source: FloatArray, sink: FloatArray, step: float) -> FloatArray:
    """chi (m,) of chi = source - sink int chi/sqrt(s - z) dz, chi straight between points `step` apart."""
    k = np.arange(1.0, source.size)
    weights = np.concatenate([[1.0], (k + 1) ** 1.5 - 2 * k**1.5 + (k - 1) ** 1.5]) * 4.0 / 3.0 * math.sqrt(step)
    chi = np.zeros(source.size)
    for i in range(1, source.size):
        past = float(chi[1:i] @ weights[i - 1 : 0 : -1])
        chi[i] = (source[i] - sink[i] * past) / (1.0 + sink[i] * weights[0])
    return chi


def peak_separation(
    psi: float, switch_V: float, alpha: float = 0.5, n: float = 1.0, temperature_K: float = 298.15
) -> float | None:
    """Distance of the two peaks of a cycle [V], or None when either peak lies beyond the sweep; see the wave."""
    wave = quasi_reversible_wave(psi, switch_V, alpha, n, temperature_K)
    there = _summit(wave.potential_V[: wave.turn + 1], wave.function[: wave.turn + 1])
    back = _summit(wave.potential_V[wave.turn :], -wave.function[wave.turn :])
    return None if there is None or back is None else back - there


def _summit(potential_V: FloatArray, function: FloatArray) -> float | None:
    k = int(np.argmax(function))
    if k in (0, function.size - 1):
        return None
    before, top, after = (float(value) for value in function[k - 1 : k + 2])
    offset = 0.5 * (before - after) / (before - 2.0 * top + after)
    return float(potential_V[k] + offset * (potential_V[k + 1] - potential_V[k]))


def peak_ratio(back_A: float, forward_A: float, switch_A: float) -> float:
    """Ratio of reverse to forward peak [1] from readings off the line of no current.

    back_A : reverse peak below that line; forward_A : forward peak; switch_A : current where the sweep turns, all as
    sizes [A]. back/forward + 0.485 switch/forward + 0.086: Analytical Chemistry 38 (1966) 1406, doi
    10.1021/ac60242a030. An empirical formula: on exact reversible curves 1 within .004 for switches 65 to 200 mV beyond
    E_half, but 1.042 at 1000 mV.
    """
    return back_A / forward_A + 0.485 * switch_A / forward_A + 0.086


def irreversible_peak_shift(
    rate_m_per_s: float, diffusion: float, scan_rate_V_per_s: float, alpha: float = 0.5, temperature_K: float = 298.15
) -> float:
    """E_p - E0 [V] of an irreversible reduction; k0 [m/s], D [m2/s], v [V/s].

    -(RT/alpha F)(0.780384 + ln(sqrt(D)/k0) + ln sqrt(alpha F v/RT)): [BF] eq. 6.3.10, its constant from the computed
    peak, -w_p + ln sqrt(pi).
    """
    volt = thermal_voltage(temperature_K) / alpha
    constant = -IRREVERSIBLE_PEAK_W + 0.5 * math.log(math.pi)
    return -volt * (constant + math.log(math.sqrt(diffusion * scan_rate_V_per_s / volt) / rate_m_per_s))


def irreversible_peak_at(
    rate_m_per_s: float, shift_V: float, area: float, concentration: float, alpha: float = 0.5
) -> float:
    """Peak current [A] of an irreversible reduction from where it stands, shift_V = E_p - E0 [V].

    0.227173 F A C k0 exp(-alpha F (E_p - E0)/RT): [BF] eq. 6.3.12, its constant from the computed peak; 25 degrees
    Celsius; area [m2], concentration [mol/m3].
    """
    constant = IRREVERSIBLE_PEAK * math.exp(IRREVERSIBLE_PEAK_W) / math.sqrt(math.pi)
    size = FARADAY.value * area * concentration * rate_m_per_s
    return constant * size * math.exp(-alpha * shift_V / thermal_voltage())


def scan_rate_study(scan_rate_V_per_s: FloatArray, peak_A: FloatArray) -> ScanRateStudy:
    """Whether a couple diffuses or sits on the surface, from peak currents (k,) [A] at scan rates (k,) [V/s].

    Least squares of log i_p on log v; the interval is Student's, from the scatter about the line. It says "diffusing"
    when it holds 1/2 and not 1, "surface-bound" when it holds 1 and not 1/2, "in between" when it lies between the two,
    otherwise "cannot say" with the reason.
    Raises Refused for peaks or rates at or below zero, lengths that differ, or fewer than three different rates.
    """
    from scipy.special import stdtrit

    rate, peak = np.asarray(scan_rate_V_per_s, dtype=np.float64), np.asarray(peak_A, dtype=np.float64)
    _check_study(rate, peak)
    along, high = np.log(rate) - np.log(rate).mean(), np.log(peak) - np.log(peak).mean()
    slope = float(along @ high) / float(along @ along)
    left = high - slope * along
    u = math.sqrt(float(left @ left) / (rate.size - 2) / float(along @ along))
    reach = u * float(stdtrit(rate.size - 2, 0.5 + 0.5 * CONFIDENCE)) + 1e-9  # rounding of an exact line
    return ScanRateStudy(slope, u, (slope - reach, slope + reach), *_couple(slope - reach, slope + reach))


def _couple(low: float, high: float) -> tuple[str, str]:
    diffusing, bound = low <= DIFFUSING_SLOPE <= high, low <= SURFACE_SLOPE <= high
    if diffusing and bound:
        return "cannot say", "the interval of the slope holds both 1/2 and 1"
    if diffusing:
        return "diffusing", "the interval of the slope holds 1/2 and not 1"
    if bound:
        return "surface-bound", "the interval of the slope holds 1 and not 1/2"
    if low > DIFFUSING_SLOPE and high < SURFACE_SLOPE:
        return "in between", f"the interval of the slope, {low:.3f} to {high:.3f}, lies between 1/2 and 1"
    return "cannot say", f"the interval of the slope, {low:.3f} to {high:.3f}, holds neither 1/2 nor 1"


def _check_study(rate: FloatArray, peak: FloatArray) -> None:
    usable = rate.ndim == 1 and rate.shape == peak.shape and bool(np.all(rate > 0.0) and np.all(peak > 0.0))
    usable = usable and bool(np.isfinite(rate).all() and np.isfinite(peak).all())
    if not usable or np.unique(rate).size < FEWEST_RATES:
        raise Refused(
            f"{rate.size} scan rates and {peak.size} peaks",
            f"as many peaks above 0 A as rates above 0 V/s, with {FEWEST_RATES} different rates at least",
            "leave out curves without a wave, or record more scan rates",
        )

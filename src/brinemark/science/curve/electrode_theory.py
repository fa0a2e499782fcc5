"""Published equations of cyclic voltammetry: one function per equation, for checks, first waves and synthetic curves.

Sources, referred to by letter in the docstrings

[BF] Electrochemical Methods: Fundamentals and Applications, 2nd ed., Wiley 2001, ISBN 0-471-04372-9.
[NS] Theory of Stationary Electrode Polarography, Analytical Chemistry 36 (1964) 706, doi 10.1021/ac60210a007.
[SI] The International System of Units, 9th ed. (2019): exact values of the defining constants; they agree with
     CODATA 2018, Reviews of Modern Physics 93 (2021) 025010, doi 10.1103/RevModPhys.93.025010.

Equation and table numbers are given from memory; the values themselves are computed and tested.

Signs: an oxidation (anodic) current is positive. The two diffusion functions are written, as in the sources, for a
reduction that starts from the oxidised form; for an oxidation reverse the sign of the potential difference and of
the current. SI units unless a docstring says otherwise; the equations hold as well with cm in place of m throughout.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from brinemark.terms.arrays import FloatArray


class Constant(NamedTuple):
    """value in unit, with where it comes from; every one here is exact by definition."""

    value: float
    unit: str
    source: str


ELEMENTARY_CHARGE = Constant(1.602176634e-19, "C", "[SI] exact")
AVOGADRO = Constant(6.02214076e23, "1/mol", "[SI] exact")
BOLTZMANN = Constant(1.380649e-23, "J/K", "[SI] exact")
FARADAY = Constant(AVOGADRO.value * ELEMENTARY_CHARGE.value, "C/mol", "[SI] product of two exact constants")
GAS = Constant(AVOGADRO.value * BOLTZMANN.value, "J/(mol K)", "[SI] product of two exact constants")
ROOM_K = 298.15
"""25 degrees Celsius [K]."""

REVERSIBLE_PEAK = 0.446294694844991
"""Largest value of the reversible current function [1]; computed to 15 digits, [NS] and [BF] print 0.4463."""
REVERSIBLE_PEAK_X = -1.1089492334
"""Where it lies, nF(E - E_half)/RT [1]: -28.4918/n mV at 25 C; [BF] eq. 6.2.21 prints -28.50/n mV."""
REVERSIBLE_HALF_PEAK_X = 1.0933812856
"""Where half of it is reached on the rising side [1]: 28.0918/n mV at 25 C; [BF] eq. 6.2.22 prints 28.0/n mV."""
IRREVERSIBLE_PEAK = 0.495762860476535
"""Largest value of the irreversible current function [1]; [NS] and [BF] print 0.4958."""
IRREVERSIBLE_PEAK_W = -0.2080194410
"""Where it lies [1]: -5.34456/alpha mV at 25 C; [NS] and [BF] print -5.34/alpha mV."""
IRREVERSIBLE_HALF_PEAK_W = 1.6492177841
"""Where half of it is reached on the rising side [1], 1.857 above the peak ([BF] eq. 6.3.11)."""
SURFACE_WIDTH_X = 2.0 * float(np.log(3.0 + 2.0 * np.sqrt(2.0)))
"""Full width at half height of a surface-confined wave, nF dE/RT [1] = 3.52549; [BF] eq. 14.3.14 prints 3.53."""


def thermal_voltage(temperature_K: float = ROOM_K) -> float:
    """RT/F [V]: 25.69258 mV at 25 C."""
    return GAS.value * temperature_K / FARADAY.value


# --- a wave whose both forms stay on the surface --------------------------------------------------------------


def surface_confined_shape(
    potential_V: FloatArray, place_V: float, n: float = 1.0, temperature_K: float = ROOM_K
) -> FloatArray:
    """Shape of the wave of an adsorbed couple, 4 e/(1 + e)^2 with e = exp(nF(E - E0)/RT); height 1 at place_V.

    potential_V : any shape [V]; place_V : formal potential of the adsorbed couple [V]; n : electrons, or the
    apparent number where interaction widens the wave [1]; temperature_K [K]. Ideal (Langmuir) isotherm, Nernstian
    transfer. Source: [BF] eq. 14.3.11, with the hyperbolic form so that nothing overflows.
    """
    argument = 0.5 * n * (np.asarray(potential_V, dtype=np.float64) - place_V) / thermal_voltage(temperature_K)
    # Beyond this the square of cosh leaves the range of a double; the shape is below 1e-240 there.
    safe = np.minimum(np.abs(argument), 300.0)
    return np.asarray(np.cosh(safe) ** -2.0, dtype=np.float64)


def surface_confined_peak_current(
    area: float, surface_excess: float, scan_rate_V_per_s: float, n: float = 1.0, temperature_K: float = ROOM_K
) -> float:
    """Peak current [A] = n^2 F^2 v A Gamma / 4RT.

    area [m2]; surface_excess [mol/m2]; scan_rate_V_per_s [V/s]. Source: [BF] eq. 14.3.12 (9.39e5 n^2 v A Gamma at
    25 C; computed 938844.36).
    """
    return n**2 * FARADAY.value**2 * scan_rate_V_per_s * area * surface_excess / (4.0 * GAS.value * temperature_K)


def surface_confined_current(
    potential_V: FloatArray,
    place_V: float,
    peak_current_A: float,
    n: float = 1.0,
    temperature_K: float = ROOM_K,
) -> FloatArray:
    """Current of an adsorbed couple [A]: its peak current times its shape; the area under i(E) is v n F A Gamma.

    Positive peak_current_A for the anodic sweep, negative for the cathodic. Source: [BF] eq. 14.3.11.
    """
    return peak_current_A * surface_confined_shape(potential_V, place_V, n, temperature_K)


def surface_confined_peak_from_charge(
    charge_C: float, scan_rate_V_per_s: float, n: float = 1.0, temperature_K: float = ROOM_K
) -> float:
    """Peak current [A] of the ideal wave that holds charge_C [C]: i_p = n F v Q / 4RT.

    Source: [BF] eq. 14.3.12 with Q = n F A Gamma.
    """
    return n * charge_C * scan_rate_V_per_s / (4.0 * thermal_voltage(temperature_K))


def surface_confined_width(n: float = 1.0, temperature_K: float = ROOM_K) -> float:
    """Full width at half height [V] = 3.52549 RT/nF: 90.579/n mV at 25 C ([BF] eq. 14.3.14 prints 90.6/n)."""
    return SURFACE_WIDTH_X * thermal_voltage(temperature_K) / n


def coverage(charge_C: float, n: float, area: float) -> float:
    """Surface excess Gamma = Q/(nFA) [mol/m2 for area in m2]; charge_C [C]. Source: [BF] section 14.3."""
    return charge_C / (n * FARADAY.value * area)


# --- a couple that diffuses ------------------------------------------------------------------------------------


def reversible_current_function(x: FloatArray | float) -> FloatArray:
    """Current function sqrt(pi) chi of a reversible couple with planar diffusion, x = nF(E - E_half)/RT.

    x : any shape [1], falling during the sweep. Current of the reduction:
    n F A C sqrt(D n F v/RT) times this. Source: [NS] section I, [BF] eq. 6.2.16; closed form -Li_{-1/2}(-exp(-x)).

    Numerics, not in the sources: the function is (1/(4 sqrt(pi))) times the integral over the whole line of
    sech^2((u^2 + x)/2) du, and the trapezoidal rule converges geometrically with the distance of the nearest pole,
    sqrt(-x + i pi), from the line. Below x = -60 three terms of the large-argument (Sommerfeld) expansion, whose
    next term is below 1e-7 of the value.
    """
    mu = -np.atleast_1d(np.asarray(x, dtype=np.float64))
    near = np.minimum(mu, 60.0).ravel()
    pole_height = np.imag(np.sqrt(near + 1j * np.pi))
    step = np.minimum(0.5, 2.0 * np.pi * pole_height / 38.0)
    reach = np.sqrt(np.maximum(near, 0.0) + 40.0)
    node = step[:, None] * np.arange(int(np.max(reach / step, initial=0.0)) + 2)
    half = np.minimum(np.abs(node**2 - near[:, None]) / 2.0, 300.0)
    height = np.cosh(half) ** -2.0
    total = (2.0 * height.sum(axis=1) - height[:, 0]) * step / (4.0 * np.sqrt(np.pi))
    far = np.maximum(mu, 60.0)
    tail = (1.0 + np.pi**2 / (8.0 * far**2) + 49.0 * np.pi**4 / (384.0 * far**4)) / np.sqrt(np.pi * far)
    value = np.where(mu <= 60.0, total.reshape(mu.shape), tail)
    return np.asarray(value.reshape(np.shape(x)), dtype=np.float64)


def spherical_correction(x: FloatArray | float) -> FloatArray:
    """Function phi that spherical diffusion adds, 1/(1 + exp(x)), x = nF(E - E_half)/RT [1].

    i = i(plane) + n F A D C phi / r0 for a sphere of radius r0. Source: [NS] eq. 41, [BF] eq. 6.2.23 and table 6.3.1.
    """
    return np.asarray(0.5 * (1.0 - np.tanh(0.5 * np.asarray(x, dtype=np.float64))), dtype=np.float64)


def randles_sevcik_constant(temperature_K: float = ROOM_K) -> float:
    """0.446295 F sqrt(F/RT) [C/(mol V^0.5)]: 268645.25 at 25 C; [BF] eq. 6.2.19 prints 2.69e5."""
    return REVERSIBLE_PEAK * FARADAY.value * float(np.sqrt(1.0 / thermal_voltage(temperature_K)))


def randles_sevcik(
    area: float, concentration: float, diffusion: float, scan_rate_V_per_s: float, n: float = 1.0
) -> float:
    """Peak current [A] of a reversible diffusing couple at 25 C: 268645.25 n^1.5 A C sqrt(D v).

    area [m2]; concentration [mol/m3]; diffusion [m2/s]; scan_rate_V_per_s [V/s]; n electrons. Source: [BF] eq. 6.2.19.
    """
    root = float(np.sqrt(n**3 * diffusion * scan_rate_V_per_s))
    return randles_sevcik_constant() * area * concentration * root


def irreversible_current_function(w: FloatArray | float) -> FloatArray:
    """Current function sqrt(pi) chi of a totally irreversible reduction with planar diffusion.

    w : any shape [1], alpha F/RT (E - E0 + (RT/alpha F) ln(sqrt(pi D b)/k0)), b = alpha F v/RT, falling during the
    sweep. Current: F A C sqrt(pi D b) chi. Source: [NS] section III, [BF] eq. 6.3.6 and table 6.3.2.

    Numerics, not in the sources: the integral equation of [NS] in s = -w,
    chi(s) = exp(s) (1 - int_{-inf}^{s} chi(z)/sqrt(s - z) dz), is solved once by polynomial collocation on panels
    (see _irreversible_panels), since the published power series loses all digits soon after the peak.
    Known for w from -200 up; nan below, where no table reaches.
    """
    s = -np.asarray(w, dtype=np.float64)
    edges, values = _irreversible_panels()
    flat = np.atleast_1d(s).ravel()
    result = np.sqrt(np.pi) * np.exp(np.minimum(flat, edges[0]))
    result[flat > edges[-1]] = np.nan
    panel = np.clip(np.searchsorted(edges, flat, side="right") - 1, 0, values.shape[0] - 1)
    inside = (flat >= edges[0]) & (flat <= edges[-1])
    for index in np.unique(panel[inside]):
        here = inside & (panel == index)
        basis = _lagrange(_panel_coordinate(flat[here], edges[index], edges[index + 1]))
        result[here] = np.sqrt(np.pi) * (basis @ values[index])
    return np.asarray(result.reshape(s.shape), dtype=np.float64)


def irreversible_constant(temperature_K: float = ROOM_K) -> float:
    """0.495763 F sqrt(F/RT) [C/(mol V^0.5)]: 298422.41 at 25 C; [BF] eq. 6.3.8 prints 2.99e5, which is rounded up.

    Peak current of the irreversible wave = this times alpha^0.5 A C sqrt(D v).
    """
    return IRREVERSIBLE_PEAK * FARADAY.value * float(np.sqrt(1.0 / thermal_voltage(temperature_K)))


# --- the integral equation of the irreversible wave ------------------------------------------------------------

_ORDER = 16


@lru_cache(maxsize=1)
def _nodes() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights on [-1, 1], and the barycentric weights of those nodes."""
    rule = np.polynomial.legendre.leggauss(_ORDER)
    node, weight = (np.asarray(part, dtype=np.float64) for part in rule)
    barycentric = (-1.0) ** np.arange(_ORDER) * np.sqrt((1.0 - node**2) * weight)
    return node, weight, np.asarray(barycentric, dtype=np.float64)


def _panel_coordinate(s: FloatArray, low: float, high: float) -> FloatArray:
    return np.asarray((2.0 * s - low - high) / (high - low), dtype=np.float64)


def _lagrange(at: FloatArray) -> FloatArray:
    """Lagrange basis of the panel nodes at points of [-1, 1]: (..., order)."""
    node, _, barycentric = _nodes()
    gap = at[..., None] - node
    # A point on a node would divide by zero; a nudge far below rounding picks that node's basis function.
    gap = np.where(np.abs(gap) < 1e-15, 1e-15, gap)
    share = barycentric / gap
    return np.asarray(share / share.sum(axis=-1, keepdims=True), dtype=np.float64)


def _abel_weights(at: FloatArray, low: float, high: float) -> FloatArray:
    """Weights W with int_{low}^{min(high, s)} chi(z)/sqrt(s - z) dz = W chi(nodes), for each s of at: (len(at), order).

    z = s - u^2 removes the singularity and leaves a polynomial in u of degree 2 (order - 1), which the rule
    integrates without error.
    """
    node, weight, _ = _nodes()
    first = np.sqrt(np.maximum(at - high, 0.0))
    last = np.sqrt(at - low)
    u = first[:, None] + 0.5 * (last - first)[:, None] * (node + 1.0)
    basis = _lagrange(_panel_coordinate(at[:, None] - u**2, low, high))
    return np.asarray((last - first)[:, None] * np.einsum("q,iqk->ik", weight, basis), dtype=np.float64)


@lru_cache(maxsize=1)
def _irreversible_panels() -> tuple[FloatArray, FloatArray]:
    """Edges of the panels in s = -w, and chi at each panel's nodes: (panels, order).

    What lies before the first edge is exp(s) to rounding. Panels are one wide through the wave and grow with s in
    the slow tail.
    """
    node, _, _ = _nodes()
    edges = np.concatenate([np.arange(-38.0, 3.0), np.geomspace(3.0, 200.0, 15)])
    values = np.zeros((edges.size - 1, _ORDER))
    for panel, (low, high) in enumerate(pairwise(edges)):
        s = 0.5 * (low + high) + 0.5 * (high - low) * node
        past = np.zeros(_ORDER)
        for earlier in range(panel):
            past += _abel_weights(s, edges[earlier], edges[earlier + 1]) @ values[earlier]
        own = _abel_weights(s, low, high)
        values[panel] = np.linalg.solve(np.diag(np.exp(-s)) + own, 1.0 - past)
    return edges, values

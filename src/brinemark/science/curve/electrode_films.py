"""Pieces of the current of a film electrode that is no textbook: for synthetic curves, never for reading real ones.

Sources, referred to by letter in the docstrings

[BF] Electrochemical Methods: Fundamentals and Applications, 2nd ed., Wiley 2001, ISBN 0-471-04372-9 (section and
     equation numbers from memory).
[LA] The adsorption of gases on plane surfaces of glass, mica and platinum, Journal of the American Chemical Society 40
     (1918) 1361, doi 10.1021/ja02242a004.

A curve is put together from functions of the potential at the film, and `with_resistance` turns it into what the
potentiostat sees. Random numbers come from a generator that the caller passes in. Potentials [V], currents [A] with
the anodic current positive, times [s].
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import accumulate

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused


def triangle_sweep(
    low_V: float, high_V: float, step_V: float, scan_rate_V_per_s: float, cycles: int = 1
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Potential [V], time [s] and direction (+1 anodic, -1 cathodic) of cycles that start at low_V; each (n,).

    The turning points belong to the sweep that reaches them. step_V divides the distance to a whole number of steps.
    """
    steps = round((high_V - low_V) / step_V)
    up = low_V + (high_V - low_V) * np.arange(1, steps + 1) / steps
    down = high_V + (low_V - high_V) * np.arange(1, steps + 1) / steps
    potential = np.concatenate([[low_V], np.tile(np.concatenate([up, down]), cycles)])
    direction = np.concatenate([[1.0], np.tile(np.repeat([1.0, -1.0], steps), cycles)])
    time = np.arange(potential.size) * (high_V - low_V) / steps / scan_rate_V_per_s
    return potential, time, direction


def site_filling(level: float, constant: float) -> float:
    """Share of like sites that is filled at a level: c/(K + c), level and constant in the same unit. Source: [LA]."""
    return level / (constant + level)


def two_site_filling(level: float, constant: float, weak_share: float, weak_ratio: float) -> float:
    """Share filled when a weak_share of the sites binds weak_ratio times more weakly; a sum of two isotherms of [LA].

    With weak_share of a few per cent the answer still climbs slowly where a single isotherm is flat.
    """
    strong = (1.0 - weak_share) * site_filling(level, constant)
    return strong + weak_share * site_filling(level, constant * weak_ratio)


def charging_current(
    time_s: FloatArray, direction: FloatArray, capacitance_F: float, scan_rate_V_per_s: float, resistance_ohm: float
) -> FloatArray:
    """Current that charges the double layer and the film's own capacitance in a triangle sweep [A]; (n,).

    After the start +vC (1 - exp(-t/RC)) as in [BF] eq. 1.2.15; after a turn the current swings from one plateau to
    the other, +-vC (1 - 2 exp(-t/RC)), with t since the turn.
    """
    turned = np.flatnonzero(np.diff(direction) != 0.0)
    last_turn = np.zeros(time_s.size)
    for at in turned:
        last_turn[at + 1 :] = time_s[at]
    swing = np.where(last_turn == 0.0, 1.0, 2.0)
    settled = 1.0 - swing * np.exp(-(time_s - last_turn) / (resistance_ohm * capacitance_F))
    return np.asarray(direction * scan_rate_V_per_s * capacitance_F * settled, dtype=np.float64)


def oxidation_tail(potential_V: FloatArray, at_V: float, current_A: float, per_e_V: float) -> FloatArray:
    """Rising current of water and chloride oxidation [A], current_A exp((E - at_V)/per_e_V); Tafel, [BF] eq. 3.4.15."""
    return np.asarray(current_A * np.exp((potential_V - at_V) / per_e_V), dtype=np.float64)


def with_resistance(
    current_of: Callable[[FloatArray], FloatArray], potential_V: FloatArray, resistance_ohm: float
) -> FloatArray:
    """Current [A] that solves i = f(E - iR), R the uncompensated resistance [ohm] ([BF] section 1.3.4).

    current_of : f, current at the film's potential, elementwise. Repeated substitution; it converges while
    R times the slope of f stays below 1, which holds for films; Refused where it does not.
    """
    current = current_of(potential_V)
    for _ in range(200):
        following = current_of(potential_V - resistance_ohm * current)
        change = float(np.max(np.abs(following - current)))
        current = following
        if change <= 1e-12 * float(np.max(np.abs(current))):
            return current
    raise Refused(
        f"no current settles at a resistance of {resistance_ohm:g} ohm",
        "a resistance that keeps R times the slope of the current below 1",
        "lower the resistance",
    )


def slow_drift(time_s: FloatArray, slope_A_per_s: float, sd_A: float, random: np.random.Generator) -> FloatArray:
    """Slow drift of the baseline [A]: a straight line and a random walk of sd_A at the end; zero at the start."""
    steps = random.standard_normal(time_s.size)
    steps[0] = 0.0
    walk = np.cumsum(steps) * sd_A / np.sqrt(max(time_s.size - 1, 1))
    return np.asarray(slope_A_per_s * (time_s - time_s[0]) + walk, dtype=np.float64)


def correlated_noise(size: int, sd_A: float, correlation_per_step: float, random: np.random.Generator) -> FloatArray:
    """First-order autoregressive noise [A] of sd_A; correlation_per_step in [0, 1) between points."""
    fresh = random.standard_normal(size) * sd_A * np.sqrt(1.0 - correlation_per_step**2)
    fresh[0] /= np.sqrt(1.0 - correlation_per_step**2)
    return np.fromiter(accumulate(fresh, lambda held, new: correlation_per_step * held + new), np.float64, size)


def low_pass(current_A: FloatArray, step_s: float, time_constant_s: float) -> FloatArray:
    """What a first-order filter of the amplifier leaves of a current [A]; it starts settled."""
    keep = float(np.exp(-step_s / time_constant_s))
    return np.fromiter(
        accumulate(current_A, lambda held, new: keep * held + (1.0 - keep) * new), np.float64, current_A.size
    )


def converted(current_A: FloatArray, full_scale_A: float, bits: int) -> FloatArray:
    """What an analogue-to-digital converter of +-full_scale_A hands on [A]: whole steps, and flat at full scale."""
    step = full_scale_A / 2 ** (bits - 1)
    count = np.rint(current_A / step)
    return np.asarray(step * np.clip(count, -(2 ** (bits - 1)), 2 ** (bits - 1) - 1), dtype=np.float64)

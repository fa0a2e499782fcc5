"""Voltammograms of invented electrodes, from the physics of films and never from the model that reads them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from brinemark.science.curve import electrode_films as films
from brinemark.science.curve.electrode_theory import (
    FARADAY,
    surface_confined_current,
    surface_confined_peak_from_charge,
)
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.curves import Trace

LOW_V, HIGH_V = -0.50, 0.80
SCAN_RATE = 0.1
"""Scan rate of every invented sweep [V/s]."""
FILM_V, ANALYTE_V = -0.18, 0.58
"""Where the film's own wave and thiocyanate's wave lie [V], before the shift of the electrode's reference."""
AREA = 1e-4
"""Coated glass in the solution [m2]."""
SITES = 1.5e-6
"""Porphyrin that answers, for a loading of 1 [mol/m2 of glass]: about one layer on a thin porous film. Invented."""
ANSWERING = 0.30
"""Share of those sites that answers with a wave at thiocyanate's place when all are filled. Invented."""
WEAK_SHARE, WEAK_RATIO = 0.08, 40.0
"""Mild heterogeneity: a few sites bind this many times more weakly. Invented."""
FADED, FADED_SD = -0.02, 0.03
"""Change of the logarithm of a film's answer from one dip to the next: mean and standard deviation. Invented."""


@dataclass(frozen=True, slots=True)
class Film:
    """One electrode as it really is; the logbook never sees these numbers.

    loading : sites relative to the recipe [1]; yield_per_site : answer per site relative to the recipe [1];
    floor : wave of capacitance, bare oxide and bound chloride at thiocyanate's place, as a ratio to the full wave;
    constant : level that fills half of the strong sites [ug/L]; capacitance_F; resistance_ohm : uncompensated;
    tail_A : oxidation current at the upper turn; leak_S : conductance of a short through the film; shift_V :
    shift of the reference, shared by both waves.
    """

    loading: float
    yield_per_site: float
    floor: float
    constant: float
    capacitance_F: float = 3.0e-5
    resistance_ohm: float = 80.0
    tail_A: float = 6e-7
    leak_S: float = 0.0
    shift_V: float = 0.0


@dataclass(frozen=True, slots=True)
class Meter:
    """One invented potentiostat.

    gain : reading over truth [1]; noise_A, noise_time_s : standard deviation and correlation time of its noise;
    step_V : potential step; cycles : how many it runs; filter_s : its amplifier's filter; full_scale_A, bits :
    converter; drift_A : spread of the baseline's wandering over one curve.
    """

    name: str
    gain: float
    noise_A: float
    noise_time_s: float
    step_V: float
    cycles: int
    filter_s: float = 0.02
    full_scale_A: float = 1e-4
    bits: int = 16
    drift_A: float = 3e-8


BENCH = Meter("bench", gain=1.0, noise_A=1.2e-7, noise_time_s=0.035, step_V=0.004, cycles=2)
PORTABLE = Meter("portable", gain=0.9, noise_A=4.0e-7, noise_time_s=0.05, step_V=0.005, cycles=1, bits=13, drift_A=1e-7)


def next_dip(film: Film, random: np.random.Generator) -> Film:
    """The same film at its next dip: its sites answer a little less, or more."""
    return replace(film, yield_per_site=film.yield_per_site * float(np.exp(random.normal(FADED, FADED_SD))))


def film_charge(film: Film) -> float:
    """Charge of the film's own wave [C], one electron per site."""
    return FARADAY.value * AREA * SITES * film.loading


def analyte_peak_current(film: Film, level: float) -> float:
    """Height of the wave at thiocyanate's place [A] at a level of the cell [ug/L]."""
    filled = films.two_site_filling(level, film.constant, WEAK_SHARE, WEAK_RATIO)
    full_charge = ANSWERING * film.yield_per_site * film_charge(film)
    return surface_confined_peak_from_charge(full_charge, SCAN_RATE) * (film.floor + filled)


def film_current(film: Film, level: float, direction: float, potential_V: FloatArray) -> FloatArray:
    """Current that flows through the film at its own potential, without charging the capacitance [A].

    direction : +1 anodic, -1 cathodic sweep. The film's couple is reversible and a little wide (sites disturb each
    other); thiocyanate's wave comes back smaller and shifted, as its product partly leaves.
    """
    film_peak = surface_confined_peak_from_charge(film_charge(film), SCAN_RATE, n=0.8)
    own = surface_confined_current(potential_V, FILM_V + film.shift_V, direction * film_peak, n=0.8)
    back = 1.0 if direction > 0 else -0.5
    place = ANALYTE_V + film.shift_V + (0.0 if direction > 0 else -0.03)
    answer = surface_confined_current(potential_V, place, back * analyte_peak_current(film, level))
    tail = films.oxidation_tail(potential_V, HIGH_V, film.tail_A, 0.05)
    return own + answer + tail + film.leak_S * potential_V


def voltammogram(film: Film, level: float, meter: Meter, random: np.random.Generator) -> Trace:
    """One curve of a film in water with level [ug/L] of thiocyanate, as the meter shows it, anodic positive."""
    potential, time, direction = films.triangle_sweep(LOW_V, HIGH_V, meter.step_V, SCAN_RATE, meter.cycles)
    current = np.empty_like(potential)
    for way in (1.0, -1.0):
        here = direction == way
        through = partial(film_current, film, level, way)
        current[here] = films.with_resistance(through, potential[here], film.resistance_ohm)
    current += films.charging_current(time, direction, film.capacitance_F, SCAN_RATE, film.resistance_ohm)
    return Trace(
        potential_V=potential, current_A=_shown(current, time, meter, random), time_s=time, cycle=_cycle(direction)
    )


def _shown(current: FloatArray, time: FloatArray, meter: Meter, random: np.random.Generator) -> FloatArray:
    """What the meter makes of the true current: drift, noise, filter, gain and converter."""
    step = float(time[1] - time[0])
    kept = float(np.exp(-step / meter.noise_time_s))
    wandering = films.slow_drift(time, random.normal(0.0, 4e-9), meter.drift_A, random)
    noisy = current + wandering + films.correlated_noise(time.size, meter.noise_A, kept, random)
    return films.converted(meter.gain * films.low_pass(noisy, step, meter.filter_s), meter.full_scale_A, meter.bits)


def _cycle(direction: FloatArray) -> IntArray:
    """Number of the cycle of each point, from 1."""
    upturn = np.concatenate([[False], (direction[1:] > 0) & (direction[:-1] < 0)])
    return (1 + np.cumsum(upturn)).astype(np.int64)

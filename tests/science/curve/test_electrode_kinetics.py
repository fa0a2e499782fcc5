"""Quasi-reversible waves against published separations and both limits; slopes against scan rate on known couples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.curve import electrode_kinetics as kinetics
from brinemark.science.curve import electrode_theory as theory
from brinemark.terms.errors import Refused
from reference.quasi_reversible import PRINT_OFF_MV, SEPARATIONS, SWITCHES_V

GRID_MV = 0.01
"""Steps of 0.5 mV leave at most 0.002 mV; the tables carry three decimals."""

RATES = np.array([0.02, 0.05, 0.1, 0.2, 0.5])


@pytest.mark.parametrize("place", range(3))
@pytest.mark.parametrize("row", SEPARATIONS, ids=lambda row: f"psi {row[0]:g}")
def test_peak_separations_are_those_computed_independently(
    row: tuple[float, float, tuple[float | None, ...]], place: int
) -> None:
    got, wanted = kinetics.peak_separation(row[0], SWITCHES_V[place]), row[2][place]
    if wanted is None:
        assert got is None
    else:
        assert got is not None
        assert 1e3 * got == pytest.approx(wanted, abs=GRID_MV)


@pytest.mark.parametrize("row", SEPARATIONS[:-1], ids=lambda row: f"psi {row[0]:g}")
def test_the_printed_separations_hold_within_their_stated_discrepancy(
    row: tuple[float, float, tuple[float | None, ...]],
) -> None:
    """At a switch of 112.5 mV; psi 0.1 is left out, since its reverse peak lies beyond that sweep."""
    got = kinetics.peak_separation(row[0], 0.1125)
    assert got is not None
    assert 1e3 * got == pytest.approx(row[1], abs=PRINT_OFF_MV)


def test_a_fast_couple_gives_the_reversible_wave() -> None:
    wave = kinetics.quasi_reversible_wave(1e4, 0.3)
    down = slice(0, wave.turn + 1)
    ideal = theory.reversible_current_function(wave.potential_V[down] / theory.thermal_voltage())
    assert np.abs(wave.function[down] - ideal).max() < 2e-4


def test_a_slow_couple_gives_the_irreversible_peak() -> None:
    wave = kinetics.quasi_reversible_wave(1e-4, 0.8)
    top = wave.function[: wave.turn + 1].max()
    assert top == pytest.approx(theory.IRREVERSIBLE_PEAK * math.sqrt(0.5), rel=1e-4)


def test_more_electrons_narrow_the_separation_in_proportion() -> None:
    one, two = kinetics.peak_separation(1.0, 0.2), kinetics.peak_separation(1.0, 0.1, n=2.0)
    assert one is not None
    assert two == pytest.approx(one / 2.0, rel=1e-9)


def test_the_kinetic_parameter_falls_with_the_root_of_the_scan_rate() -> None:
    """psi = k0 sqrt(RT)/sqrt(pi D n F v): by hand 1e-4/sqrt(pi 1e-9 0.1/0.0256926) = 0.9043."""
    assert kinetics.kinetic_parameter(1e-4, 1e-9, 0.1) == pytest.approx(0.9043, abs=5e-5)
    ratio = kinetics.kinetic_parameter(1e-4, 1e-9, 0.1) / kinetics.kinetic_parameter(1e-4, 1e-9, 0.4)
    assert ratio == pytest.approx(2.0)


@pytest.mark.parametrize(("psi", "switch_V", "alpha"), [(0.0, 0.2, 0.5), (1.0, -0.1, 0.5), (1.0, 0.2, 1.0)])
def test_impossible_couples_are_refused(psi: float, switch_V: float, alpha: float) -> None:
    with pytest.raises(Refused, match="above 0, alpha between 0 and 1"):
        kinetics.quasi_reversible_wave(psi, switch_V, alpha)


def test_published_peaks_of_both_kinds_have_their_slopes() -> None:
    diffusing = np.array([theory.randles_sevcik(1e-6, 1.0, 1e-9, float(rate)) for rate in RATES])
    bound = np.array([float(theory.surface_confined_peak_from_charge(1e-6, float(rate))) for rate in RATES])
    for peaks, slope, couple in ((diffusing, 0.5, "diffusing"), (bound, 1.0, "surface-bound")):
        study = kinetics.scan_rate_study(RATES, peaks)
        assert study.slope == pytest.approx(slope, rel=1e-9)
        assert study.couple == couple


def test_the_interval_of_the_slope_holds_the_truth_in_95_percent() -> None:
    rng, runs = np.random.default_rng(20291), 2000
    held = 0
    for _ in range(runs):
        study = kinetics.scan_rate_study(RATES, 1e-6 * RATES**0.5 * np.exp(0.05 * rng.normal(size=RATES.size)))
        held += study.interval[0] <= 0.5 <= study.interval[1]
    assert held / runs == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / runs))


def test_a_slope_between_is_told_and_one_beyond_or_too_loose_cannot_say() -> None:
    between = kinetics.scan_rate_study(RATES, 1e-6 * RATES**0.75)
    assert (between.couple, "between 1/2 and 1" in between.reason) == ("in between", True)
    for slope in (0.3, 1.2):
        beyond = kinetics.scan_rate_study(RATES, 1e-6 * RATES**slope)
        assert (beyond.couple, "neither" in beyond.reason) == ("cannot say", True)
    loose = kinetics.scan_rate_study(RATES[:3], np.array([1.0, 3.0, 2.5]) * 1e-6)
    assert (loose.couple, "both" in loose.reason) == ("cannot say", True)


@pytest.mark.parametrize(
    ("rates", "peaks"), [([0.1, 0.2, 0.5], [1.0, -1.0, 2.0]), ([0.1, 0.1, 0.2], [1.0, 1.0, 2.0]), ([0.1, 0.2], [1.0])]
)
def test_peaks_without_a_study_are_refused(rates: list[float], peaks: list[float]) -> None:
    with pytest.raises(Refused, match="different rates at least"):
        kinetics.scan_rate_study(np.array(rates), np.array(peaks))

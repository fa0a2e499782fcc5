"""Classical standard additions on known truth: coverage, bends, volumes, siblings, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.amount.classical import (
    AddedLevel,
    Blank,
    combined_addition,
    sibling_addition,
    standard_addition,
    volume_corrected,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

ADDED = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
LEVEL, SLOPE, NOISE = 2.0, 0.5, 0.02
TRIALS = 2_000
NOMINAL = 0.95
MONTE_CARLO = 3.0 * math.sqrt(NOMINAL * (1.0 - NOMINAL) / TRIALS)
CHOSEN = 0.01
"""What coverage may move by because only lines that look straight are answered."""
ROUNDING = 1e-9


def straight(rng: np.random.Generator, noise: float = NOISE) -> FloatArray:
    return np.asarray(SLOPE * (LEVEL + ADDED) + noise * rng.normal(size=ADDED.size))


def holds(found: AddedLevel, level: float = LEVEL) -> bool:
    return found.lower is not None and found.upper is not None and found.lower <= level <= found.upper


def saturated(level: FloatArray, K: float = 2.0) -> FloatArray:
    return np.asarray(level / (K + level))


def test_exact_ends_hold_the_level_as_often_as_they_say() -> None:
    rng = np.random.default_rng(175)
    answers = [standard_addition(ADDED, straight(rng)) for _ in range(TRIALS)]
    said = [found for found in answers if found.reason is None]
    # A straight line is turned away as bent one time in twenty.
    assert len(said) / TRIALS == pytest.approx(0.95, abs=MONTE_CARLO)
    assert np.mean([holds(found) for found in said]) == pytest.approx(NOMINAL, abs=MONTE_CARLO + CHOSEN)


def test_a_line_without_noise_gives_the_level_itself() -> None:
    found = standard_addition(ADDED, SLOPE * (LEVEL + ADDED))
    assert found.level == pytest.approx(LEVEL, rel=ROUNDING)
    assert found.lower == pytest.approx(LEVEL, rel=ROUNDING)
    assert found.upper == pytest.approx(LEVEL, rel=ROUNDING)


def test_units_of_signal_and_level_change_nothing_else() -> None:
    signal = straight(np.random.default_rng(6))
    found = standard_addition(ADDED, signal)
    other = standard_addition(1e3 * ADDED, 1e-6 * signal)
    assert found.level is not None
    assert found.u is not None
    assert other.level == pytest.approx(1e3 * found.level, rel=ROUNDING)
    assert other.u == pytest.approx(1e3 * found.u, rel=ROUNDING)
    assert other.bend_p == pytest.approx(found.bend_p, rel=1e-6)


def test_a_saturating_electrode_is_turned_away_as_bent() -> None:
    """K = 2, a sample at 1, additions up to 8, noise of one part in a hundred."""
    rng = np.random.default_rng(8)
    added = np.linspace(0.0, 8.0, 6)
    answers = [
        standard_addition(added, saturated(1.0 + added) * (1.0 + 0.01 * rng.normal(size=added.size)))
        for _ in range(200)
    ]
    bent = [found for found in answers if found.reason is not None]
    assert len(bent) / len(answers) > 0.99
    assert all("bends" in str(found.reason) and found.level is None for found in bent)


def test_why_bends_matter_a_bend_that_noise_hides_reads_far_too_high() -> None:
    """K = 2, a sample at 1, four readings with noise of three parts in a hundred: few are seen to bend."""
    rng = np.random.default_rng(28)
    added = np.array([0.0, 1.0, 2.0, 3.0])
    answers = [standard_addition(added, saturated(1.0 + added) + 0.02 * rng.normal(size=4)) for _ in range(400)]
    levels = [found.level for found in answers if found.level is not None]
    assert len(levels) > 100
    assert np.median(levels) > 2.0 * 1.0
    # So each answer says how low a bend that the points allow would bring it. The parabola is not the true curve, and
    # only its bend is at its limit, so this is no interval end: it lies below the level in nine cases of ten.
    low = [found.if_bent for found in answers if found.if_bent is not None]
    assert len(low) == len(levels)
    assert np.mean(np.array(low) < 1.0) > 0.9
    warned = [any("cannot exclude" in text for text in found.warnings) for found in answers if found.level is not None]
    assert np.mean(warned) > 0.9


def test_three_readings_carry_the_warning_that_a_bend_cannot_be_seen() -> None:
    found = standard_addition(ADDED[:3], SLOPE * (LEVEL + ADDED[:3]))
    assert found.bend_p is None
    assert found.level == pytest.approx(LEVEL)
    assert "bends" in found.warnings[0]


def test_a_floor_left_in_reads_as_analyte_and_the_blank_takes_it_out() -> None:
    signal = 0.2 + SLOPE * (LEVEL + ADDED)
    assert standard_addition(ADDED, signal).level == pytest.approx(LEVEL + 0.2 / SLOPE, rel=ROUNDING)
    found = standard_addition(ADDED, signal, Blank(0.2, 0.05))
    assert found.level == pytest.approx(LEVEL, rel=ROUNDING)
    assert found.u == pytest.approx(0.05 / SLOPE, rel=1e-6)


def test_the_blank_s_uncertainty_keeps_coverage() -> None:
    """Blank known to 0.02 beside noise of .002: its normal error, taken on t_3, may only widen the interval."""
    rng = np.random.default_rng(3)
    held = []
    for _ in range(TRIALS):
        found = standard_addition(ADDED, straight(rng, 0.002) + 0.2, Blank(0.2 + 0.02 * rng.normal(), 0.02))
        if found.reason is None:
            held.append(holds(found))
    assert np.mean(held) > NOMINAL - MONTE_CARLO


def test_volumes_are_corrected_and_leaving_them_in_reads_too_high() -> None:
    """10 mL of sample at 2 ug/L, stock at 50 ug/L, 0.3 mL at a time."""
    added_mL = np.array([0.0, 0.3, 0.6, 0.9, 1.2])
    cell = (10.0 * LEVEL + 50.0 * added_mL) / (10.0 + added_mL)
    signal = 0.1 + SLOPE * cell
    added, corrected = volume_corrected(signal, 10.0, added_mL, 50.0, Blank(0.1))
    assert added == pytest.approx(5.0 * added_mL)
    assert standard_addition(added, corrected, Blank(0.1)).level == pytest.approx(LEVEL, rel=ROUNDING)
    left_in = standard_addition(added[:3], signal[:3], Blank(0.1))
    assert left_in.level is not None
    assert left_in.level > 1.05 * LEVEL


def test_siblings_of_different_gain_hold_the_level_as_often_as_they_say() -> None:
    """Nine siblings, gains apart by one part in ten: the scatter grows with the signal, which plain weights miss."""
    rng = np.random.default_rng(9)
    added = np.repeat([0.0, 2.0, 6.0], 3)
    weighted: list[bool] = []
    plain: list[bool] = []
    for _ in range(TRIALS):
        signal = SLOPE * (LEVEL + added) * np.exp(0.1 * rng.normal(size=added.size))
        for line, held in ((sibling_addition, weighted), (standard_addition, plain)):
            found = line(added, signal)
            if found.reason is None:
                held.append(holds(found))
    assert np.mean(weighted) == pytest.approx(NOMINAL, abs=MONTE_CARLO + 2.0 * CHOSEN)
    assert len(weighted) > 0.9 * TRIALS
    assert np.mean(plain) > np.mean(weighted)  # too wide: the sample's own end scatters less than the line thinks


def test_electrodes_with_their_own_lines_are_combined_by_their_scatter() -> None:
    rng = np.random.default_rng(4)
    held = []
    for _ in range(400):
        # Each electrode's own gain cancels; a level of its own stands for what differs between portions.
        parts = [
            standard_addition(ADDED, math.exp(0.3 * rng.normal()) * (straight(rng) + SLOPE * 0.3 * rng.normal()))
            for _ in range(4)
        ]
        mean = combined_addition(parts)
        if mean.level is not None and mean.half_width is not None:
            held.append(abs(mean.level - LEVEL) <= mean.half_width)
    assert len(held) > 390
    assert np.mean(held) == pytest.approx(NOMINAL, abs=3.0 * math.sqrt(NOMINAL * 0.05 / 400) + CHOSEN)


def test_one_electrode_has_no_scatter_to_combine() -> None:
    bent = standard_addition(np.linspace(0.0, 8.0, 6), saturated(1.0 + np.linspace(0.0, 8.0, 6)))
    good = standard_addition(ADDED, straight(np.random.default_rng(1)))
    found = combined_addition([bent, good])
    assert found.level is None
    assert "1 of 2 electrodes" in str(found.reason)


@pytest.mark.parametrize(
    ("signal", "words"),
    [
        (np.array([1.0, 0.9, 0.83, 0.7, 0.61]), "does not rise"),
        (np.array([1.0, 1.3, 0.8, 1.25, 1.1]), "cannot be told from 0"),
    ],
)
def test_a_line_that_bounds_no_level_is_an_answer_with_a_reason(signal: FloatArray, words: str) -> None:
    for line in (standard_addition, sibling_addition):
        found = line(ADDED, signal)
        assert found.level is None
        assert words in str(found.reason)


def test_a_sibling_line_below_the_blank_is_an_answer_with_a_reason() -> None:
    found = sibling_addition(ADDED, straight(np.random.default_rng(2)), Blank(1.5))
    assert found.level is None
    assert "below the blank" in str(found.reason)


def test_a_level_far_outside_the_additions_or_below_nothing_carries_a_warning() -> None:
    rng = np.random.default_rng(12)
    far = standard_addition(0.1 * ADDED, SLOPE * (LEVEL + 0.1 * ADDED) + 1e-4 * rng.normal(size=5))
    assert any("outside" in text for text in far.warnings)
    below = standard_addition(ADDED, SLOPE * ADDED - 0.1 + 1e-4 * rng.normal(size=5))
    assert below.level is not None
    assert below.level < 0.0
    assert any("negative" in text for text in below.warnings)


@pytest.mark.parametrize(
    ("added", "signal", "words"),
    [
        ([0.0, 1.0], [1.0, 2.0], "2 readings in a standard addition; expected at least 3"),
        ([0.0, 1.0, 2.0], [1.0, 2.0], "3 additions and 2 signals"),
        ([0.0, 1.0, math.nan], [1.0, 2.0, 3.0], "not finite"),
        ([0.0, 1.0, 2.0], [1.0, math.inf, 3.0], "not finite"),
        ([-1.0, 0.0, 1.0], [1.0, 2.0, 3.0], "added level -1"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], "at 1 levels"),
    ],
)
def test_wrong_additions_are_refused(added: list[float], signal: list[float], words: str) -> None:
    for line in (standard_addition, sibling_addition):
        with pytest.raises(Refused, match=words):
            line(np.array(added), np.array(signal))


@pytest.mark.parametrize(
    ("cell", "stock", "added", "words"),
    [
        (0.0, 50.0, [0.0, 0.1], "cell volume 0"),
        (10.0, -1.0, [0.0, 0.1], "stock level -1"),
        (10.0, 50.0, [0.0, -0.1], "never falling"),
        (10.0, 50.0, [0.2, 0.1], "never falling"),
        (10.0, 50.0, [0.0, math.nan], "never falling"),
    ],
)
def test_wrong_volumes_are_refused(cell: float, stock: float, added: list[float], words: str) -> None:
    with pytest.raises(Refused, match=words):
        volume_corrected(np.array([1.0, 2.0]), cell, np.array(added), stock)

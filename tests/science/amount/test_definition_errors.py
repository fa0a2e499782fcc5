"""Errors of amounts by hand, their standard error against the textbook, and what counts as told apart."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.amount.definition_errors import (
    MOST,
    SHARED_TEACHERS,
    STEP_SHARE,
    amount_error,
    difference,
    guess_error,
    jackknife_u,
    log_errors,
    step_of,
    told_apart,
)

STEP, HIGHEST = 0.4, 20.0


def errors(read: list[float], level: list[float]) -> list[float]:
    return [float(one) for one in log_errors(np.array(read), np.array(level), HIGHEST, STEP)]


def test_errors_are_those_of_a_hand_computation() -> None:
    found = errors([0.0, 1.6, 0.0, 1.0], [0.0, 0.6, 0.6, 4.0])
    assert found == pytest.approx([0.0, math.log(2.0), math.log(2.5), math.log(4.4 / 1.4)], rel=1e-12)


def test_an_open_reading_counts_as_twice_the_highest_standard() -> None:
    top = MOST * HIGHEST + STEP
    assert errors([math.inf, 1e9], [20.0, 20.0]) == pytest.approx([math.log(top / 20.4)] * 2, rel=1e-12)


def test_no_curve_counts_as_the_largest_error_that_the_level_allows() -> None:
    top = MOST * HIGHEST + STEP
    found = errors([math.nan, math.nan], [0.0, 20.0])
    assert found == pytest.approx([math.log(top / STEP), math.log(20.4 / STEP)], rel=1e-12)


def test_one_guess_for_all_is_the_best_of_all_constant_readings() -> None:
    level = np.array([0.0, 0.0, 0.5, 2.0, 2.0, 8.0, 20.0])
    tried = [log_errors(np.full(7, one), level, HIGHEST, STEP).mean() for one in np.linspace(0.0, 20.0, 2001)]
    assert guess_error(level, STEP) == pytest.approx(min(tried), abs=1e-9)


def test_the_step_is_a_share_of_the_middle_standard_and_goes_with_the_unit() -> None:
    levels = np.array([0.0, 0.0, 0.5, 2.0, 8.0])
    assert step_of(levels) == pytest.approx(STEP_SHARE * 2.0)
    assert step_of(17.2 * levels) == pytest.approx(17.2 * step_of(levels))
    read = np.array([0.3, 0.0, 1.0, math.inf, 5.0])
    plain = log_errors(read, levels, 8.0, step_of(levels))
    other = log_errors(17.2 * read, 17.2 * levels, 17.2 * 8.0, step_of(17.2 * levels))
    assert other == pytest.approx(plain, rel=1e-12)


def test_with_one_electrode_in_each_batch_the_jackknife_is_the_error_of_a_mean() -> None:
    """s/sqrt(n): the jackknife of a mean of independent values is exact."""
    values = np.random.default_rng(20421).exponential(size=12)
    names = [f"B{k}" for k in range(12)]
    assert jackknife_u(values, names) == pytest.approx(float(values.std(ddof=1)) / math.sqrt(12), rel=1e-12)


def test_errors_that_batches_share_make_the_standard_error_larger() -> None:
    rng = np.random.default_rng(20422)
    values = np.repeat(rng.exponential(size=10), 4)
    together = jackknife_u(values, [f"B{k // 4}" for k in range(40)])
    alone = jackknife_u(values, [f"B{k}" for k in range(40)])
    assert together > 1.5 * alone


def test_one_batch_says_nothing_of_its_error() -> None:
    assert jackknife_u(np.array([1.0, 2.0]), ["B1", "B1"]) == 0.0


def test_a_summary_holds_the_shares_of_open_and_unread() -> None:
    read = np.array([0.0, 1.0, math.inf, math.nan])
    level = np.array([0.0, 1.0, 20.0, 4.0])
    found = log_errors(read, level, HIGHEST, STEP)
    made = amount_error(read, found, ["B1", "B1", "B2", "B2"])
    assert (made.open_share, made.unread_share) == (0.25, 0.25)
    assert made.typical == pytest.approx(float(found.mean()))
    assert made.rmse >= made.typical >= made.median


def test_a_difference_is_paired_over_electrodes() -> None:
    """Large errors that both share leave no trace in the difference."""
    rng = np.random.default_rng(20423)
    shared, batch = rng.exponential(size=30), [f"B{k // 3}" for k in range(30)]
    apart, u = difference(shared + 0.1, shared, batch)
    assert apart == pytest.approx(0.1)
    assert u < 1e-12 < jackknife_u(shared, batch)


def test_told_apart_is_student_s_t_over_all_comparisons() -> None:
    """t(.975, 4) = 2.776 and t(.995, 4) = 4.604: tables of Student's t."""
    assert told_apart(0.278, 0.1, 5, 1)
    assert not told_apart(0.277, 0.1, 5, 1)
    assert told_apart(-0.461, 0.1, 5, 5)
    assert not told_apart(-0.460, 0.1, 5, 5)
    assert not told_apart(0.0, 0.0, 5, 1)
    assert not told_apart(1.0, 0.1, 1, 1)


def test_the_standard_error_of_a_difference_covers_what_teachers_share() -> None:
    """Errors in which each batch's own oddity moves the readings of all other batches, as where it teaches them: the
    mean over 2,000 such sets scatters within 10 % of the stated standard error; 3 Monte Carlo SE are 5 %."""
    rng, batches = np.random.default_rng(20461), 8
    names, found = [f"B{k}" for k in range(batches)], []
    for _ in range(2000):
        odd, own = rng.normal(0.0, 1.0, batches), rng.normal(0.0, 1.0, batches)
        taught = (odd.sum() - odd) / (batches - 1)
        found.append(difference(own + 0.66 * taught, np.zeros(batches), names))
    means, us = np.array(found).T
    assert means.std() == pytest.approx(float(np.sqrt(np.mean(us**2))), rel=0.10)
    assert means.std() > 1.1 * float(np.sqrt(np.mean(us**2))) / SHARED_TEACHERS

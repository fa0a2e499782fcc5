"""Run control: sittings, limits from history on known truth, blanks, recoveries, and the decision."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.run_control import (
    BLANK,
    CHECK,
    SPIKED,
    ControlFinding,
    ControlLimits,
    Expected,
    control_limits,
    decide,
    level_zero_finding,
    recovery_finding,
    sittings,
)
from brinemark.terms.amounts import ConfidenceCurve, Estimate, Reading

STARTING = (0.7, 1.3)


def reading(
    median: float | None, lower: float | None, upper: float | None, at_zero: float = 0.999, reason: str | None = None
) -> Reading:
    curve = ConfidenceCurve(np.array([0.0, 1.0]), np.array([at_zero, at_zero / 2]), 0.0)
    two_sided = Estimate(median, lower, upper, 0.95, 2)
    return Reading("quantified", reason, None, None, None, None, None, (), (), curve, two_sided)


UNREAD = Reading("cannot say", "no curve", None, None, None, None, None, (), (), None, None)


def test_a_sitting_begins_with_its_first_moment_and_holds_the_longest_time() -> None:
    hours = (9.0, 30.0, 10.0, 20.9, 21.1, 33.0)
    assert sittings(hours, 12.0) == (0, 1, 0, 0, 1, 1)
    assert sittings((), 12.0) == ()


@given(st.lists(st.floats(0.0, 1e4), min_size=1, max_size=30), st.floats(0.1, 50.0))
def test_no_sitting_is_longer_than_allowed_and_none_could_begin_earlier(hours: list[float], longest: float) -> None:
    number = sittings(hours, longest)
    begins = []
    for one in sorted(set(number)):
        mine = [hour for hour, at in zip(hours, number, strict=True) if at == one]
        assert max(mine) - min(mine) <= longest
        begins.append(min(mine))
    assert all(later - earlier > longest for earlier, later in pairwise(begins))


@pytest.mark.parametrize("count", [20, 40, 100])
def test_limits_from_history_pass_all_but_a_few_thousandths_of_further_controls(count: int) -> None:
    rng = np.random.default_rng(20)
    rounds, further = 4000, 20
    beyond = 0
    for _ in range(rounds):
        past = np.exp(rng.normal(math.log(0.95), 0.25, count))
        limits = control_limits(list(past), (0.01, 100.0), 20)
        new = np.exp(rng.normal(math.log(0.95), 0.25, further))
        beyond += int(((new < limits.low) | (new > limits.high)).sum())
    # Nominal .0027. The t of .3674 (n - 1) degrees of freedom is an approximation: within a factor of 2.
    assert 0.00135 < beyond / (rounds * further) < 0.0054


def test_limits_from_history_are_hardly_moved_by_runs_that_failed() -> None:
    past = list(np.exp(np.random.default_rng(21).normal(0.0, 0.1, 40)))
    clean = control_limits(past, STARTING, 20)
    spoiled = control_limits([*past[:-4], 0.0, 0.05, math.inf, 12.0], STARTING, 20)
    assert clean.earlier == spoiled.earlier == 40
    four_bad_in_forty = 0.15  # a standard deviation would be 10 times too large
    assert abs(math.log(spoiled.high / clean.high)) < four_bad_in_forty
    assert abs(math.log(spoiled.low / clean.low)) < four_bad_in_forty


def test_too_few_biased_or_equal_controls_leave_the_starting_limits() -> None:
    assert control_limits([1.0] * 19, STARTING, 20) == ControlLimits(0.7, 1.3)
    biased = control_limits(list(np.linspace(0.4, 0.5, 20)), STARTING, 20)
    assert (biased.low, biased.high, biased.earlier) == (0.7, 1.3, 0)
    assert "centre on 45 %" in biased.remark
    assert "no scatter" in control_limits([1.0] * 20, STARTING, 20).remark


@pytest.mark.parametrize(
    ("median", "lower", "upper", "passed"),
    [
        (2.0, 1.2, 3.0, True),
        (1.0, 0.5, 1.5, True),
        (1.0, 0.8, 1.39, False),
        (3.5, 2.7, 6.0, False),
        (3.5, 2.5, 6.0, True),
        (None, 2.7, None, False),
        (1.0, 0.5, None, True),
        (None, None, None, False),
    ],
)
def test_by_starting_limits_a_control_fails_only_with_its_whole_interval(
    median: float | None, lower: float | None, upper: float | None, passed: bool
) -> None:
    found = recovery_finding(CHECK, "C1", Expected(2.0), reading(median, lower, upper), ControlLimits(*STARTING))
    assert found.passed is passed
    assert "limits 70 % to 130 %, starting limits" in found.sentence


def test_by_limits_from_history_the_estimate_itself_is_compared() -> None:
    limits = ControlLimits(0.8, 1.25, 24)
    inside = recovery_finding(CHECK, "C1", Expected(2.0), reading(2.4, 1.0, 4.0), limits)
    outside = recovery_finding(CHECK, "C1", Expected(2.0), reading(1.2, 0.6, 3.0), limits)
    assert (inside.passed, outside.passed) == (True, False)
    assert outside.sentence == (
        "check standard C1 recovered 60 % (95 % interval 30 % to 150 %; limits 80 % to 125 %, from 24 earlier controls)"
    )


def test_a_spiked_water_recovers_the_rise_above_what_it_held() -> None:
    found = recovery_finding(SPIKED, "T", Expected(3.0, own=1.0), reading(2.8, 2.0, 4.0), ControlLimits(*STARTING))
    assert found.value == pytest.approx(0.9)
    assert (found.lower, found.upper) == (0.5, 1.5)
    assert (
        recovery_finding(SPIKED, "T", Expected(1.0, 1.0), reading(1.0, 0.5, 2.0), ControlLimits(0.7, 1.3)).passed
        is None
    )


def test_a_signal_below_every_blank_is_no_recovery_at_all() -> None:
    found = recovery_finding(
        CHECK, "C1", Expected(2.0), reading(0.0, None, None, at_zero=0.001), ControlLimits(*STARTING)
    )
    assert (found.passed, found.upper) == (False, 0.0)


@pytest.mark.parametrize(("at_zero", "passed"), [(0.5, True), (0.9995, False), (0.0005, False), (0.998, True)])
def test_a_blank_fails_when_blanks_are_hardly_ever_so_high_or_so_low(at_zero: float, passed: bool) -> None:
    found = level_zero_finding(BLANK, "B1-1", reading(0.0, 0.0, 1.0, at_zero), 0.001)
    assert found.passed is passed
    assert found.value == pytest.approx(min(at_zero, 1 - at_zero))
    assert ("high" in found.sentence) == (at_zero >= 0.5)


def finding(kind: str, passed: bool | None) -> ControlFinding:
    return ControlFinding(kind, "X", 1.0, None, None, None, None, passed, f"{kind} X")


def test_a_run_counts_with_a_control_and_without_a_failure() -> None:
    assert decide([finding(BLANK, True), finding(CHECK, True)]).accepted is True
    assert decide([finding(CHECK, True), finding(BLANK, False)]).accepted is False
    assert decide([finding(BLANK, False)]).reason == "blank X"
    none = decide([finding(BLANK, True)])
    assert (none.accepted, none.reason) == (None, "it holds no control (1 blank)")
    unread = decide([finding(CHECK, None)])
    assert (unread.accepted, unread.reason) == (None, "check standard X")


def test_a_control_that_cannot_be_read_tells_nothing() -> None:
    found = recovery_finding(CHECK, "C1", Expected(2.0), UNREAD, ControlLimits(*STARTING))
    assert (found.passed, found.sentence) == (None, "check standard C1 tells nothing: no curve")
    assert level_zero_finding(BLANK, "B", UNREAD, 0.001).passed is None

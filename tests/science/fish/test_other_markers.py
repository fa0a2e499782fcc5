"""Two methods on split samples: published lines and limits, and censored values that stay."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.distributions import student_quantile
from brinemark.science.fish import method_comparison as methods
from brinemark.science.fish import other_markers
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import Interval, MarkerResult
from reference import comparison_values as known

TWELFTH, SIXTH = 1e-10, 5e-7


def floats(values: object) -> FloatArray:
    return np.asarray(values, dtype=np.float64)


ARSENATE_X, ARSENATE_UX, ARSENATE_Y, ARSENATE_UY = floats(known.ARSENATE).T


def half(interval: Interval) -> float:
    return 0.5 * (interval.upper - interval.lower)


def test_the_line_through_arsenate_pairs_is_the_published_one() -> None:
    line = methods.line_with_errors(ARSENATE_X, ARSENATE_Y, ARSENATE_UX, ARSENATE_UY)
    assert (line.intercept, line.slope) == pytest.approx(known.ARSENATE_LINE_COMPUTED, abs=1e-9)
    assert (line.intercept, line.slope) == pytest.approx(known.ARSENATE_LINE, abs=2e-5)
    errors = [half(end) / student_quantile(0.975, 28) for end in (line.intercept_interval, line.slope_interval)]
    assert errors == pytest.approx(known.ARSENATE_ERRORS, rel=1e-9)
    assert line.scatter == pytest.approx(known.ARSENATE_SCATTER, abs=5e-6)


def test_the_line_through_pearsons_points_is_the_published_one() -> None:
    u_x, u_y = floats(known.PEARSON_WX) ** -0.5, floats(known.PEARSON_WY) ** -0.5
    line = methods.line_with_errors(floats(known.PEARSON_X), floats(known.PEARSON_Y), u_x, u_y)
    assert (line.intercept, line.slope) == pytest.approx(known.PEARSON_LINE, abs=TWELFTH)
    errors = [half(end) / student_quantile(0.975, 8) for end in (line.intercept_interval, line.slope_interval)]
    assert errors == pytest.approx(known.PEARSON_ERRORS, abs=SIXTH)


def test_exchanging_the_methods_inverts_the_line_with_errors() -> None:
    line = methods.line_with_errors(ARSENATE_X, ARSENATE_Y, ARSENATE_UX, ARSENATE_UY)
    other = methods.line_with_errors(ARSENATE_Y, ARSENATE_X, ARSENATE_UY, ARSENATE_UX)
    assert other.slope == pytest.approx(1.0 / line.slope, rel=1e-9)


def test_intervals_of_the_line_with_errors_hold_their_level() -> None:
    generator = np.random.default_rng(31)
    repeats, held = 400, 0
    truth = np.linspace(1.0, 20.0, 20)
    u_x, u_y = 0.1 * truth, 0.15 * truth
    for _ in range(repeats):
        x, y = truth + u_x * generator.standard_normal(20), 0.5 + 0.8 * truth + u_y * generator.standard_normal(20)
        ends = methods.line_with_errors(x, y, u_x, u_y).slope_interval
        held += ends.lower <= 0.8 <= ends.upper
    assert held / repeats == pytest.approx(0.95, abs=3.0 * math.sqrt(0.95 * 0.05 / repeats))


def test_the_ranked_line_is_that_of_the_published_examples() -> None:
    line = methods.ranked_line(floats(known.SEN_T), floats(known.SEN_Y), 0.93)
    assert (line.intercept, line.slope) == pytest.approx(known.SEN_LINE, rel=TWELFTH)
    assert line.slope_interval == pytest.approx(known.SEN_SLOPE_93, rel=TWELFTH)
    small = methods.ranked_line(np.arange(1.0, 7.0), floats(known.SMALL_Y))
    assert (small.intercept, small.slope) == pytest.approx(known.SMALL_LINE, rel=TWELFTH)


def test_the_ranked_line_through_arsenate_pairs_is_the_one_computed_elsewhere() -> None:
    line = methods.ranked_line(ARSENATE_X, ARSENATE_Y)
    assert (line.intercept, line.slope) == pytest.approx(known.ARSENATE_RANKED, rel=TWELFTH)
    assert line.slope_interval == pytest.approx(known.ARSENATE_RANKED_SLOPE, rel=TWELFTH)
    assert line.intercept_interval == pytest.approx(known.ARSENATE_RANKED_INTERCEPT, rel=TWELFTH)


def test_a_stray_pair_hardly_moves_the_ranked_line() -> None:
    x = np.arange(1.0, 21.0)
    y = 2.0 * x
    y[18] = 400.0
    assert methods.ranked_line(x, y).slope == pytest.approx(2.0, rel=TWELFTH)
    assert np.polyfit(x, y, 1)[0] > 3.0


def test_limits_of_agreement_are_those_of_the_two_meters() -> None:
    mini, large = floats(known.FLOW_MINI), floats(known.FLOW_LARGE)
    answer = methods.limits_of_agreement(mini, large)
    assert (answer.bias, answer.sd) == pytest.approx((known.FLOW_BIAS, known.FLOW_SD), abs=TWELFTH)
    assert (answer.lower, answer.upper) == pytest.approx(known.FLOW_LIMITS_196, abs=1e-8)
    printed = methods.limits_of_agreement(mini, large, multiple=2.0)
    rounding = known.FLOW_PRINTED_ROUNDING
    assert (printed.lower, printed.upper) == pytest.approx(known.FLOW_PRINTED_LIMITS, abs=rounding)
    intervals = (printed.bias_interval, printed.lower_interval, printed.upper_interval)
    for interval, ends in zip(intervals, known.FLOW_PRINTED_INTERVALS, strict=True):
        assert interval == pytest.approx(ends, abs=rounding)


def test_discordant_pairs_are_tested_by_the_binomial() -> None:
    counted = 2.0 * sum(math.comb(10, k) for k in range(3)) / 2**10
    assert methods.exact_mcnemar(2, 8) == pytest.approx(counted, rel=TWELFTH)
    assert methods.exact_mcnemar(8, 2) == methods.exact_mcnemar(2, 8)
    assert methods.exact_mcnemar(0, 0) == 1.0
    assert methods.exact_mcnemar(3, 3) == 1.0


def split_samples(count: int) -> list[other_markers.Pair]:
    """Pairs on a line of slope 0.9 without scatter; every fifth not found by the second, with a limit of 3."""
    pairs = []
    for number in range(count):
        level = 1.0 + number
        first = MarkerResult(f"s{number:02}", "thiocyanate", "electrode", "ug/L", level, 0.5, 0.1 * level)
        second = replace(first, method="mass spectrometry", value=0.9 * level, limit_of_detection=0.6)
        missed = replace(second, value=None, limit_of_detection=3.0, u=None)
        pairs.append((first, missed if number % 5 == 0 else second))
    return pairs


def test_values_not_found_stay_in_the_table_and_are_counted_where_left_out() -> None:
    answer = other_markers.compare(split_samples(25))
    assert (answer.pairs, answer.measured, answer.censored) == (25, 20, 5)
    assert (answer.agreement.both, answer.agreement.first_only, answer.agreement.neither) == (20, 5, 0)
    assert answer.agreement.p == pytest.approx(2 / 32)
    assert answer.remarks[0].startswith("5 of 25 pairs have a result not found")
    assert len(answer.remarks) == 2
    assert "no mean ratio: pairs without any scatter" in answer.remarks[1]


def test_the_mean_ratio_keeps_the_pairs_that_the_line_leaves_out() -> None:
    scatter = np.random.default_rng(61).normal(0.0, 0.1, 25)
    pairs = [
        (one, other if other.value is None else replace(other, value=other.value * math.exp(error)))
        for (one, other), error in zip(split_samples(25), scatter, strict=True)
    ]
    answer = other_markers.compare(pairs)
    assert answer.ratio is not None
    assert (answer.ratio.pairs, answer.ratio.censored) == (25, 5)
    # 16 ug/L by the electrode and below 3 by the other: such pairs pull the ratio far below 0.9.
    assert answer.ratio.ratio < 0.8


def test_lines_and_limits_come_from_the_pairs_measured_by_both() -> None:
    answer = other_markers.compare(split_samples(25))
    assert answer.line is not None
    assert answer.ranked_line is not None
    assert answer.limits is not None
    assert answer.line.slope == pytest.approx(0.9, rel=1e-9)
    assert answer.ranked_line.slope == pytest.approx(0.9, rel=1e-9)
    levels = [1.0 + number for number in range(25) if number % 5]
    assert answer.limits.bias == pytest.approx(-0.1 * float(np.mean(levels)))


def test_at_one_level_a_limit_above_it_leaves_the_pair_open() -> None:
    table = other_markers.agreement(split_samples(25), at=2.0)
    # Not found above 3 says nothing about 2; the second sample reads 2 and 1.8.
    assert table.undecided == 5
    assert (table.both, table.first_only, table.second_only, table.neither) == (19, 1, 0, 0)
    higher = other_markers.agreement(split_samples(25), at=3.5)
    assert higher.undecided == 0
    assert higher.both + higher.first_only + higher.neither == 25


def test_different_units_give_a_slope_but_no_limits_of_agreement() -> None:
    tissue = [(one, replace(other, marker="cyanide", unit="mg/kg")) for one, other in split_samples(25)]
    answer = other_markers.compare(tissue)
    assert answer.limits is None
    assert answer.line is not None
    assert any("different units" in remark for remark in answer.remarks)
    with pytest.raises(Refused, match="one unit"):
        other_markers.compare(tissue, at=1.0)


def test_too_few_pairs_and_missing_uncertainties_are_named() -> None:
    bare = [(replace(one, u=None), other) for one, other in split_samples(5)]
    answer = other_markers.compare(bare)
    assert (answer.line, answer.ranked_line) == (None, None)
    assert "4 pairs measured by both; 20 are wanted" in " ".join(answer.remarks)
    assert "a standard uncertainty is missing" in " ".join(answer.remarks)
    assert "no ranked line: 4 pairs" in " ".join(answer.remarks)


def test_a_value_below_its_limit_counts_as_not_found_and_keeps_its_value() -> None:
    result = MarkerResult("s1", "thiocyanate", "electrode", "ug/L", 0.2, 0.5, 0.1)
    assert not other_markers.found(result)
    assert result.value == 0.2
    assert other_markers.found(replace(result, value=0.5))


def test_results_are_paired_by_sample_and_a_sample_twice_is_refused() -> None:
    firsts, seconds = (list(side) for side in zip(*split_samples(3), strict=True))
    assert [one.sample for one, _ in other_markers.pairs_by_sample(firsts, seconds[1:])] == ["s01", "s02"]
    with pytest.raises(Refused, match="twice"):
        other_markers.pairs_by_sample([*firsts, firsts[0]], seconds)


@pytest.mark.parametrize(
    "change",
    [
        {"value": None, "limit_of_detection": None},
        {"limit_of_detection": 0.0},
        {"u": -1.0},
        {"value": math.inf},
    ],
)
def test_impossible_results_are_refused(change: dict[str, float | None]) -> None:
    result = MarkerResult("s1", "thiocyanate", "electrode", "ug/L", 2.0, 0.5, 0.1)
    with pytest.raises(Refused):
        other_markers.check_result(replace(result, **change))  # type: ignore[arg-type]

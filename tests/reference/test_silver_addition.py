"""The standard addition of a textbook, line, level and interval as printed."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.amount.classical import standard_addition
from reference import silver

HALF_DIGIT = 0.5
COMPUTED = 1e-9
ROUNDED_SUMS = 2e-3  # the print's standard uncertainty came from rounded sums


def test_the_silver_addition_gives_the_printed_level_and_interval() -> None:
    found = standard_addition(np.array(silver.ADDED), np.array(silver.ABSORBANCE))
    assert found.reason is None
    assert found.line.intercept == pytest.approx(silver.INTERCEPT, abs=HALF_DIGIT * 1e-4)
    assert found.line.slope == pytest.approx(silver.SLOPE, abs=HALF_DIGIT * 1e-4)
    assert found.level == pytest.approx(silver.PRINTED, abs=HALF_DIGIT * 1e-1)
    assert found.u == pytest.approx(silver.PRINTED_U, abs=ROUNDED_SUMS)
    assert found.half_width == pytest.approx(silver.PRINTED_HALF_WIDTH, abs=HALF_DIGIT * 1e-1)


def test_the_silver_addition_agrees_with_the_unrounded_arithmetic() -> None:
    found = standard_addition(np.array(silver.ADDED), np.array(silver.ABSORBANCE))
    assert found.level == pytest.approx(silver.LEVEL, rel=COMPUTED)
    assert found.u == pytest.approx(silver.LEVEL_U, rel=COMPUTED)
    assert found.half_width == pytest.approx(silver.HALF_WIDTH, rel=COMPUTED)


def test_the_silver_line_is_straight_and_its_exact_ends_lie_a_little_higher() -> None:
    """The classical interval is the exact one to first order; the exact upper end is the longer one."""
    found = standard_addition(np.array(silver.ADDED), np.array(silver.ABSORBANCE))
    assert found.bend_p is not None
    assert found.bend_p > 0.5
    assert found.lower is not None
    assert found.upper is not None
    assert silver.LEVEL - silver.HALF_WIDTH < found.lower < silver.LEVEL - 0.9 * silver.HALF_WIDTH
    assert silver.LEVEL + silver.HALF_WIDTH < found.upper < silver.LEVEL + 1.1 * silver.HALF_WIDTH

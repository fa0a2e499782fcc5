"""Student's t and chi-square of our own against scipy's, far into both tails."""

from __future__ import annotations

import math

import pytest
from scipy import special

from brinemark.science.distributions import (
    chi_square_above,
    chi_square_below,
    student_above,
    student_quantile,
)

RELATIVE = 1e-12
FREEDOMS = (0.3674, 1, 2, 3, 5, 19 * 0.3674, 7.3, 10, 30, 100, 1000)
PROBABILITIES = (1e-12, 1e-5, 1 - 0.99865, 0.025, 0.2, 0.49, 0.4999, 0.5001, 0.6, 0.95, 0.975, 0.99865)


@pytest.mark.parametrize("freedom", FREEDOMS)
def test_the_tail_of_student_is_that_of_scipy(freedom: float) -> None:
    # Nearer to 0 scipy itself loses digits, by the arc tangent below.
    for t in (0.0, 0.01, 0.3, 1.0, 2.0, 3.0, 5.0, 10.0, 50.0, 1000.0):
        assert student_above(t, freedom) == pytest.approx(special.stdtr(freedom, -t), rel=RELATIVE)
        assert student_above(-t, freedom) == pytest.approx(special.stdtr(freedom, t), rel=RELATIVE)


@pytest.mark.parametrize("freedom", FREEDOMS)
def test_the_quantile_of_student_is_that_of_scipy(freedom: float) -> None:
    for probability in PROBABILITIES:
        assert student_quantile(probability, freedom) == pytest.approx(
            special.stdtrit(freedom, probability), rel=RELATIVE
        )
    assert student_quantile(0.5, freedom) == 0.0


def test_one_degree_of_freedom_is_the_law_of_a_tangent() -> None:
    # P(T > t) = 1/2 - arctan(t)/pi, which needs nobody's program.
    for t in (1e-6, 0.1, 1.0, 7.0):
        assert student_above(t, 1) == pytest.approx(0.5 - math.atan(t) / math.pi, rel=RELATIVE)
        assert student_quantile(0.5 + math.atan(t) / math.pi, 1) == pytest.approx(t, rel=RELATIVE)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, math.nan])
def test_no_quantile_without_a_probability(probability: float) -> None:
    with pytest.raises(ValueError, match="probability"):
        student_quantile(probability, 3)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 9, 10, 33, 100])
def test_both_sides_of_chi_square_are_those_of_scipy(freedom: int) -> None:
    for x in (0.0, 1e-6, 0.01, 0.5, 1.0, 3.0, 10.0, 50.0, 200.0, 900.0):
        assert chi_square_above(x, freedom) == pytest.approx(special.chdtrc(freedom, x), rel=RELATIVE, abs=0.0)
        assert chi_square_below(x, freedom) == pytest.approx(special.chdtr(freedom, x), rel=RELATIVE, abs=0.0)

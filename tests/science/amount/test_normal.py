"""The normal distribution against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from brinemark.science.amount.normal import normal_cdf, normal_quantile, normal_scores

TABLE_ERROR = 3e-14
"""What the third order leaves over half a step of the table."""


def test_the_distribution_is_scipys_everywhere() -> None:
    z = np.concatenate([np.linspace(-40.0, 40.0, 200_003), [-np.inf, np.inf, 0.0, -0.0]])
    assert np.abs(normal_cdf(z) - ndtr(z)).max() < TABLE_ERROR


@given(st.floats(-8.0, 8.0))
def test_what_lies_above_and_below_make_one(z: float) -> None:
    both = normal_cdf(np.array([z])) + normal_cdf(np.array([-z]))
    assert float(both[0]) == pytest.approx(1.0, abs=2 * TABLE_ERROR)


def test_any_shape_is_kept_and_nothing_that_came_is_changed() -> None:
    z = np.arange(6.0).reshape(1, 2, 3)
    before = z.copy()
    assert normal_cdf(z).shape == (1, 2, 3)
    assert np.array_equal(z, before)


def test_quantiles_are_scipys_and_probabilities_are_kept_inside() -> None:
    p = np.concatenate([np.linspace(0.001, 0.999, 999), [1e-12, 1e-6, 1.0 - 1e-6]])
    assert normal_scores(p, 1e-15) == pytest.approx(ndtri(p), rel=1e-9, abs=1e-12)
    assert normal_quantile(0.975) == pytest.approx(1.959963984540054, abs=1e-14)  # NIST/SEMATECH e-Handbook 1.3.6.7.1
    assert normal_scores(np.array([0.0, 1.0, -1e-9]), 1e-12) == pytest.approx(ndtri([1e-12, 1 - 1e-12, 1e-12]), rel=1e-5)

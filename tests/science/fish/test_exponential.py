"""The exponential of many small matrices against a library's function for one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from brinemark.science.fish.exponential import exponential

ROUNDING = 1e-12


@pytest.mark.parametrize("scale", [1e-8, 0.1, 3.0, 40.0, 1000.0])
def test_it_agrees_with_the_library_on_flows_between_compartments(scale: float) -> None:
    rates = np.random.default_rng(6).exponential(size=(50, 5, 5)) * scale
    rates[:, range(5), range(5)] = 0.0
    M = rates - np.eye(5) * rates.sum(axis=-2)[:, None, :] * 1.1  # every column loses a tenth more than it hands on
    library = np.array([expm(matrix) for matrix in M])
    assert np.max(np.abs(exponential(M) - library)) < ROUNDING


def test_matrices_of_very_different_size_do_not_spoil_each_other() -> None:
    M = np.array([[[-1e-6, 0.0], [1e-6, 0.0]], [[-1e4, 0.0], [1e4, 0.0]]])
    turned = -np.expm1(-np.array([1e-6, 1e4]))
    assert np.allclose(exponential(M)[:, 1, 0], turned, rtol=ROUNDING, atol=0.0)


def test_nothing_in_nothing_out() -> None:
    assert exponential(np.zeros((0, 3, 3))).shape == (0, 3, 3)
    assert np.array_equal(exponential(np.zeros((2, 3, 3))), np.broadcast_to(np.eye(3), (2, 3, 3)))

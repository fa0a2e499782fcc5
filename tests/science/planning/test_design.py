"""Levels that tell most, against the classical D-optimal points."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from planned_history import new_batches

from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.response import occupancy
from brinemark.science.amount.simulate import SINGLE
from brinemark.science.planning.design import Design, response_gradient
from brinemark.terms.arrays import FloatArray

MAX = 20.0
GRID = np.linspace(0.0, MAX, 401)
STEP = GRID[1] - GRID[0]


def constant(gradient: FloatArray) -> Design:
    """One draw, the same variance at every level, nothing known beforehand."""
    count, size = gradient.shape
    return Design(gradient.T[None], np.ones((1, size)), np.zeros((count, count)))


def test_a_straight_line_is_best_known_from_its_two_ends() -> None:
    design = constant(np.stack([np.ones_like(GRID), GRID]))
    assert [GRID[i] for i in design.best(2)] == [0.0, MAX]
    assert [GRID[i] for i in design.best(4)] == [0.0, 0.0, MAX, MAX]


@pytest.mark.parametrize("K", [0.5, 2.0, 7.0])
def test_the_one_site_curve_is_best_known_from_its_top_and_from_one_level_below_K(K: float) -> None:
    occupied = occupancy(GRID, np.array(np.log(K)), np.array(1.0))
    design = constant(np.stack([occupied, -occupied * (1.0 - occupied)]))
    low, high = (GRID[i] for i in design.best(2))
    assert high == MAX
    assert low == pytest.approx(K * MAX / (2.0 * K + MAX), abs=STEP)


def test_the_response_itself_leads_to_these_levels_where_nothing_scatters() -> None:
    """The gradient of the program's own response, its floor and its scatters taken away."""
    law = still_law()
    gradient, variance = response_gradient(law, GRID)
    design = Design(gradient[:, :, :2], variance, np.zeros((2, 2)))
    low, high = (GRID[i] for i in design.best(2))
    K = float(np.exp(law.electrode.ln_K[0]))
    assert high == MAX
    assert low == pytest.approx(K * MAX / (2.0 * K + MAX), abs=STEP)


def still_law() -> DipLaw:
    law = new_batches().standard(SINGLE).laws[0].thinned(1)
    nothing = np.zeros(1)
    one = replace(
        law.electrode,
        h=np.ones(1),
        floor=np.full(1, 1e-12),
        spread=nothing,
        floor_sd=nothing,
        own_K_sd=nothing,
        cv=nothing,
    )
    return replace(law, electrode=one)


def test_what_is_known_already_is_not_asked_again() -> None:
    """Where history knows the line's slope, one electrode more goes to its middle's other direction: any level serves
    the height alike, and a second one adds as much."""
    gradient = np.stack([np.ones_like(GRID), GRID])
    known = Design(gradient.T[None], np.ones((1, GRID.size)), np.diag([0.0, 1e9]))
    unknown = Design(gradient.T[None], np.ones((1, GRID.size)), np.diag([1e-9, 1e-9]))
    assert unknown.value([0, 400]) - unknown.value([0, 0]) > 10.0
    assert known.value([0, 400]) == pytest.approx(known.value([0, 0]), abs=1e-3)

"""Roots looked for near a guess, against what the functions were made from."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from brinemark.science.amount.roots import NOTHING, root_near


@pytest.mark.parametrize("root", [-2.0, 0.0, 1.3])
def test_a_nearly_straight_function_takes_few_steps_from_a_good_guess(root: float) -> None:
    asked = []

    def bent(x: float) -> float:
        asked.append(x)
        return 4.0 * (x - root) + 0.3 * (x - root) ** 2

    assert root_near(bent, root + 0.02, 4.0) == pytest.approx(root, abs=NOTHING)
    assert len(asked) <= 4


def test_where_the_guess_is_the_root_nothing_else_is_asked() -> None:
    assert root_near(lambda x: x - 1.0, 1.0, 1.0) == 1.0


@pytest.mark.parametrize("function", [lambda x: 1.0, lambda x: float(np.exp(x)) + 1e-3, lambda x: float("nan")])
def test_where_there_is_none_it_says_so(function: Callable[[float], float]) -> None:
    assert root_near(function, 0.0, 1.0) is None

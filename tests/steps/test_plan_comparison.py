"""The fewest electrodes that explain another order are named."""

from __future__ import annotations

from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from brinemark.steps.plan_comparison import _longest_rising


def test_the_longest_rising_part_of_known_orders() -> None:
    assert _longest_rising([]) == frozenset()
    assert _longest_rising([0, 1, 2, 3]) == {0, 1, 2, 3}
    assert _longest_rising([3, 0, 1, 2]) == {0, 1, 2}
    assert len(_longest_rising([3, 2, 1, 0])) == 1


@given(st.permutations(range(7)))
def test_no_longer_rising_part_exists(order: list[int]) -> None:
    kept = _longest_rising(order)
    inside = [value for value in order if value in kept]
    assert all(one < other for one, other in pairwise(inside))
    longer = combinations(order, len(kept) + 1)
    assert not any(all(one < other for one, other in pairwise(part)) for part in longer)

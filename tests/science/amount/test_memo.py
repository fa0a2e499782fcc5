"""What is remembered for the next reading: made once, and no more of it than there is room for."""

from __future__ import annotations

from functools import partial

from brinemark.science.amount.memo import Memo


def asked(room: int, keys: str) -> tuple[list[str], Memo]:
    """The keys whose values were made, in order, when they were asked for one after another."""
    memo, made = Memo(room), []

    def value(key: str) -> str:
        made.append(key)
        return key.upper()

    for key in keys:
        assert memo.of(key, partial(value, key)) == key.upper()
    return made, memo


def test_a_value_is_made_once_while_it_is_kept() -> None:
    assert asked(2, "abab")[0] == ["a", "b"]


def test_what_was_not_asked_for_longest_gives_way() -> None:
    made, memo = asked(2, "abacab")
    assert made == ["a", "b", "c", "b"]
    assert len(memo) == 2

"""Codes mean nothing, differ, and show any one wrong sign and any two that changed places."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import pytest
from scipy.stats import chi2

from brinemark.science.making.codes import LENGTH, SIGNS, check_sign, draw_codes, is_code, looks_coded
from brinemark.science.making.draws import Draws
from brinemark.terms.errors import Refused

CHANCE = 1e-5


def test_the_signs_are_a_prime_number_of_different_signs_without_look_alikes() -> None:
    assert len(set(SIGNS)) == len(SIGNS) == 17
    for alike in ("B8", "G6", "I1L", "O0Q", "S5", "UV", "Z2"):
        assert len(set(alike) & set(SIGNS)) <= 1
    assert set("AEIOU").isdisjoint(SIGNS)


def test_the_check_is_worked_out_by_hand() -> None:
    """C D F H are 0 1 2 3: 1*0 + 2*1 + 3*2 + 4*3 = 20 = 3 modulo 17, which is H."""
    assert check_sign("CDFH") == "H"
    assert is_code("CDFHH")
    assert not is_code("CDFHJ")
    assert not is_code("CDFH")
    assert not is_code("cdfhh")
    assert not looks_coded("S0001")


def test_every_single_slip_and_every_exchange_of_two_signs_is_seen() -> None:
    for code in draw_codes(300, (), 5):
        assert is_code(code)
        for place in range(LENGTH + 1):
            for sign in set(SIGNS) - {code[place]}:
                assert not is_code(code[:place] + sign + code[place + 1 :])
        for one, other in combinations(range(LENGTH + 1), 2):
            swapped = list(code)
            swapped[one], swapped[other] = code[other], code[one]
            assert code[one] == code[other] or not is_code("".join(swapped))


def test_codes_differ_and_avoid_those_in_use_and_come_again_from_the_same_seed() -> None:
    first = draw_codes(2000, (), 11)
    assert len(set(first)) == 2000
    assert draw_codes(2000, (), 11) == first
    later = draw_codes(2000, first, 11)
    assert set(later).isdisjoint(first)
    with pytest.raises(Refused, match="codes beside"):
        draw_codes(17**4 // 4 + 1, (), 1)


def test_signs_are_drawn_evenly_at_every_place() -> None:
    codes = draw_codes(8000, (), 3)
    counts = Counter((place, code[place]) for code in codes for place in range(LENGTH + 1))
    expected = len(codes) / len(SIGNS)
    seen = sum((count - expected) ** 2 / expected for count in counts.values())
    assert len(counts) == (LENGTH + 1) * len(SIGNS)
    assert seen < chi2.isf(CHANCE, (LENGTH + 1) * (len(SIGNS) - 1))


def test_every_order_is_equally_likely_and_streams_differ() -> None:
    draws = Draws(2)
    counts = Counter(tuple(draws.shuffled("abcd")) for _ in range(12_000))
    seen = sum((count - 500) ** 2 / 500 for count in counts.values())
    assert len(counts) == 24
    assert seen < chi2.isf(CHANCE, 23)
    assert [Draws(2, 1).below(2**60) for _ in range(2)] != [Draws(2, 0).below(2**60) for _ in range(2)]

"""Short labels without meaning for samples, with a check character that shows a slip of the pen."""

from __future__ import annotations

from collections.abc import Collection

from brinemark.science.making.draws import Draws
from brinemark.terms.errors import Refused

SIGNS = "CDFHJKMNPRTWXY347"
"""Seventeen signs that are not mistaken for each other in handwriting (common practice, no source): no vowel, so that
no word arises; none of B8 G6 I1L O0Q S5 UV Z2. Their number is a prime, on which the check rests."""
LENGTH = 4
_CODES = 2
_PARTS_FREE = 4


def check_sign(text: str) -> str:
    """The check character of a code without it: sum of place times value, modulo the number of signs.

    Weights 1, 2, 3, ... differ from each other, and from the check's own weight -1, modulo a prime; so any one wrong
    character, and any two that changed places, give another sum. Raises ValueError for a sign that is none of ours.
    """
    values = [SIGNS.index(sign) for sign in text]
    return SIGNS[sum(place * value for place, value in enumerate(values, start=1)) % len(SIGNS)]


def looks_coded(text: str) -> bool:
    """Whether a text has the length and the signs of a code."""
    return len(text) == LENGTH + 1 and set(text) <= set(SIGNS)


def is_code(text: str) -> bool:
    """Whether a text is a code whose check character agrees."""
    return looks_coded(text) and check_sign(text[:-1]) == text[-1]


def draw_codes(count: int, taken: Collection[str], seed: int) -> tuple[str, ...]:
    """count codes that differ from each other and from those taken, drawn from a seed.

    Raises Refused when more than a quarter of all codes would be in use.
    """
    every = len(SIGNS) ** LENGTH
    if count + len(taken) > every // _PARTS_FREE:
        came = f"{count:,} codes beside {len(taken):,} in use"
        raise Refused(came, f"at most {every // _PARTS_FREE:,} together", "use the samples' own names")
    draws, found, used = Draws(seed, _CODES), list[str](), set(taken)
    while len(found) < count:
        text = "".join(SIGNS[draws.below(len(SIGNS))] for _ in range(LENGTH))
        code = text + check_sign(text)
        if code not in used:
            used.add(code)
            found.append(code)
    return tuple(found)

"""Fair draws from a seed that give the same answer with every version of every library."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

_T = TypeVar("_T")
_WORD = 2**64


class Draws:
    """Draws without bias from the raw words of a PCG64 generator.

    The words of a bit generator are kept the same by numpy for ever; what its `Generator` makes of them is not
    (numpy's stated policy, NEP 19), so that part is ours: rejection, then Fisher and Yates' shuffle.
    """

    def __init__(self, seed: int, stream: int = 0) -> None:
        """seed, stream : whole numbers from 0; streams of one seed are independent of each other."""
        self._words = np.random.PCG64(np.random.SeedSequence([seed, stream]))

    def below(self, count: int) -> int:
        """One of 0 ... count - 1, each equally likely."""
        most = _WORD - _WORD % count
        while True:
            word = int(self._words.random_raw())
            if word < most:
                return word % count

    def shuffled(self, values: Sequence[_T]) -> list[_T]:
        """The values in random order, every order equally likely."""
        found = list(values)
        for place in range(len(found) - 1, 0, -1):
            other = self.below(place + 1)
            found[place], found[other] = found[other], found[place]
        return found

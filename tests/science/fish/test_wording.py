"""Words of a weight: cautious, with their source, and never an all-clear."""

from __future__ import annotations

import itertools
import math
import re

import pytest

from brinemark.science.fish.evidence import cap_of
from brinemark.science.fish.wording import (
    DEFAULT_SCALE,
    NEITHER,
    NOT_AN_ALL_CLEAR,
    band_words,
    checked_scale,
    sentences,
)
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import VerbalBand, VerbalScale, Weight

CAPTIVE = cap_of(0, 30, "captive-bred", False)
GENEROUS = cap_of(0, 10**9, "net-caught", True, (10**9, 10**9))


def weight(middle: float, lower: float, upper: float) -> Weight:
    return Weight("release", "exposed at capture", "no exposure at capture", middle, lower, upper)


def test_bands_are_those_of_the_guideline_as_remembered() -> None:
    wanted = {1: NEITHER, 1.9: NEITHER, 2: "weak", 10: "moderate", 99: "moderate", 100: "moderately strong"}
    wanted |= {1e3: "strong", 1e4: "very strong", 9.9e5: "very strong", 1e6: "extremely strong"}
    for ratio, words in wanted.items():
        told = words if words == NEITHER else f"{words} support"
        assert band_words(DEFAULT_SCALE, math.log10(ratio)) == told
        assert band_words(DEFAULT_SCALE, -math.log10(ratio)) == told


def test_bands_from_memory_are_labelled() -> None:
    assert "from memory" in DEFAULT_SCALE.label
    assert "from memory" in " ".join(sentences(weight(1.0, 0.5, 1.5), DEFAULT_SCALE, GENEROUS))
    own = VerbalScale("our procedure 12", False, (VerbalBand(5.0, "some"),))
    assert checked_scale(own).label == "our procedure 12"


@pytest.mark.parametrize("starts", [(), (1.0,), (10.0, 2.0), (2.0, 2.0)])
def test_a_scale_that_does_not_rise_is_refused(starts: tuple[float, ...]) -> None:
    with pytest.raises(Refused):
        checked_scale(VerbalScale("x", False, tuple(VerbalBand(s, "some") for s in starts)))


def test_a_scale_without_source_is_refused() -> None:
    with pytest.raises(Refused, match="source"):
        checked_scale(VerbalScale(" ", False, (VerbalBand(2.0, "some"),)))


def test_words_are_for_the_cautious_end_and_for_the_cap() -> None:
    told = " ".join(sentences(weight(2.5, 1.2, 3.5), DEFAULT_SCALE, GENEROUS))
    assert "In words: moderate support for 'exposed at capture'" in told
    told = " ".join(sentences(weight(4.5, 3.5, 5.5), DEFAULT_SCALE, CAPTIVE))
    assert (
        "0 false positive of 30 held-out samples of unexposed fish (captive-bred) support nothing more than 11" in told
    )
    assert "In words: moderate support" in told
    assert "Specificity unknown for wild fish" in told


def test_an_interval_across_one_supports_neither() -> None:
    assert f"In words: {NEITHER}" in " ".join(sentences(weight(1.0, -0.2, 3.0), DEFAULT_SCALE, GENEROUS))


def test_a_negative_never_reads_as_an_all_clear() -> None:
    for cap, (lower, middle) in itertools.product((CAPTIVE, GENEROUS), ((-9.0, -8.0), (-2.0, -0.5), (0.0, 0.0))):
        told = sentences(weight(middle, lower, max(middle, -0.4)), DEFAULT_SCALE, cap)
        assert NOT_AN_ALL_CLEAR in told
        assert not re.search(r"not exposed|were unexposed|not been exposed|no cyanide", " ".join(told), re.IGNORECASE)


def test_a_negative_without_held_out_exposed_fish_supports_nothing() -> None:
    told = " ".join(sentences(weight(-3.0, -3.5, -2.5), DEFAULT_SCALE, CAPTIVE))
    assert "no held-out samples of exposed fish, so that nothing less than 1 is supported" in told
    assert f"In words: {NEITHER}" in told


def test_a_world_without_release_reads_as_probable_under_both() -> None:
    told = sentences(weight(0.0, 0.0, 0.0), DEFAULT_SCALE, CAPTIVE)
    assert "as probable under 'exposed at capture' as under" in told[0]
    assert NEITHER in told[1]

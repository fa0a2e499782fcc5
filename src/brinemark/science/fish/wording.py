"""Weight of evidence in words, which never say that fish were not exposed."""

from __future__ import annotations

import math

from brinemark.science.fish.evidence import capped
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import Cap, VerbalBand, VerbalScale, Weight
from brinemark.terms.wording import opened

NEITHER = "no support for one over the other"
NOT_AN_ALL_CLEAR = "This does not show how the fish were caught: exposure long enough ago leaves nothing to find."

# Values as remembered, not checked against the guideline; a user's own scale replaces them.
DEFAULT_SCALE = VerbalScale(
    "Guideline for evaluative reporting in forensic science, ENFSI 2015",
    True,
    (
        VerbalBand(2.0, "weak"),
        VerbalBand(10.0, "moderate"),
        VerbalBand(100.0, "moderately strong"),
        VerbalBand(1e3, "strong"),
        VerbalBand(1e4, "very strong"),
        VerbalBand(1e6, "extremely strong"),
    ),
)


def checked_scale(scale: VerbalScale) -> VerbalScale:
    """The scale. Raises Refused unless its bands rise from above 1 and it names its source."""
    starts = [band.start for band in scale.bands]
    if not starts or starts[0] <= 1.0 or starts != sorted(set(starts)) or not all(b.words for b in scale.bands):
        came = f"bands from {', '.join(f'{s:g}' for s in starts) or 'nowhere'}"
        raise Refused(came, "bands with words whose starts rise from above 1", "correct the scale")
    if not scale.source.strip():
        raise Refused("a verbal scale without source", "the document it is from", "name it")
    return scale


def band_words(scale: VerbalScale, log10_ratio: float) -> str:
    """Words for the size of a ratio, or of its inverse where that is larger; a band begins at its start itself."""
    size = abs(log10_ratio)
    reached = [band.words for band in scale.bands if size >= math.log10(band.start) - 1e-12]
    return f"{reached[-1]} support" if reached else NEITHER


def sentences(weight: Weight, scale: VerbalScale, cap: Cap) -> tuple[str, ...]:
    """What the weight says, its cap and what stands beside it.

    The words are for the end of the interval that is nearest to no support, and for the cap where that is smaller: a
    wide interval is not given the words of its middle.
    """
    world = f"In the world '{weight.world}'"
    told = [f"{world} the readings are {_times(weight)}."]
    if capped(weight.log10_ratio, cap) != weight.log10_ratio:
        told.append(_cap_words(cap, weight.log10_ratio > 0))
    told.append(f"In words: {support(weight, scale, cap)} ({scale.label}).")
    if weight.lower <= 0.0:
        told.append(NOT_AN_ALL_CLEAR)
    if cap.caution:
        told.append(f"{opened(cap.caution)}: no such fish were among the controls.")
    return tuple(told)


def support(weight: Weight, scale: VerbalScale, cap: Cap) -> str:
    """Which proposition the weight supports and how much, at the end of its interval nearest to none, and capped."""
    cautious = _nearest_to_one(capped(weight.lower, cap), capped(weight.upper, cap))
    return _for_which(weight, cautious, band_words(scale, cautious))


def _times(weight: Weight) -> str:
    if weight.lower == weight.upper == 0.0:
        return f"as probable under '{weight.first}' as under '{weight.second}', whatever they are"
    low, middle, high = (_number(10.0**v) for v in (weight.lower, weight.log10_ratio, weight.upper))
    return f"{middle} times as probable under '{weight.first}' as under '{weight.second}' (95 %: {low} to {high})"


def _number(value: float) -> str:
    """Two figures; powers of ten from a thousand on."""
    return f"{value:.2g}" if value < 100 else f"{float(f'{value:.2g}'):,.0f}" if value < 1e6 else f"{value:.1e}"


def _cap_words(cap: Cap, positive: bool) -> str:
    rate, bound = (cap.false_positive, cap.ratio) if positive else (cap.sensitivity, cap.floor)
    kind = f"unexposed fish ({cap.population})" if positive else "exposed fish"
    least = "more" if positive else "less"
    if rate.of == 0:
        return f"There are no held-out samples of {kind}, so that nothing {least} than 1 is supported."
    if cap.of_ratios:
        found = "had a ratio as high as this" if positive else "had so high a ratio"
        told = f"{rate.count} of {rate.of} held-out samples of {kind} {found}"
        return f"{told}, which supports nothing {least} than {_number(bound)}, and that is what counts."
    found = "false positive" if positive else "detected"
    return (
        f"{rate.count} {found} of {rate.of} held-out samples of {kind} support nothing {least} than {_number(bound)}, "
        "and that is what counts."
    )


def _nearest_to_one(low: float, high: float) -> float:
    if low <= 0.0 <= high:
        return 0.0
    return low if low > 0.0 else high


def _for_which(weight: Weight, log10_ratio: float, words: str) -> str:
    if words == NEITHER:
        return words
    return f"{words} for '{weight.first if log10_ratio > 0 else weight.second}'"

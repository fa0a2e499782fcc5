"""Conditions of a sample's electrodes against the span of the electrodes that calibrate (docs/decisions/0019)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

Value: TypeAlias = "float | str"
Conditions: TypeAlias = "Mapping[str, Value]"


@dataclass(frozen=True, slots=True)
class Allowance:
    """How far beyond a span still counts as within it: in the condition's unit, and as a part of the span's end."""

    absolute: float = 0.0
    relative: float = 0.0

    def __str__(self) -> str:
        return f"{self.relative:.3g} of its ends" if self.relative else f"{self.absolute:g}"


EXACT = Allowance()


@dataclass(frozen=True, slots=True)
class Span:
    """What blanks and standards recorded of one condition: lowest and highest number, words in lower case.

    recorded : how many rows recorded it.
    """

    low: float | None
    high: float | None
    words: tuple[str, ...]
    recorded: int

    def holds(self, value: Value, allowance: Allowance) -> bool:
        """Whether a value lies within the span, widened by the allowance; words are equal or not."""
        if isinstance(value, str):
            return value.casefold() in self.words
        if self.low is None or self.high is None:
            return False
        below, above = (allowance.absolute + allowance.relative * abs(end) for end in (self.low, self.high))
        rounding = 1e-9 * max(abs(self.low), abs(self.high), abs(value))
        return self.low - below - rounding <= value <= self.high + above + rounding

    def __str__(self) -> str:
        parts = [repr(word) for word in self.words]
        if self.low is not None and self.high is not None:
            parts.insert(0, f"{self.low:g}" if self.low == self.high else f"{self.low:g} to {self.high:g}")
        return ", ".join(parts)


def span_of(known: Sequence[Conditions], name: str) -> Span | None:
    """The span of one condition among rows of blanks and standards; None when none of them recorded it."""
    values = [one[name] for one in known if name in one]
    if not values:
        return None
    numbers = [float(value) for value in values if not isinstance(value, str)]
    words = {value.casefold() for value in values if isinstance(value, str)}
    low, high = (min(numbers), max(numbers)) if numbers else (None, None)
    return Span(low, high, tuple(sorted(words)), len(values))


def outside_reason(name: str, value: Value, span: Span, allowance: Allowance) -> str | None:
    """Why a sample with this condition cannot be read by these blanks and standards; None when it can."""
    if span.holds(value, allowance):
        return None
    shown = repr(value) if isinstance(value, str) else f"{value:g}"
    rows = "row" if span.recorded == 1 else "rows"
    beyond = "" if allowance == EXACT else f", {allowance} allowed beyond"
    return (
        f"{name} {shown} lies outside {span}, the span of {span.recorded} {rows} of blanks and standards that recorded "
        f"it{beyond}; read the sample within the span, or measure blanks and standards at {shown}"
    )


def electrode_reasons(
    sample: Sequence[Conditions], known: Sequence[Conditions], allowances: Mapping[str, Allowance]
) -> tuple[str, ...]:
    """Every reason against one electrode, from all that its rows recorded; allowances : by condition, in order."""
    found = []
    for name, allowance in allowances.items():
        span = span_of(known, name)
        if span is None:
            continue
        reasons = (outside_reason(name, one[name], span, allowance) for one in sample if name in one)
        found += [reason for reason in reasons if reason is not None][:1]
    return tuple(found)


def not_recorded(sample: Sequence[Conditions], known: Sequence[Conditions], names: Sequence[str]) -> str | None:
    """One sentence on the conditions that could not be compared, or only in part; None when all could.

    sample, known : one entry for each electrode, with what any of its rows recorded.
    """
    parts = []
    for name in names:
        ours = sum(name in one for one in sample)
        theirs = sum(name in one for one in known)
        if ours == len(sample) and theirs == len(known):
            continue
        lacking = []
        if ours < len(sample):
            lacking.append("the sample" if ours == 0 else f"{len(sample) - ours} of {len(sample)} electrodes")
        if theirs < len(known):
            lacking.append("the standards" if theirs == 0 else f"{len(known) - theirs} of {len(known)} standards")
        parts.append((name, " and ".join(lacking)))
    if not parts:
        return None
    alike: dict[str, list[str]] = {}
    for name, where in parts:
        alike.setdefault(where, []).append(name)
    listed = "; ".join(f"{', '.join(named)} (of {where})" for where, named in alike.items())
    return f"conditions not recorded, so taken to be those of the standards: {listed}"

"""The statement of a reading as one sentence, the same on every chart."""

from __future__ import annotations

import textwrap

from brinemark.outputs.charts.frame import number, shown_unit
from brinemark.terms.amounts import Estimate, Reading


def statement_words(reading: Reading, unit: str, analyte: str = "thiocyanate") -> str:
    """For example "thiocyanate 2.1 µg/L (95 % interval 1.4 to 3.2)"; only ends that the reading states."""
    unit = shown_unit(unit)
    estimate = reading.estimate
    if reading.statement == "not detected" and reading.upper_limit is not None:
        limit = reading.upper_limit
        return f"{analyte} not detected, less than {number(limit.value)} {unit} ({100 * limit.level:g} %, one-sided)"
    if reading.statement == "at or above" and reading.lower_limit is not None:
        limit = reading.lower_limit
        return f"{analyte} at or above {number(limit.value)} {unit} ({100 * limit.level:g} %, one-sided)"
    if estimate is None or reading.statement == "cannot say":
        return f"{reading.statement} ({analyte})" if analyte else reading.statement
    median, _, upper = estimate_texts(estimate)
    if reading.statement == "quantified" and median is not None:
        return f"{analyte} {median} {unit} ({_interval(estimate)})"
    if not estimate.lower and upper is not None:
        return f"{analyte} present, less than {upper} {unit} ({100 * estimate.level:g} %)"
    return f"{analyte} detected, amount uncertain ({_interval(estimate)} {unit})"


def estimate_texts(estimate: Estimate) -> tuple[str | None, str | None, str | None]:
    """median, lower and upper to the digits that the interval carries; None where there is none."""
    width = 0.0 if estimate.lower is None or estimate.upper is None else estimate.upper - estimate.lower
    ends = (estimate.median, estimate.lower, estimate.upper)
    median, lower, upper = (None if end is None else number(end, width=width) for end in ends)
    return median, lower, upper


def _interval(estimate: Estimate) -> str:
    _, lower, upper = estimate_texts(estimate)
    level = f"{100 * estimate.level:g} %"
    return (
        f"{level}, from {lower or 0} up, no upper end" if upper is None else f"{level} interval {lower or 0} to {upper}"
    )


def wrapped(text: str, width: int) -> list[str]:
    """text in lines of at most width characters."""
    return textwrap.wrap(text, width)

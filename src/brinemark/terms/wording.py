"""The statement of a reading as one sentence: the same words on a terminal, in a notebook and on every chart."""

from __future__ import annotations

from brinemark.terms.amounts import Estimate, Reading

SIGNIFICANT = 3


def amount(value: float) -> str:
    """A level with three significant digits, written out: 1500 and not 1.5e+03."""
    text = f"{value:.{SIGNIFICANT}g}"
    return f"{float(text):.0f}" if 1e3 <= abs(value) < 1e7 and "e" in text else text


def statement_words(reading: Reading, unit: str, analyte: str = "thiocyanate") -> str:
    """For example "thiocyanate 2.1 ug/L (95 % interval 1.4 to 3.2)"; only ends that the reading states."""
    estimate = reading.estimate
    if reading.statement == "not detected" and reading.upper_limit is not None:
        limit = reading.upper_limit
        return f"{analyte} not detected, less than {amount(limit.value)} {unit} ({_percent(limit.level)}, one-sided)"
    if reading.statement == "at or above" and reading.lower_limit is not None:
        limit = reading.lower_limit
        return f"{analyte} at or above {amount(limit.value)} {unit} ({_percent(limit.level)}, one-sided)"
    if estimate is None or reading.statement == "cannot say":
        return f"cannot say ({analyte})" if analyte else "cannot say"
    if reading.statement == "quantified" and estimate.median is not None:
        return f"{analyte} {amount(estimate.median)} {unit} ({_interval(estimate)})"
    if not estimate.lower and estimate.upper is not None:
        return f"{analyte} present, less than {amount(estimate.upper)} {unit} ({_percent(estimate.level)})"
    return f"{analyte} detected, amount uncertain ({_interval(estimate)} {unit})"


def _interval(estimate: Estimate) -> str:
    lower = amount(estimate.lower or 0.0)
    if estimate.upper is None:
        return f"{_percent(estimate.level)}, from {lower} up, no upper end"
    return f"{_percent(estimate.level)} interval {lower} to {amount(estimate.upper)}"


def _percent(level: float) -> str:
    return f"{100 * level:g} %"

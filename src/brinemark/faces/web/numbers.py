"""Numbers as a reader of the pages writes them: decimal point or comma, and prefixes of units."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from brinemark.outputs.charts.frame import scaled_unit, shown_unit
from brinemark.terms import wording

POINT, COMMA = "point", "comma"
STYLES = (POINT, COMMA)
# Languages that write a decimal comma, by the first part of their tag (Unicode CLDR, element "decimal" of "symbols",
# from memory).
WITH_COMMA = """
af be bg bs ca cs da de el es et eu fi fr gl hr hu hy id is it ka kk ky lt lv mk mn nb nl nn no pl pt ro ru sk sl sq sr
sv tr uk uz vi
"""
COMMA_LANGUAGES = frozenset(WITH_COMMA.split())
WITH_POINT = "es-mx es-us es-gt es-hn es-ni es-pa es-pe es-sv de-ch de-li"
POINT_REGIONS = frozenset(WITH_POINT.split())


def style_of(accepted: str) -> str:
    """Decimal style of the first language that a browser asks for ("de-DE,de;q=0.9")."""
    first = accepted.split(",", maxsplit=1)[0].split(";", maxsplit=1)[0].strip().lower()
    if first in POINT_REGIONS:
        return POINT
    return COMMA if first.partition("-")[0] in COMMA_LANGUAGES else POINT


def styled(text: str, style: str) -> str:
    """A written number in a style."""
    return text.replace(".", ",") if style == COMMA else text


def amount(value: float | None, style: str = POINT, none: str = "none") -> str:
    """Three significant digits, or the word for no value."""
    return none if value is None else styled(wording.amount(value), style)


def span(lower: float | None, upper: float | None, style: str = POINT) -> str:
    """Two ends, or "none"."""
    return "none" if lower is None or upper is None else f"{amount(lower, style)} to {amount(upper, style)}"


def scaled(unit: str, values: Iterable[float]) -> tuple[float, str]:
    """Factor and unit with the prefix that suits the largest value."""
    return scaled_unit(unit, np.array([value for value in values if value is not None], dtype=float))


def with_u(value: float, u: float, style: str = POINT) -> str:
    """A signal with its standard uncertainty, two digits of the uncertainty."""
    if not (math.isfinite(u) and u > 0.0):
        return styled(f"{value:.3g}", style)
    places = min(max(1 - math.floor(math.log10(u)), 0), 12)
    return styled(f"{value:z.{places}f} ± {u:.{places}f}", style)


def signal_words(value: float, u: float, unit: str, style: str = POINT) -> str:
    """A signal with u and unit in one piece."""
    factor, named = scaled(unit, [value])
    return f"{with_u(value * factor, u * factor, style)} {'' if named == '1' else named}".strip()


def percent(share: float | None, style: str = POINT) -> str:
    """A share of one as whole percent, with a digit more below ten."""
    if share is None:
        return ""
    places = 1 if 0.0 < 100.0 * share < 9.95 else 0
    return styled(f"{100.0 * share:.{places}f} %", style)


def number_from(text: str) -> float:
    """A number as people type it, with point or comma. Raises ValueError for what is none, or not finite."""
    value = float(text.strip().replace(",", ".").replace("−", "-"))
    if not math.isfinite(value):
        raise ValueError(text)
    return value


__all__ = ["COMMA", "POINT", "STYLES", "amount", "number_from", "percent", "scaled", "shown_unit", "signal_words"]

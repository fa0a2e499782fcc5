"""How values are written in the templates."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from brinemark.faces.web import numbers
from brinemark.terms.wording import counted, opened


def moment(text: str | None) -> str:
    """ISO 8601 as people read it, without parts of a second: 2031-04-02 10:15:00+00:00 -> 2031-04-02 10:15."""
    if not text:
        return ""
    found = datetime.fromisoformat(text)
    zone = found.strftime("%z")
    mark = "" if not zone else " UTC" if zone == "+0000" else f" UTC{zone[:3]}:{zone[3:]}"
    return found.strftime("%Y-%m-%d %H:%M") + mark


def short(text: str) -> str:
    """The beginning of a long id."""
    return text[:12]


def segment(text: object) -> str:
    """One part of an address."""
    return quote(str(text), safe="")


def tick(value: float, style: str) -> str:
    """A number on an axis."""
    return numbers.styled(f"{value:g}".replace("-", "−"), style)


def sentence(text: object, style: str) -> str:
    """A sentence with its units and decimal points as the reader writes them; other points stay."""
    shown = re.sub(r"\bu(?=(g|mol|L|A|m)\b)", "µ", str(text))
    return re.sub(r"(?<=\d)\.(?=\d)", ",", shown) if style == numbers.COMMA else shown


FILTERS: Mapping[str, Callable[..., Any]] = {
    "amount": numbers.amount,
    "span": lambda ends, style: "none" if ends is None else numbers.span(ends["lower"], ends["upper"], style),
    "signal": lambda one, style: numbers.signal_words(one["signal"], one["u"], one["unit"], style),
    "percent": numbers.percent,
    "styled": numbers.styled,
    "tick": tick,
    "unit": numbers.shown_unit,
    "moment": moment,
    "short": short,
    "segment": segment,
    "counted": counted,
    "opened": opened,
    "sentence": sentence,
}

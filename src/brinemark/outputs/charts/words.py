"""Lines of text for charts."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Sequence


def wrapped(text: str, width: int) -> list[str]:
    """text in lines of at most width characters."""
    return textwrap.wrap(text, width)


def listed(parts: Sequence[str], most: int, between: str = ", ") -> str:
    """The first parts, and how many more there are."""
    more = len(parts) - most
    return between.join(parts[:most]) + (f" and {more} more" if more > 0 else "")


def shortened(text: str, width: int) -> str:
    """text in at most about width characters, cut between words where it can be."""
    return text if len(text) <= width else textwrap.shorten(text, width, placeholder=" ...")


def numbered(labels: Sequence[str]) -> str:
    """Expression for the labels of an axis or legend whose values are the places 0, 1, ... in labels.

    Labels given so get the reader's decimal sign, as all lettering does; values of a nominal field do not.
    """
    return f"{json.dumps(list(labels), ensure_ascii=False)}[toNumber(datum.value)]"


def minus(text: str) -> str:
    """text with the sign of print before negative numbers."""
    return re.sub(r"(?<![\w.])-(?=\d)", "−", text)

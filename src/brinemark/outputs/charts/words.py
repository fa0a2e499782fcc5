"""Lines of text for charts."""

from __future__ import annotations

import textwrap


def wrapped(text: str, width: int) -> list[str]:
    """text in lines of at most width characters."""
    return textwrap.wrap(text, width)

"""Headings that hold long names."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.outputs.charts.frame import Spec, titled
from brinemark.outputs.charts.words import wrapped

TITLE_WIDTH = 80
"""Letters in a line of a title."""


def headed(title: str, subtitle: Sequence[str], description: str, body: Spec) -> Spec:
    """As titled() of the frame, with a long title in several lines."""
    spec = titled(title, subtitle, description, body)
    lines = wrapped(title, TITLE_WIDTH)
    if len(lines) > 1:
        spec["title"]["text"] = lines
    return spec

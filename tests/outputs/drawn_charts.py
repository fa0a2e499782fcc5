"""What every chart has to keep, whatever it shows, and a walk through its specification."""

from __future__ import annotations

import json
import xml.etree.ElementTree
from collections.abc import Iterator
from typing import Any

from brinemark.outputs.charts import Spec, render

PAGE_PX = 790.0
"""Width that a report shows without making it smaller: 170 mm at 0.215 mm a pixel."""


def walk(value: Any) -> Iterator[Any]:
    """Everything inside a specification, itself first."""
    yield value
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    for item in inner:
        yield from walk(item)


def check_drawn(spec: Spec) -> str:
    """The chart as SVG: within a page, with words, reaching nowhere, without a number that is none."""
    text = json.dumps(spec, allow_nan=False)
    assert "http" not in text and '"url"' not in text
    assert len(spec["description"]) > 40
    svg = render(spec, "svg").decode()
    picture = xml.etree.ElementTree.fromstring(svg)
    assert picture.get("aria-label") == spec["description"]
    assert float(picture.get("width", "inf")) <= PAGE_PX
    assert "NaN" not in svg and "Infinity" not in svg and "undefined" not in svg
    return svg

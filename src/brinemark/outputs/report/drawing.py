"""Pictures of a report: the specifications of the charts in the report's font and decimal sign, and the QR code."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from brinemark.outputs.charts import Spec, render
from brinemark.outputs.codes import code_svg
from brinemark.outputs.fonts import FAMILY
from brinemark.outputs.report.setting import Typefaces
from brinemark.outputs.report.wording import PLAIN, Numbers, Readable

COMMA = "de-DE"
"""A locale of the drawing library with a decimal comma."""
WIDTH = re.compile(r'<svg [^>]*?\bwidth="([\d.]+)"')
MM_OF_PIXEL = 0.215
"""Letters of 12 pixels become 7.3 points high."""
TEXT = re.compile(r"(<text\b)([^>]*)>([^<]*)</text>")
SIZE = re.compile(r'font-size="([\d.]+)px"')
PLAINER, PLAINER_SIZE = "DejaVu Sans Mono", 0.8
KEPT = 64
"""Drawn pictures that are kept in memory, so that a page and a report draw one once."""


def drawn(spec: Spec, numbers: Numbers, readable: Readable) -> dict[str, Any]:
    """The chart as SVG with the text that a reader hears instead of it."""
    told = _in_words(spec, lambda text: readable.text(numbers.words(text)))
    seen = readable.all(told)
    seen["config"] = {**seen["config"], "font": FAMILY}
    svg = lettered(_rendered(json.dumps(seen, ensure_ascii=False), numbers.decimal), readable.faces)
    return {"svg": svg, "alt": str(seen.get("description", "")), "width": MM_OF_PIXEL * _pixels(svg)}


def lettered(svg: str, faces: Typefaces) -> str:
    """The chart with a font for each text that the setter can take it from.

    Inside a picture a letter may not be put together from several shapes, as some fonts do in some scripts: then the
    plainer font is taken, and at last the characters are shown by number.
    """
    return TEXT.sub(lambda found: found.group(1) + _lettered(found.group(2), found.group(3), faces), svg)


def _lettered(rest: str, text: str, faces: Typefaces) -> str:
    if frozenset(text) <= PLAIN:
        return f"{rest}>{text}</text>"
    for family in (FAMILY, PLAINER):
        if faces.sets_in_picture(family, text):
            return f"{rest if family == FAMILY else _plainer(rest)}>{text}</text>"
    return f"{rest}>{''.join(one if one in PLAIN else f'[U+{ord(one):04X}]' for one in text)}</text>"


def _plainer(rest: str) -> str:
    """What a text element says of itself, in the plainer font, whose letters are wider."""
    smaller = SIZE.sub(lambda found: f'font-size="{PLAINER_SIZE * float(found.group(1)):.2f}px"', rest)
    return smaller.replace(FAMILY, PLAINER)


def _pixels(svg: str) -> float:
    """Width of a drawn chart, as it says itself."""
    found = WIDTH.search(svg)
    if found is None:
        raise ValueError("a chart without a width")
    return float(found.group(1))


@lru_cache(maxsize=KEPT)
def _rendered(spec: str, decimal: str) -> str:
    return render(json.loads(spec), "svg", locale=COMMA if decimal == "comma" else None).decode("utf-8")


def _in_words(spec: Spec, words: Callable[[str], str]) -> Any:
    """The chart with its title, description and lettering put through words; formulas and formats stay."""
    if isinstance(spec, dict):
        return {
            key: _lettering(part, words) if key in LETTERING else _in_words(part, words) for key, part in spec.items()
        }
    if isinstance(spec, list):
        return [_in_words(part, words) for part in spec]
    return spec


LETTERING = frozenset(("text", "subtitle", "description", "labelExpr"))
"""Keys whose text is read by people; under any other key a text is a name, a format or a formula."""


def _lettering(value: Any, words: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return words(value)
    if isinstance(value, list):
        return [_lettering(part, words) for part in value]
    return _in_words(value, words)


def code(identity: str) -> dict[str, Any]:
    """The code of an id."""
    return {"svg": code_svg(identity).decode("utf-8"), "alt": f"QR code of the id of this report, {identity}"}

"""What every chart shares: look, axes, units, thinning, and the one place that draws."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise
from typing import Any, Literal, TypeAlias

import numpy as np

from brinemark.outputs.charts.settle import settled_pdf, settled_svg
from brinemark.outputs.fonts import FOLDER
from brinemark.terms.arrays import FloatArray, IntArray

Spec: TypeAlias = dict[str, Any]
Kind: TypeAlias = Literal["svg", "png", "pdf"]

INK = "#1c1c1c"
QUIET = "#6a6a6a"
FAINT = "#e4e4e4"
BLUE = "#1f4e79"
RUST = "#a8501f"
DASH = [5, 4]
DOTS = [1.5, 3]
OVERLAY_POINTS = 600
SUBTITLE_WIDTH = 112
VEGA_LITE = "6.4"

LOOK: Spec = {
    "background": "white",
    "font": "sans-serif",
    "padding": 12,
    "view": {"stroke": None},
    "title": {
        "anchor": "start",
        "frame": "group",
        "color": INK,
        "fontSize": 15,
        "fontWeight": 600,
        "subtitleColor": QUIET,
        "subtitleFontSize": 11.5,
        "subtitleLineHeight": 15,
        "subtitlePadding": 5,
        "offset": 12,
    },
    "axis": {
        "domainColor": QUIET,
        "tickColor": QUIET,
        "gridColor": FAINT,
        "labelColor": INK,
        "labelFontSize": 11,
        "titleColor": INK,
        "titleFontSize": 12,
        "titleFontWeight": 400,
        "titlePadding": 8,
    },
    "legend": {
        "labelColor": INK,
        "labelFontSize": 11.5,
        "labelLimit": 0,
        "symbolStrokeWidth": 2,
        "symbolSize": 110,
        "title": None,
        "orient": "top",
        "direction": "horizontal",
        "columnPadding": 16,
        "offset": 8,
    },
    "text": {"color": INK, "fontSize": 11.5},
}


def render(spec: Spec, kind: Kind, locale: str | None = None) -> bytes:
    """The chart as bytes of an SVG, PNG (two pixels a point) or PDF file. No remote data, no clock: same in, same out.

    locale : whose decimal sign the axes have, None = a point. Raises ValueError for another kind, and for a
    specification that cannot be drawn.
    """
    import vl_convert

    _own_fonts_known()
    how: Spec = {"vl_version": VEGA_LITE, "allowed_base_urls": [], **({"format_locale": locale} if locale else {})}
    if kind == "svg":
        text: str = vl_convert.vegalite_to_svg(spec, **how)
        return settled_svg(text, spec.get("description", "")).encode("utf-8")
    if kind == "png":
        return bytes(vl_convert.vegalite_to_png(spec, scale=2, **how))
    if kind == "pdf":
        return settled_pdf(vl_convert.vegalite_to_pdf(spec, **how))
    raise ValueError(f"a chart can be svg, png or pdf, not {kind!r}")


@cache
def _own_fonts_known() -> None:
    """Fonts that come with the program, for charts that name them; those that do not look as they did."""
    import vl_convert

    vl_convert.register_font_directory(str(FOLDER))


def titled(title: str, subtitle: Sequence[str], description: str, body: Spec) -> Spec:
    """body with title, subtitle lines, spoken description and the common look."""
    lines = [part for line in subtitle for part in textwrap.wrap(line, SUBTITLE_WIDTH)]
    heading: Spec = {"text": title, "subtitle": lines} if lines else {"text": title}
    return {"title": heading, "description": description, "config": LOOK, **body}


def rows(**columns: Iterable[object]) -> list[Spec]:
    """Columns to rows; numbers rounded to 7 digits, rows with a number that is not finite left out."""
    names = list(columns)
    table = []
    for values in zip(*columns.values(), strict=True):
        tidy = [_tidy(value) for value in values]
        if not any(isinstance(value, float) and not math.isfinite(value) for value in tidy):
            table.append(dict(zip(names, tidy, strict=True)))
    return table


def _tidy(value: object) -> object:
    # Seven digits draw the same picture and keep the last bits of a machine's arithmetic out of the file.
    return float(f"{float(value):.7g}") if isinstance(value, float | np.floating) else value


def thinned(values: FloatArray, limit: int = OVERLAY_POINTS) -> IntArray:
    """Indices, in order, of at most limit points that keep the lowest and highest value of each stretch."""
    if values.size <= limit:
        return np.arange(values.size)
    edges = np.linspace(0, values.size, limit // 2 + 1).astype(int)
    kept: set[int] = set()
    for start, stop in pairwise(edges.tolist()):
        kept.update((start + int(np.argmin(values[start:stop])), start + int(np.argmax(values[start:stop]))))
    return np.array(sorted(kept))


def shown_unit(unit: str) -> str:
    """The unit as print has it: ug/L -> µg/L."""
    return "µ" + unit[1:] if unit.startswith("u") and len(unit) > 1 else unit


def scaled_unit(unit: str, values: FloatArray) -> tuple[float, str]:
    """Factor and unit with the prefix that brings the largest finite value of A, C, V, s between 1 and 1000."""
    finite = np.abs(values[np.isfinite(values)])
    largest = float(np.max(finite)) if finite.size else 0.0
    if unit not in ("A", "C", "V", "s") or largest == 0.0:
        return 1.0, shown_unit(unit)
    step = min(max(math.floor(math.log10(largest) / 3.0), -5), 1)
    return 10.0 ** (-3 * step), ("f", "p", "n", "µ", "m", "", "k")[step + 5] + unit


def number(value: float, digits: int = 2, width: float = 0.0) -> str:
    """value in full to so many significant digits, and at least to the leading digit of width (of an interval).

    0.0123 -> 0.012, 1230 -> 1200; 10.43 -> 10, with width 0.8 -> 10.4.
    """
    places = -10
    for size, wanted in ((value, digits), (width, 1)):
        if size != 0.0:
            exponent = math.floor(math.log10(abs(float(f"{size:.{wanted - 1}e}"))))
            places = max(places, wanted - 1 - exponent)
    return "0" if value == 0.0 else f"{round(value, places):.{max(places, 0)}f}"


def with_uncertainty(value: float, u: float) -> tuple[str, str]:
    """value and u with two significant digits of u: ("27.84", "0.31")."""
    if not (math.isfinite(u) and u > 0.0):
        return number(value, 4), "0" if u == 0.0 else "unknown"
    places = max(1 - math.floor(math.log10(float(f"{u:.1e}"))), 0)
    return f"{value:.{places}f}", f"{u:.{places}f}"


def level_axis(top: float, smallest: float, unit: str, ticks: int = 9) -> Spec:
    """Encoding of a level on an axis that is logarithmic above about `smallest` and still shows 0."""
    constant = float(f"{max(min(smallest, top / 3.0), top / 300.0):.3g}")
    return {
        "field": "level",
        "type": "quantitative",
        "title": f"level, {shown_unit(unit)}",
        "scale": {"type": "symlog", "constant": constant, "domain": [0, float(f"{top:.6g}")], "nice": False},
        "axis": {"values": level_ticks(top, constant, ticks), "format": ".6~g", "labelFlush": False},
    }


def level_ticks(top: float, constant: float, ticks: int = 9) -> list[float]:
    """0 and round levels up to top: 1, 2, 5 a decade, fewer when there would be more than `ticks`."""
    low, high = math.floor(math.log10(constant)), math.ceil(math.log10(top))
    for steps in ((1, 2, 5), (1, 3), (1,)):
        values = [float(f"{s}e{power}") for power in range(low, high + 1) for s in steps]
        chosen = [value for value in values if constant * 0.99 <= value <= top * 1.001]
        if len(chosen) < ticks:
            break
    return [0.0, *chosen]

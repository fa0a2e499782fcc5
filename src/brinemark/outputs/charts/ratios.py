"""log10 likelihood ratios as bars: what counts within the cap, the interval, the cap itself, and open ends."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from brinemark.outputs.charts.frame import BLUE, INK, RUST, Spec
from brinemark.outputs.charts.marks import layers_by_mark, row
from brinemark.outputs.charts.words import minus
from brinemark.terms.fish_pictures import WeightBar

LEAST_REACH, REACH = 1.2, 7.0
"""Half width of the axis, at least and at most [decades]."""
COUNTED = "#9db6cc"
LEGEND = (
    "Circle and line: log10 likelihood ratio with its interval; arrow: beyond the axis or open. Upright stroke: cap, "
    "the most that held-out samples support. Broad bar: what counts, and it ends at the cap."
)


def reach_of(bars: Iterable[WeightBar]) -> tuple[float, float]:
    """Ends of the axis: all finite numbers, at least LEAST_REACH either way and at most REACH."""
    known = [0.0]
    for bar in bars:
        values = (bar.log10_ratio, bar.lower, bar.upper, bar.least, bar.largest)
        known += [value for value in values if value is not None and math.isfinite(value)]
    low, high = 1.12 * min(known), 1.12 * max(known)
    return max(min(low, -LEAST_REACH), -REACH), min(max(high, LEAST_REACH), REACH)


def ratio_axis(ends: tuple[float, float], width: float, title: str | None = "log10 likelihood ratio") -> Spec:
    """Encoding of a log10 ratio; under the whole numbers stands the ratio itself where it is short to write."""
    step = max(1, math.ceil((ends[1] - ends[0]) * 46.0 / width))
    first, last = math.ceil(ends[0] / step), math.floor(ends[1] / step)
    told = "abs(datum.value) > 3 ? '' : datum.value < 0 ? '1/' + pow(10, -datum.value) : '' + pow(10, datum.value)"
    return {
        "field": "ratio",
        "type": "quantitative",
        "title": title,
        "scale": {"domain": [float(f"{end:.4g}") for end in ends], "nice": False, "zero": False},
        "axis": {
            "values": [step * place for place in range(first, last + 1)],
            "labelExpr": f"[replace('' + datum.value, '-', '−'), {told}]",
            "labelFlush": False,
        },
    }


def zero_line(x: Spec) -> Spec:
    """Where the readings are as probable under the one as under the other."""
    mark = {"type": "rule", "color": INK, "strokeWidth": 1}
    return {"data": {"values": [{"ratio": 0.0}]}, "mark": mark, "encoding": {"x": x}}


def bar_rows(bar: WeightBar, ends: tuple[float, float], more: Spec) -> list[Spec]:
    """One row a mark; numbers beyond the axis are arrows at its edge. more : further columns."""
    if bar.log10_ratio is None:
        return []
    low, high = ends

    def within(value: float) -> float:
        return min(max(value, low), high)

    lower = bar.log10_ratio if bar.lower is None else bar.lower
    upper = bar.log10_ratio if bar.upper is None else bar.upper
    table: list[Spec] = [{"mark": "interval", "ratio": within(lower), "to": within(upper)}]
    table += [{"mark": "arrow left", "ratio": low}] if lower < low else []
    table += [{"mark": "arrow right", "ratio": high}] if upper > high else []
    if bar.counted is not None and math.isfinite(bar.counted):
        table.append({"mark": "counted", "ratio": 0.0, "to": within(bar.counted)})
    table += [{"mark": "cap", "ratio": cap} for cap in (bar.least, bar.largest) if cap is not None and low < cap < high]
    beyond = bar.counted is not None and abs(bar.counted - bar.log10_ratio) > 1e-9
    if low <= bar.log10_ratio <= high:
        table.append({"mark": "open point" if beyond else "point", "ratio": bar.log10_ratio})
    return [{**row(**one), **more} for one in table]


def bar_layers(table: Sequence[Spec], x: Spec, y: Spec, size: float = 8.0) -> list[Spec]:
    """Layers that draw the rows of bar_rows, told apart by shape. size : height of the broad bar [pixels]."""
    place: Spec = {"x": x, "y": y}
    ranged: Spec = {**place, "x2": {"field": "to"}}
    point: Spec = {"type": "point", "filled": True, "stroke": BLUE, "strokeWidth": 1.8, "size": 52, "opacity": 1}
    arrow: Spec = {"type": "point", "filled": True, "color": BLUE, "size": 80, "opacity": 1}
    cap: Spec = {"type": "tick", "orient": "vertical", "color": RUST, "thickness": 2.2, "size": size + 9.0}
    wanted: list[tuple[str, Spec, Spec]] = [
        ("counted", {"type": "bar", "color": COUNTED, "height": size}, ranged),
        ("cap", {**cap, "opacity": 1}, place),
        ("interval", {"type": "rule", "color": BLUE, "strokeWidth": 2}, ranged),
        ("arrow left", {**arrow, "shape": "triangle-left"}, place),
        ("arrow right", {**arrow, "shape": "triangle-right"}, place),
        ("point", {**point, "fill": BLUE}, place),
        ("open point", {**point, "fill": "white"}, place),
    ]
    return layers_by_mark(table, wanted)


def ratio_words(bar: WeightBar) -> str:
    """One weight in words."""
    if bar.log10_ratio is None:
        return f"no ratio: {bar.reason or 'no reason recorded'}"
    said = f"log10 ratio {_written(bar.log10_ratio)}"
    if bar.lower is not None and bar.upper is not None:
        said += f" ({_written(bar.lower)} to {_written(bar.upper)})"
    if bar.counted is not None and abs(bar.counted - bar.log10_ratio) > 1e-9:
        said += f", of which {_written(bar.counted)} counts within the cap"
    return said


def _written(value: float) -> str:
    if math.isinf(value):
        return "without end" if value > 0 else "without lower end"
    return minus(f"{value:+.2f}")

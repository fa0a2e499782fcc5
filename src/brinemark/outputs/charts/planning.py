"""Pictures of plans: what burning electrodes buys, and what a better batch would buy."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import BLUE, DOTS, INK, QUIET, RUST, Spec, number, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.words import listed, numbered
from brinemark.terms.planning_pictures import HelpsBar, HelpsPicture, TradeLine, TradePanel, TradePicture

WIDTH, HEIGHT, BAR = 520, 190, 30
LOOKS: tuple[tuple[list[float], str, str], ...] = (
    ([1, 0], BLUE, "circle"),
    ([8, 3], INK, "square"),
    ([9, 3, 2, 3], BLUE, "diamond"),
    ([4, 3], INK, "triangle-up"),
    ([5, 2], QUIET, "triangle-down"),
    ([1.5, 4], QUIET, "cross"),
)
"""Dash, colour and mark of the first, second, ... line; they differ without the colour."""


def trade_chart(picture: TradePicture) -> Spec:
    """Panels under one another over the electrodes burned; two Monte Carlo errors to each side; a ring at the choice.

    Raises ValueError without plans, or when a line does not fit them.
    """
    size = picture.burned.size
    if size == 0 or not picture.panels:
        raise ValueError("a chart of plans needs at least one plan and one panel")
    if any(line.value.shape != (size,) for panel in picture.panels for line in panel.lines):
        raise ValueError(f"a chart of plans needs {size} values in every line")
    last = len(picture.panels) - 1
    body: Spec = {
        "vconcat": [_panel(picture, panel, place == last) for place, panel in enumerate(picture.panels)],
        "spacing": 48,
        "bounds": "flush",
        "resolve": {"scale": {"x": "shared", "shape": "independent"}},
    }
    return headed(picture.title, _subtitle(picture), _told(picture), body)


def _panel(picture: TradePicture, panel: TradePanel, lowest: bool) -> Spec:
    ends = [float(picture.burned[0]) - 0.4, float(picture.burned[-1]) + 0.4]
    x: Spec = {
        "field": "burned",
        "type": "quantitative",
        "title": f"electrodes burned on blanks and standards, of {picture.electrodes}" if lowest else None,
        "scale": {"domain": ends, "nice": False},
        "axis": {"values": picture.burned.tolist(), "format": "d", "grid": False, "labels": lowest},
    }
    scale: Spec = {"zero": True, "nice": True}
    if panel.log:
        scale = {"type": "log", "nice": False, "domain": _domain(panel)}
    y: Spec = {"type": "quantitative", "title": panel.what, "scale": scale, "axis": {"tickCount": 5, "format": "~g"}}
    layers = [layer for place, line in enumerate(panel.lines) for layer in _line(picture, line, (place, x, y))]
    return {"width": WIDTH, "height": HEIGHT, "layer": [*layers, *_names(panel, x, y, picture)]}


def _domain(panel: TradePanel) -> list[float]:
    """Ends of a logarithmic axis that hold all lines with their errors, and a factor of 2 at least."""
    low, high = [], []
    for line in panel.lines:
        error = np.where(np.isfinite(line.error), line.error, 0.0)
        ends = (line.value - 2.0 * error, line.value + 2.0 * error)
        known = [] if line.known is None else [line.known]
        low += [one for one in (*ends[0].tolist(), *line.value.tolist(), *known) if np.isfinite(one) and one > 0]
        high += [one for one in (*ends[1].tolist(), *known) if np.isfinite(one)]
    least, most = min(low, default=1.0), max(high, default=2.0)
    return [float(f"{0.85 * least:.3g}"), float(f"{1.1 * max(most, 2.0 * least):.3g}")]


def _line(picture: TradePicture, line: TradeLine, axes: tuple[int, Spec, Spec]) -> list[Spec]:
    place, x, y = axes
    dash, colour, shape = LOOKS[place % len(LOOKS)]
    error = np.where(np.isfinite(line.error), line.error, 0.0)
    low, high = line.value - 2.0 * error, line.value + 2.0 * error
    table = rows(burned=picture.burned.tolist(), value=line.value, low=np.where(low > 0, low, line.value), high=high)
    data: Spec = {"data": {"values": table}}
    value: Spec = {**y, "field": "value"}
    rule: Spec = {"type": "rule", "color": colour, "strokeWidth": 1.3}
    drawn: Spec = {"type": "line", "color": colour, "strokeDash": dash, "strokeWidth": 1.8}
    point: Spec = {"type": "point", "filled": True, "color": colour, "shape": shape, "size": 60, "opacity": 1}
    layers: list[Spec] = [
        {**data, "mark": rule, "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}},
        {**data, "mark": drawn, "encoding": {"x": x, "y": value}},
        {**data, "mark": point, "encoding": {"x": x, "y": value}},
    ]
    ring = [one for one in table if one["burned"] == picture.chosen]
    if ring:
        look: Spec = {"type": "point", "filled": False, "color": RUST, "strokeWidth": 2.2, "size": 240, "opacity": 1}
        layers.append({"data": {"values": ring}, "mark": look, "encoding": {"x": x, "y": value}})
    if line.known is not None and np.isfinite(line.known):
        dotted: Spec = {"type": "rule", "color": colour, "strokeDash": DOTS, "strokeWidth": 1.4}
        end: Spec = {"type": "point", "filled": False, "color": colour, "shape": shape, "size": 70, "opacity": 1}
        edge = {"data": {"values": rows(value=[line.known], burned=[x["scale"]["domain"][1]])}}
        layers.append({**edge, "mark": dotted, "encoding": {"y": value}})
        layers.append({**edge, "mark": end, "encoding": {"x": x, "y": value}})
    return layers


def _names(panel: TradePanel, x: Spec, y: Spec, picture: TradePicture) -> list[Spec]:
    """A legend of several lines, by a layer of their marks that adds nothing else."""
    if len(panel.lines) < 2:
        return []
    places = list(range(len(panel.lines)))
    table = [one for k in places for one in rows(line=[k], burned=[picture.chosen], value=[_first(panel.lines[k])])]
    looks = [LOOKS[place % len(LOOKS)] for place in places]
    legend = {"labelExpr": numbered([line.name for line in panel.lines]), "columns": 3, "symbolSize": 90}
    shape: Spec = {
        "field": "line",
        "type": "nominal",
        "scale": {"domain": places, "range": [one[2] for one in looks]},
        "legend": {**legend, "symbolFillColor": INK, "symbolStrokeColor": INK},
    }
    mark: Spec = {"type": "point", "opacity": 0}
    place: Spec = {"x": x, "y": {**y, "field": "value"}, "shape": shape}
    return [{"data": {"values": table}, "mark": mark, "encoding": place}] if table else []


def _first(line: TradeLine) -> float:
    there = line.value[np.isfinite(line.value)]
    return float(there[0]) if there.size else np.nan


def _subtitle(picture: TradePicture) -> list[str]:
    how = "Each mark is the best plan that burns so many, with two Monte Carlo standard errors to each side."
    known = any(line.known is not None for panel in picture.panels for line in panel.lines)
    dotted = " Dotted: if the batch were known exactly." if known else ""
    return [f"{how} Ring: the plan that was chosen.{dotted}", *picture.notes]


def _told(picture: TradePicture) -> str:
    said = [f"{picture.title}."]
    for panel in picture.panels:
        for line in panel.lines:
            there = zip(picture.burned.tolist(), line.value.tolist(), strict=True)
            values = [f"{k} burned {number(v, 3) if np.isfinite(v) else 'open'}" for k, v in there]
            name = f" at {line.name}" if len(panel.lines) > 1 else ""
            said.append(f"{panel.what}{name}: {listed(values, 30)}.")
    return " ".join([*said, f"Chosen: {picture.chosen} burned.", *picture.notes])


def helps_chart(picture: HelpsPicture) -> Spec:
    """A bar for each part from today's value on, with two Monte Carlo errors. Raises ValueError without a part."""
    shown = [one for one in picture.bars if one.value is not None]
    if not shown:
        raise ValueError("a chart of what helps needs at least one part")
    table = rows(
        place=range(len(shown)),
        value=[_known(one) for one in shown],
        today=[picture.today] * len(shown),
        low=[one.lower for one in shown],
        high=[one.upper for one in shown],
        sure=[one.sure for one in shown],
    )
    names = [one.part for one in shown]
    axis = {"labelExpr": numbered(names), "labelLimit": 0, "ticks": False, "domain": False, "grid": False}
    places = list(range(len(shown)))
    y: Spec = {"field": "place", "type": "nominal", "title": None, "scale": {"domain": places}, "axis": axis}
    x: Spec = {"type": "quantitative", "title": picture.what, "scale": {"zero": False, "nice": True}}
    value: Spec = {**x, "field": "value"}
    sure: Spec = {"condition": {"test": "datum.sure", "value": 0.55}, "value": 0.12}
    bar: Spec = {"type": "bar", "color": BLUE, "stroke": BLUE, "height": BAR * 0.5}
    layers: list[Spec] = [
        {"mark": bar, "encoding": {"y": y, "x": value, "x2": {"field": "today"}, "fillOpacity": sure}},
        {
            "mark": {"type": "rule", "color": INK, "strokeWidth": 1.6},
            "encoding": {"y": y, "x": {**x, "field": "low"}, "x2": {"field": "high"}},
        },
        {
            "data": {"values": rows(today=[picture.today])},
            "mark": {"type": "rule", "color": QUIET, "strokeDash": DOTS, "strokeWidth": 1.4},
            "encoding": {"x": {**x, "field": "today"}},
        },
    ]
    body: Spec = {"width": WIDTH, "height": BAR * len(shown), "data": {"values": table}, "layer": layers}
    return headed(picture.title, _helped(picture), _helps_told(picture), body)


def _known(one: HelpsBar) -> float:
    return np.nan if one.value is None else one.value


def _helped(picture: HelpsPicture) -> list[str]:
    beyond = [one.part for one in picture.bars if one.value is None]
    how = "Bar: from today's value (dotted) on; line: two Monte Carlo standard errors to each side. Pale: within these."
    more = [f"Not drawn, since nothing is answered today: {listed(beyond, 6)}."] if beyond else []
    return [how, *more, *picture.notes]


def _helps_told(picture: HelpsPicture) -> str:
    said = [
        f"{one.part} {'beyond any axis' if one.value is None else number(one.value, 3)}"
        f"{'' if one.value is None else f' ({number(one.lower, 3)} to {number(one.upper, 3)})'}"
        for one in picture.bars
    ]
    return f"{picture.title}; {picture.what}, today {number(picture.today, 3)}: {'; '.join(said)}."

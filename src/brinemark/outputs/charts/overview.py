"""All tanks of a consignment: what their readings state and, beside it, what each world makes of it."""

from __future__ import annotations

from brinemark.outputs.charts.frame import DASH, INK, QUIET, Spec, rows, shown_unit
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.levels import ends_of, span_of, wide_axis
from brinemark.outputs.charts.marks import head, rimmed
from brinemark.outputs.charts.ratios import LEGEND, bar_layers, bar_rows, ratio_axis, ratio_words, reach_of, zero_line
from brinemark.outputs.charts.spans import span_layers, span_rows
from brinemark.outputs.charts.words import listed, shortened
from brinemark.terms.fish_pictures import ConsignmentPicture, ConsignmentRow, WeightBar

LEVELS, RATIOS, GAP = 230, 350, 18
STEP, CLOSE, MANY = 26, 17, 24
"""Height of a row, that of one among many, and how many are many."""
LABEL = 140
NOT_READ = "not read yet"


def consignment_overview(picture: ConsignmentPicture) -> Spec:
    """One row for each tank: the reading on a level axis that shows 0, and one panel of weights for each world.

    Raises ValueError when there is no tank.
    """
    if not picture.rows:
        raise ValueError("the overview of a consignment needs at least one tank")
    step = STEP if len(picture.rows) <= MANY else CLOSE
    y = _names(picture)
    panels = [{**_levels(picture, y), "height": {"step": step}}]
    wide = (RATIOS - GAP * (len(picture.worlds) - 1)) / max(len(picture.worlds), 1)
    bare: Spec = {**y, "axis": None}
    for place, world in enumerate(picture.worlds):
        panels.append({**_weights(picture, place, world, bare, wide), "height": {"step": step}})
    body: Spec = {"hconcat": panels, "spacing": GAP, "resolve": {"scale": {"x": "independent", "y": "shared"}}}
    title = f"Consignment {picture.consignment}: {len(picture.rows)} {'tank' if len(picture.rows) == 1 else 'tanks'}"
    return headed(title, _subtitle(picture), _told(picture, title), body)


def _names(picture: ConsignmentPicture) -> Spec:
    order = [row.tank for row in picture.rows]
    axis = {"ticks": False, "domain": False, "labelPadding": 8, "labelLimit": LABEL, "labelFontWeight": 600}
    y: Spec = {"field": "sample", "type": "nominal", "sort": order, "title": None, "scale": {"domain": order}}
    return {**y, "axis": {**axis, "grid": False}}


def _stripes(picture: ConsignmentPicture, y: Spec, wide: float) -> Spec:
    """Every other row a little darker, so that the eye stays in it."""
    values = [{"sample": row.tank} for row in picture.rows[1::2]] or [{"sample": ""}]
    mark: Spec = {"type": "bar", "color": "#f3f3f3", "height": {"band": 1.0}}
    if len(picture.rows) < 2:
        mark["opacity"] = 0
        values = [{"sample": picture.rows[0].tank}]
    return {"data": {"values": values}, "mark": mark, "encoding": {"y": y, "x": {"value": 0}, "x2": {"value": wide}}}


def _levels(picture: ConsignmentPicture, y: Spec) -> Spec:
    known = ends_of([row.stated for row in picture.rows])
    known += [picture.minimum_detectable] if picture.minimum_detectable else []
    highest = max(known, default=1.0)
    x = wide_axis(1.4 * highest, min(0.5 * min(known, default=highest), highest / 10.0), picture.unit, 7)
    table: list[Spec] = []
    said: list[Spec] = []
    for row in picture.rows:
        span = None if row.stated is None else span_of(row.stated)
        if span is not None:
            table += span_rows(span, x, row.tank)
        else:
            text = NOT_READ if row.stated is None else f"cannot say: {row.stated.reason or ''}"
            said.append({"sample": row.tank, "text": shortened(text, 42)})
    layers = [_stripes(picture, y, LEVELS), *_limit(picture, x)]
    layers += span_layers(table, x, y) if table else [_no_marks(x, y, picture.rows[0].tank)]
    layers += _inside(said, y, 6)
    return {"title": head("readings"), "width": LEVELS, "layer": layers}


def _no_marks(x: Spec, y: Spec, tank: str) -> Spec:
    """An unseen mark, so that the axis is drawn."""
    values = [{"level": 0.0, "sample": tank}]
    return {"data": {"values": values}, "mark": {"type": "point", "opacity": 0}, "encoding": {"x": x, "y": y}}


def _limit(picture: ConsignmentPicture, x: Spec) -> list[Spec]:
    if not picture.minimum_detectable:
        return []
    values = rows(level=[picture.minimum_detectable])
    return [
        {
            "data": {"values": values},
            "mark": {"type": "rule", "color": INK, "strokeDash": DASH},
            "encoding": {"x": x},
        }
    ]


def _weights(picture: ConsignmentPicture, place: int, world: str, y: Spec, wide: float) -> Spec:
    ends = reach_of(bar for row in picture.rows for bar in row.weights)
    x = ratio_axis(ends, wide)
    table: list[Spec] = []
    said: list[Spec] = []
    for row in picture.rows:
        bar = _bar(row, place)
        table += bar_rows(bar, ends, {"sample": row.tank})
        if bar.log10_ratio is None:
            text = shortened(bar.reason or "no reason recorded", int(wide / 5.2))
            said.append({"sample": row.tank, "text": text})
    size = 8.0 if len(picture.rows) <= MANY else 6.0
    layers = [_stripes(picture, y, wide), zero_line(x), *bar_layers(table, x, y, size)]
    layers += _inside(said, y, 4)
    return {"title": head(f"world: {world}"), "width": wide, "layer": layers}


def _bar(row: ConsignmentRow, place: int) -> WeightBar:
    return row.weights[place] if place < len(row.weights) else WeightBar("", None, reason="no ratio worked out")


def _inside(said: list[Spec], y: Spec, left: float) -> list[Spec]:
    """Words in place of a mark, with a rim that keeps lines away from them."""
    mark: Spec = {"type": "text", "align": "left", "fontStyle": "italic", "color": QUIET, "fontSize": 10}
    place: Spec = {"x": {"value": left}, "y": y, "text": {"field": "text", "type": "nominal"}}
    return rimmed(said, mark, place) if said else []


def _subtitle(picture: ConsignmentPicture) -> list[str]:
    limit = " Dashed: minimum detectable." if picture.minimum_detectable else ""
    lines = [
        "Readings: end mark, a stated end; arrow, open on that side; filled circle, quantified; open circle, amount "
        f"uncertain.{limit}"
    ]
    if picture.worlds:
        lines += [
            LEGEND,
            f"Right of 0 the readings are more probable under '{picture.first}', left under '{picture.second}'. "
            "The worlds contradict each other and are not to be averaged.",
        ]
    reasons = list(dict.fromkeys(bar.reason for row in picture.rows for bar in row.weights if bar.reason))
    if reasons:
        lines.append(f"Why there is no ratio: {listed(reasons, 3, '; ')}.")
    return [*lines, *picture.notes]


def _told(picture: ConsignmentPicture, title: str) -> str:
    parts = [f"{title}, levels in {shown_unit(picture.unit)}."]
    for row in picture.rows:
        stated = NOT_READ if row.stated is None else row.stated.words
        reason = f" ({row.stated.reason})" if row.stated is not None and row.stated.reason else ""
        worlds = [f"world '{world}': {ratio_words(_bar(row, place))}" for place, world in enumerate(picture.worlds)]
        parts.append("; ".join([f"{row.tank}: {stated}{reason}", *worlds]) + ".")
    return " ".join([*parts, *picture.notes])

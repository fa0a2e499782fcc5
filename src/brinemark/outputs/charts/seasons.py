"""Prevalence by origin over the seasons, beside the bare share of positives; a season without statement says so."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, INK, QUIET, Spec, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.words import listed
from brinemark.terms.surveillance import TimePoint
from brinemark.terms.wording import as_sentence

WIDTH, GAP, STEP = 620, 40, 74
HEIGHT = 170
MANY = 10
"""Seasons from which on their counts are left to the words."""
APART = 7.0
NONE = "no statement"


def prevalence_over_time(points: Sequence[TimePoint], title: str = "Prevalence by origin and season") -> Spec:
    """One panel for each origin, all on the same axes. Seasons stand in the order in which they come.

    Raises ValueError when there is no point.
    """
    if not points:
        raise ValueError("a chart over the seasons needs at least one")
    seasons = list(dict.fromkeys(point.season for point in points))
    origins = list(dict.fromkeys(point.origin for point in points))
    columns = 2 if len(seasons) <= 4 and len(origins) > 1 else 1
    most = (WIDTH - GAP * (columns - 1)) / columns
    wide = min(most, max(STEP * len(seasons), 200))
    panels = [_panel([p for p in points if p.origin == origin], origin, seasons, wide) for origin in origins]
    body: Spec = {
        "concat": panels,
        "columns": columns,
        "spacing": {"row": 26, "column": GAP},
        "resolve": {"scale": {"x": "shared", "y": "shared"}},
    }
    return headed(title, _subtitle(points), _told(points, title), body)


def _panel(points: Sequence[TimePoint], origin: str, seasons: Sequence[str], wide: float) -> Spec:
    x: Spec = {
        "field": "season",
        "type": "ordinal",
        "sort": list(seasons),
        "scale": {"domain": list(seasons), "type": "point", "padding": 0.5},
        "title": "season",
        "axis": {"labelAngle": 0 if _fit(seasons, wide) else -40, "labelLimit": 110, "grid": False},
    }
    y: Spec = {
        "field": "share",
        "type": "quantitative",
        "title": "share of fish or tests",
        "scale": {"domain": [0, 1]},
        "axis": {"values": [0, 0.25, 0.5, 0.75, 1], "format": ".2~f"},
    }
    layers = [*_bare(points, x, y), *_estimates(points, x, y), *_silent(points, x)]
    layers += _counts(points, x) if len(seasons) < MANY else []
    title = {"text": origin, "fontSize": 12, "offset": 16 if len(seasons) < MANY else 6, "frame": "group"}
    return {"title": title, "width": wide, "height": HEIGHT, "layer": layers}


def _fit(seasons: Sequence[str], wide: float) -> bool:
    return max(len(season) for season in seasons) * 6.2 + 8.0 < wide / len(seasons)


def _bare(points: Sequence[TimePoint], x: Spec, y: Spec) -> list[Spec]:
    """Share of positives with its exact interval, a little to the left."""
    values = rows(
        season=[p.season for p in points],
        share=[p.share for p in points],
        low=[p.exact.lower for p in points],
        high=[p.exact.upper for p in points],
    )
    rule = {"type": "rule", "color": QUIET, "strokeWidth": 1.2, "xOffset": -APART}
    mark: Spec = {"type": "point", "filled": True, "shape": "circle", "fill": "white", "stroke": QUIET, "size": 42}
    mark |= {"strokeWidth": 1.4, "opacity": 1, "xOffset": -APART}
    return _pair(values, (rule, mark), x, y)


def _estimates(points: Sequence[TimePoint], x: Spec, y: Spec) -> list[Spec]:
    """Prevalence with its interval, a little to the right."""
    stated = [(p.season, p.prevalence.estimate, p.prevalence.interval) for p in points]
    table = [(season, value, *ends) for season, value, ends in stated if value is not None and ends is not None]
    if not table:
        return []
    season, value, low, high = zip(*table, strict=True)
    values = rows(season=season, share=value, low=low, high=high)
    rule = {"type": "rule", "color": BLUE, "strokeWidth": 3, "xOffset": APART}
    mark: Spec = {"type": "point", "filled": True, "shape": "diamond", "color": BLUE, "size": 95}
    return _pair(values, (rule, {**mark, "opacity": 1, "xOffset": APART}), x, y)


def _pair(values: list[Spec], looks: tuple[Spec, Spec], x: Spec, y: Spec) -> list[Spec]:
    ends: Spec = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}
    return [
        {"data": {"values": values}, "mark": looks[0], "encoding": ends},
        {"data": {"values": values}, "mark": looks[1], "encoding": {"x": x, "y": y}},
    ]


def _silent(points: Sequence[TimePoint], x: Spec) -> list[Spec]:
    values = [{"season": p.season, "text": NONE} for p in points if p.prevalence.estimate is None]
    if not values:
        return []
    mark: Spec = {"type": "text", "angle": 270, "align": "right", "baseline": "middle", "fontStyle": "italic"}
    mark |= {"fontSize": 10, "color": INK, "dx": -4, "xOffset": APART + 3.0}
    place: Spec = {"x": x, "y": {"value": 0}, "text": {"field": "text", "type": "nominal"}}
    return [{"data": {"values": values}, "mark": mark, "encoding": place}]


def _counts(points: Sequence[TimePoint], x: Spec) -> list[Spec]:
    """How many tests found thiocyanate, above the axes."""
    values = [{"season": p.season, "text": f"{p.positive} of {p.tested}"} for p in points]
    mark: Spec = {"type": "text", "baseline": "bottom", "fontSize": 10, "color": QUIET}
    place: Spec = {"x": x, "y": {"value": -4}, "text": {"field": "text", "type": "nominal"}}
    return [{"data": {"values": values}, "mark": mark, "encoding": place}]


def _subtitle(points: Sequence[TimePoint]) -> list[str]:
    lines = [
        "Diamond and thick line: prevalence among the fish, with its interval. Circle and thin line: bare share of the "
        "tests that found thiocyanate, with its exact interval; it is no prevalence."
    ]
    reasons: dict[str, list[str]] = {}
    for point in points:
        if point.prevalence.estimate is None:
            where = f"{point.origin} {point.season}"
            reasons.setdefault(point.prevalence.reason or "no reason recorded", []).append(where)
    lines += [f"{NONE.capitalize()} ({listed(where, 6)}): {reason}" for reason, where in list(reasons.items())[:4]]
    cautions = dict.fromkeys(one for point in points for one in point.prevalence.cautions)
    return [*lines, *(as_sentence(one) for one in list(cautions)[:4])]


def _told(points: Sequence[TimePoint], title: str) -> str:
    parts = [f"{title}."]
    for one in points:
        said = one.prevalence
        if said.estimate is None or said.interval is None:
            stated = f"{NONE}: {said.reason or 'no reason recorded'}"
        else:
            stated = f"prevalence {said.estimate:.2g} ({said.interval.lower:.2g} to {said.interval.upper:.2g})"
        share = f"{one.positive} of {one.tested} found"
        parts.append(f"{one.origin}, {one.season}: {share}, {stated}.")
    return " ".join(parts)

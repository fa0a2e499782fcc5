"""The pictures of the accuracy study: shapes and lines, no colour needed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from accuracy_cases import CASES
from accuracy_figures import FOLD_AT, POWER_AT, Figures
from accuracy_read import COMPONENT, LEARNED, LIMIT, US

Found = Mapping[tuple[str, str], Figures]
WHO = {US: "this program", COMPONENT: "with the component for films", LEARNED: "batch learned", LIMIT: "the limit"}
SHAPES = ["circle", "square", "cross", "diamond"]
FILLS = ["#1c1c1c", "#ffffff", "#1c1c1c", "#ffffff"]
INK, GREY, MOST = "#1c1c1c", "#6a6a6a", 100.0
WIDTH = 260


def _svg(parts: list[dict[str, Any]]) -> str:
    import vl_convert

    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "background": "white",
        "hconcat": parts,
        "config": {"font": "sans-serif", "axis": {"gridColor": "#e4e4e4"}},
    }
    return str(vl_convert.vegalite_to_svg(spec))


def _shown(found: Found, name: str) -> bool:
    """Whether a case has all that the pictures show."""
    return (name, US) in found and {*POWER_AT, FOLD_AT} <= set(found[name, US].levels)


def _cases(found: Found) -> dict[str, Any]:
    """The axis of cases, in their order, the same in every part of a picture."""
    order = [case.what for name, case in CASES.items() if _shown(found, name)]
    axis = {"labelLimit": 300, "grid": True}
    return {"field": "case", "type": "nominal", "scale": {"domain": order}, "title": None, "axis": axis}


def _marks() -> dict[str, Any]:
    """Who it is, by shape and by filled or open."""
    who = list(WHO.values())
    legend = {"title": None, "orient": "bottom"}
    return {
        "shape": {"field": "who", "type": "nominal", "scale": {"domain": who, "range": SHAPES}, "legend": legend},
        "fill": {"field": "who", "type": "nominal", "scale": {"domain": who, "range": FILLS}, "legend": legend},
    }


def power_picture(found: Found) -> str:
    """Power at .5 and 1 ug/L with two standard errors, beside those who know more."""
    y = _cases(found)
    hidden = {**y, "axis": {**y["axis"], "labels": False, "ticks": False}}
    left = _power(found, 0, "power at .5 ug/L, +- 2 SE", y)
    return _svg([left, _power(found, 1, "power at 1 ug/L, +- 2 SE", hidden)])


def _power(found: Found, at: int, title: str, y: dict[str, Any]) -> dict[str, Any]:
    values = []
    for (name, who), one in found.items():
        value, error = one.power[at]
        if who in WHO and _shown(found, name):
            ends = {"low": max(0.0, value - 2 * error), "high": min(1.0, value + 2 * error)} if who == US else {}
            values.append({"case": CASES[name].what, "rate": value, "who": WHO[who], **ends})
    scale = {"domain": [0, 1]}
    point = {"type": "point", "size": 45, "stroke": INK, "strokeWidth": 1}
    return _layers(values, y, ("rate", title, scale), point)


def _layers(
    values: list[dict[str, Any]], y: dict[str, Any], x: tuple[str, str, dict[str, Any]], point: dict[str, Any]
) -> dict[str, Any]:
    """Bars from low to high where there are such, and points over them."""
    field, title, scale = x
    along = {"type": "quantitative", "scale": scale, "title": title}
    bar = {"mark": {"type": "rule", "color": INK}, "transform": [{"filter": "isValid(datum.low)"}]}
    return {
        "width": WIDTH,
        "data": {"values": values},
        "layer": [
            {**bar, "encoding": {"y": y, "x": {"field": "low", **along}, "x2": {"field": "high"}}},
            {"mark": point, "encoding": {"y": y, "x": {"field": field, **along}, **_marks()}},
        ],
    }


def folds_picture(found: Found) -> str:
    """Coverage with two standard errors, and fold beside the limit's."""
    y = _cases(found)
    hidden = {**y, "axis": {**y["axis"], "labels": False, "ticks": False}}
    return _svg([_coverage(found, y), _folds(found, hidden)])


def _coverage(found: Found, y: dict[str, Any]) -> dict[str, Any]:
    values = []
    for (name, who), one in found.items():
        if who in (US, COMPONENT) and _shown(found, name):
            value, error = one.coverage
            ends = {"low": max(0.8, value - 2 * error), "high": min(1.0, value + 2 * error)}
            values.append({"case": CASES[name].what, "rate": value, "who": WHO[who], **ends})
    scale = {"domain": [0.8, 1.0], "zero": False}
    point = {"type": "point", "size": 45, "stroke": INK, "strokeWidth": 1}
    made = _layers(values, y, ("rate", "two-sided 95 % intervals that hold, +- 2 SE", scale), point)
    dashed = {"type": "rule", "strokeDash": [4, 4], "color": GREY}
    wanted = {"datum": 0.95, "type": "quantitative", "scale": scale}
    made["layer"].insert(0, {"mark": dashed, "encoding": {"x": wanted}})
    return made


def _folds(found: Found, y: dict[str, Any]) -> dict[str, Any]:
    values = [
        {"case": CASES[name].what, "fold": min(one.fold[0], MOST), "who": WHO[who]}
        for (name, who), one in found.items()
        if who in WHO and _shown(found, name)
    ]
    scale = {"type": "log", "domain": [1, MOST]}
    point = {"type": "point", "size": 45, "stroke": INK, "strokeWidth": 1}
    return _layers(values, y, ("fold", "median fold at 2 ug/L (100: wider or open)", scale), point)

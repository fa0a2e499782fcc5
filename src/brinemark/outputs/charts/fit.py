"""What groups of calibration electrodes would have beyond the model: ratios with their uncertainty, 1 is the model."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, DASH, QUIET, RUST, Spec, rows, titled
from brinemark.terms.amounts import FitCheck

WIDTH = 420
PANELS = {"gain": "gain of the group over the model's", "steepness": "exponent of the batch over the population's"}
NAMES = {"top": "highest standards", "middle": "standards near K"}
TICKS = (0.2, 0.25, 0.33, 0.5, 0.67, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0, 3.0, 4.0, 5.0)


def fit_chart(checks: Sequence[FitCheck], title: str) -> Spec:
    """One row for each check: a bar of two standard uncertainties either way, on a logarithmic axis.

    Raises ValueError when there is no check.
    """
    if not checks:
        raise ValueError("a chart of fit needs at least one check")
    reach = max(0.15, *(abs(one.tau) + 2.0 * one.u for one in checks))
    panels = [_panel(mine, what, reach) for what in PANELS if (mine := [one for one in checks if one.what == what])]
    body: Spec = {"vconcat": panels, "spacing": 26, "resolve": {"scale": {"y": "independent"}}}
    subtitle = [
        "Bar: two standard uncertainties either way. 1 is the fitted model.",
        "Square: beyond what chance gives; circle: not. Groups that tell nothing are left out.",
    ]
    return titled(title, subtitle, f"{title}. {' '.join(map(_sentence, checks))}", body)


def _name(one: FitCheck) -> str:
    return NAMES.get(one.name, one.name)


def _sentence(one: FitCheck) -> str:
    what = "gain" if one.what == "gain" else "exponent"
    verdict = "beyond chance" if one.speaks else "within chance"
    size = f"{math.exp(one.tau):.2f} times, {abs(one.tau) / one.u:.1f} standard uncertainties"
    return f"{_name(one)}: {what} {size}, {verdict}."


def _found(values: list[str]) -> Spec:
    """What chance gives and what it does not, by shape and by colour."""
    scale = {"domain": ["within chance", "beyond chance"], "range": values}
    return {"field": "found", "type": "nominal", "scale": scale, "legend": None}


def _panel(checks: Sequence[FitCheck], what: str, reach: float) -> Spec:
    values = rows(
        group=[_name(one) for one in checks],
        ratio=[math.exp(one.tau) for one in checks],
        low=[math.exp(one.tau - 2.0 * one.u) for one in checks],
        high=[math.exp(one.tau + 2.0 * one.u) for one in checks],
        found=["beyond chance" if one.speaks else "within chance" for one in checks],
    )
    ends = [math.exp(-reach), math.exp(reach)]
    ticks = [tick for tick in TICKS if ends[0] <= tick <= ends[1]]
    x: Spec = {
        "field": "ratio",
        "type": "quantitative",
        "title": PANELS[what],
        "scale": {"type": "log", "domain": ends, "nice": False},
        "axis": {"values": ticks, "format": "~g", "labelOverlap": True},
    }
    y: Spec = {"field": "group", "type": "nominal", "sort": [_name(one) for one in checks], "title": None}
    mark: Spec = {"x": x, "y": y, "shape": _found(["circle", "square"]), "color": _found([BLUE, RUST])}
    return {
        "width": WIDTH,
        "height": {"step": 24},
        "layer": [
            {
                "data": {"values": [{"ratio": 1.0}]},
                "mark": {"type": "rule", "color": QUIET, "strokeDash": DASH},
                "encoding": {"x": x},
            },
            {
                "data": {"values": values},
                "mark": {"type": "rule", "strokeWidth": 1.6},
                "encoding": {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "y": y, "color": mark["color"]},
            },
            {"data": {"values": values}, "mark": {"type": "point", "filled": True, "size": 90}, "encoding": mark},
        ],
    }

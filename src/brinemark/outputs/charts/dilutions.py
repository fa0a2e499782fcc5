"""Picture of the plan of a sample: what each dilution, read in each way, is expected to tell."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import INK, RUST, Spec, number, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.planning import HEIGHT, LOOKS, WIDTH
from brinemark.outputs.charts.words import listed, numbered
from brinemark.terms.planning_pictures import DilutionLine, DilutionsPicture

NARROWER = "times narrower, on average"
BESIDE = 0.12
"""Share of the way to the next dilution between two ways of reading, so that their errors do not lie on one line."""


def dilutions_chart(picture: DilutionsPicture) -> Spec:
    """How many times what is known narrows, with two Monte Carlo errors, and under it the chance of an interval as
    narrow as wanted, over the dilutions; a ring at what is chosen. Raises ValueError without a line or a dilution."""
    size = len(picture.dilutions)
    if not size or not picture.lines:
        raise ValueError("a chart of dilutions needs at least one dilution and one way of reading")
    if any(values.shape != (size,) for one in picture.lines for values in (one.narrower, one.error, one.chance)):
        raise ValueError(f"a chart of dilutions needs {size} values in every line")
    body: Spec = {
        "vconcat": [
            _panel(picture, NARROWER, lowest=False),
            _panel(picture, f"chance of a fold of at most {picture.max_fold:g}", lowest=True),
        ],
        "spacing": 40,
        "bounds": "flush",
        "resolve": {"scale": {"x": "shared", "shape": "shared"}},
    }
    return headed(picture.title, _subtitle(picture), _told(picture), body)


def _panel(picture: DilutionsPicture, what: str, lowest: bool) -> Spec:
    size = len(picture.dilutions)
    labels = ["as it is" if one == 1.0 else f"{one:g}" for one in picture.dilutions]
    x: Spec = {
        "field": "x",
        "type": "quantitative",
        "title": "times diluted" if lowest else None,
        "scale": {"domain": [-0.5, size - 0.5], "nice": False, "zero": False},
        "axis": {
            "values": list(range(size)),
            "labelExpr": numbered(labels),
            "ticks": False,
            "grid": False,
            "labels": lowest,
            "offset": 10,
        },
    }
    y: Spec = {"type": "quantitative", "title": what, "axis": {"tickCount": 5, "format": "~g"}}
    y["scale"] = {"zero": True, "domain": [0, 1]} if lowest else {"zero": False, "nice": True}
    layers: list[Spec] = [{"data": {"values": [{"today": 1}]}, **_today(y)}] if not lowest else []
    for place, one in enumerate(picture.lines):
        layers += _line(picture, one, (place, x, y), lowest)
    return {"width": WIDTH, "height": HEIGHT, "layer": layers}


def _today(y: Spec) -> Spec:
    """The line of no gain."""
    return {"mark": {"type": "rule", "color": INK, "strokeWidth": 0.8}, "encoding": {"y": {**y, "field": "today"}}}


def _line(picture: DilutionsPicture, one: DilutionLine, axes: tuple[int, Spec, Spec], lowest: bool) -> list[Spec]:
    place, x, y = axes
    dash, colour, _ = LOOKS[place % len(LOOKS)]
    value = one.chance if lowest else one.narrower
    error = np.zeros_like(value) if lowest else one.error
    beside = BESIDE * (place - 0.5 * (len(picture.lines) - 1))
    table = rows(
        place=range(value.size),
        x=np.arange(value.size) + beside,
        value=value,
        low=value - 2.0 * error,
        high=value + 2.0 * error,
        line=[place] * value.size,
        chosen=[n in one.chosen for n in range(value.size)],
    )
    drawn: Spec = {"type": "line", "color": colour, "strokeDash": dash, "strokeWidth": 1.6}
    point: Spec = {"type": "point", "filled": True, "color": colour, "size": 60, "opacity": 1}
    ring: Spec = {"type": "point", "filled": False, "color": RUST, "strokeWidth": 2.2, "size": 240, "opacity": 1}
    at: Spec = {"x": x, "y": {**y, "field": "value"}}
    layers: list[Spec] = [
        {"mark": drawn, "encoding": at},
        {"mark": point, "encoding": {**at, "shape": _shapes(picture, lowest)}},
        {"transform": [{"filter": "datum.chosen"}], "mark": ring, "encoding": at},
    ]
    if not lowest:
        rule: Spec = {"type": "rule", "color": colour, "strokeWidth": 1.3}
        layers.insert(0, {"mark": rule, "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}}})
    return [{"data": {"values": table}, "layer": layers}]


def _shapes(picture: DilutionsPicture, lowest: bool) -> Spec:
    """The mark of each way of reading; one legend above both panels, none for a single way."""
    places = list(range(len(picture.lines)))
    legend: Spec | None = None
    if len(places) > 1 and not lowest:
        names = {"labelExpr": numbered([one.name for one in picture.lines]), "columns": 3, "symbolSize": 90}
        legend = {**names, "symbolFillColor": INK, "symbolStrokeColor": INK}
    marks = [LOOKS[place % len(LOOKS)][2] for place in places]
    return {"field": "line", "type": "nominal", "scale": {"domain": places, "range": marks}, "legend": legend}


def _subtitle(picture: DilutionsPicture) -> list[str]:
    how = "What one electrode is expected to tell, with two Monte Carlo standard errors to each side. 1: no gain."
    return [f"{how} Ring: what the plan names.", *picture.notes]


def _told(picture: DilutionsPicture) -> str:
    said = [f"{picture.title}; times narrower on average, and chance of a fold of at most {picture.max_fold:g}."]
    for one in picture.lines:
        values = [
            f"{_diluted(dilution)} {number(narrower, 3)} times, {100.0 * chance:.0f} %"
            for dilution, narrower, chance in zip(picture.dilutions, one.narrower, one.chance, strict=True)
            if np.isfinite(narrower)
        ]
        said.append(f"{one.name[0].upper()}{one.name[1:]}: {listed(values, 30, '; ')}.")
    named = [f"{_diluted(picture.dilutions[n])}, {one.name}" for one in picture.lines for n in sorted(one.chosen)]
    return " ".join([*said, f"Named: {'; '.join(named)}."])


def _diluted(dilution: float) -> str:
    return "as it is" if dilution == 1.0 else f"{dilution:g} times diluted"

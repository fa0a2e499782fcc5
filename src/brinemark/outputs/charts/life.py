"""The life of one electrode: its readings in order of time, and their curves laid over one another."""

from __future__ import annotations

import json
import math
import re

import numpy as np

from brinemark.outputs.charts.frame import (
    BLUE,
    INK,
    QUIET,
    RUST,
    Spec,
    rows,
    scaled_unit,
    shown_unit,
    thinned,
    titled,
    with_uncertainty,
)
from brinemark.outputs.charts.words import wrapped
from brinemark.terms.arrays import FloatArray
from brinemark.terms.pictures import DipPicture, LifePicture

HEIGHT, CURVES_WIDTH, STEP, NARROWEST = 280, 340, 94, 230
LABEL_WIDTH = 15
TOGETHER = re.compile(r"(?<=\+) | (?=(?:\S*/L|times)\b)")
"""Blanks at which no line of a label ends."""
LEGEND = "Bars: signal ± 2 standard uncertainties. The same numbers at the readings and on their curves."
LINES: tuple[tuple[list[float], float, str], ...] = (
    ([2, 2.5], 1.4, QUIET),
    ([1, 0], 1.4, INK),
    ([8, 3], 2.0, BLUE),
    ([1, 0], 2.6, RUST),
    ([9, 3, 2, 3], 2.0, INK),
    ([4, 3], 2.6, QUIET),
)
"""Dash, weight and colour of the first, second, ... reading; they differ without the colour, and begin anew."""


def life_chart(life: LifePicture) -> Spec:
    """Left the signals dip by dip with bars of +-2 u, right the curves in the window of the signal, when there are any.

    Raises ValueError for a life without readings.
    """
    if not life.dips:
        raise ValueError("the picture of a life needs at least one reading")
    panels = [_signals(life)]
    if any(dip.x is not None for dip in life.dips):
        panels.append(_curves(life))
    body: Spec = {"hconcat": panels, "spacing": 34, "resolve": {"scale": dict.fromkeys(("x", "y"), "independent")}}
    title = f"Electrode {life.electrode}, batch {life.batch}"
    lines = [] if life.statement is None else [life.statement]
    return titled(title, [*lines, LEGEND], _told(life, title), body)


def _told(life: LifePicture, title: str) -> str:
    factor, unit = _scale(life)
    parts = []
    for place, dip in enumerate(life.dips, start=1):
        value, u = with_uncertainty(dip.signal * factor, dip.u * factor)
        parts.append(f"{place} {dip.held}: {value}{unit}, u = {u}{unit}")
    said = f" {life.statement}." if life.statement else ""
    return f"{title}.{said} {life.quantity.capitalize()} at each reading in order of time: {'; '.join(parts)}."


def _scale(life: LifePicture) -> tuple[float, str]:
    """Factor and unit, the unit with a blank before it, or "" for a number without unit."""
    ends = np.array([dip.signal + sign * _bar(dip) for dip in life.dips for sign in (-1, 1)])
    factor, unit = scaled_unit(life.signal_unit, ends)
    return factor, "" if unit == "1" else f" {unit}"


def _bar(dip: DipPicture) -> float:
    return 2.0 * dip.u if math.isfinite(dip.u) else 0.0


def _signals(life: LifePicture) -> Spec:
    factor, unit = _scale(life)
    values = [dip.signal * factor for dip in life.dips]
    bars = [_bar(dip) * factor for dip in life.dips]
    table = rows(
        place=range(len(values)),
        signal=values,
        low=[value - bar for value, bar in zip(values, bars, strict=True)],
        high=[value + bar for value, bar in zip(values, bars, strict=True)],
    )
    x, y = _places(life), {"field": "signal", "type": "quantitative", "title": _named(life.quantity, unit)}
    ends = {"y": {**y, "field": "low"}, "y2": {"field": "high"}}
    return {
        "width": max(STEP * len(values), NARROWEST),
        "height": HEIGHT,
        "data": {"values": table},
        "layer": [
            {"mark": {"type": "line", "color": QUIET, "strokeWidth": 1}, "encoding": {"x": x, "y": y}},
            {"mark": {"type": "rule", "color": INK, "strokeWidth": 1.6}, "encoding": {"x": x, **ends}},
            {
                "mark": {"type": "point", "filled": True, "opacity": 1, "color": INK, "size": 60},
                "encoding": {"x": x, "y": y},
            },
        ],
    }


def _named(quantity: str, unit: str) -> str:
    return f"{quantity},{unit}" if unit else quantity


def _places(life: LifePicture) -> Spec:
    """The readings in order, each with its number and, in short lines, what the cell held."""
    labels = [[str(place), *_short_lines(dip.held)] for place, dip in enumerate(life.dips, start=1)]
    axis = {
        "labelExpr": f"{json.dumps(labels, ensure_ascii=False)}[datum.value]",
        "labelAngle": 0,
        "labelLineHeight": 14,
        "labelLimit": 0,
        "labelOverlap": False,
        "grid": False,
    }
    return {"field": "place", "type": "ordinal", "title": "readings in order of time", "axis": axis}


def _short_lines(held: str) -> list[str]:
    """Lines that never part a number from the plus sign before it or the word after it."""
    tied = TOGETHER.sub("\a", held)
    return [line.replace("\a", " ") for line in wrapped(tied, LABEL_WIDTH)]


def _curves(life: LifePicture) -> Spec:
    kept = [(place, dip) for place, dip in enumerate(life.dips) if dip.x is not None and dip.y is not None]
    every = np.concatenate([dip.y for _, dip in kept if dip.y is not None])
    factor, unit = scaled_unit("1" if life.spectra else "A", every)
    table, numbers = [], []
    for place, dip in kept:
        if dip.x is None or dip.y is None:
            continue
        keep = thinned(dip.y)
        name = str(place + 1)
        points = rows(order=range(keep.size), across=dip.x[keep], measured=dip.y[keep] * factor)
        table += [{"dip": name, **point} for point in points]
        numbers.append({"dip": name, **_number(dip.x[keep], dip.y[keep] * factor, place, len(life.dips))})
    place_of = {"x": _across(life, kept), "y": _measured("absorbance" if life.spectra else "current", unit)}
    halo = {"type": "text", "fontWeight": 700, "fontSize": 12.5}
    text = {"field": "dip", "type": "nominal"}
    return {
        "width": CURVES_WIDTH,
        "height": HEIGHT,
        "layer": [
            {
                "data": {"values": table},
                "mark": {"type": "line", "clip": True},
                "encoding": {**place_of, "order": {"field": "order"}, **_told_apart([str(p + 1) for p, _ in kept])},
            },
            *(
                {"data": {"values": numbers}, "mark": {**halo, **look}, "encoding": {**place_of, "text": text}}
                for look in ({"stroke": "white", "strokeWidth": 5, "color": "white"}, {"color": INK})
            ),
        ],
    }


def _number(x: FloatArray, y: FloatArray, place: int, count: int) -> Spec:
    """Where the number of a curve stands on it: side by side, so that the numbers of like curves do not meet."""
    middle = 0.5 + 0.34 * ((place + 0.5) / count - 0.5)
    at = int(np.argmin(np.abs(x - (x.min() + middle * np.ptp(x)))))
    return rows(across=[float(x[at])], measured=[float(y[at])])[0]


def _told_apart(names: list[str]) -> Spec:
    looks = [LINES[(int(name) - 1) % len(LINES)] for name in names]
    channels = (("strokeDash", 0), ("strokeWidth", 1), ("color", 2))
    return {
        channel: {
            "field": "dip",
            "type": "nominal",
            "legend": None,
            "scale": {"domain": names, "range": [look[part] for look in looks]},
        }
        for channel, part in channels
    }


def _across(life: LifePicture, kept: list[tuple[int, DipPicture]]) -> Spec:
    every = np.concatenate([dip.x for _, dip in kept if dip.x is not None])
    domain = [round(float(every.min()), 4), round(float(every.max()), 4)]
    return {
        "field": "across",
        "type": "quantitative",
        "title": life.across,
        "scale": {"domain": domain, "nice": False, "zero": False},
        "axis": {"format": ".0f" if life.spectra else ".2f", "labelFlush": False, "labelOverlap": True},
    }


def _measured(quantity: str, unit: str) -> Spec:
    title = quantity if unit == shown_unit("1") else f"{quantity}, {unit}"
    return {"field": "measured", "type": "quantitative", "title": title, "scale": {"zero": False}}

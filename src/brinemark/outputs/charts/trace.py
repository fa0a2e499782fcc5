"""One voltammogram taken apart: the curve, its baseline, the wave on it, and what is left over."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import (
    BLUE,
    DASH,
    FAINT,
    INK,
    QUIET,
    RUST,
    Spec,
    number,
    rows,
    scaled_unit,
    titled,
    with_uncertainty,
)
from brinemark.terms.curves import Dissection, Flag, Signal, Trace

WIDTH = 600
PARTS = ("measured", "baseline + wave", "baseline")
QUANTITY = {"A": "height", "C": "charge", "V": "potential"}


def trace_chart(
    dissection: Dissection, whole: Trace | None = None, title: str = "Trace", potential: str = "potential, V"
) -> Spec:
    """The window of the signal with baseline and wave, the residual beneath, the whole trace above when given.

    title : names the electrode; potential : title of the axis, where the reference electrode can be named.
    """
    factor, unit = scaled_unit("A", dissection.current_A)
    panels = [_window(dissection, factor, unit), _residual(dissection, potential)]
    if whole is not None:
        panels.insert(0, _overview(dissection, whole, potential))
    value = dissection.signal
    body: Spec = {"vconcat": panels, "spacing": 22, "resolve": {"scale": _apart()}}
    sentence = _sentence(value)
    told = (
        f"{title}. Current against potential in the window of the signal, with baseline, wave and residual. {sentence}"
    )
    return titled(title, [sentence, *_flags(value.flags)], told, body)


def _apart() -> Spec:
    # Otherwise the legend of the middle panel moves to the top of the page.
    return dict.fromkeys(("color", "strokeDash", "strokeWidth"), "independent")


def _x(dissection: Dissection, title: str | None) -> Spec:
    low, high = float(dissection.potential_V[0]), float(dissection.potential_V[-1])
    labelled: Spec = {"format": ".2f", "labelFlush": False, "labelOverlap": True}
    axis = {"title": title, **labelled} if title else {"title": None, "labels": False, "ticks": False}
    return {
        "field": "potential",
        "type": "quantitative",
        "scale": {"domain": [round(low, 4), round(high, 4)], "nice": False, "zero": False},
        "axis": axis,
    }


def _window(dissection: Dissection, factor: float, unit: str) -> Spec:
    x = _x(dissection, None)
    n = dissection.potential_V.size
    fit = dissection.baseline_A + dissection.wave_A
    table = []
    for name, values in zip(PARTS, (dissection.current_A, fit, dissection.baseline_A), strict=True):
        table += rows(part=[name] * n, order=range(n), potential=dissection.potential_V, current=values * factor)
    y: Spec = {
        "field": "current",
        "type": "quantitative",
        "title": f"current, {unit}",
        "scale": _roomy(dissection, factor),
    }
    parts = {"field": "part", "type": "nominal", "scale": {"domain": list(PARTS)}}
    encoding: Spec = {
        "x": x,
        "y": y,
        "order": {"field": "order"},
        "color": {**parts, "scale": {"domain": list(PARTS), "range": [INK, BLUE, RUST]}},
        "strokeDash": {
            **parts,
            "scale": {"domain": list(PARTS), "range": [[1, 0], [9, 3], [3, 3]]},
            "legend": {"symbolType": "stroke", "symbolSize": 300},
        },
        "strokeWidth": {**parts, "scale": {"domain": list(PARTS), "range": [1, 2.4, 1.8]}},
    }
    line: Spec = {"mark": {"type": "line", "clip": True}, "encoding": encoding}
    return {
        "width": WIDTH,
        "height": 260,
        "data": {"values": table},
        "layer": [line, *_height(dissection, factor, unit)],
    }


def _roomy(dissection: Dissection, factor: float) -> Spec:
    """A current scale with room beyond the baseline for the label of the height."""
    every = np.concatenate([dissection.current_A, dissection.baseline_A, dissection.baseline_A + dissection.wave_A])
    low, high = float(np.min(every)) * factor, float(np.max(every)) * factor
    room = 0.16 * ((high - low) or 1.0)
    downward = float(np.sum(dissection.wave_A)) < 0.0
    ends = (low - 0.04 * room, high + room) if downward else (low - room, high + 0.04 * room)
    return {"zero": False, "domain": [float(f"{end:.4g}") for end in ends], "nice": True}


def _height(dissection: Dissection, factor: float, unit: str) -> list[Spec]:
    """The height of the wave as a measured distance, where the signal is a height."""
    signal = dissection.signal
    if signal.unit != "A" or signal.value == 0.0:
        return []
    at = int(np.argmax(np.abs(dissection.wave_A)))
    base, tip = dissection.baseline_A[at], dissection.baseline_A[at] + dissection.wave_A[at]
    value, u = with_uncertainty(signal.value * factor, signal.u * factor)
    place = {"x": {**_x(dissection, None), "field": "potential"}}
    ends = rows(potential=[float(dissection.potential_V[at])], low=[float(base) * factor], high=[float(tip) * factor])
    below = tip >= base
    label = {"type": "text", "baseline": "top" if below else "bottom", "dy": 7 if below else -7}
    label |= {"text": f"{value} {unit}, u = {u} {unit}", "fontWeight": 600, "color": BLUE}
    return [
        {
            "data": {"values": ends},
            "mark": {"type": "rule", "color": BLUE, "strokeWidth": 1.2},
            "encoding": {**place, "y": {"field": "low", "type": "quantitative"}, "y2": {"field": "high"}},
        },
        *(
            {
                "data": {"values": ends},
                "mark": {"type": "tick", "orient": "horizontal", "color": BLUE, "size": 12, "thickness": 1.2},
                "encoding": {**place, "y": {"field": end, "type": "quantitative"}},
            }
            for end in ("low", "high")
        ),
        {
            "data": {"values": ends},
            "mark": label,
            "encoding": {**place, "y": {"field": "low", "type": "quantitative"}},
        },
    ]


def _residual(dissection: Dissection, potential: str) -> Spec:
    factor, unit = scaled_unit("A", dissection.residual_A)
    n = dissection.potential_V.size
    table = rows(order=range(n), potential=dissection.potential_V, current=dissection.residual_A * factor)
    y: Spec = {"field": "current", "type": "quantitative", "title": f"left over, {unit}", "axis": {"tickCount": 3}}
    return {
        "width": WIDTH,
        "height": 70,
        "layer": [
            {
                "data": {"values": [{"zero": 0}]},
                "mark": {"type": "rule", "color": QUIET, "strokeDash": DASH},
                "encoding": {"y": {"field": "zero", "type": "quantitative"}},
            },
            {
                "data": {"values": table},
                "mark": {"type": "line", "strokeWidth": 1, "color": INK},
                "encoding": {"x": _x(dissection, potential), "y": y, "order": {"field": "order"}},
            },
        ],
    }


def _overview(dissection: Dissection, whole: Trace, potential: str) -> Spec:
    factor, unit = scaled_unit("A", whole.current_A)
    n = whole.potential_V.size
    table = rows(order=range(n), potential=whole.potential_V, current=whole.current_A * factor)
    low, high = float(dissection.potential_V[0]), float(dissection.potential_V[-1])
    ends = [{"from": round(low, 5), "to": round(high, 5)}]
    x: Spec = {"field": "potential", "type": "quantitative", "title": potential, "scale": {"zero": False}}
    y: Spec = {"field": "current", "type": "quantitative", "title": f"current, {unit}", "axis": {"tickCount": 5}}
    x["axis"] = {"labelFlush": False}
    edge = {"type": "rule", "color": QUIET, "strokeDash": DASH}
    return {
        "width": WIDTH,
        "height": 150,
        "title": {
            "text": "whole trace; shaded: the window of the signal",
            "fontSize": 11.5,
            "fontWeight": 400,
            "color": QUIET,
            "offset": 4,
        },
        "layer": [
            {
                "data": {"values": ends},
                "mark": {"type": "rect", "color": FAINT, "opacity": 0.8},
                "encoding": {"x": {"field": "from", "type": "quantitative"}, "x2": {"field": "to"}},
            },
            *(
                {"data": {"values": ends}, "mark": edge, "encoding": {"x": {"field": end, "type": "quantitative"}}}
                for end in ("from", "to")
            ),
            {
                "data": {"values": table},
                "mark": {"type": "line", "strokeWidth": 1.2, "color": INK},
                "encoding": {"x": x, "y": y, "order": {"field": "order"}},
            },
        ],
    }


def _sentence(signal: Signal) -> str:
    parts = np.array([signal.value, signal.u])
    factor, unit = scaled_unit(signal.unit, parts)
    value, u = with_uncertainty(signal.value * factor, signal.u * factor)
    noise, baseline = number(signal.u_noise * factor), number(signal.u_baseline * factor)
    name = QUANTITY.get(signal.unit, "signal")
    text = f"Signal ({name}): {value} {unit}, standard uncertainty {u} {unit}"
    return text + (f" (noise {noise}, baseline {baseline})." if signal.u_noise or signal.u_baseline else ".")


def _flags(flags: tuple[Flag, ...]) -> list[str]:
    return [f"Flag: {flag.name} {flag.value:.3g} (limit {flag.limit:.3g}): {flag.meaning}" for flag in flags]

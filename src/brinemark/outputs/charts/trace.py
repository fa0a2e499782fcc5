"""One curve taken apart, voltammogram or spectrum: its baseline, the wave or band on it, and what is left over."""

from __future__ import annotations

from dataclasses import dataclass, replace

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
    thinned,
    titled,
    with_uncertainty,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Curve, CurveDissection, Dissection, Flag, Signal, Spectrum

WIDTH = 600
LINE_POINTS = 2000
"""Most points of a line: a million would make a file of 100 MB that looks the same."""

CHARGING = "charging current"
QUANTITY = {"A": "height", "C": "charge", "V": "potential", "1": "absorbance"}


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """A curve taken apart, of either kind: x against measured = baseline + wave + residual, all (n,).

    at : where the height stands; shown : whether the signal is a height; x_name, y : words for the axes; y_whole : for
    the y axis of the overview; wave_word, whole_word : for the part and the overview; unit : of the measured; ticks :
    form of the numbers on the x axis.
    """

    x: FloatArray
    measured: FloatArray
    baseline: FloatArray
    wave: FloatArray
    residual: FloatArray
    at: int
    shown: bool
    x_name: str
    y: str
    y_whole: str
    wave_word: str
    whole_word: str
    unit: str
    ticks: str
    signal: Signal
    base_word: str = "baseline"

    @property
    def names(self) -> tuple[str, str, str]:
        """Of the three lines in the window."""
        return "measured", f"{self.base_word} + {self.wave_word}", self.base_word


def _parts(one: CurveDissection) -> _Parts:
    if isinstance(one, Dissection):
        arrays = (one.potential_V, one.current_A, one.baseline_A, one.wave_A, one.residual_A)
        at = int(np.argmax(np.abs(one.wave_A)))
        shown = one.signal.unit == "A" and one.signal.value != 0.0
        words = ("wave", "whole trace")
        found = _Parts(*arrays, at, shown, "potential", "current", "current", *words, "A", ".2f", one.signal)
        middle = int(one.potential_V.size // 2)
        return replace(found, at=middle, wave_word=CHARGING, base_word="middle of sweeps") if one.charging else found
    values = (one.wavelength_nm, one.absorbance, one.baseline, one.band, one.residual)
    at = int(np.argmin(np.abs(one.wavelength_nm - one.read_nm)))
    shown = one.signal.value != 0.0
    y = "absorbance above the pre-scan" if one.gained else "absorbance"
    return _Parts(*values, at, shown, "wavelength", y, "absorbance", "band", "whole spectrum", "1", ".0f", one.signal)


def _axis_title(name: str, unit: str) -> str:
    """An axis with its unit; a number without unit has none."""
    return name if unit == "1" else f"{name}, {unit}"


def _with_unit(value: str, unit: str) -> str:
    return value if unit == "1" else f"{value} {unit}"


def trace_chart(
    dissection: CurveDissection,
    whole: Curve | None = None,
    title: str = "Trace",
    across: str | None = None,
    quantity: str | None = None,
) -> Spec:
    """The window of the signal with baseline and wave or band, the residual beneath, the whole curve above when given.

    title : names the electrode; across : title of the x axis, where the reference electrode can be named; by itself
    it is the potential of a voltammogram and the wavelength of a spectrum. quantity : what the signal is, by itself
    told from its unit.
    """
    parts = _parts(dissection)
    across = across or f"{parts.x_name}, {'V' if isinstance(dissection, Dissection) else 'nm'}"
    factor, unit = scaled_unit(parts.unit, parts.measured)
    panels = [_window(parts, factor, unit), _residual(parts, across)]
    if whole is not None:
        panels.insert(0, _overview(parts, whole, across))
    body: Spec = {"vconcat": panels, "spacing": 22, "resolve": {"scale": _apart()}}
    sentence = _sentence(parts.signal, quantity or (CHARGING if parts.wave_word == CHARGING else None))
    told = (
        f"{title}. {parts.y.capitalize()} against {parts.x_name} in the window of the "
        f"signal, with {parts.base_word}, {parts.wave_word} and residual. {sentence}"
    )
    return titled(title, [sentence, *_flags(parts.signal.flags)], told, body)


def _apart() -> Spec:
    # Otherwise the legend of the middle panel moves to the top of the page.
    return dict.fromkeys(("color", "strokeDash", "strokeWidth"), "independent")


def _x(parts: _Parts, title: str | None) -> Spec:
    low, high = float(parts.x[0]), float(parts.x[-1])
    labelled: Spec = {"format": parts.ticks, "labelFlush": False, "labelOverlap": True}
    axis = {"title": title, **labelled} if title else {"title": None, "labels": False, "ticks": False}
    return {
        "field": parts.x_name,
        "type": "quantitative",
        "scale": {"domain": [round(low, 4), round(high, 4)], "nice": False, "zero": False},
        "axis": axis,
    }


def _line(parts: _Parts, x: FloatArray, values: FloatArray) -> list[Spec]:
    """Points of a line in file order; of a long one the lowest and highest value of each stretch."""
    keep = thinned(values, LINE_POINTS)
    return rows(order=range(keep.size), **{parts.x_name: x[keep], parts.y_whole: values[keep]})


def _window(parts: _Parts, factor: float, unit: str) -> Spec:
    x = _x(parts, None)
    fit = parts.baseline + parts.wave
    table = []
    for name, values in zip(parts.names, (parts.measured, fit, parts.baseline), strict=True):
        table += [{"part": name, **point} for point in _line(parts, parts.x, values * factor)]
    y: Spec = {
        "field": parts.y_whole,
        "type": "quantitative",
        "title": _axis_title(parts.y, unit),
        "scale": _roomy(parts, factor),
    }
    names = {"field": "part", "type": "nominal", "scale": {"domain": list(parts.names)}}
    encoding: Spec = {
        "x": x,
        "y": y,
        "order": {"field": "order"},
        "color": {**names, "scale": {"domain": list(parts.names), "range": [INK, BLUE, RUST]}},
        "strokeDash": {
            **names,
            "scale": {"domain": list(parts.names), "range": [[1, 0], [9, 3], [3, 3]]},
            "legend": {"symbolType": "stroke", "symbolSize": 300},
        },
        "strokeWidth": {**names, "scale": {"domain": list(parts.names), "range": [1, 2.4, 1.8]}},
    }
    line: Spec = {"mark": {"type": "line", "clip": True}, "encoding": encoding}
    return {
        "width": WIDTH,
        "height": 260,
        "data": {"values": table},
        "layer": [line, *_height(parts, factor, unit)],
    }


def _roomy(parts: _Parts, factor: float) -> Spec:
    """A scale with room beyond the baseline for the label of the height."""
    every = np.concatenate([parts.measured, parts.baseline, parts.baseline + parts.wave])
    low, high = float(np.min(every)) * factor, float(np.max(every)) * factor
    room = 0.16 * ((high - low) or 1.0)
    downward = float(np.sum(parts.wave)) < 0.0
    ends = (low - 0.04 * room, high + room) if downward else (low - room, high + 0.04 * room)
    return {"zero": False, "domain": [float(f"{end:.4g}") for end in ends], "nice": True}


def _height(parts: _Parts, factor: float, unit: str) -> list[Spec]:
    """The height of wave or band as a measured distance, where the signal is one."""
    signal, at = parts.signal, parts.at
    if not parts.shown:
        return []
    base, tip = parts.baseline[at], parts.baseline[at] + parts.wave[at]
    value, u = with_uncertainty(signal.value * factor, signal.u * factor)
    place = {"x": {**_x(parts, None), "field": parts.x_name}}
    at_x = {parts.x_name: [float(parts.x[at])]}
    ends = rows(**at_x, low=[float(base) * factor], high=[float(tip) * factor])
    below = tip >= base
    label = {"type": "text", "baseline": "top" if below else "bottom", "dy": 7 if below else -7}
    label |= {"text": f"{_with_unit(value, unit)}, u = {_with_unit(u, unit)}", "fontWeight": 600, "color": BLUE}
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


def _residual(parts: _Parts, across: str) -> Spec:
    factor, unit = scaled_unit(parts.unit, parts.residual)
    table = _line(parts, parts.x, parts.residual * factor)
    y: Spec = {
        "field": parts.y_whole,
        "type": "quantitative",
        "title": _axis_title("left over", unit),
        "axis": {"tickCount": 3},
    }
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
                "encoding": {"x": _x(parts, across), "y": y, "order": {"field": "order"}},
            },
        ],
    }


def _small_title(text: str) -> Spec:
    return {"text": text, "fontSize": 11.5, "fontWeight": 400, "color": QUIET, "offset": 4}


def _overview(parts: _Parts, whole: Curve, across: str) -> Spec:
    at, measured = _whole(whole)
    factor, unit = scaled_unit(parts.unit, measured)
    table = _line(parts, at, measured * factor)
    ends = [{"from": round(float(parts.x[0]), 5), "to": round(float(parts.x[-1]), 5)}]
    x: Spec = {"field": parts.x_name, "type": "quantitative", "title": across, "scale": {"zero": False}}
    y: Spec = {
        "field": parts.y_whole,
        "type": "quantitative",
        "title": _axis_title(parts.y_whole, unit),
        "axis": {"tickCount": 5},
    }
    x["axis"] = {"labelFlush": False}
    edge = {"type": "rule", "color": QUIET, "strokeDash": DASH}
    return {
        "width": WIDTH,
        "height": 150,
        "title": _small_title(f"{parts.whole_word}; shaded: the window of the signal"),
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


def _whole(curve: Curve) -> tuple[FloatArray, FloatArray]:
    if isinstance(curve, Spectrum):
        return curve.wavelength_nm, curve.absorbance
    return curve.potential_V, curve.current_A


def _sentence(signal: Signal, quantity: str | None = None) -> str:
    parts = np.array([signal.value, signal.u])
    factor, unit = scaled_unit(signal.unit, parts)
    value, u = with_uncertainty(signal.value * factor, signal.u * factor)
    noise, baseline = number(signal.u_noise * factor), number(signal.u_baseline * factor)
    name = quantity or QUANTITY.get(signal.unit, "signal")
    text = f"Signal ({name}): {_with_unit(value, unit)}, standard uncertainty {_with_unit(u, unit)}"
    return text + (f" (noise {noise}, baseline {baseline})." if signal.u_noise or signal.u_baseline else ".")


def _flags(flags: tuple[Flag, ...]) -> list[str]:
    return [f"Flag: {flag.name} {flag.value:.3g} (limit {flag.limit:.3g}): {flag.meaning}" for flag in flags]

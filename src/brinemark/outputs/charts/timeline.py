"""One tank against time: what happened, what was read, and what each world expects if the fish had been exposed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts.frame import (
    BLUE,
    DASH,
    DOTS,
    INK,
    QUIET,
    RUST,
    Spec,
    number,
    rows,
    shown_unit,
)
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.lane import lane, told_events
from brinemark.outputs.charts.levels import CANNOT_SAY, OTHER, ends_of, kind_of, upright_layers, upright_rows, wide_axis
from brinemark.outputs.charts.marks import head, rimmed
from brinemark.outputs.charts.moments import DAY_MS, axis_title, clock_ms, moment_axis
from brinemark.outputs.charts.words import listed
from brinemark.terms.fish_pictures import SAMPLE, SOURCE_WATER, TankSample, TankTimeline, WorldBand

WIDTH, GAP, HEIGHT = 590, 18, 250
APART, SAME = 9.0, 2.5
"""Marks nearer than the second are drawn so far apart [pixels]."""
SHARES = ("inner", "outer")


def tank_timeline(picture: TankTimeline) -> Spec:
    """The events above; beneath them the levels, once for each world, side by side on the same axes.

    Nothing is drawn over both worlds at once, and a tank without worlds shows its readings alone.
    """
    ends = span_of_days(picture)
    count = max(len(picture.worlds), 1)
    wide = (WIDTH - GAP * (count - 1)) / count
    x = moment_axis(picture.start, ends, wide, picture.capture_d)
    y = _level(picture)
    table = _sample_rows(picture, ends, wide, y["scale"]["domain"][1])
    worlds: Sequence[WorldBand | None] = picture.worlds or (None,)
    panels = [_panel(picture, world, (x, y), wide, table) for world in worlds]
    for panel in panels[1:]:
        _bare(panel)
    title = axis_title(picture.start, picture.capture_d, picture.capture_u_d)
    body: Spec = {
        "vconcat": [lane(picture, ends, WIDTH), {"hconcat": panels, "spacing": GAP}, _axis_line(title)],
        "spacing": 14,
        "resolve": {"scale": {"x": "independent", "y": "independent"}},
    }
    return headed(f"Tank {picture.tank}", _subtitle(picture, y), _told(picture, title), body)


def span_of_days(picture: TankTimeline) -> tuple[float, float]:
    """First and last day drawn, with a little room; the capture is drawn when it lies about as near as all the rest."""
    days = [one.day for one in picture.events] + [one.day for one in picture.samples]
    days += [float(day) for world in picture.worlds for day in (world.day[0], world.day[-1])]
    low, high = (min(days), max(days)) if days else (0.0, 1.0)
    if picture.capture_d is not None and low - (high - low) <= picture.capture_d <= high:
        low = min(low, picture.capture_d)
    room = 0.03 * (high - low) or 0.5
    return low - room, high + room


def _level(picture: TankTimeline) -> Spec:
    known = ends_of([one.stated for one in picture.samples])
    known += [picture.minimum_detectable] if picture.minimum_detectable else []
    upper = [float(np.nanmax(w.outer_upper)) for w in picture.worlds if np.any(np.isfinite(w.outer_upper))]
    highest = max([*known, *upper], default=0.0) or 1.0
    scale = wide_axis(1.25 * highest, min(0.5 * min(known, default=highest), highest / 30.0), picture.unit)
    return {**scale, "title": f"level in the water, {shown_unit(picture.unit)}"}


def _panel(
    picture: TankTimeline, world: WorldBand | None, axes: tuple[Spec, Spec], wide: float, table: list[Spec]
) -> Spec:
    x, y = axes
    name = "readings" if world is None else f"world: {world.world}"
    layers = [] if world is None else _band(picture, world, x, y)
    rule, label = _detectable(picture, y, wide)
    layers += [*_capture(picture, x), *rule, *upright_layers(table, x, y, HEIGHT), *label]
    if not layers:
        corner = {"values": [{"at": x["scale"]["domain"][0], "level": 0.0}]}
        layers = [{"data": corner, "mark": {"type": "point", "opacity": 0}, "encoding": {"x": x, "y": y}}]
    return {"title": head(name), "width": wide, "height": HEIGHT, "layer": layers}


def _band(picture: TankTimeline, world: WorldBand, x: Spec, y: Spec) -> list[Spec]:
    table = _band_rows(picture, world)
    area: Spec = {"type": "area", "orient": "vertical", "clip": True, "color": BLUE}
    piece = {"field": "piece", "type": "nominal"}
    layers: list[Spec] = [
        {
            "mark": {**area, "opacity": opacity},
            "encoding": {
                "x": x,
                "y": {**y, "field": f"{share}_lower"},
                "y2": {"field": f"{share}_upper"},
                "detail": piece,
            },
        }
        for share, opacity in zip(SHARES, (0.34, 0.16), strict=True)
    ]
    line: Spec = {"type": "line", "color": BLUE, "clip": True}
    for field, more in (
        ("outer_upper", {"strokeDash": DASH, "strokeWidth": 1, "color": QUIET}),
        ("outer_lower", {"strokeDash": DASH, "strokeWidth": 1, "color": QUIET}),
        ("median", {"strokeWidth": 2}),
    ):
        layers.append({"mark": {**line, **more}, "encoding": {"x": x, "y": {**y, "field": field}, "detail": piece}})
    return [{"data": {"values": table}, **layer} for layer in layers]


def _band_rows(picture: TankTimeline, world: WorldBand) -> list[Spec]:
    """One row a time; a new piece after a time without water."""
    known = np.isfinite(world.median)
    pieces = np.cumsum(np.diff(known.astype(int), prepend=0) == 1)
    return rows(
        at=[clock_ms(picture.start, float(day)) for day in world.day],
        piece=pieces.tolist(),
        median=world.median,
        inner_lower=world.inner_lower,
        inner_upper=world.inner_upper,
        outer_lower=world.outer_lower,
        outer_upper=world.outer_upper,
    )


def _sample_rows(picture: TankTimeline, ends: tuple[float, float], wide: float, top: float) -> list[Spec]:
    """Marks of all samples; those of the same time stand side by side, in the order sample, source water, others, and
    begin earlier where they would leave the axis."""
    day_px = wide / (ends[1] - ends[0])
    table: list[Spec] = []
    for group in _same_time(picture.samples, SAME / day_px):
        start = min(group[0].day, ends[1] - (len(group) - 0.5) * APART / day_px)
        for beside, one in enumerate(group):
            at = clock_ms(picture.start, start + beside * APART / day_px)
            table += upright_rows(one.stated, at, top, {"name": one.name, "kind": kind_of(one.what), "day": one.day})
    return table


def _same_time(samples: Sequence[TankSample], near_d: float) -> list[list[TankSample]]:
    """Samples in order of time, those nearer than that to the first of them together."""
    order = {SAMPLE: 0, SOURCE_WATER: 1, OTHER: 2}
    groups: list[list[TankSample]] = []
    for one in sorted(samples, key=lambda one: (one.day, order[kind_of(one.what)])):
        if groups and one.day - groups[-1][0].day < near_d:
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _capture(picture: TankTimeline, x: Spec) -> list[Spec]:
    low, high = x["scale"]["domain"]
    if picture.capture_d is None or not low <= (at := clock_ms(picture.start, picture.capture_d)) <= high:
        return []
    layers: list[Spec] = []
    if picture.capture_u_d:
        spread = 2.0 * picture.capture_u_d * DAY_MS
        ends = [{"at": max(at - spread, low), "to": min(at + spread, high)}]
        layers.append(
            {
                "data": {"values": ends},
                "mark": {"type": "rect", "color": RUST, "opacity": 0.12},
                "encoding": {"x": x, "x2": {"field": "to"}},
            }
        )
    mark = {"type": "rule", "color": RUST, "strokeDash": DOTS, "strokeWidth": 1.6}
    return [*layers, {"data": {"values": [{"at": at}]}, "mark": mark, "encoding": {"x": x}}]


def _detectable(picture: TankTimeline, y: Spec, wide: float) -> tuple[list[Spec], list[Spec]]:
    """The line of the minimum detectable level, and its label where fewer marks stand."""
    level = picture.minimum_detectable
    if not level:
        return [], []
    values = {"values": rows(level=[level])}
    low, high = span_of_days(picture)
    days = [one.day for one in picture.samples]
    right = sum(day > 0.5 * (low + high) for day in days) <= 0.5 * len(days)
    label: Spec = {"type": "text", "align": "right" if right else "left", "baseline": "bottom", "dy": -3}
    label |= {"fontSize": 10, "color": INK, "text": "minimum detectable"}
    here: Spec = {"x": {"value": wide - 2 if right else 2}, "y": y}
    rule: Spec = {"type": "rule", "color": INK, "strokeDash": DASH}
    return (
        [{"data": values, "mark": rule, "encoding": {"y": y}}],
        rimmed(values["values"], label, here),
    )


def _bare(panel: Spec) -> None:
    """Leave the labels of the level axis to the first panel."""
    for layer in panel["layer"]:
        y = layer["encoding"].get("y", {})
        if "axis" in y:
            bare = {"labels": False, "ticks": False, "domain": False}
            layer["encoding"]["y"] = {**y, "title": None, "axis": {**y["axis"], **bare}}


def _axis_line(title: str) -> Spec:
    mark = {"type": "text", "text": title, "fontSize": 12, "color": INK}
    return {
        "width": WIDTH,
        "height": 12,
        "data": {"values": [{}]},
        "mark": mark,
        "encoding": {"x": {"value": WIDTH / 2}, "y": {"value": 4}},
    }


def _subtitle(picture: TankTimeline, y: Spec) -> list[str]:
    stated = [one for one in picture.samples if one.stated is not None]
    lines = []
    if picture.worlds:
        lines.append(
            "Bands: where a level would lie with 50 % (dark) and 95 % (pale, dashed edge) if the fish had been exposed "
            "at capture; line: median. The worlds contradict each other and are not to be averaged."
        )
    if stated:
        lines.append(
            "Bars: what readings state (filled mark: amount; open mark: amount uncertain; arrow: open on that side). "
            "Thick with circle: sample; thin with square: source water; dotted with diamond: other blanks."
        )
    if _capture(picture, moment_axis(picture.start, span_of_days(picture), WIDTH, picture.capture_d)):
        spread = ", with two standard uncertainties either way" if picture.capture_u_d else ""
        lines.append(f"Dotted upright line: capture{spread}.")
    floor = number(y["scale"]["constant"])
    lines.append(f"Level axis: even steps up to about {floor} {shown_unit(picture.unit)}, powers of ten above.")
    known = [(one.name, one.stated) for one in stated if one.stated is not None]
    silent = [f"{name} ({stated.reason})" for name, stated in known if stated.statement == CANNOT_SAY]
    if silent:
        lines.append(f"Cross on the axis, cannot say: {listed(silent, 3)}.")
    unread = [one.name for one in picture.samples if one.stated is None]
    if unread:
        lines.append(f"Tick on the axis, not read yet: {listed(unread, 6)}.")
    return [*lines, *picture.notes]


def _told(picture: TankTimeline, axis: str) -> str:
    unit = shown_unit(picture.unit)
    said = [f"{one.name} ({one.what}): {_words(one)}" for one in picture.samples]
    readings = f"Readings: {'; '.join(said)}." if said else "No samples."
    worlds = [_world_words(world, unit) for world in picture.worlds]
    detectable = picture.minimum_detectable
    limit = f"Minimum detectable: {number(detectable)} {unit}." if detectable else ""
    parts = [f"Tank {picture.tank} against {axis}.", told_events(picture), readings, *worlds, limit, *picture.notes]
    return " ".join(part for part in parts if part)


def _words(one: TankSample) -> str:
    if one.stated is None:
        return "not read yet"
    return f"{one.stated.words}: {one.stated.reason}" if one.stated.reason else one.stated.words


def _world_words(world: WorldBand, unit: str) -> str:
    known = np.flatnonzero(np.isfinite(world.median))
    if known.size == 0:
        return f"World '{world.world}': no level expected at any time drawn."
    highest = int(known[np.argmax(world.median[known])])
    top, low, high = (float(v[highest]) for v in (world.median, world.outer_lower, world.outer_upper))
    return (
        f"World '{world.world}': if the fish had been exposed at capture, the median is highest at "
        f"{number(top)} {unit} (95 % from {number(low)} to {number(high)})."
    )

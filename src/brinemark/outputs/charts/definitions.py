"""What definitions of the signal give on known electrodes: signal against level, one panel beside the other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts.frame import INK, RUST, Spec, level_axis, rows, scaled_unit, titled
from brinemark.outputs.charts.words import wrapped
from brinemark.terms.pictures import DefinitionPanel

WIDTH, HEIGHT = 300, 260
ROLES = ("blank", "standard", "control")
SUBTITLE = ("Each point is the main reading of one electrode with its standard uncertainty. No sample was read.",)


def definitions_chart(panels: Sequence[DefinitionPanel], level_unit: str, title: str) -> Spec:
    """One panel for each definition, on the same levels; signals each in their own unit, from 0.

    Raises ValueError when there is no panel, or no reading in any.
    """
    levels = np.concatenate([panel.level for panel in panels]) if panels else np.zeros(0)
    if levels.size == 0:
        raise ValueError("a chart of definitions needs at least one reading")
    known = levels[levels > 0.0]
    smallest, top = (float(known.min()), float(known.max())) if known.size else (0.5, 1.0)
    x = level_axis(1.15 * top, smallest, level_unit, ticks=6)
    body: Spec = {
        "hconcat": [_panel(panel, x, place == 0) for place, panel in enumerate(panels)],
        "spacing": 36,
        "resolve": {"scale": {"x": "shared", "y": "independent"}},
    }
    return titled(title, SUBTITLE, _told(panels, title), body)


def _panel(panel: DefinitionPanel, x: Spec, first: bool) -> Spec:
    factor, unit = scaled_unit(panel.signal_unit, panel.signal)
    y: Spec = {
        "type": "quantitative",
        "title": "signal" if unit == "1" else f"signal, {unit}",
        "scale": {"zero": True},
        "axis": {"tickCount": 6},
    }
    table = rows(
        role=list(panel.role),
        level=panel.level,
        signal=panel.signal * factor,
        low=(panel.signal - panel.u) * factor,
        high=(panel.signal + panel.u) * factor,
    )
    shape: Spec = {
        "field": "role",
        "type": "nominal",
        "scale": {"domain": list(ROLES), "range": ["diamond", "circle", "square"]},
        "legend": {} if first else None,
    }
    # Same field as the shape, so that the legend's symbols get an outline.
    outline: Spec = {**shape, "scale": {"domain": list(ROLES), "range": [INK, INK, RUST]}}
    point = {"type": "point", "fill": "white", "strokeWidth": 1.3, "size": 42, "opacity": 1}
    unread = f"{panel.unread} not read" if panel.unread else "all read"
    return {
        "title": {"text": [*wrapped(panel.words, 46), unread], "fontSize": 11.5, "fontWeight": 400, "offset": 6},
        "width": WIDTH,
        "height": HEIGHT,
        "data": {"values": table},
        "layer": [
            {
                "mark": {"type": "rule", "strokeWidth": 1.1, "color": INK},
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
            },
            {"mark": point, "encoding": {"x": x, "y": {**y, "field": "signal"}, "shape": shape, "stroke": outline}},
        ],
    }


def _told(panels: Sequence[DefinitionPanel], title: str) -> str:
    parts = []
    for panel in panels:
        factor, unit = scaled_unit(panel.signal_unit, panel.signal)
        values = panel.signal * factor
        ends = f"{values.min():.3g} to {values.max():.3g} {unit}" if values.size else "none"
        parts.append(f"{panel.words}: {values.size} readings, signals {ends}, {panel.unread} not read")
    return f"{title}. Signal against level of blanks, standards and controls. {'; '.join(parts)}."

"""What panels of several marks share: one layer for each mark, names of panels, and words with a rim."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.outputs.charts.frame import Spec, rows


def row(**columns: object) -> Spec:
    """One row of finite numbers, tidied as rows() does it."""
    return rows(**{name: [value] for name, value in columns.items()})[0]


def layers_by_mark(table: Sequence[Spec], wanted: Sequence[tuple[str, Spec, Spec]]) -> list[Spec]:
    """A layer for each (name, look, encoding) of which the table has rows, by their column "mark"."""
    layers: list[Spec] = []
    for name, look, encoding in wanted:
        mine = [one for one in table if one["mark"] == name]
        layers += [{"data": {"values": mine}, "mark": look, "encoding": encoding}] if mine else []
    return layers


def head(text: str) -> Spec:
    """The name of a panel, over its middle."""
    return {"text": text, "fontSize": 12, "offset": 6, "anchor": "middle", "frame": "group"}


def rimmed(values: Sequence[Spec], look: Spec, encoding: Spec) -> list[Spec]:
    """Words that lines and bands do not cross."""
    rim = {**look, "color": "white", "stroke": "white", "strokeWidth": 3.5}
    return [{"data": {"values": list(values)}, "mark": mark, "encoding": encoding} for mark in (rim, look)]

"""What happened to a tank: one row for each kind of event, above the levels."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, INK, QUIET, Spec
from brinemark.outputs.charts.moments import clock_ms, moment_axis
from brinemark.outputs.charts.words import numbered
from brinemark.terms.fish_pictures import SAMPLE, TankEvent, TankTimeline

ROW = 20
LETTER = 6.4
"""Width of a letter of a label [pixels]."""
FIRST = ("capture", "catch", "filled", "in", "fish in", "out", "fish out", "dead", "fish dead", "renewed", "volume")
"""Kinds in this order, then the others as they come."""
SAMPLES, BLANKS = "samples", "blanks"
SAME = 2.5
"""Marks nearer than this are one [pixels]."""
SAID = 4
"""Events of one kind that the words name one by one."""


def lane(picture: TankTimeline, ends: tuple[float, float], width: float) -> Spec:
    """The panel of events, samples among them by name."""
    events = with_samples(picture)
    table: list[Spec] = []
    order: list[str] = []
    for kind in _kinds(events):
        mine = [one for one in events if one.kind == kind]
        marks = _rows(picture, mine, ends, width)
        order.append(_head(kind, mine, all(row.get("text") for row in marks)))
        table += [{**row, "row": len(order) - 1} for row in marks]
    x = moment_axis(picture.start, ends, width, picture.capture_d)
    y: Spec = {"field": "row", "type": "nominal", "title": None, "scale": {"domain": list(range(len(order)))}}
    y["axis"] = {"labelExpr": numbered(order), "labelLimit": 170, "labelPadding": 8, "ticks": False, "domain": False}
    y["axis"]["grid"] = True
    return {"width": width, "height": ROW * max(len(order), 1), "layer": _layers(table, x, y)}


def with_samples(picture: TankTimeline) -> list[TankEvent]:
    """All events, the taking of samples and blanks among them."""
    taken = [TankEvent(one.day, SAMPLES if one.what == SAMPLE else BLANKS, one.name) for one in picture.samples]
    return [*picture.events, *taken]


def told_events(picture: TankTimeline) -> str:
    """The events in words: one by one when they are few, else how many from when to when."""
    start = picture.capture_d or 0.0
    since = "after capture" if picture.capture_d is not None else "after the start"
    parts = []
    for kind in _kinds(picture.events):
        mine = [one for one in picture.events if one.kind == kind]
        days = [f"{one.day - start:.3g}" for one in mine]
        if len(mine) <= SAID:
            said = ", ".join(f"{one.words} on day {day}".strip() for one, day in zip(mine, days, strict=True))
        else:
            same = f" ({mine[0].words} each)" if _same(mine) and mine[0].words else ""
            said = f"{len(mine)} times{same} from day {days[0]} to day {days[-1]}"
        parts.append(f"{kind}: {said}")
    return f"Events, in days {since}: {'; '.join(parts)}." if parts else "No events."


def _kinds(events: Sequence[TankEvent]) -> list[str]:
    found = list(dict.fromkeys(one.kind for one in events))
    known = [kind for kind in FIRST if kind in found]
    last = [kind for kind in (SAMPLES, BLANKS) if kind in found]
    return [*known, *(kind for kind in found if kind not in known and kind not in last), *last]


def _same(mine: Sequence[TankEvent]) -> bool:
    return len(mine) > 2 and len(Counter(one.words for one in mine)) == 1


def _head(kind: str, mine: Sequence[TankEvent], labelled: bool) -> str:
    """Name of a row; where not every mark has its words beside it, what is the same of all or how many they are."""
    if _same(mine) and mine[0].words:
        return f"{kind}, {mine[0].words} each"
    return kind if labelled or len(mine) < SAID else f"{kind} ({len(mine)})"


def _rows(picture: TankTimeline, mine: Sequence[TankEvent], ends: tuple[float, float], width: float) -> list[Spec]:
    """Marks of one kind, with their words where there is room to the next mark."""
    scale = width / (ends[1] - ends[0])
    marks = _together(mine, scale)
    table, free = [], -math.inf
    for number, (day, words) in enumerate(marks):
        place = (day - ends[0]) * scale
        following = (marks[number + 1][0] - day) * scale if number + 1 < len(marks) else math.inf
        size = LETTER * len(words) + 9.0
        left = place + size > width
        fits = place - size > free if left else following > size
        row: Spec = {"at": clock_ms(picture.start, day), "kind": mine[0].kind, "words": words}
        if fits and words and not _same(mine):
            row["text"], row["side"] = words, "left" if left else "right"
        free = place + (size if fits and not left else 0.0)
        table.append(row)
    return table


def _together(events: Sequence[TankEvent], scale: float) -> list[tuple[float, str]]:
    """Days and words in order of time; those whose marks would lie on one another share one, with the words of all."""
    marks: list[tuple[float, str]] = []
    for one in sorted(events, key=lambda event: event.day):
        if marks and (one.day - marks[-1][0]) * scale < SAME:
            said = ", ".join(word for word in (marks[-1][1], one.words) if word)
            marks[-1] = (marks[-1][0], said)
        else:
            marks.append((one.day, one.words))
    return marks


def _layers(table: list[Spec], x: Spec, y: Spec) -> list[Spec]:
    place = {"x": x, "y": y}
    tip = {"field": "words"}
    dead = [row for row in table if "dead" in row["kind"] or "dead" in row["words"]]
    water = [row for row in table if row["kind"] == SAMPLES]
    other = [row for row in table if row not in dead and row not in water]
    looks: list[tuple[list[Spec], Spec]] = [
        (other, {"type": "tick", "color": INK, "thickness": 2, "size": 12, "opacity": 1}),
        (water, {"type": "tick", "color": BLUE, "thickness": 3, "size": 14, "opacity": 1}),
        (dead, {"type": "text", "text": "×", "color": INK, "fontSize": 15, "fontWeight": 600}),
    ]
    layers: list[Spec] = [
        {"data": {"values": rows}, "mark": mark, "encoding": {**place, "tooltip": tip}} for rows, mark in looks if rows
    ]
    for side, more in (("right", {"align": "left", "dx": 5}), ("left", {"align": "right", "dx": -5})):
        texts = [row for row in table if row.get("side") == side]
        if texts:
            mark: Spec = {"type": "text", "baseline": "middle", "fontSize": 10.5, "color": INK, **more}
            text = {"field": "text", "type": "nominal"}
            layers.append({"data": {"values": texts}, "mark": mark, "encoding": {**place, "text": text}})
    if not layers:
        mark = {"type": "text", "text": "nothing recorded", "color": QUIET, "fontStyle": "italic"}
        layers = [{"data": {"values": [{"row": 0}]}, "mark": mark, "encoding": {"x": {"value": 60}}}]
    return layers

"""Shares of positives by number of tests, with the limits between which chance alone leaves a consignment."""

from __future__ import annotations

from collections import Counter

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, RUST, Spec, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.marks import rimmed, row
from brinemark.outputs.charts.words import listed, shortened
from brinemark.terms.surveillance import Funnel, FunnelPoint

WIDTH, HEIGHT = 600, 320
INNER, OUTER = 0.05, 0.002
"""Two-sided p under which a consignment lies beyond what chance leaves 95 % and 99.8 % of."""
CLASSES = ("as chance gives", "p below 0.05", "p below 0.002")
LABEL, NAMED = 26, 12
LETTER, LINE = 6.0, 14.0


def funnel_chart(funnel: Funnel, title: str = "Consignments beside one another") -> Spec:
    """A mark for each consignment; its shape tells how its own expected share goes with what was found.

    Raises ValueError when there is no consignment.
    """
    if not funnel.points:
        raise ValueError("a funnel needs at least one consignment")
    most = max(point.tested for point in funnel.points)
    x: Spec = {
        "field": "tested",
        "type": "quantitative",
        "title": "tests on the consignment",
        "scale": {"domain": [0, 1.04 * most + 0.5], "nice": False},
        "axis": {"format": "d", "tickMinStep": 1, "labelFlush": False},
    }
    y: Spec = {
        "field": "share",
        "type": "quantitative",
        "title": "share of tests that found thiocyanate",
        "scale": {"domain": [0, 1]},
        "axis": {"values": [0, 0.2, 0.4, 0.6, 0.8, 1], "format": ".1~f"},
    }
    layers = [*_limits(funnel, x, y), *_marks(funnel, x, y), *_names(funnel, x, y, 1.04 * most + 0.5)]
    body: Spec = {"width": WIDTH, "height": HEIGHT, "layer": layers}
    return headed(title, _subtitle(funnel), _told(funnel, title), body)


def class_of(point: FunnelPoint) -> str:
    """How remarkable a consignment is against its own expected share."""
    return CLASSES[2] if point.p < OUTER else CLASSES[1] if point.p < INNER else CLASSES[0]


def _limits(funnel: Funnel, x: Spec, y: Spec) -> list[Spec]:
    """Centre line and steps of the exact limits."""
    centre = {"type": "rule", "color": QUIET, "strokeWidth": 1.4}
    layers: list[Spec] = [{"data": {"values": rows(share=[funnel.centre])}, "mark": centre, "encoding": {"y": y}}]
    tested = [one.tested for one in funnel.limits]
    line: Spec = {"type": "line", "interpolate": "step", "color": QUIET, "clip": True}
    for values, more in (
        ([one.inner for one in funnel.limits], {"strokeDash": DASH, "strokeWidth": 1.2}),
        ([one.outer for one in funnel.limits], {"strokeWidth": 1.2}),
    ):
        for side in (0, 1):
            table = rows(tested=tested, share=[value[side] for value in values])
            layers.append({"data": {"values": table}, "mark": {**line, **more}, "encoding": {"x": x, "y": y}})
    return layers


def _marks(funnel: Funnel, x: Spec, y: Spec) -> list[Spec]:
    """One mark for all consignments of the same place and class, with how many they are."""
    counts = Counter((point.tested, point.share, class_of(point)) for point in funnel.points)
    point: Spec = {"type": "point", "filled": True, "opacity": 1, "strokeWidth": 1.6}
    looks: dict[str, Spec] = {
        CLASSES[0]: {**point, "shape": "circle", "size": 52, "fill": "white", "stroke": BLUE},
        CLASSES[1]: {**point, "shape": "diamond", "size": 100, "fill": "#9db6cc", "stroke": BLUE},
        CLASSES[2]: {**point, "shape": "square", "size": 90, "fill": RUST, "stroke": RUST},
    }
    layers: list[Spec] = []
    for name, look in looks.items():
        here = [(tested, share, count) for (tested, share, kind), count in counts.items() if kind == name]
        if here:
            tested, share, count = zip(*here, strict=True)
            values = rows(tested=tested, share=share, count=count)
            layers.append({"data": {"values": values}, "mark": look, "encoding": {"x": x, "y": y}})
            many = [{**one, "text": f"×{one['count']}"} for one in values if one["count"] > 1]
            beneath: Spec = {"type": "text", "baseline": "middle", "dy": 12, "fontSize": 9.5, "color": QUIET}
            place: Spec = {"x": x, "y": y, "text": {"field": "text"}}
            layers += [{"data": {"values": many}, "mark": beneath, "encoding": place}] if many else []
    return layers


def _names(funnel: Funnel, x: Spec, y: Spec, top: float) -> list[Spec]:
    """Names of the most remarkable ones, as far as they do not meet."""
    placed: list[tuple[float, float, float]] = []
    layers: list[Spec] = []
    far = sorted((point for point in funnel.points if point.p < INNER), key=lambda point: point.p)[:NAMED]
    for one in far:
        name = shortened(one.name, LABEL)
        left, height = WIDTH * one.tested / top, HEIGHT * (1.0 - one.share)
        wide = LETTER * len(name) + 10.0
        right = left + wide < WIDTH
        start = left if right else left - wide
        if any(abs(height - h) < LINE and start < e and s < start + wide for s, e, h in placed):
            continue
        placed.append((start, start + wide, height))
        more: Spec = {"align": "left", "dx": 8} if right else {"align": "right", "dx": -8}
        look: Spec = {"type": "text", "baseline": "middle", "fontSize": 10.5, "color": INK, **more}
        values = [row(tested=one.tested, share=one.share, text=name)]
        layers += rimmed(values, look, {"x": x, "y": y, "text": {"field": "text"}})
    return layers


def _subtitle(funnel: Funnel) -> list[str]:
    return [
        f"Line: share of all, {funnel.centre:.3g}. Chance alone leaves 95 % of consignments within the dashed and "
        "99.8 % within the solid steps (exact).",
        "Shapes compare each with the share expected of it, for its days since capture and its volume: circle, as "
        "chance gives; diamond, p below 0.05; square, p below 0.002. A consignment that was held long may lie low "
        "without being remarkable.",
    ]


def _told(funnel: Funnel, title: str) -> str:
    counts = Counter(class_of(point) for point in funnel.points)
    said = ", ".join(f"{counts[name]} {name}" for name in CLASSES if counts[name])
    far = sorted((point for point in funnel.points if point.p < INNER), key=lambda point: point.p)
    named = [f"{one.name} ({one.share:.2g} of {one.tested}, {one.expected:.2g} expected, p {one.p:.2g})" for one in far]
    beyond = f" Beyond: {listed(named, 20)}." if named else ""
    return f"{title}. {len(funnel.points)} consignments, share of all {funnel.centre:.3g}: {said}.{beyond}"

"""Level and uncertainty of a solution made by steps of dilution, with every shared error kept together.

Each step brings v of the last solution into a flask of volume V that is filled with a diluent of content c_lot:

    c_i = c_{i-1} v_i / V_i + (1 - v_i / V_i) c_lot,   so   c_n = c_lot + (c_0 - c_lot) F,  F = product of v_i / V_i

Law of propagation (JCGM 100:2008, 5.1 and 5.2), first order:

    dc_n = F dc_0 + (1 - F) dc_lot + (c_n - c_lot) sum_i (dv_i / v_i - dV_i / V_i)

An error that a vessel keeps (its tolerance) is one input however often the vessel is used, so its parts add up before
they are squared; two flasks of one size count as one flask, the careful choice. What differs from one delivery or
filling to the next is an input of that one solution, shared by every level that is made from it. Thermal expansion
is left out: vessels of one temperature share it and it cancels in v / V.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from brinemark.terms.dilutions import BudgetLine, Diluent, Step, Stock


class Input(NamedTuple):
    """An independent source of error: kind as in BudgetLine, and what it belongs to."""

    kind: str
    name: str


def level_after(steps: Sequence[Step], stock: Stock, diluent: Diluent) -> float:
    """Level that the steps lead to [level unit]."""
    return diluent.level + (stock.level - diluent.level) * ratio_of(steps)


def ratio_of(steps: Sequence[Step]) -> float:
    """Product of v / V over the steps: share of the final solution that is stock."""
    return math.prod(step.volume_mL / step.flask.volume_mL for step in steps)


def contributions(steps: Sequence[Step], stock: Stock, diluent: Diluent) -> dict[Input, float]:
    """Signed contribution of every independent input to the level [level unit]; u^2 is the sum of their squares."""
    ratio = ratio_of(steps)
    own = (stock.level - diluent.level) * ratio
    found = {
        Input("stock", "stock"): ratio * stock.level * stock.rel_u,
        Input("diluent", "content of the diluent"): (1.0 - ratio) * diluent.u,
    }

    def add(name: str, value: float) -> None:
        key = Input("volume", name)
        found[key] = found.get(key, 0.0) + own * value

    for step in steps:
        volume, full = step.volume_mL, step.flask.volume_mL
        add(step.pipette.name, step.pipette.u / volume)
        add(step.flask.name, -step.flask.u / full)
        add(f"delivery into {step.name}", step.pipette.repeat_mL / volume)
        add(f"filling of {step.name}", -step.flask.repeat_mL / full)
    return {key: value for key, value in found.items() if value != 0.0}


def uncertainty(parts: Mapping[Input, float], kind: str | None = None) -> float:
    """Standard uncertainty from all inputs, or from those of one kind."""
    return math.sqrt(math.fsum(value**2 for key, value in parts.items() if kind in (None, key.kind)))


def correlation(one: Mapping[Input, float], other: Mapping[Input, float]) -> float:
    """Correlation of the errors of two levels, from the inputs that they share; 0 when either has no error."""
    shared = math.fsum(value * other[key] for key, value in one.items() if key in other)
    size = uncertainty(one) * uncertainty(other)
    return shared / size if size > 0.0 else 0.0


def budget(parts: Mapping[Input, float], level: float, stock: Stock, diluent: Diluent) -> tuple[BudgetLine, ...]:
    """The inputs, largest first. A vessel used in several steps has the sum of its relative errors as rel_u."""
    total = uncertainty(parts)
    relative = {"stock": stock.rel_u, "diluent": diluent.u / diluent.level if diluent.level > 0.0 else None}
    own = level - diluent.level
    lines = [
        BudgetLine(
            key.name,
            key.kind,
            abs(value / own) if key.kind == "volume" else relative[key.kind],
            abs(value),
            (value / total) ** 2,
        )
        for key, value in parts.items()
    ]
    return tuple(sorted(lines, key=lambda line: (-line.share, line.quantity)))

"""A trace of very many points makes a chart of ordinary size that keeps what stands out."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from brinemark.outputs.charts import trace_chart
from brinemark.outputs.charts.trace import LINE_POINTS
from brinemark.terms.curves import Dissection, Signal, Trace

POINTS = 200_000
SPIKE = 77_777
LARGEST_BYTES = 2_000_000


def dissection(points: int) -> Dissection:
    """A long window with one point far from the others."""
    potential = np.linspace(0.40, 0.76, points)
    noise = 1e-9 * np.random.default_rng(1).normal(size=points)
    noise[SPIKE % points] = 5e-7
    line, wave = 2e-8 + 5e-8 * potential, 3e-8 * np.cosh((potential - 0.58) / 0.05) ** -2
    return Dissection(potential, line + wave + noise, line, wave, noise, Signal(3e-8, 1e-9, "A"))


def lists(value: Any) -> list[list[Any]]:
    """All lists of points in a specification."""
    if isinstance(value, dict):
        own = [value["values"]] if isinstance(value.get("values"), list) else []
        return own + [found for part in value.values() for found in lists(part)]
    return [found for part in value for found in lists(part)] if isinstance(value, list) else []


def test_the_chart_of_a_long_trace_is_small_and_keeps_the_extremes() -> None:
    long = dissection(POINTS)
    spec = trace_chart(long, Trace(np.tile(long.potential_V, 2), np.tile(long.current_A, 2)))
    assert len(json.dumps(spec)) < LARGEST_BYTES
    longest = max(lists(spec), key=len)
    assert len(longest) <= 3 * LINE_POINTS
    highest = max(point["current"] for point in longest if "current" in point)
    assert highest == float(f"{1e9 * float(long.current_A.max()):.7g}")  # drawn in nA


def test_a_short_trace_keeps_every_point() -> None:
    short = dissection(500)
    longest = max(lists(trace_chart(short)), key=len)
    assert len(longest) == 3 * 500

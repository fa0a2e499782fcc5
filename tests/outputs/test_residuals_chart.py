"""The chart of residuals tells batches apart in grey, names the far ones, and never reaches out."""

from __future__ import annotations

import json
import xml.etree.ElementTree
from itertools import pairwise

import numpy as np
import pytest

from brinemark.outputs.charts import Kind, Spec, render, residuals_chart
from brinemark.terms.amounts import Residual

STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}


def invented(batches: int) -> list[Residual]:
    rng = np.random.default_rng(3)
    found = [
        Residual(f"B{b}-{k}", f"B{b}", "bench", level, float(np.clip(rng.normal(), -1.9, 1.9)))
        for b in range(batches)
        for k, level in enumerate((0.0, 2.0, 16.0))
    ]
    return [*found, Residual("B0-low", "B0", "bench", 16.0, -4.2), Residual("B1-high", "B1", "bench", 0.0, 2.7)]


def marks(spec: Spec) -> Spec:
    return next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_residuals_draw_and_draw_the_same_bytes_again(kind: Kind) -> None:
    first, second = (render(residuals_chart(invented(4), "ug/L"), kind) for _ in range(2))
    assert first.startswith(STARTS[kind])
    assert first == second


def test_up_to_nine_batches_differ_by_shape_and_filling() -> None:
    spec = marks(residuals_chart(invented(9), "ug/L"))
    pairs = zip(*(spec["encoding"][channel]["scale"]["range"] for channel in ("shape", "fill")), strict=True)
    assert len(set(pairs)) == 9
    assert all(spec["encoding"]["shape"]["scale"]["domain"][k] == f"B{k}" for k in range(9))


def test_more_batches_have_one_mark_and_no_legend() -> None:
    spec = marks(residuals_chart(invented(10), "ug/L"))
    assert set(spec["encoding"]) == {"x", "y"}
    assert len(spec["data"]["values"]) == 32


def test_only_far_electrodes_are_named_and_all_are_within_the_picture() -> None:
    spec = residuals_chart(invented(12), "ug/L", "Residuals")
    texts = [
        row["text"] for layer in spec["layer"] if layer["mark"]["type"] == "text" for row in layer["data"]["values"]
    ]
    assert sorted(texts) == ["B0-low", "B1-high"]
    low, high = marks(spec)["encoding"]["y"]["scale"]["domain"]
    assert low == -high
    assert low < -4.2
    said = spec["description"]
    assert "38 electrodes of 12 batches" in said
    assert "Beyond 2.5: B0-low of batch B0 (-4.2), B1-high of batch B1 (+2.7)." in said
    assert "http" not in json.dumps(spec["layer"], allow_nan=False)
    assert xml.etree.ElementTree.fromstring(render(spec, "svg").decode()).get("aria-label") == said


def test_names_of_close_marks_stand_one_above_the_other() -> None:
    close = [Residual(f"X{k}", "X", "bench", 2.0, score) for k, score in enumerate((2.6, 2.61, 2.62, -2.7, -2.71))]
    spec = residuals_chart([*invented(2), *close], "ug/L")
    names = [row for layer in spec["layer"] if layer["mark"]["type"] == "text" for row in layer["data"]["values"]]
    low, high = marks(spec)["encoding"]["y"]["scale"]["domain"]
    line = 12.0 * (high - low) / spec["height"]
    for side in (1, -1):
        heights = sorted(row["score"] for row in names if row["level"] == 2.0 and side * row["score"] > 0)
        assert len(heights) == (3 if side > 0 else 2)
        assert all(b - a > line for a, b in pairwise(heights))
    assert all(low < row["score"] < high for row in names)


def test_the_band_is_dashed_and_zero_is_not() -> None:
    zero, band = residuals_chart(invented(2), "ug/L")["layer"][:2]
    assert [row["score"] for row in band["data"]["values"]] == [-2.0, 2.0]
    assert "strokeDash" in band["mark"]
    assert "strokeDash" not in zero["mark"]


def test_nothing_to_draw_is_an_error() -> None:
    with pytest.raises(ValueError, match="at least one"):
        residuals_chart([], "ug/L")

"""The chart of fit says every group in words, keeps what chance does not give apart in grey, and never reaches out."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree

import pytest

from brinemark.outputs.charts import Kind, fit_chart, render
from brinemark.terms.amounts import FitCheck

CHECKS = (
    FitCheck("top", 9, -0.30, 0.05),
    FitCheck("middle", 14, 0.02, 0.04),
    FitCheck("batch B1", 6, 0.7, 0.2, "steepness", 3.6),
    FitCheck("batch B2", 6, -0.1, 0.3, "steepness", 3.6),
)
STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_a_chart_of_fit_draws_and_draws_the_same_bytes_again(kind: Kind) -> None:
    first, second = (render(fit_chart(CHECKS, "Fit"), kind) for _ in range(2))
    assert first.startswith(STARTS[kind])
    assert first == second


def test_its_words_give_every_group_with_its_verdict() -> None:
    spec = fit_chart(CHECKS, "Fit")
    said = spec["description"]
    assert "highest standards: gain 0.74 times, 6.0 standard uncertainties, beyond chance." in said
    assert "batch B1: exponent 2.01 times, 3.5 standard uncertainties, within chance." in said
    assert "http" not in json.dumps(spec["vconcat"], allow_nan=False)
    assert xml.etree.ElementTree.fromstring(render(spec, "svg").decode()).get("aria-label") == said


def test_bars_reach_two_standard_uncertainties_and_shapes_tell_them_apart() -> None:
    gain, steepness = fit_chart(CHECKS, "Fit")["vconcat"]
    first = gain["layer"][1]["data"]["values"][0]
    assert math.log(first["high"] / first["low"]) == pytest.approx(4 * 0.05, rel=1e-6)
    assert [row["found"] for row in gain["layer"][2]["data"]["values"]] == ["beyond chance", "within chance"]
    assert gain["layer"][2]["encoding"]["shape"]["scale"]["range"] == ["circle", "square"]
    assert len(steepness["layer"][2]["data"]["values"]) == 2


def test_nothing_to_draw_is_an_error() -> None:
    with pytest.raises(ValueError, match="at least one check"):
        fit_chart((), "Fit")

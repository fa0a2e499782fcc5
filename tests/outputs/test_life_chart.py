"""The picture of a life tells every reading in words, keeps its curves apart in grey, and never reaches out."""

from __future__ import annotations

import io
import json
import xml.etree.ElementTree
from dataclasses import replace
from typing import Any

import numpy as np
import pypdf
import pytest
from pictured import spiked_life

from brinemark.outputs.charts import Kind, Spec, life_chart, render
from brinemark.outputs.charts.frame import OVERLAY_POINTS
from brinemark.outputs.charts.life import LINES, _short_lines

STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}
DIGITS = 1e-6
"""Numbers in a chart have seven digits."""


def curve_rows(spec: Spec) -> list[dict[str, Any]]:
    return list(spec["hconcat"][1]["layer"][0]["data"]["values"])


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_a_life_draws_and_draws_the_same_bytes_again(kind: Kind) -> None:
    first, second = render(life_chart(spiked_life()), kind), render(life_chart(spiked_life()), kind)
    assert first.startswith(STARTS[kind])
    assert first == second


def test_its_words_say_electrode_batch_statement_and_what_the_cell_held_in_order() -> None:
    spec = life_chart(spiked_life())
    said = spec["description"]
    assert spec["title"]["text"] == "Electrode B09-3, batch B09"
    assert spec["title"]["subtitle"][0].startswith("S001: thiocyanate 2.1 µg/L")
    order = [said.index(f"{n} {dip.held}") for n, dip in enumerate(spiked_life().dips, start=1)]
    assert order == sorted(order)
    assert "http" not in json.dumps(spec, allow_nan=False)
    drawn = render(spec, "svg").decode()
    assert xml.etree.ElementTree.fromstring(drawn).get("aria-label") == said
    page = pypdf.PdfReader(io.BytesIO(render(spec, "pdf")), strict=True).pages[0].extract_text()
    assert "closing spike" in page and "+ 100 µg/L" in page


def test_points_stand_at_the_signals_and_bars_reach_two_standard_uncertainties() -> None:
    table = life_chart(spiked_life())["hconcat"][0]["data"]["values"]
    for place, (row, dip) in enumerate(zip(table, spiked_life().dips, strict=True)):
        assert row["place"] == place
        assert row["signal"] == pytest.approx(1e6 * dip.signal, rel=DIGITS)
        assert row["high"] - row["low"] == pytest.approx(4e6 * dip.u, rel=DIGITS * 1e2)


def test_curves_are_thinned_and_keep_their_summit() -> None:
    rows = curve_rows(life_chart(spiked_life()))
    for name, dip in zip("1234", spiked_life().dips, strict=True):
        mine = [row["measured"] for row in rows if row["dip"] == name]
        assert dip.y is not None
        assert dip.y.size > OVERLAY_POINTS >= len(mine)
        assert max(mine) == pytest.approx(1e6 * float(np.max(dip.y)), rel=DIGITS)


def test_curves_differ_without_their_colour_and_each_has_its_number_on_it() -> None:
    assert len({(tuple(dash), weight) for dash, weight, _ in LINES}) == len(LINES)
    spec = life_chart(spiked_life())
    lines, halo, numbers = spec["hconcat"][1]["layer"]
    looks = zip(*(lines["encoding"][one]["scale"]["range"] for one in ("strokeDash", "strokeWidth")), strict=True)
    assert len({(tuple(dash), weight) for dash, weight in looks}) == 4
    on_curve = {(row["dip"], row["across"], row["measured"]) for row in curve_rows(spec)}
    for row in numbers["data"]["values"]:
        assert (row["dip"], row["across"], row["measured"]) in on_curve
    assert halo["data"] == numbers["data"]


def test_numbers_on_two_equal_curves_do_not_meet() -> None:
    life = spiked_life()
    twice = replace(life, dips=(life.dips[0], life.dips[1], life.dips[1]))
    numbers = life_chart(twice)["hconcat"][1]["layer"][2]["data"]["values"]
    assert len({row["across"] for row in numbers}) == 3


def test_a_label_is_never_broken_between_a_number_and_its_sign_or_unit() -> None:
    life = spiked_life()
    held = "closing standard, 4 µg/L"
    labels = [one for dip in (*life.dips, replace(life.dips[0], held=held)) for one in _short_lines(dip.held)]
    assert {"4 times", "+ 2 µg/L", "+ 100 µg/L", "4 µg/L"} <= set(labels)


def test_a_life_without_curves_or_statement_is_drawn_by_its_signals_alone() -> None:
    life = spiked_life(None)
    bare = replace(life, dips=tuple(replace(dip, x=None, y=None) for dip in life.dips))
    spec = life_chart(bare)
    assert len(spec["hconcat"]) == 1
    assert render(spec, "svg").startswith(b"<svg")
    with pytest.raises(ValueError, match="at least one reading"):
        life_chart(replace(life, dips=()))

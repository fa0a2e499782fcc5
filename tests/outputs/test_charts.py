"""Charts can be drawn, keep their meaning in grey, say nothing that a reading does not state, and never reach out."""

from __future__ import annotations

import io
import json
import math
import xml.etree.ElementTree
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
import pypdf
import pytest
from drawn_charts import walk
from pictured import all_five, curve, dissected, fan_panels, reading, voltammogram

from brinemark.outputs.charts import (
    Kind,
    Spec,
    calibration_fan,
    reading_chart,
    render,
    stated_span,
    statement_strip,
    trace_chart,
)
from brinemark.outputs.charts.frame import level_ticks, number, rows, scaled_unit, shown_unit, thinned, with_uncertainty
from brinemark.terms.amounts import Estimate, LimitValue
from brinemark.terms.wording import amount, statement_words

STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}


def whole_trace() -> Spec:
    trace = voltammogram()
    return trace_chart(dissected(trace), trace, "Electrode B09-3", "potential, V against Ag/AgCl")


CHARTS: dict[str, Callable[[], Spec]] = {
    "fan": lambda: calibration_fan(fan_panels(3), "ug/L", "A"),
    "fan of two instruments": lambda: calibration_fan(fan_panels(6, 2), "ug/L", "A"),
    "fan of one batch": lambda: calibration_fan(fan_panels(1), "ug/L", "A"),
    "trace": whole_trace,
    "window only": lambda: trace_chart(dissected(voltammogram())),
    "charge": lambda: trace_chart(dissected(voltammogram(), unit="C")),
    "strip": lambda: statement_strip(all_five(), "ug/L"),
    **{f"reading {s}": partial(reading_chart, r, s, "ug/L", critical_value=0.45) for s, r in all_five()},
}


def marks(spec: Spec, kind: str) -> list[dict[str, Any]]:
    """The rows of a chart that carry this mark."""
    found = (part for part in walk(spec) if isinstance(part, dict) and part.get("mark") == kind and "level" in part)
    return list({json.dumps(row, sort_keys=True): row for row in found}.values())


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_draws_and_draws_the_same_bytes_again(name: str, kind: Kind) -> None:
    first, second = render(CHARTS[name](), kind), render(CHARTS[name](), kind)
    assert first.startswith(STARTS[kind])
    assert first == second


@pytest.mark.parametrize("name", CHARTS)
def test_no_chart_reaches_outside_and_each_has_words_for_a_screen_reader(name: str) -> None:
    spec = CHARTS[name]()
    text = json.dumps(spec, allow_nan=False)
    assert "http" not in text
    assert '"url"' not in text
    assert len(spec["description"]) > 20
    drawn = render(spec, "svg").decode()
    assert drawn.startswith('<svg role="graphics-document" aria-label="')
    assert xml.etree.ElementTree.fromstring(drawn).get("aria-label") == spec["description"]


@pytest.mark.parametrize("name", ["fan", "trace", "strip", "reading S001"])
def test_a_drawn_pdf_is_a_sound_one_page_document_whose_words_can_be_read(name: str) -> None:
    spec = CHARTS[name]()
    document = pypdf.PdfReader(io.BytesIO(render(spec, "pdf")), strict=True)
    assert len(document.pages) == 1
    words = document.pages[0].extract_text()
    assert spec["title"]["text"].split()[0] in words
    assert "µ" in words or "nA" in words


def test_remote_data_are_not_fetched() -> None:
    away = {"data": {"url": "https://example.invalid/a.csv"}, "mark": "point", "encoding": {}}
    with pytest.raises(ValueError, match="not allowed"):
        render(away, "svg")


def test_another_kind_of_file_is_refused() -> None:
    with pytest.raises(ValueError, match="svg, png or pdf"):
        render(CHARTS["strip"](), "bmp")  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["fan", "trace", "strip", "reading S001"])
def test_axes_have_titles_with_units(name: str) -> None:
    titles = {
        part["title"]
        for part in walk(CHARTS[name]())
        if isinstance(part, dict) and part.get("type") and isinstance(part.get("title"), str)
    }
    units = {
        "fan": ("level, µg/L", "signal, nA"),
        "trace": ("current, nA", "potential, V against Ag/AgCl"),
        "strip": ("level, µg/L",),
        "reading S001": ("level, µg/L", "probability of a signal at most as observed"),
    }
    assert set(units[name]) <= titles


def test_parts_of_a_trace_differ_by_dash_and_width_and_not_by_colour_alone() -> None:
    spec = CHARTS["window only"]()
    channels = [
        part
        for part in walk(spec)
        if isinstance(part, dict) and "strokeDash" in part and "color" in part and "strokeWidth" in part
    ]
    parts = next(part for part in channels if isinstance(part["strokeDash"], dict))
    dashes, widths = parts["strokeDash"]["scale"]["range"], parts["strokeWidth"]["scale"]["range"]
    assert len({tuple(dash) for dash in dashes}) == len(set(widths)) == 3


def test_blanks_and_standards_differ_by_shape_and_the_wider_band_by_its_dashed_edge() -> None:
    parts = [part for part in walk(CHARTS["fan"]()) if isinstance(part, dict)]
    shapes = next(part["shape"] for part in parts if "shape" in part and isinstance(part["shape"], dict))
    assert shapes["scale"]["range"] == ["diamond", "circle"]
    assert any(part.get("type") == "line" and isinstance(part.get("strokeDash"), list) for part in parts)


def test_a_cyclic_trace_is_drawn_in_file_order_with_every_point() -> None:
    spec = CHARTS["trace"]()
    longest = max((part["values"] for part in walk(spec) if isinstance(part, dict) and "values" in part), key=len)
    overview = next(
        part["values"]
        for part in walk(spec["vconcat"][0])
        if isinstance(part, dict) and "values" in part and len(part["values"]) == 1000
    )
    assert len(longest) >= len(overview)
    assert [row["order"] for row in overview] == list(range(1000))
    ordered = [part for part in walk(spec) if isinstance(part, dict) and "order" in part and "x" in part]
    assert len(ordered) == 3


def test_thinning_keeps_the_extremes_and_the_order() -> None:
    values = np.random.default_rng(3).normal(size=20_000)
    kept = thinned(values)
    assert kept.size <= 600
    assert np.all(np.diff(kept) > 0)
    assert values[kept].max() == values.max()
    assert values[kept].min() == values.min()
    assert thinned(values[:600]).size == 600


def test_a_lower_limit_has_an_arrow_and_no_upper_mark() -> None:
    _, above = all_five()[4]
    for spec in (reading_chart(above, "S005", "ug/L"), statement_strip([("S005", above)], "ug/L")):
        assert [row["level"] for row in marks(spec, "end")] == [6.4]
        assert len(marks(spec, "arrow up")) == 1
        assert marks(spec, "arrow down") == marks(spec, "median") == marks(spec, "open median") == []
    assert "14" not in statement_words(above, "ug/L")


def test_a_non_detect_has_its_upper_limit_and_an_arrow_towards_zero() -> None:
    _, absent = all_five()[3]
    spec = statement_strip([("S004", absent)], "ug/L")
    assert [row["level"] for row in marks(spec, "end")] == [0.62]
    assert [row["level"] for row in marks(spec, "arrow down")] == [0.0]
    assert marks(spec, "arrow up") == []


def test_an_interval_from_a_two_sided_estimate_without_upper_end_stays_open() -> None:
    open_ended = reading(
        "detected, amount uncertain", estimate=Estimate(4.0, 1.1, None, 0.95, 2), curve=curve(4.0, 0.7)
    )
    spec = reading_chart(open_ended, "S007", "ug/L")
    assert [row["level"] for row in marks(spec, "end")] == [1.1]
    assert len(marks(spec, "arrow up")) == 1
    assert "no upper end" in spec["title"]["text"]


def test_the_drawn_curve_never_rises_and_passes_through_the_probabilities_that_define_the_ends() -> None:
    coarse = curve(2.1, 0.22)
    thin = type(coarse)(coarse.level[::25], coarse.probability[::25], 0.0)
    lower, upper = 1.3, 3.3
    one = reading("quantified", estimate=Estimate(2.3, lower, upper, 0.95, 2), curve=thin)
    tables = [
        part["values"]
        for part in walk(reading_chart(one, "S1", "ug/L"))
        if isinstance(part, dict)
        and "values" in part
        and isinstance(part["values"][0], dict)
        and "probability" in part["values"][0]
    ]
    drawn = {row["level"]: row["probability"] for row in tables[0]}
    assert list(drawn) == sorted(drawn)
    assert all(b <= a for a, b in pairwise(drawn.values()))
    assert {lower, 2.3, upper} <= set(drawn)
    assert {round(drawn[lower], 3), round(drawn[upper], 3)} == {0.975, 0.025}


def test_cannot_say_is_words_and_no_mark() -> None:
    _, silent = all_five()[5]
    assert stated_span(silent) is None
    spec = statement_strip([("S006", silent)], "ug/L")
    assert "B04-2 failed" in json.dumps(spec["layer"])
    assert all(marks(spec, kind) == [] for kind in ("bar", "end", "arrow up", "arrow down", "median"))
    assert "cannot say" in reading_chart(silent, "S006", "ug/L")["title"]["text"]


def test_cannot_say_with_a_curve_draws_the_curve_and_states_no_end() -> None:
    unbounded = reading(
        "cannot say", reason="the electrode does not bound the level", curve=curve(4.0, 0.7, floor=0.98)
    )
    spec = reading_chart(unbounded, "S008", "ug/L")
    assert spec["title"]["subtitle"][-1] == "Why: the electrode does not bound the level"
    assert all(marks(spec, kind) == [] for kind in ("bar", "end", "arrow up", "arrow down", "median"))
    assert render(spec, "svg").startswith(b"<svg")


def test_the_statement_of_each_reading_is_one_sentence() -> None:
    said = [statement_words(r, "µg/L") for _, r in all_five()]
    assert said == [
        "thiocyanate 2.1 µg/L (95 % interval 1.37 to 3.22)",
        "thiocyanate present, less than 4.1 µg/L (95 %)",
        "thiocyanate detected, amount uncertain (95 % interval 1.1 to 21 µg/L)",
        "thiocyanate not detected, less than 0.62 µg/L (95 %, one-sided)",
        "thiocyanate at or above 6.4 µg/L (95 %, one-sided)",
        "cannot say (thiocyanate)",
    ]


def test_amounts_keep_three_digits_and_are_written_out() -> None:
    assert [amount(v) for v in (0.08284, 9.614, 104.3, 1534.0, 0.0)] == ["0.0828", "9.61", "104", "1530", "0"]


@pytest.mark.parametrize("factor", [1e-3, 1.0, 1e6])
def test_readings_of_any_unit_and_scale_can_be_drawn(factor: float) -> None:
    limit = LimitValue(0.62 * factor, 0.95)
    scaled = curve(0.2, 0.65)
    moved = type(scaled)(scaled.level * factor, scaled.probability, scaled.at_infinity)
    absent = reading("not detected", upper_limit=limit, working_range=(0.5 * factor, 5.0 * factor), curve=moved)
    spec = reading_chart(absent, "S1", "mol/L", analyte="iodide")
    assert render(spec, "svg").startswith(b"<svg")
    assert "iodide not detected" in spec["title"]["text"]


def test_numbers_that_are_not_finite_are_left_out_of_a_chart() -> None:
    panels = fan_panels(1)
    panels[0].u[1] = math.nan
    spec = calibration_fan(panels, "ug/L", "A")
    points = [row for row in spec["datasets"]["panels"] if row["kind"] == "point"]
    assert len(points) == panels[0].level.size - 1
    assert rows(a=[1.0, math.inf]) == [{"a": 1.0}]


def test_empty_charts_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one panel"):
        calibration_fan([], "ug/L", "A")
    with pytest.raises(ValueError, match="at least one reading"):
        statement_strip([], "ug/L")


@pytest.mark.parametrize(
    ("largest", "unit", "shown"),
    [(3.1e-7, "A", "nA"), (2.0e-3, "A", "mA"), (1.0, "A", "A"), (4e-15, "C", "fC"), (0.0, "A", "A"), (5e-4, "x", "x")],
)
def test_units_get_the_prefix_that_keeps_numbers_readable(largest: float, unit: str, shown: str) -> None:
    factor, scaled = scaled_unit(unit, np.array([largest, -largest / 7.0]))
    assert scaled == shown
    if largest and unit != "x":
        assert 1.0 <= largest * factor < 1000.0


def test_numbers_are_written_in_full_to_the_digits_that_carry_meaning() -> None:
    assert [number(value) for value in (0.0, 0.01234, 2.0, 9.96, 21.4, 1234.0, -0.55)] == [
        "0", "0.012", "2.0", "10", "21", "1200", "-0.55",
    ]  # fmt: skip
    assert with_uncertainty(298.3456, 2.618) == ("298.3", "2.6")
    assert with_uncertainty(-0.01234, 0.00996) == ("-0.012", "0.010")
    assert with_uncertainty(1234.5, math.nan)[1] == "unknown"
    assert (shown_unit("ug/L"), shown_unit("mol/L"), shown_unit("u")) == ("µg/L", "mol/L", "u")


@pytest.mark.parametrize(("top", "constant"), [(40.0, 0.25), (2e6, 30.0), (0.006, 2e-5), (15.0, 0.225)])
def test_level_axes_start_at_zero_and_carry_few_round_ticks(top: float, constant: float) -> None:
    ticks = level_ticks(top, constant)
    assert ticks[0] == 0.0
    assert 3 <= len(ticks) <= 10
    assert max(ticks) <= top * 1.001
    assert all(f"{tick:e}"[0] in "1235" for tick in ticks[1:])

"""All charts of tanks and evidence draw, reach nowhere, have words, and stay readable in grey and with a comma."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from drawn_charts import check_drawn, walk
from fish_pictured import (
    bar,
    consignment,
    exposures,
    funnel,
    holds,
    moves,
    over_time,
    pairs,
    stated,
    timeline,
    trial,
    weights,
    world,
)

from brinemark.outputs.charts import (
    Kind,
    Spec,
    consignment_overview,
    detectability_chart,
    exposures_map,
    funnel_chart,
    method_pairs,
    moves_chart,
    prevalence_over_time,
    ratio_calibration,
    render,
    roc_chart,
    tank_timeline,
    weights_chart,
)
from brinemark.outputs.charts import holds as hold_looks
from brinemark.outputs.charts.exposures import STEPS
from brinemark.outputs.charts.levels import LOOKS
from brinemark.outputs.report import typefaces
from brinemark.outputs.report.drawing import drawn
from brinemark.outputs.report.wording import Numbers, Readable
from brinemark.terms.fish_pictures import SAMPLE, ConsignmentRow, ExposurePanel, TankSample, WeightBar

STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}
LONG = "A very long name of a tank in the third hall, on the left, beside the pump and the lamp of system B"
OPEN = WeightBar("released", 2.0, -math.inf, math.inf, 1.0, -1.0, 1.0)
FAR = WeightBar("not released", 40.0, 35.0, math.inf, 1.0, -1.0, 1.0)


def open_rows() -> Spec:
    rows = (ConsignmentRow(LONG, stated("absent"), (OPEN, FAR)), ConsignmentRow("T2", None, ()))
    return consignment_overview(consignment(rows=rows, notes=("No field blank was opened.",)))


def only_absent() -> Spec:
    samples = tuple(TankSample(f"W{k:02d}", 1.2 + 0.1 * k, SAMPLE, stated("absent")) for k in range(8))
    return tank_timeline(timeline(samples=samples, worlds=(world("released", 0.01, 2.0), world("not released", 0.0))))


def impossible() -> Spec:
    one = exposures()
    none = ExposurePanel(
        "own controls", np.full_like(one.panels[0].log_likelihood, -np.inf), one.panels[0].inside & False
    )
    return exposures_map(replace(one, panels=(*one.panels, none)))


CHARTS: dict[str, Callable[[], Spec]] = {
    "timeline": lambda: tank_timeline(timeline()),
    "timeline of three worlds": lambda: tank_timeline(
        timeline(tank=LONG, worlds=(world("released", 300.0), world("not released", 0.0), world("own controls", 0.8)))
    ),
    "timeline without worlds": lambda: tank_timeline(timeline(worlds=(), capture_d=None, minimum_detectable=None)),
    "timeline of nothing": lambda: tank_timeline(timeline(worlds=(), samples=(), events=(), capture_d=None)),
    "timeline of non-detects": only_absent,
    "overview": lambda: consignment_overview(consignment()),
    "overview of 40 tanks": lambda: consignment_overview(consignment(40, ("released", "not released", "own controls"))),
    "overview of one tank": lambda: consignment_overview(consignment(1)),
    "overview without worlds": lambda: consignment_overview(consignment(3, ())),
    "overview with open ends": open_rows,
    "weights": lambda: weights_chart(weights()),
    "weights with open ends": lambda: weights_chart(weights(bars=(OPEN, FAR, bar("own controls", -2.5, cap=None)))),
    "weights without any": lambda: weights_chart(weights(bars=(bar("released", None),), scale=None, notes=())),
    "moves": lambda: moves_chart(moves()),
    "exposures": lambda: exposures_map(exposures()),
    "exposures, none possible": impossible,
    "holds": lambda: detectability_chart(holds()),
    "holds of many volumes": lambda: detectability_chart(holds(4, 5)),
    "one hold": lambda: detectability_chart(holds(1, 1)),
    "roc": lambda: roc_chart(trial()),
    "ratios": lambda: ratio_calibration(trial()),
    "funnel": lambda: funnel_chart(funnel()),
    "funnel of one": lambda: funnel_chart(funnel(1)),
    "seasons": lambda: prevalence_over_time(over_time()),
    "twelve seasons": lambda: prevalence_over_time(over_time(2, 12)),
    "one season": lambda: prevalence_over_time(over_time(1, 1)),
    "pairs": lambda: method_pairs(pairs()),
    "one pair of limits": lambda: method_pairs(replace(pairs(), pairs=pairs().pairs[8:9], line=None)),
}
MAIN = ("timeline", "overview", "weights", "moves", "exposures", "holds", "roc", "ratios", "funnel", "seasons", "pairs")


@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_draws_within_a_page_reaches_nowhere_and_has_words(name: str) -> None:
    check_drawn(CHARTS[name]())


@pytest.mark.parametrize("kind", ["svg", "pdf"])
@pytest.mark.parametrize("name", MAIN)
def test_every_chart_draws_the_same_bytes_again(name: str, kind: Kind) -> None:
    first, second = render(CHARTS[name](), kind), render(CHARTS[name](), kind)
    assert first.startswith(STARTS[kind])
    assert first == second


@pytest.mark.parametrize("name", MAIN)
def test_every_chart_draws_as_points_too(name: str) -> None:
    assert render(CHARTS[name](), "png").startswith(STARTS["png"])


UNITS = {
    "timeline": {"level in the water, µg/L"},
    "overview": {"level, µg/L", "log10 likelihood ratio"},
    "weights": {"log10 likelihood ratio, with the ratio under it"},
    "moves": {"log10 likelihood ratio"},
    "exposures": {"days from exposure to sample, d", "absorbed dose, mg CN per kg fish"},
    "holds": {"hold in clean water, d", "chance to find it"},
    "roc": {"unexposed fish called exposed, share", "exposed fish called exposed, share"},
    "ratios": {"log10 ratio as counted", "log10 ratio as worked out"},
    "funnel": {"tests on the consignment", "share of tests that found thiocyanate"},
    "seasons": {"season", "share of fish or tests"},
    "pairs": {"one-use electrode, µg/L", "chromatography, µg/L"},
}


@pytest.mark.parametrize("name", MAIN)
def test_axes_have_titles_with_units(name: str) -> None:
    parts = [part for part in walk(CHARTS[name]()) if isinstance(part, dict) and part.get("type")]
    assert UNITS[name] <= {part["title"] for part in parts if isinstance(part.get("title"), str)}


@pytest.mark.parametrize("name", MAIN)
def test_a_report_draws_it_in_its_own_font_with_a_decimal_comma(name: str) -> None:
    found = drawn(CHARTS[name](), Numbers("comma", "ug/L"), Readable(typefaces()))
    letters = re.findall(r">([^<]+)</t(?:ext|span)>", found["svg"])
    assert len(letters) > 10
    assert [text for text in letters if re.search(r"\d\.\d", text)] == []
    assert found["width"] <= 170.0


def test_kinds_of_water_and_volumes_differ_without_their_colour() -> None:
    assert len({(shape, weight, tuple(dash)) for shape, _, weight, dash in LOOKS.values()}) == len(LOOKS)
    assert len({shape for shape, *_ in LOOKS.values()}) == len(LOOKS)
    assert len({(tuple(dash), weight) for dash, weight, *_ in hold_looks.LINES}) == len(hold_looks.LINES)
    assert len({look[3] for look in hold_looks.LINES}) == len(hold_looks.LINES)


def test_the_greys_of_agreement_are_greys_that_lighten_by_clear_steps() -> None:
    shades = [int(color[1:3], 16) for _, color, _ in STEPS]
    assert all(color[1:3] == color[3:5] == color[5:7] for _, color, _ in STEPS)
    assert np.all(np.diff(shades) >= 24)


WORLD_PANELS: dict[str, Callable[[], list[Spec]]] = {
    "timeline": lambda: CHARTS["timeline"]()["vconcat"][1]["hconcat"],
    "overview": lambda: CHARTS["overview"]()["hconcat"][1:],
    "moves": lambda: CHARTS["moves"]()["hconcat"],
    "exposures": lambda: CHARTS["exposures"]()["hconcat"],
    "holds": lambda: CHARTS["one hold"]()["concat"],
}


@pytest.mark.parametrize("name", WORLD_PANELS)
def test_worlds_stand_side_by_side_on_the_same_axes_and_none_is_drawn_over_another(name: str) -> None:
    panels = WORLD_PANELS[name]()
    titles = [panel["title"]["text"] for panel in panels]
    heads = [text if isinstance(text, str) else text[0] for text in titles]
    assert heads == ["world: released", "world: not released"]
    domains = [
        {
            json.dumps(part["scale"]["domain"])
            for part in walk(panel)
            if isinstance(part, dict) and part.get("type") in ("quantitative", "temporal")
        }
        for panel in panels
    ]
    assert domains[0] == domains[1]


@pytest.mark.parametrize("name", ["timeline", "overview", "weights", "exposures", "holds"])
def test_the_words_tell_each_world_by_itself_and_that_they_are_not_averaged(name: str) -> None:
    spec = CHARTS[name]()
    assert "'released'" in spec["description"] and "'not released'" in spec["description"]
    assert "not to be averaged" in " ".join(spec["title"]["subtitle"])


def test_no_chart_convicts_or_clears() -> None:
    said = " ".join(json.dumps(CHARTS[name]()) for name in CHARTS).lower()
    for wrong in ("not exposed", "cyanide found", "cyanide detected", "guilty", "innocent", "cyanide-caught"):
        assert wrong not in said


EMPTY: dict[str, partial[Spec]] = {
    "at least one tank": partial(consignment_overview, consignment(rows=())),
    "at least one world": partial(weights_chart, weights(bars=())),
    "at least one assumption": partial(moves_chart, ()),
    "a map of exposures needs at least one": partial(exposures_map, exposures(panels=())),
    "40 doses times 41 days": partial(
        exposures_map, exposures(panels=(ExposurePanel("released", np.zeros((2, 2)), np.ones((2, 2), bool)),))
    ),
    "world, day, volume and hold": partial(detectability_chart, holds(panels=())),
    "probabilities of shape": partial(
        detectability_chart, holds(panels=(replace(holds().panels[0], probability=np.zeros((1, 1, 1))),))
    ),
    "at least one bin": partial(ratio_calibration, trial(bins=())),
    "at least one consignment": partial(funnel_chart, replace(funnel(), points=())),
    "over the seasons": partial(prevalence_over_time, ()),
    "a chart of pairs": partial(method_pairs, pairs(pairs=())),
}


@pytest.mark.parametrize("words", EMPTY)
def test_charts_of_nothing_and_maps_that_do_not_fit_are_refused(words: str) -> None:
    with pytest.raises(ValueError, match=words):
        EMPTY[words]()

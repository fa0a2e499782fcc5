"""The pictures of weights, exposures, holds, trials and surveys state what their records state, open ends included."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from fish_pictured import (
    SCALE,
    bar,
    exposures,
    funnel,
    holds,
    moves,
    over_time,
    pairs,
    rate,
    trial,
    weights,
)

from brinemark.outputs.charts import (
    Spec,
    detectability_chart,
    exposures_map,
    funnel_chart,
    method_pairs,
    moves_chart,
    prevalence_over_time,
    ratio_calibration,
    roc_chart,
    weights_chart,
)
from brinemark.outputs.charts.exposures import STEPS, steps_of
from brinemark.outputs.charts.funnels import class_of
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.words import listed, minus, numbered, shortened
from brinemark.terms.fish_pictures import ExposurePanel, PairedValue, SplitPair

DIGITS = 1e-6
"""Numbers in a chart have seven digits."""


def table(part: Spec, mark: str | None = None) -> list[dict[str, Any]]:
    every = [row for layer in part["layer"] for row in layer["data"]["values"]]
    rows = list({json.dumps(row, sort_keys=True): row for row in every}.values())
    return rows if mark is None else [row for row in rows if row.get("mark") == mark]


def test_words_of_the_scale_stand_over_their_bands_both_ways_and_only_on_the_axis() -> None:
    words, main, _ = weights_chart(weights(scale=SCALE))["vconcat"]
    low, high = _domain(main)
    placed = [(row["text"], row["at"]) for row in table(words)]
    assert {text for text, _ in placed} == {"neither supported", "weak", "moderate", "moderately strong"}
    starts = {band.words: math.log10(band.start) for band in SCALE.bands}
    for text, at in placed:
        assert low <= at <= high
        assert text == "neither supported" or abs(at) >= starts[text]
    shades = [layer for layer in main["layer"] if layer["mark"]["type"] == "rect"]
    dark = {layer["data"]["values"][0]["ratio"]: layer["mark"]["opacity"] for layer in shades}
    right = [dark[start] for start in sorted(dark) if start > 0.0]
    assert right == sorted(right) and len(set(right)) == len(right)


def _domain(main: Spec) -> list[float]:
    return next(
        layer["encoding"]["x"]["scale"]["domain"] for layer in main["layer"] if "scale" in layer["encoding"]["x"]
    )


def test_a_weight_is_drawn_with_its_interval_cap_and_what_counts() -> None:
    main = weights_chart(weights())["vconcat"][1]
    mine = {row["mark"]: row for row in table(main) if row.get("world") == "released" and "mark" in row}
    assert (mine["interval"]["ratio"], mine["interval"]["to"]) == pytest.approx((1.2, 2.0))
    assert mine["counted"]["to"] == 1.0 and mine["open point"]["ratio"] == 1.6
    assert sorted(row["ratio"] for row in table(main, "cap") if row["world"] == "released") == [-1.0, 1.0]
    said = weights_chart(weights())["description"]
    assert "World 'released': log10 ratio +1.60 (+1.20 to +2.00), of which +1.00 counts within the cap." in said
    assert "World 'own controls': no ratio: no source blank." in said
    assert "Specificity unknown for wild fish" in said and "bands from memory" in said


def test_a_weight_without_cap_has_no_cap_mark_and_a_closed_one() -> None:
    main = weights_chart(weights(bars=(bar("released", 0.7, cap=None),)))["vconcat"][1]
    assert table(main, "cap") == [] and [row["ratio"] for row in table(main, "point")] == [0.7]


def test_moves_are_sorted_by_the_largest_in_any_world_and_hold_both_ends() -> None:
    spec = moves_chart(moves())
    order = spec["hconcat"][0]["layer"][0]["encoding"]["y"]["sort"]
    sizes = [max(move.move for world in moves() for move in world.moves if move.assumption == name) for name in order]
    assert sizes == sorted(sizes, reverse=True)
    for panel, world in zip(spec["hconcat"], moves(), strict=True):
        for move in world.moves:
            mine = {row["mark"]: row["ratio"] for row in table(panel) if row.get("assumption") == move.assumption}
            assert (mine["low"], mine["high"]) == pytest.approx((move.at_low, move.at_high), rel=DIGITS)
        assert {"ratio": world.log10_ratio} in table(panel)


def test_a_move_without_end_is_an_arrow() -> None:
    world = replace(moves()[0], moves=(replace(moves()[0].moves[0], at_low=-math.inf),))
    panel = moves_chart((world,))["hconcat"][0]
    assert len(table(panel, "arrow left")) == 1 and table(panel, "low") == []


def test_greys_cover_each_pair_once_by_how_far_it_lies_under_the_best() -> None:
    picture = exposures()
    for panel, one in zip(exposures_map(picture)["hconcat"], picture.panels, strict=True):
        covered = np.full(one.log_likelihood.shape, len(STEPS) - 1)
        for layer in panel["layer"]:
            shade = next((k for k, step in enumerate(STEPS) if step[1] == layer["mark"].get("color")), None)
            for row in layer["data"]["values"] if shade is not None else []:
                days = (picture.day > row["day"]) & (picture.day < row["day_to"])
                doses = (picture.dose > row["dose"]) & (picture.dose < row["dose_to"])
                assert np.all(covered[np.ix_(doses, days)] == len(STEPS) - 1)
                covered[np.ix_(doses, days)] = shade
        assert np.array_equal(covered, steps_of(one.log_likelihood))


def test_steps_are_counted_from_the_best_and_impossible_pairs_are_the_last() -> None:
    found = steps_of(np.array([[-5.0, -5.9, -6.1], [-8.5, -16.0, -np.inf]]))
    assert found.tolist() == [[0, 0, 1], [2, 3, 3]]
    assert steps_of(np.full((1, 2), -np.inf)).tolist() == [[3, 3]]


def test_the_border_goes_once_round_the_region_and_not_along_the_edge_of_the_map() -> None:
    inside = np.zeros((3, 4), bool)
    inside[1:, 1:3] = True
    panel = ExposurePanel("released", np.zeros((3, 4)), inside)
    picture = exposures(dose=np.array([0.1, 1.0, 10.0]), day=np.arange(1.0, 5.0), panels=(panel,), lethal=())
    drawn = exposures_map(picture)["hconcat"][0]
    heavy = next(layer for layer in drawn["layer"] if layer["mark"].get("strokeWidth") == 2.2)
    lines = {tuple(row[k] for k in ("day", "day_to", "dose", "dose_to")) for row in heavy["data"]["values"]}
    low, high = pytest.approx(0.1 * math.sqrt(10.0), rel=DIGITS), pytest.approx(10.0 * math.sqrt(10.0), rel=DIGITS)
    assert len(lines) == 3
    assert any(line == (1.5, 3.5, low, low) for line in lines)
    assert any(line == (1.5, 1.5, low, high) for line in lines)
    assert any(line == (3.5, 3.5, low, high) for line in lines)


def test_lethal_doses_are_lines_with_a_letter_and_one_beyond_the_axis_is_only_told() -> None:
    spec = exposures_map(exposures(lethal=((3.2, "lethal to half of rats"), (400.0, "an unlikely dose"))))
    for panel in spec["hconcat"]:
        rules = [layer for layer in panel["layer"] if layer["data"]["values"] == [{"dose": 3.2}]]
        assert [layer["mark"]["type"] for layer in rules] == ["rule", "text", "text"]
        assert {"dose": 400.0} not in table(panel)
    said = " ".join(spec["title"]["subtitle"])
    assert "a lethal to half of rats, 3.2 mg/kg; b an unlikely dose, 400 mg/kg, beyond the axis" in said


def test_the_words_of_a_map_give_the_ends_of_the_region() -> None:
    said = exposures_map(exposures())["description"]
    one = exposures().panels[0]
    days = exposures().day[np.nonzero(one.inside)[1]]
    assert f"{100.0 * one.inside.mean():.0f} % of the map agrees at 95 %" in said
    assert f"days from {days.min():.1f} to {days.max():.0f}." in said


def test_holds_have_a_line_for_each_volume_its_best_hold_and_the_false_alarm() -> None:
    picture = holds()
    panels = detectability_chart(picture)["concat"]
    for place, panel in enumerate(panels):
        day, world = divmod(place, len(picture.panels))
        one = picture.panels[world]
        assert {"chance": one.false_alarm} in table(panel)
        for volume in range(3):
            line = [row["chance"] for row in table(panel) if row.get("volume") == volume]
            assert line == pytest.approx(one.probability[day, volume], rel=DIGITS)
            best = [row["hold"] for row in table(panel) if row.get("best") == volume]
            known = [hold for hold in [one.best_hold_d[day, volume]] if math.isfinite(hold)]
            assert best == pytest.approx(known)


def test_a_world_where_no_hold_helps_says_so() -> None:
    said = detectability_chart(holds(1, 1))["description"]
    assert "World 'not released', false alarm 0.01: day 1, 1 L: at most 0.01, no hold better than another." in said


def test_the_line_of_calls_and_its_threshold_with_exact_limits_are_those_of_the_trial() -> None:
    one = trial()
    spec = roc_chart(one)
    rows = table(spec)
    curve = [(row["false"], row["true"]) for row in spec["layer"][1]["data"]["values"]]
    assert curve == list(zip(one.roc.false_positive.tolist(), one.roc.true_positive.tolist(), strict=True))
    assert {"false": 0.1, "true": 0.85} in rows
    assert {"false": 0.028, "to": 0.237, "true": 0.85} in rows
    assert {"false": 0.1, "true": 0.621, "to": 0.968} in rows
    said = " ".join(spec["title"]["subtitle"])
    assert "Area under the line 0.921" in said and "4 of 40 (95 % 0.028 to 0.237)" in said


def test_a_trial_without_unexposed_fish_has_no_mark_at_its_threshold() -> None:
    spec = roc_chart(trial(specificity=rate(0, 0, 0.0, 1.0)))
    assert len(spec["layer"]) == 2
    assert "of the unexposed none tried" in spec["title"]["subtitle"][2]


def test_each_bin_of_ratios_shows_its_range_what_was_counted_and_open_ends_as_arrows() -> None:
    spec = ratio_calibration(trial())
    rows = {
        place: {row["mark"]: row for row in table(spec) if row.get("bin") == place and "mark" in row}
        for place in range(6)
    }
    low, high = spec["layer"][1]["encoding"]["x"]["scale"]["domain"]
    assert (rows[2]["range"]["ratio"], rows[2]["range"]["to"]) == (-1.0, 0.0)
    assert (rows[2]["limits"]["ratio"], rows[2]["limits"]["to"], rows[2]["agrees"]["ratio"]) == (-0.95, 0.27, -0.3)
    assert rows[0]["arrow left"]["ratio"] == low and rows[0]["limits"]["to"] == -0.6 and "agrees" not in rows[0]
    assert rows[5]["arrow right"]["ratio"] == high and rows[5]["limits"]["ratio"] == 0.7
    assert rows[3]["differs"]["ratio"] == -0.12
    assert list(rows[4]) == ["range"]
    assert "0 to 1: 3 exposed, 4 unexposed, log10 −0.12 (−0.93 to −0.05), does not agree." in spec["description"]
    assert "1 to 2: no fish." in spec["description"]


def test_a_funnel_holds_every_consignment_and_both_limits() -> None:
    one = funnel()
    spec = funnel_chart(one)
    marks = [row for row in table(spec) if "count" in row and "text" not in row]
    assert sum(row["count"] for row in marks) == len(one.points)
    for point in one.points:
        assert any(row["tested"] == point.tested and abs(row["share"] - point.share) < DIGITS for row in marks)
    steps = [layer for layer in spec["layer"] if layer["mark"].get("interpolate") == "step"]
    for layer, values in zip(steps, (("inner", 0), ("inner", 1), ("outer", 0), ("outer", 1)), strict=True):
        wanted = [getattr(limit, values[0])[values[1]] for limit in one.limits]
        assert [row["share"] for row in layer["data"]["values"]] == pytest.approx(wanted, rel=DIGITS)


def test_remarkable_consignments_differ_by_shape_and_are_named() -> None:
    one = funnel()
    assert [class_of(point) for point in one.points[2:6]] == [
        "p below 0.002", "as chance gives", "as chance gives", "p below 0.05",
    ]  # fmt: skip
    spec = funnel_chart(one)
    assert {row["text"] for row in table(spec) if "count" not in row and "text" in row} == {"K03", "K06"}
    shapes = {layer["mark"]["shape"] for layer in spec["layer"] if "shape" in layer["mark"]}
    assert shapes == {"circle", "diamond", "square"}
    assert "28 as chance gives, 1 p below 0.05, 1 p below 0.002" in spec["description"]


def test_a_season_without_statement_has_words_and_its_reason_and_no_estimate() -> None:
    points = over_time()
    spec = prevalence_over_time(points)
    for place, panel in enumerate(spec["concat"]):
        mine = [point for point in points if point.origin == f"bay {place + 1}"]
        silent = [row["season"] for row in table(panel) if row.get("text") == "no statement"]
        assert silent == [point.season for point in mine if point.prevalence.estimate is None]
        for point in mine:
            shares = sorted(row["share"] for row in table(panel) if row["season"] == point.season and "share" in row)
            known = [value for value in (point.share, point.prevalence.estimate) if value is not None]
            assert shares == pytest.approx(sorted(known))
    lines = spec["title"]["subtitle"]
    assert any(line.startswith("No statement (bay 1 2031 d, bay 2 2031 c") for line in lines)
    assert "it is no prevalence" in " ".join(lines)
    assert "bay 1, 2031 a: 6 of 40 found, prevalence 0.1 (0.02 to 0.3)." in spec["description"]


def test_limits_of_either_method_are_open_marks_with_arrows_to_where_the_value_may_lie() -> None:
    spec = method_pairs(pairs())
    arrows = {name: {row["sample"] for row in table(spec, name)} for name in ("left", "down", "right", "up")}
    assert arrows == {"left": {"S20", "S21"}, "down": {"S20", "S22"}, "right": {"S23"}, "up": set()}
    places = {row["sample"]: (row["first"], row["second"]) for row in table(spec, "limit")}
    assert places == {"S20": (0.62, 1.0), "S21": (0.62, 1.3), "S22": (1.9, 1.0), "S23": (6.4, 15.0)}
    assert {row["sample"] for row in table(spec, "value")} == {f"S{k:02d}" for k in range(8)}
    assert "S20: less than 0.62 and less than 1" in spec["description"]


def test_a_pair_of_which_one_method_knows_nothing_is_told_and_not_drawn() -> None:
    spec = method_pairs(pairs())
    assert all(row.get("sample") != "S24" for row in table(spec))
    assert "Not drawn, nothing known by one of the methods: S24." in spec["title"]["subtitle"]
    alone = method_pairs(pairs(pairs=(SplitPair("S1", PairedValue(None), PairedValue(None)),), line=None))
    assert "S1: nothing known and nothing known" in alone["description"]


def test_the_line_of_equal_values_and_the_fitted_line_run_where_they_should() -> None:
    spec = method_pairs(pairs())
    low, high = spec["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert [(row["first"], row["second"]) for row in spec["layer"][0]["data"]["values"]] == [(low, low), (high, high)]
    for row in spec["layer"][1]["data"]["values"]:
        assert row["second"] == pytest.approx(0.12 + 1.07 * row["first"], rel=2 * DIGITS)
    assert len(method_pairs(pairs(line=None))["layer"]) == len(spec["layer"]) - 1


def test_a_negative_result_of_another_method_stays_where_it_is() -> None:
    below = SplitPair("S30", PairedValue(0.4, 0.1, 0.9), PairedValue(-0.2, -0.6, 0.2))
    spec = method_pairs(pairs(pairs=(*pairs().pairs, below)))
    mine = [row for row in table(spec, "value") if row["sample"] == "S30"]
    assert [row["second"] for row in mine] == [-0.2]
    assert spec["layer"][0]["encoding"]["y"]["scale"]["domain"][0] < -0.6


def test_words_are_listed_cut_and_signed_as_print_has_them() -> None:
    assert listed(["a", "b", "c"], 2) == "a, b and 1 more"
    assert listed(["a"], 2) == "a"
    assert shortened("the run control failed", 12) == "the run ..."
    assert minus("-0.2 to 0.5 on 2031-04-02, B04-2") == "−0.2 to 0.5 on 2031-04-02, B04-2"
    assert numbered(["0.5 L", 'a "b"']) == '["0.5 L", "a \\"b\\""][toNumber(datum.value)]'
    assert headed("short", [], "told", {})["title"]["text"] == "short"
    assert len(headed("word " * 40, [], "told", {})["title"]["text"]) == 3

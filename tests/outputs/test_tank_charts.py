"""The pictures of a tank and of a consignment state what the records state: every mark, limit, band and reason."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
import pytest
from fish_pictured import START, bar, consignment, stated, timeline, world
from pictured import all_five

from brinemark.outputs.charts import Spec, as_lower_limit, consignment_overview, render, stated_level, tank_timeline
from brinemark.outputs.charts.lane import told_events, with_samples
from brinemark.outputs.charts.moments import DAY_MS, axis_title, clock_ms, moment_axis, zone_words
from brinemark.outputs.charts.timeline import span_of_days
from brinemark.terms.fish_pictures import SAMPLE, SOURCE_WATER, TankEvent, TankSample, WorldBand

DIGITS = 1e-6
"""Numbers in a chart have seven digits."""


def panels(spec: Spec) -> list[Spec]:
    return list(spec["vconcat"][1]["hconcat"])


def table(part: Spec, mark: str | None = None) -> list[dict[str, Any]]:
    every = [row for layer in part["layer"] for row in layer["data"]["values"]]
    rows = list({json.dumps(row, sort_keys=True): row for row in every}.values())
    return rows if mark is None else [row for row in rows if row.get("mark") == mark]


def test_each_sample_stands_in_every_world_with_the_ends_that_its_reading_states() -> None:
    picture = timeline()
    for panel in panels(tank_timeline(picture)):
        for one in picture.samples:
            mine = [row for row in table(panel) if row.get("name") == one.name]
            ends = sorted(row["level"] for row in mine if row["mark"] == "end")
            known = [] if one.stated is None else [v for v in (one.stated.lower, one.stated.upper) if v is not None]
            assert ends == sorted(known)
            assert {row["day"] for row in mine} == {one.day}


def test_a_non_detect_reaches_from_zero_to_its_limit_and_a_lower_limit_upwards_without_end() -> None:
    panel = panels(tank_timeline(timeline()))[0]
    down = [row for row in table(panel, "arrow down") if row["name"] == "W02"]
    bars = [row for row in table(panel, "bar") if row["name"] == "W02"]
    assert [row["level"] for row in down] == [0.0]
    assert [(row["level"], row["to"]) for row in bars] == [(0.0, 0.62)]
    up = [row for row in table(panel, "arrow up") if row["name"] == "W07"]
    top = panel["layer"][-1]["encoding"]["y"]["scale"]["domain"][1]
    assert [row["level"] for row in up] == [top] and top > 6.4
    assert [row for row in table(panel, "median") if row["name"] in ("W02", "W07")] == []


def test_an_amount_has_a_filled_mark_an_uncertain_one_an_open_mark() -> None:
    panel = panels(tank_timeline(timeline()))[0]
    assert [(row["name"], row["level"]) for row in table(panel, "median")] == [("W03", 2.1)]
    assert {row["name"] for row in table(panel, "open median")} == {"W04", "W06"}
    assert all(row["level"] > 0.0 for row in table(panel, "open median"))


def test_what_cannot_be_said_and_what_is_not_read_have_no_level_and_their_words() -> None:
    spec = tank_timeline(timeline())
    silent, unread = table(panels(spec)[0], "cannot say"), table(panels(spec)[0], "not read")
    assert [(row["name"], row["reason"]) for row in silent] == [("W08", "the run control failed: recovery 41 %")]
    assert [row["name"] for row in unread] == ["W09"]
    assert all("level" not in row for row in (*silent, *unread))
    said = " ".join(spec["title"]["subtitle"])
    assert "W08 (the run control failed: recovery 41 %)" in said and "not read yet: W09" in said
    assert "W09 (sample): not read yet" in spec["description"]


def test_waters_of_one_moment_stand_side_by_side_and_all_others_at_their_own() -> None:
    rows = {row["name"]: row["at"] for row in table(panels(tank_timeline(timeline()))[0]) if "name" in row}
    assert rows["W03"] == clock_ms(START, 2.5) < rows["W04"] < rows["W05"]
    for name, day in (("W01", 0.6), ("W02", 1.5), ("W06", 4.0), ("W07", 6.0), ("W09", 8.6)):
        assert rows[name] == clock_ms(START, day)


def test_a_band_holds_the_numbers_of_its_own_world_and_stops_where_there_is_no_water() -> None:
    picture = timeline()
    for panel, one in zip(panels(tank_timeline(picture)), picture.worlds, strict=True):
        rows = panel["layer"][0]["data"]["values"]
        known = np.flatnonzero(np.isfinite(one.median))
        assert [row["at"] for row in rows] == [clock_ms(START, float(one.day[k])) for k in known]
        for name in ("median", "inner_lower", "inner_upper", "outer_lower", "outer_upper"):
            assert [row[name] for row in rows] == pytest.approx(getattr(one, name)[known], rel=DIGITS)


def test_a_tank_that_stood_empty_between_has_a_band_in_two_pieces() -> None:
    one = world("released", 3.0)
    gap = (one.day > 4.0) & (one.day < 6.0)
    holed = WorldBand(one.world, one.day, *(np.where(gap, np.nan, part) for part in _parts(one)))
    rows = panels(tank_timeline(timeline(worlds=(holed,))))[0]["layer"][0]["data"]["values"]
    days = {piece: [row["at"] for row in rows if row["piece"] == piece] for piece in {row["piece"] for row in rows}}
    assert len(days) == 2
    first, second = sorted(days.values())
    assert max(first) <= clock_ms(START, 4.0) and min(second) >= clock_ms(START, 6.0)


def _parts(one: WorldBand) -> tuple[Any, ...]:
    return one.median, one.inner_lower, one.inner_upper, one.outer_lower, one.outer_upper


def test_every_event_and_sample_has_its_mark_in_a_row_of_its_kind() -> None:
    picture = timeline()
    lane = tank_timeline(picture)["vconcat"][0]
    marks = [row for row in table(lane) if "side" not in row or "text" in row]
    for one in with_samples(picture):
        kind = [row for row in marks if row["kind"] == one.kind]
        assert any(abs(row["at"] - clock_ms(START, one.day)) < 1 for row in kind), one
        assert any(one.words in row["words"] for row in kind)


def test_labels_of_events_do_not_meet_and_equal_ones_are_said_once() -> None:
    events = tuple(TankEvent(0.2 * k, "renewed", f"{10 + k} %") for k in range(40))
    lane = tank_timeline(timeline(events=events, samples=()))["vconcat"][0]
    labels = {row["at"] for row in table(lane) if row.get("text")}
    assert len(labels) < 40
    assert "renewed (40)" in lane["layer"][0]["encoding"]["y"]["axis"]["labelExpr"]
    same = tank_timeline(timeline())["vconcat"][0]
    assert "fed, 2 g each" in same["layer"][0]["encoding"]["y"]["axis"]["labelExpr"]
    assert [row for row in table(same) if row["kind"] == "fed" and "text" in row] == []


def test_the_words_count_days_after_capture() -> None:
    said = told_events(timeline())
    assert said.startswith("Events, in days after capture: filled: 120 L on day 3.4; fish in: 6 fish, 72 g on day 4.4")
    assert "fed: 16 times (2 g each) from day 4.4 to day 11.9" in said
    assert told_events(timeline(events=())) == "No events."


def test_ticks_are_midnights_of_the_clock_that_the_tank_is_told_by() -> None:
    axis = moment_axis(START, (0.0, 9.0), 590.0, -3.4)["axis"]
    assert all(tick % int(DAY_MS) == 0 for tick in axis["values"])
    assert 3 <= len(axis["values"]) <= 9
    hours = moment_axis(START, (0.0, 0.4), 590.0, None)["axis"]
    assert all(tick % 3_600_000 == 0 for tick in hours["values"])
    assert "%H:%M" in hours["labelExpr"]


def test_the_drawn_axis_reads_dates_and_days_since_capture() -> None:
    letters = render(tank_timeline(timeline()), "svg").decode()
    assert "2031-04-04" in letters
    # 4 April 00:00 is 1 d 16 h after the start, which is 3.4 d after the capture.
    assert f"day {3.4 + 1.0 + 16.0 / 24.0:.1f}" in letters
    assert axis_title(START, -3.4, 0.5) == "date (UTC+08:00) and days since capture on 2031-03-29 ± 0.5 d"
    assert axis_title(START, None, None) == "date (UTC+08:00); moment of capture not known"
    assert zone_words(datetime(2031, 1, 1)) == "local time"


def test_a_capture_long_before_the_tank_is_left_to_the_axis() -> None:
    near, far = timeline(), timeline(capture_d=-40.0)
    assert span_of_days(near)[0] < -3.4
    assert -1.0 < span_of_days(far)[0] < 0.0
    assert "Dotted upright line" in " ".join(tank_timeline(near)["title"]["subtitle"])
    assert "Dotted upright line" not in " ".join(tank_timeline(far)["title"]["subtitle"])


def test_the_minimum_detectable_level_is_a_dashed_line_with_its_label_in_every_world() -> None:
    for panel in panels(tank_timeline(timeline())):
        lines = [layer for layer in panel["layer"] if layer["data"]["values"] == [{"level": 0.55}]]
        assert [layer["mark"]["type"] for layer in lines] == ["rule", "text", "text"]
        assert lines[0]["mark"]["strokeDash"] and lines[2]["mark"]["text"] == "minimum detectable"


def test_the_level_axis_tells_where_it_turns_from_even_steps() -> None:
    spec = tank_timeline(timeline())
    constant = panels(spec)[0]["layer"][0]["encoding"]["y"]["scale"]["constant"]
    assert any(f"even steps up to about {constant:.3f} µg/L" in line for line in spec["title"]["subtitle"])


def test_stated_levels_come_from_readings_as_every_other_chart_has_them() -> None:
    found = {sample: stated_level(one, "ug/L") for sample, one in all_five()}
    assert (found["S001"].lower, found["S001"].median, found["S001"].upper) == (1.37, 2.1, 3.22)
    assert (found["S004"].lower, found["S004"].upper) == (None, 0.62)
    assert (found["S005"].lower, found["S005"].upper, found["S005"].median) == (6.4, None, None)
    assert found["S006"].reason is not None and "B04-2 failed" in found["S006"].reason
    assert found["S001"].words == "thiocyanate 2.1 µg/L (95 % interval 1.37 to 3.22)"


def test_of_water_that_was_kept_too_long_only_the_lower_end_stands() -> None:
    late = as_lower_limit(stated("quantified"), "read 90 h after taking")
    assert (late.statement, late.lower, late.upper, late.median) == ("at or above", 1.4, None, None)
    assert late.words.endswith("a lower limit only: read 90 h after taking")
    absent = as_lower_limit(stated("absent"), "read 90 h after taking")
    assert (absent.statement, absent.upper, absent.reason) == ("cannot say", None, "read 90 h after taking")
    assert as_lower_limit(stated("silent"), "late").reason == "the run control failed: recovery 41 %"


def test_a_tank_of_a_consignment_shows_its_reading_and_each_world_its_weight() -> None:
    picture = consignment()
    levels, *worlds = consignment_overview(picture)["hconcat"]
    for row in picture.rows:
        ends = sorted(r["level"] for r in table(levels, "end") if r["sample"] == row.tank)
        known = [] if row.stated is None else [v for v in (row.stated.lower, row.stated.upper) if v is not None]
        assert ends == sorted(known)
        for panel, one in zip(worlds, row.weights, strict=True):
            points = [r for r in table(panel) if r.get("sample") == row.tank and "point" in r.get("mark", "")]
            assert [p["ratio"] for p in points] == ([] if one.log10_ratio is None else [pytest.approx(one.log10_ratio)])


def test_a_tank_without_ratio_says_why_and_has_no_mark() -> None:
    spec = consignment_overview(consignment())
    for panel in spec["hconcat"][1:]:
        mine = [row for row in table(panel) if row.get("sample") == "T05"]
        assert {row.get("text") for row in mine if "text" in row} == {"no source blank"}
        assert [row for row in mine if "mark" in row] == []
    assert "Why there is no ratio: no source blank." in spec["title"]["subtitle"]
    assert "T06: not read yet; world 'released': no ratio: no source blank" in spec["description"]


def test_what_counts_ends_at_the_cap_and_the_ratio_beyond_is_an_open_mark() -> None:
    panel = consignment_overview(consignment())["hconcat"][1]
    mine = {row["mark"]: row for row in table(panel) if row.get("sample") == "T02" and "mark" in row}
    assert mine["counted"]["to"] == mine["cap"]["ratio"] == 1.0
    assert mine["open point"]["ratio"] == 1.6 and "point" not in mine
    below = {row["mark"]: row for row in table(panel) if row.get("sample") == "T01" and "mark" in row}
    assert below["counted"]["to"] == below["point"]["ratio"] == 0.8


def test_open_intervals_are_arrows_at_the_edge_of_the_axis() -> None:
    one = replace(bar("released", 0.5), lower=-math.inf, upper=math.inf)
    picture = consignment(1, ("released",))
    spec = consignment_overview(replace(picture, rows=(replace(picture.rows[0], weights=(one,)),)))
    panel = spec["hconcat"][1]
    low, high = panel["layer"][-1]["encoding"]["x"]["scale"]["domain"]
    assert [row["ratio"] for row in table(panel, "arrow left")] == [low]
    assert [row["ratio"] for row in table(panel, "arrow right")] == [high]
    assert "+0.50 (without lower end to without end)" in spec["description"]


def test_a_sample_of_source_water_alone_is_drawn_as_what_it_is() -> None:
    samples = (TankSample("W1", 0.0, SOURCE_WATER, stated("absent")), TankSample("W2", 0.0, "feed leach", None))
    spec = tank_timeline(timeline(samples=samples, worlds=(), capture_d=None))
    assert {row["kind"] for row in table(panels(spec)[0]) if "kind" in row} == {SOURCE_WATER, "other blank"}
    assert "W2 (feed leach): not read yet" in spec["description"]
    assert SAMPLE not in {row.get("kind") for row in table(panels(spec)[0])}

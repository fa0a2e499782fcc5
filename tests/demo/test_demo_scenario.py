"""The invented season's files: valid, in several dialects, the same for the same seed, and the truth kept apart."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from brinemark.demo import files
from brinemark.demo.plan import RISE, SEASON_START, SPIKE, TANKS, Plan, planned, season
from brinemark.demo.scenario import METERS, Scenario, draw_world, write_curves, write_scenario
from brinemark.records.settings_file import read_settings
from brinemark.records.sheets import read_sheet
from brinemark.records.traces import parse_trace
from brinemark.terms.errors import Refused
from brinemark.terms.runs import RunSheet
from brinemark.terms.settings import Settings


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return write_scenario(tmp_path_factory.mktemp("season"), seed=3)


@pytest.fixture(scope="module")
def settings(scenario: Scenario, tmp_path_factory: pytest.TempPathFactory) -> Settings:
    file = tmp_path_factory.mktemp("settings") / "logbook.toml"
    file.write_text(scenario.settings, encoding="utf-8")
    return read_settings(file)


@pytest.fixture(scope="module")
def sheets(scenario: Scenario, settings: Settings) -> tuple[RunSheet, ...]:
    return tuple(read_sheet(file.read_bytes(), file.name, settings) for file in scenario.sheets)


def digest(folder: Path) -> dict[str, str]:
    files = sorted(file for file in folder.rglob("*") if file.is_file())
    return {str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def test_every_sheet_is_read_without_a_warning(sheets: tuple[RunSheet, ...]) -> None:
    assert [len(sheet.rows) for sheet in sheets] == [25, 33, 46]
    assert not [warning for sheet in sheets for warning in sheet.warnings]


def test_fifteen_batches_of_four_to_six_electrodes_each_with_one_life(sheets: tuple[RunSheet, ...]) -> None:
    rows = [row for sheet in sheets for row in sheet.rows if row.role != "addition"]
    assert max(Counter(row.electrode for row in rows).values()) == 1
    sizes = Counter(row.batch for row in rows)
    assert len(sizes) == 15
    assert set(sizes.values()) <= {4, 5, 6}
    assert {row.instrument for row in rows} == set(METERS)


def test_the_roles_are_what_the_plan_says(sheets: tuple[RunSheet, ...], scenario: Scenario) -> None:
    rows = [row for sheet in sheets for row in sheet.rows]
    assert {row.role for row in rows} == {"blank", "standard", "sample", "control", "addition"}
    assert all(row.level == 0 for row in rows if row.role == "blank")
    assert all(row.level is not None and row.level > 0 for row in rows if row.role == "standard")
    assert {row.sample for row in rows if row.role == "sample"} == set(scenario.samples)
    assert {row.sample for row in rows if row.role == "control"} == set(scenario.controls)
    assert all(row.expected_level is not None for row in rows if row.role == "control")
    assert all(row.level is None and row.expected_level is None for row in rows if row.role == "sample")


def test_the_saturated_and_the_middle_tank_are_read_at_one_four_and_sixteen(sheets: tuple[RunSheet, ...]) -> None:
    rows = [row for sheet in sheets for row in sheet.rows]
    for tank in ("K1-tank-5", "K1-tank-8"):
        assert {row.dilution for row in rows if row.sample == tank} == {1.0, 4.0, 16.0}


def test_every_curve_is_read_and_covers_both_windows(
    scenario: Scenario, sheets: tuple[RunSheet, ...], settings: Settings
) -> None:
    for file, sheet in zip(scenario.sheets, sheets, strict=True):
        for row in sheet.rows:
            assert row.prescan is not None or row.role == "addition"
            for name in (row.trace, row.prescan):
                if name is None:
                    continue
                trace = parse_trace((file.parent / name).read_bytes(), settings.instrument[row.instrument], name)
                assert trace.potential_V.min() == pytest.approx(-0.5)
                assert trace.potential_V.max() == pytest.approx(0.8)
                assert 1e-6 < trace.current_A.max() < 1e-4
                rising = trace.potential_V.argmax()
                assert trace.current_A[:rising].mean() > trace.current_A[rising:].mean()  # anodic positive


def test_the_curves_come_in_three_dialects(scenario: Scenario) -> None:
    curves = scenario.sheets[0].parent / "curves"
    first = {name: (curves / f"{name}.csv").read_bytes() for name in ("H01-1", "H10-1", "H03-2")}
    assert first["H01-1"].startswith(b"# Ilsundry")
    assert "E / V;I / µA;cycle".encode("latin-1") in first["H10-1"]
    assert first["H03-2"].decode("utf-16").startswith("Potential (mV)\tCurrent (nA)")


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(scenario: Scenario, tmp_path: Path) -> None:
    again = write_scenario(tmp_path / "again", seed=3)
    other = write_scenario(tmp_path / "other", seed=4)
    assert digest(again.folder) == digest(scenario.folder)
    changed = [name for name, value in digest(other.folder).items() if digest(again.folder)[name] != value]
    assert sum(name.startswith("sheets") and "curves" in name for name in changed) == 184


def test_the_truth_lies_beside_the_sheets_and_no_sheet_tells_it(scenario: Scenario) -> None:
    truth = json.loads(scenario.truth_file.read_text(encoding="utf-8"))
    assert scenario.truth_file.parent == scenario.folder
    assert set(truth["tanks"]) == set(scenario.samples) | set(scenario.controls)
    written = "".join(file.read_text(encoding="utf-8") for file in scenario.sheets)
    for tank in scenario.samples:
        level = truth["tanks"][tank]
        assert level == 0 or f"{level:g}" not in written
    assert "truth" not in written


def test_tanks_lie_in_their_ranges_for_many_seeds() -> None:
    plan = season()
    for seed in range(30):
        tanks = draw_world(plan, seed).tanks
        assert all(tank.low <= tanks[tank.name] <= tank.high for tank in TANKS)
        assert tanks["K1-tank-10"] == tanks["K1-tank-10-spiked"]
        assert len({tanks["K1-tank-5"], tanks["K1-tank-6"], tanks["K1-tank-8"]}) == 3


def test_a_longer_plan_changes_no_earlier_film() -> None:
    short, long = season(), season()
    extra = planned({"H15": ("B 0", "B 1", "B 2", "B 4")}, long.tanks, SEASON_START, 1)
    more = draw_world(type(long)({**long.sheets, "later": extra}, long.tanks), 7)
    fewer = draw_world(short, 7)
    assert {name: film for name, film in more.films.items() if name in fewer.films} == fewer.films
    assert more.tanks == fewer.tanks


def test_an_addition_changes_neither_the_film_nor_the_curves_before_it(scenario: Scenario, tmp_path: Path) -> None:
    plan = season()
    bare = {title: tuple(replace(one, added=()) for one in rows) for title, rows in plan.sheets.items()}
    world, alone = draw_world(plan, scenario.seed), draw_world(Plan(bare, plan.tanks), scenario.seed)
    assert alone.films == world.films
    assert alone.cells == world.cells
    (tmp_path / "curves").mkdir()
    reading = next(one for rows in bare.values() for one in rows if one.electrode == "H15-6")
    write_curves(tmp_path, reading, alone, METERS["bench"], files.BENCH_AFTER)
    written = sorted(file.name for file in (tmp_path / "curves").iterdir())
    assert written == ["H15-6-prescan.csv", "H15-6.csv"]
    there = scenario.sheets[0].parent / "curves"
    assert all((tmp_path / "curves" / name).read_bytes() == (there / name).read_bytes() for name in written)


def test_at_least_four_spiked_standards_and_blanks_come_from_two_batches_and_spikes_are_alike(
    sheets: tuple[RunSheet, ...],
) -> None:
    rows = [row for sheet in sheets for row in sheet.rows]
    known = {row.electrode: row.batch for row in rows if row.role in ("blank", "standard")}
    spiked = {row.electrode for row in rows if row.role == "addition"}
    standards = [known[name] for name in spiked if name in known]
    assert len(standards) >= 4
    assert len(set(standards)) >= 2
    strongest = {row.added_volume_mL for row in rows if row.role == "addition"} - {RISE.volume_mL}
    assert strongest == {SPIKE.volume_mL}


def test_the_cell_really_holds_about_what_the_sheet_makes_of_the_volumes() -> None:
    world = draw_world(season(), 12)
    before, (after_rise, after_spike) = world.cells["H15-6"], world.later["H15-6"]
    assert after_rise - before == pytest.approx(2.0, abs=0.1)
    assert after_spike == pytest.approx(100.0, abs=8.0)
    assert len(world.later["H10-1"]) == 1
    assert world.later["H10-3"] == ()


def test_a_folder_with_sheets_is_not_written_over(scenario: Scenario) -> None:
    before = digest(scenario.folder)
    with pytest.raises(Refused, match="already there"):
        write_scenario(scenario.folder, seed=5)
    assert digest(scenario.folder) == before

"""The fish of the invented season: tank records that obey their rules, waters that are read, and the truth apart."""

from __future__ import annotations

import csv
import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.demo import fish_plan
from brinemark.demo.fish import write_with_fish
from brinemark.demo.fish_plan import FISH_WATERS, TRIAL_TANKS, fish_season, trial_exposure
from brinemark.demo.plan import SPIKE, Part, Plan, Tank, season
from brinemark.demo.run import new_logbook
from brinemark.demo.scenario import Scenario, draw_world, write_scenario
from brinemark.demo.tank_records import tank_records
from brinemark.records.settings_file import read_settings
from brinemark.records.sheets import read_sheet
from brinemark.records.tank_record import read_tank_record
from brinemark.terms.errors import Refused
from brinemark.terms.settings import Settings
from brinemark.terms.tanks import (
    ALLOWED_BY,
    BLANK,
    CAPTIVE_BRED,
    CATCH,
    COLUMNS,
    FILLED,
    HEAVY,
    IN,
    LIGHT,
    NEEDED_BY,
    SAMPLE,
    SPIKED,
    UNKNOWN,
    TankRow,
)

SEED = 3
EVERYWHERE = {"consignment", "at", "what", "place", "note"}


@pytest.fixture(scope="module")
def scenario(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    return write_with_fish(tmp_path_factory.mktemp("fish"), SEED)


@pytest.fixture(scope="module")
def settings(scenario: Scenario, tmp_path_factory: pytest.TempPathFactory) -> Settings:
    file = tmp_path_factory.mktemp("settings") / "logbook.toml"
    file.write_text(scenario.settings, encoding="utf-8")
    return read_settings(file)


@pytest.fixture(scope="module")
def records() -> dict[str, tuple[TankRow, ...]]:
    return tank_records()


def digests(folder: Path) -> dict[str, str]:
    files = sorted(file for file in folder.rglob("*") if file.is_file())
    return {str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def cells(scenario: Scenario) -> Iterator[dict[str, str]]:
    """Every row of every tank record as a person would see it in a table."""
    for file in scenario.tank_files:
        with file.open(encoding="utf-8", newline="") as opened:
            yield from csv.DictReader(opened)


def every(records: dict[str, tuple[TankRow, ...]], *whats: str) -> list[TankRow]:
    return [row for rows in records.values() for row in rows if row.what in whats]


def test_sheets_and_curves_of_the_season_are_the_same_bytes_with_fish_and_without(
    scenario: Scenario, tmp_path: Path
) -> None:
    bare = write_scenario(tmp_path / "bare", SEED)
    without, beside = digests(bare.folder / "sheets"), digests(scenario.folder / "sheets")
    assert {name: beside[name] for name in without} == without
    assert len(beside) > len(without) + 100
    assert scenario.sheets[0].name == "1-spring.csv"
    assert [file.name for file in scenario.sheets[3:]] == ["4-controls.csv", "5-trial.csv", "6-later.csv"]


def test_the_same_seed_gives_the_same_bytes_and_another_seed_other_curves_of_the_same_tanks(
    scenario: Scenario, tmp_path: Path
) -> None:
    again = write_with_fish(tmp_path / "again", SEED)
    first = digests(scenario.folder)
    assert digests(again.folder) == first
    assert {name for name in first if name.startswith("tanks")} == {
        f"tanks/{name}.csv" for name in ("K1", "C1", "E1", "T1", "K2", "K3", "K4")
    }
    one, other = (draw_world(fish_season(), seed) for seed in (SEED, SEED + 1))
    assert all(one.films[name] != other.films[name] for name in one.films)
    drawn = [water.name for water in FISH_WATERS if water.parts or water.low < water.high]
    assert all(one.tanks[name] != other.tanks[name] for name in drawn)


def test_every_row_of_a_tank_record_has_the_cells_that_its_kind_needs_and_no_others(scenario: Scenario) -> None:
    kinds: Counter[str] = Counter()
    for row in cells(scenario):
        filled = {name for name, text in row.items() if text}
        assert filled <= set(COLUMNS)
        assert set(NEEDED_BY[row["what"]]) <= filled
        assert filled <= EVERYWHERE | set(NEEDED_BY[row["what"]]) | set(ALLOWED_BY[row["what"]])
        kinds[row["what"]] += 1
    assert set(kinds) == set(NEEDED_BY)


def test_tank_records_are_read_without_a_fault_or_a_warning_and_say_what_was_meant(
    scenario: Scenario, settings: Settings, records: dict[str, tuple[TankRow, ...]]
) -> None:
    recorded: dict[str, tuple[TankRow, ...]] = {}
    for file in scenario.tank_files:
        read = read_tank_record(file.read_bytes(), file.name, settings, recorded)
        assert read.warnings == ()
        assert read.rows == records[file.stem]
        recorded[file.stem] = read.rows


def test_waters_that_tank_records_name_are_exactly_those_that_run_sheets_read(
    scenario: Scenario, settings: Settings
) -> None:
    sheets = [read_sheet(file.read_bytes(), file.name, settings) for file in scenario.sheets]
    rows = [row for sheet in sheets for row in sheet.rows if row.role == "sample"]
    named = [row["sample"] for row in cells(scenario) if row.get("sample")]
    assert len(named) == len(set(named))
    assert set(named) == {row.sample for row in rows} == set(scenario.samples)
    assert set(scenario.beside) == {water.name for water in FISH_WATERS}
    assert not [warning for sheet in sheets for warning in sheet.warnings]


def test_no_water_is_read_before_it_was_taken(records: dict[str, tuple[TankRow, ...]]) -> None:
    first: dict[str, float] = {}
    for readings in fish_season().sheets.values():
        for one in readings:
            if one.role == "sample" and one.tank:
                first[one.tank] = min(first.get(one.tank, np.inf), one.measured_at.timestamp())
    hours = {row.sample: (first[str(row.sample)] - row.at.timestamp()) / 3600 for row in every(records, SAMPLE, BLANK)}
    assert len(hours) == len(first)
    assert 0 < min(hours.values()) < max(hours.values()) < 24 * 14


def test_fish_go_into_filled_tanks_after_their_catch(records: dict[str, tuple[TankRow, ...]]) -> None:
    for rows in records.values():
        filled = {row.tank: row.at for row in rows if row.what == FILLED}
        caught = {row.fish: row.at for row in rows if row.what == CATCH}
        for row in rows:
            if row.what == IN:
                assert filled[row.tank] < row.at
                assert caught[row.fish] < row.at


def test_tank_records_tell_nothing_of_the_truth(scenario: Scenario) -> None:
    truth = json.loads(scenario.truth_file.read_text(encoding="utf-8"))
    told = "".join(file.read_text(encoding="utf-8") for file in scenario.tank_files)
    levels = {f"{level:g}" for level in truth["tanks"].values() if level not in (0.0, 1.0, 3.0)}
    words = set(told.replace("\n", ",").split(","))
    assert len(levels) > 40
    assert not levels & words
    assert "truth" not in told
    of_boats = [row for row in cells(scenario) if row["what"] == CATCH and row["consignment"].startswith("K")]
    assert {row["history"] for row in of_boats} == {UNKNOWN}
    assert len({row["origin"] for row in of_boats}) == 2


def test_the_truth_knows_what_the_fish_of_the_trial_and_of_later_boats_went_through(
    scenario: Scenario, records: dict[str, tuple[TankRow, ...]]
) -> None:
    truth = json.loads(scenario.truth_file.read_text(encoding="utf-8"))
    exposure = truth["fish"]["exposure"]
    words = {CAPTIVE_BRED: "none", LIGHT: "light", HEAVY: "heavy"}
    caught = {row.fish: row.history for row in records["T1"] if row.what == CATCH}
    assert len(caught) == 14
    for fish, history in caught.items():
        assert exposure[f"T1-tank-{str(fish).split()[-1]}"] == words[str(history)]
    assert Counter(caught.values()) == {CAPTIVE_BRED: 6, LIGHT: 4, HEAVY: 4}
    assert set(truth["tanks"]) == set(scenario.samples) | set(scenario.controls)
    assert {name for name in exposure if name.startswith("K")} <= set(scenario.samples)


def test_the_consignment_has_a_contaminated_tank_one_too_large_for_its_fish_and_one_at_the_outflow(
    records: dict[str, tuple[TankRow, ...]],
) -> None:
    rows = records["K1"]
    bad = next(row for row in rows if row.sample == "K1-tank-7")
    other = next(row for row in rows if row.duplicate == "K1-tank-7")
    assert bad.smoker and bad.filtration_um is None and bad.seal is None
    assert other.smoker is False and other.taker != bad.taker
    filled = {row.tank: row for row in rows if row.what == FILLED}
    fish = {row.fish: row for row in rows if row.what == CATCH}
    went = {row.tank: fish[row.fish] for row in rows if row.what == IN}
    assert filled["K1-5"].volume_L == 200
    assert (went["K1-5"].count, went["K1-5"].mass_g) == (2, 10)
    slip = next(row for row in rows if row.blank == "source water" and row.system == filled["K1-8"].system)
    assert filled["K1-8"].near
    for seed in range(20):
        tanks = draw_world(fish_season(), seed).tanks
        assert tanks[str(slip.sample)] == tanks["K1-tank-8"] >= 20
        assert tanks["K1-tank-7"] > 1000 * tanks["K1-tank-7-second"]


def test_exposed_fish_add_to_a_level_and_a_spiked_tank_loses_what_was_put_in() -> None:
    plan = fish_season()
    mean = dict.fromkeys(("", "light", "heavy"), 0.0)
    for seed in range(20):
        tanks = draw_world(plan, seed).tanks
        assert tanks["E1-start"] > tanks["E1-day-1"] > tanks["E1-day-2"] > 0
        for number in TRIAL_TANKS:
            exposure = trial_exposure(number)
            mean[exposure] += np.log(tanks[f"T1-tank-{number}"]) / (120 if exposure == "" else 80)
    assert mean[""] + 1.0 < mean["light"] < mean["heavy"] - 0.5


def test_the_amount_put_into_the_spiked_tank_is_the_level_that_was_meant(
    records: dict[str, tuple[TankRow, ...]],
) -> None:
    spike = next(row for row in records["E1"] if row.what == SPIKED)
    tank = next(row for row in records["E1"] if row.what == FILLED)
    assert spike.amount_ug is not None and tank.volume_L is not None
    assert spike.amount_ug / tank.volume_L == pytest.approx(fish_plan.SPIKE_LEVEL)


def test_parts_add_up_and_waters_that_share_one_share_its_draw() -> None:
    lost = Part("spike", 8.0, 1.5, loss_per_d=0.7, loss_spread=1.3)
    waters = {
        "plain": Tank("plain", parts=(Part("one", 2.0), Part("two", 0.5))),
        "start": Tank("start", parts=(lost,)),
        "day": Tank("day", parts=(Part("spike", 8.0, 1.5, 0.7, 1.3, days=1.0),)),
        "days": Tank("days", parts=(Part("spike", 8.0, 1.5, 0.7, 1.3, days=2.0),)),
    }
    starts = []
    for seed in range(400):
        tanks = draw_world(Plan({}, waters), seed).tanks
        assert tanks["plain"] == 2.5
        # Three samples of one loss lie on one exponential; the levels are rounded to 0.001.
        assert tanks["day"] ** 2 == pytest.approx(tanks["start"] * tanks["days"], rel=0.01)
        starts.append(np.log(tanks["start"] / 8.0))
    assert np.std(starts) == pytest.approx(np.log(1.5), rel=0.15)  # 4 sd of a spread from 400 draws
    assert abs(np.mean(starts)) < 4 * np.log(1.5) / 20


def test_each_new_batch_has_two_electrodes_for_calibrating_and_its_waters_a_closing_spike() -> None:
    first, plan = season(), fish_season()
    for title, readings in plan.sheets.items():
        if title in first.sheets:
            assert readings == first.sheets[title]
            continue
        sizes = Counter(one.batch for one in readings)
        known = Counter(one.batch for one in readings if one.role in ("blank", "standard"))
        assert set(sizes.values()) <= {5, 6}
        assert set(known.values()) == {2} and known.keys() == sizes.keys()
        assert all(one.added == (SPIKE,) for one in readings if one.tank)
    electrodes = [one.electrode for readings in plan.sheets.values() for one in readings]
    assert len(electrodes) == len(set(electrodes))


def test_a_logbook_takes_in_every_tank_record(scenario: Scenario, tmp_path: Path) -> None:
    with new_logbook(tmp_path / "book", scenario) as logbook:
        for file in scenario.tank_files:
            logbook.add_tanks(file)
        found = {one.name: one for one in logbook.consignments()}
    assert list(found) == ["K1", "C1", "E1", "T1", "K2", "K3", "K4"]
    assert {name: len(one.tanks) for name, one in found.items()} == {
        **{"K1": 13, "C1": 6, "E1": 1, "T1": 14},
        **{"K2": 3, "K3": 3, "K4": 3},
    }
    assert found["K1"].tanks[:3] == ("K1-1", "K1-2", "K1-3")
    systems = {found[name].system_of(tank) for name in found for tank in found[name].tanks if name != "K1"}
    assert systems == {found["K1"].system_of("K1-4")}


def test_a_folder_with_tank_records_is_not_written_over(scenario: Scenario, tmp_path: Path) -> None:
    before = digests(scenario.folder)
    with pytest.raises(Refused, match="already there"):
        write_with_fish(scenario.folder, SEED + 1)
    assert digests(scenario.folder) == before
    (tmp_path / "tanks").mkdir()
    with pytest.raises(Refused, match="tanks is already there"):
        write_with_fish(tmp_path, SEED)
    assert not (tmp_path / "sheets").exists()

"""The verb demo, on a shortened season: its folder, its table, and what it refuses to touch."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest

from brinemark.demo import fish
from brinemark.demo.fish_plan import fish_season
from brinemark.demo.folder import MARK
from brinemark.demo.plan import Plan

from .conftest import call, schema

KEPT = ("H01", "H02", "H03", "H12", "H14", "H25")


def short_season() -> Plan:
    """Six of the batches, one of them of a later consignment, so that a test does not take a minute."""
    whole = fish_season()
    sheets = {title: tuple(one for one in rows if one.batch in KEPT) for title, rows in whole.sheets.items()}
    return Plan({title: rows for title, rows in sheets.items() if rows}, whole.tanks)


@pytest.fixture(scope="module")
def short() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fish, "fish_season", short_season)
        yield


def test_the_demo_ends_with_a_table_charts_and_the_truth_apart_and_can_be_run_again(
    short: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = call("demo")
    assert result.exit_code == 0, result.stderr
    told = " ".join(result.stdout.split())
    for tank in ("K1-tank-2", "K1-tank-6", "K1-tank-7"):
        assert f"{tank} 1 " in told
    assert "thiocyanate" in told
    assert "brinemark-demo/truth.json" in told.replace("\\", "/")
    assert "Tank records of 7 consignments (K1, C1, E1, T1, K2, K3, K4) with 43 tanks" in told
    assert "4 more waters are read for them" in told
    assert "K2-tank-1" not in told
    assert "Next: " in result.stdout
    assert " trials --keep\n" in result.stdout
    assert " consignment K1\n" in result.stdout
    folder = tmp_path / "brinemark-demo"
    assert (folder / "charts" / "calibration.svg").is_file()
    assert (folder / "charts" / "fit.svg").is_file()
    assert json.loads((folder / "truth.json").read_text(encoding="utf-8"))["seed"] == 2026
    assert max(len(line) for line in result.stdout.partition("\nNext")[0].splitlines()) <= 80

    (folder / "mine.txt").touch()
    again = call("demo", "--seed", "7", "--json")
    assert again.exit_code == 0, again.stderr
    answer = json.loads(again.stdout)
    jsonschema.Draft202012Validator(schema("demo")).validate(answer)
    jsonschema.Draft202012Validator(schema("read")).validate(answer["readings"])
    assert answer["seed"] == 7
    assert [Path(record).name for record in answer["tanks"]][:2] == ["K1.csv", "C1.csv"]
    assert "K2-tank-1" in {reading["sample"] for reading in answer["readings"]}
    assert json.loads((folder / "truth.json").read_text(encoding="utf-8"))["seed"] == 7
    assert (folder / "mine.txt").is_file()


def test_a_folder_that_no_demo_made_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "charts").mkdir()
    (tmp_path / "charts" / "mine.svg").touch()
    result = call("demo", "--folder", tmp_path)
    assert result.exit_code == 1
    assert result.stderr == (
        f"brinemark: {tmp_path} is not empty and was not made by a demo; expected a new or empty folder, "
        "or that of an earlier demo; choose another --folder\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["charts"]
    assert (tmp_path / "charts" / "mine.svg").is_file()


def test_a_file_of_the_same_name_as_the_mark_does_not_make_a_folder_ours(tmp_path: Path) -> None:
    (tmp_path / MARK).write_text("my own notes\n", encoding="utf-8")
    assert call("demo", "--folder", tmp_path).exit_code == 1
    assert (tmp_path / MARK).read_text(encoding="utf-8") == "my own notes\n"


def test_a_demo_that_is_stopped_says_that_its_folder_is_unfinished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("brinemark.demo.run.run_demo", stopped)
    result = call("demo", "--folder", tmp_path / "d")
    assert result.exit_code == 130
    assert result.stderr == (
        f"brinemark: stopped; what is in {tmp_path / 'd'} is unfinished, and the next demo makes it anew\n"
    )

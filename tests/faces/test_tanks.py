"""tanks and consignments by the command."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from tank_build import Cells, sample, small_consignment, tank_csv

from .conftest import SHEET, call
from .test_data import data


def written(folder: Path, rows: list[Cells] | None = None, name: str = "april.csv") -> Path:
    path = folder / name
    path.write_text(tank_csv(small_consignment() if rows is None else rows), encoding="utf-8")
    return path


def test_tanks_and_consignments_give_data_of_their_shapes(empty: Path, tmp_path: Path) -> None:
    assert data("consignments", "--logbook", empty, "consignments")["consignments"] == []
    file = written(tmp_path)
    checked = data("tanks-check", "--logbook", empty, "tanks", file, "--check")
    assert (checked["sound"], checked["new"], checked["rows"]) == (True, True, 12)
    taken = data("tanks", "--logbook", empty, "tanks", file)
    assert taken["consignments"][0]["new"] == 12
    assert data("tanks", "--logbook", empty, "tanks", file)["new"] is False
    fewer = written(tmp_path, small_consignment()[:-1], "right.csv")
    corrected = data("tanks", "--logbook", empty, "tanks", fewer, "--corrects", "C1", "--reason", "W3 was spilt")
    assert corrected["consignments"][0]["supersedes"] == taken["consignments"][0]["record"]
    (found,) = data("consignments", "--logbook", empty, "consignments")["consignments"]
    assert (found["fish"], found["samples"], found["samples_read"], found["earlier"]) == (15, 2, 0, 1)
    assert found["tanks"] == [{"tank": "T1", "samples": ["W1", "W2"]}, {"tank": "T2", "samples": []}]
    assert found["titles"] == ["april.csv", "right.csv"]


def test_samples_that_were_read_are_counted(book: Path, tmp_path: Path) -> None:
    rows = [*small_consignment(), sample("W-1", "04T10:00")]
    call("--logbook", book, "tanks", written(tmp_path, rows))
    (found,) = data("consignments", "--logbook", book, "consignments")["consignments"]
    assert (found["samples"], found["samples_read"]) == (4, 1)
    with Logbook.open(book) as opened:
        assert "W-1" in opened.samples_read()


def test_the_text_says_what_came_what_is_odd_and_what_is_next(empty: Path, tmp_path: Path) -> None:
    assert "No consignment in this logbook." in call("--logbook", empty, "consignments").stdout
    rows = small_consignment()
    rows[9] = {**rows[9], "seal": ""}
    told = call("--logbook", empty, "tanks", written(tmp_path, rows)).stdout
    assert "Consignment C1: 12 new rows (record " in told
    assert "warning: no seal is recorded: sample 'W1'" in told
    assert told.rstrip().endswith("consignments")
    assert "nothing new" in call("--logbook", empty, "tanks", written(tmp_path, rows)).stdout
    table = call("--logbook", empty, "consignments").stdout
    assert "2031-04-01" in table
    assert "north bank" in table


def test_checking_lists_every_fault_and_ends_with_one(empty: Path, tmp_path: Path) -> None:
    rows = small_consignment()
    rows[0] = {**rows[0], "mass_g": "0"}
    rows[11] = {**rows[11], "tank": "T9"}
    result = call("--logbook", empty, "tanks", written(tmp_path, rows), "--check")
    assert result.exit_code == 1
    assert "april.csv: 2 faults; nothing was stored." in result.stdout
    assert "mass_g" in result.stdout
    assert "No consignment" in call("--logbook", empty, "consignments").stdout


@pytest.mark.parametrize("verb", ["tanks", "add"])
def test_a_file_for_the_other_verb_is_refused_with_its_name(empty: Path, tmp_path: Path, verb: str) -> None:
    file, other = (SHEET, "add FILE") if verb == "tanks" else (written(tmp_path), "tanks FILE")
    result = call("--logbook", empty, verb, file)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.count("\n") == 1
    assert f"use '{other}' for it" in result.stderr


def test_a_faulty_file_is_refused_in_one_line_that_names_it(empty: Path, tmp_path: Path) -> None:
    rows = small_consignment()
    rows[2] = {**rows[2], "volume_L": "-40"}
    result = call("--logbook", empty, "tanks", written(tmp_path, rows))
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("brinemark: april.csv, row 4, column volume_L: '-40'; expected a number above 0")
    assert result.stderr.count("\n") == 1

"""The whole invented season, once: five kinds of statement, the truth apart, and the table a person reads."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from brinemark.demo.run import DemoResult, compare, run_demo, table
from brinemark.demo.scenario import DEFAULT_SEED
from brinemark.logbook import Logbook
from brinemark.terms.amounts import STATEMENTS
from brinemark.terms.errors import Refused


@pytest.fixture(scope="module")
def heard() -> list[str]:
    return []


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, heard: list[str]) -> Iterator[DemoResult]:
    folder = tmp_path_factory.mktemp("demo") / "season"
    yield run_demo(folder, DEFAULT_SEED, tell=heard.append)
    shutil.rmtree(folder)


def test_the_default_seed_shows_all_five_statements(demo: DemoResult) -> None:
    assert {row.statement for row in demo.rows} == set(STATEMENTS)
    assert [row.sample for row in demo.rows] == [*demo.scenario.samples, *demo.scenario.controls]


def test_at_least_nine_in_ten_stated_intervals_hold_the_truth(demo: DemoResult) -> None:
    held = [one.holds for one in compare(demo) if one.holds is not None]
    assert len(held) == 15
    assert sum(held) >= 14


def test_no_absent_tank_is_quantified_and_the_saturated_one_gets_no_upper_end(demo: DemoResult) -> None:
    by_name = {row.sample: row for row in demo.rows}
    for absent in ("K1-tank-1", "K1-tank-2", "QC-clean"):
        assert by_name[absent].statement != "quantified"
    assert by_name["K1-tank-7"].upper is None
    assert by_name["K1-tank-7"].lower is not None


def test_a_spike_makes_an_uncertain_amount_near_half_filling_a_quantified_one(demo: DemoResult) -> None:
    by_name = {row.sample: row for row in demo.rows}
    single, spiked = by_name["K1-tank-10"], by_name["K1-tank-10-spiked"]
    assert single.statement == "detected, amount uncertain"
    assert spiked.statement == "quantified"
    assert single.lower is not None and single.upper is not None
    assert spiked.lower is not None and spiked.upper is not None
    assert (spiked.upper / spiked.lower) < 0.7 * (single.upper / single.lower)


def test_the_lifted_film_cannot_say_and_names_its_prescan(demo: DemoResult) -> None:
    row = next(row for row in demo.rows if row.sample == "K1-tank-9")
    assert row.statement == "cannot say"
    assert "pre-scan" in row.sentence


def test_bad_films_among_the_standards_are_left_out_of_the_calibration(demo: DemoResult) -> None:
    assert {one["electrode"] for one in demo.calibration.left_out} == {"H02-3", "H07-1"}


def test_every_statement_about_an_amount_names_thiocyanate(demo: DemoResult) -> None:
    told = table(demo.rows).splitlines()
    assert len(told) == len(demo.rows)
    for row, line in zip(demo.rows, told, strict=True):
        assert line.startswith(row.sample)
        assert "thiocyanate" in line or row.statement == "cannot say"


def test_the_logbook_holds_nothing_of_the_truth(demo: DemoResult) -> None:
    truth = demo.scenario.truth_file.read_bytes()
    assert not demo.scenario.truth_file.is_relative_to(demo.logbook)
    kept = [file for file in demo.logbook.rglob("*") if file.is_file()]
    assert not [file for file in kept if "truth" in file.name]
    originals = [file for file in kept if file.parent.name == "originals" or "originals" in file.parts]
    assert originals
    assert all(file.read_bytes() != truth for file in originals)
    told = json.loads(truth)
    hidden = {"truth", "cells", *(name for film in told["films"].values() for name in film)} - {"floor"}
    assert {"capacitance_F", "loading"} <= hidden
    assert not hidden & set(_words(demo))


def _words(demo: DemoResult) -> set[str]:
    """Every key of every answer."""
    text = json.dumps([answer.to_dict() for answer in demo.readings])
    return set(text.replace('"', " ").split())


def test_the_logbook_is_an_ordinary_one_that_opens_and_verifies(demo: DemoResult) -> None:
    with Logbook.open(demo.logbook) as logbook:
        assert len(logbook.rows()) == 104
        assert [answer.sentence for answer in logbook.read("K1-tank-5")] == [
            row.sentence for row in demo.rows if row.sample == "K1-tank-5"
        ]


def test_charts_and_progress_are_there(demo: DemoResult, heard: list[str]) -> None:
    names = {file.stem for file in demo.charts}
    assert {"life-H15-6", "life-H15-3", "statements", "reading-K1-tank-5", "curve-H10-2", "prescan-H11-3"} <= names
    assert all(file.read_bytes().startswith(b"<svg") for file in demo.charts)
    assert len(heard) >= 6


def test_a_second_run_in_the_same_folder_is_refused(demo: DemoResult) -> None:
    with pytest.raises(Refused, match="already there"):
        run_demo(Path(demo.scenario.folder), DEFAULT_SEED)

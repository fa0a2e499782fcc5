"""The verb dilute: data of the committed shape, sentences and tables, cautions, refusals and wrong use."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from .conftest import call, schema

STANDARDS = ("dilute", "--stock-level", "1000000", "--stock-rel-u", "0.002", "--to", "0.5", "--to", "8")
SAMPLE = ("dilute", "--by", "10", "--sample-volume", "5", "--lot-level", "0.3", "--lot-u", "0.05")
RESULT_DIGITS = 1e-9


def data(*words: str) -> Any:
    result = call(*words, "--json")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    answer = json.loads(result.stdout)
    jsonschema.Draft202012Validator(schema("dilute")).validate(answer)
    return answer


def test_standards_are_data_of_the_committed_shape() -> None:
    answer = data(*STANDARDS, "--lot-level", "0.05", "--lot-u", "0.01")
    assert answer["kind"] == "standards"
    assert [one["wanted"] for one in answer["levels"]] == [0.5, 8.0]
    names = [one["name"] for one in answer["solutions"]]
    for one in answer["levels"]:
        assert one["solution"] in names
        assert one["u"] == pytest.approx(
            (one["u_stock"] ** 2 + one["u_volumes"] ** 2 + one["u_diluent"] ** 2) ** 0.5, rel=RESULT_DIGITS
        )
        assert one["level_rel_u"] == pytest.approx(one["u_volumes"] / one["level"], rel=RESULT_DIGITS)


def test_each_solution_follows_from_the_one_before_by_its_volumes() -> None:
    """Whoever follows the printed list gets the printed levels."""
    answer = data(*STANDARDS, "--lot-level", "0.05")
    levels = {"stock": 1e6}
    for one in answer["solutions"]:
        ratio = one["volume_mL"] / one["flask_mL"]
        levels[one["name"]] = levels[one["source"]] * ratio + 0.05 * (1.0 - ratio)
        assert one["level"] == pytest.approx(levels[one["name"]], rel=RESULT_DIGITS)
    assert answer["levels"][0]["level"] == levels[answer["levels"][0]["solution"]]


def test_a_sample_is_data_of_the_committed_shape() -> None:
    answer = data(*SAMPLE)
    assert answer["kind"] == "sample"
    assert answer["dilution"] == pytest.approx(10.0, rel=0.02)
    assert answer["sample_mL"] <= 5.0
    assert answer["added"] == pytest.approx((1.0 - 1.0 / answer["dilution"]) * 0.3, rel=RESULT_DIGITS)


def test_what_is_not_reached_is_data_with_a_reason() -> None:
    few = ("--pipette", "10:0.02", "--flask", "100:0.1", "--steps", "1")
    answer = data("dilute", "--stock-level", "1000", "--to", "1", "--to", "100", *few)
    assert [one["level"] for one in answer["levels"]] == [None, 100.0]
    assert "do not come within" in answer["levels"][0]["reason"]
    answer = data("dilute", "--by", "3", *few)
    assert answer["dilution"] is None
    assert answer["solutions"] == []


def test_the_schema_of_dilute_bites() -> None:
    answer = data(*STANDARDS)
    spoils: tuple[dict[str, Any], ...] = ({"kind": "sample"}, {"cautions": []}, {"diluent_mL": -1.0})
    for spoil in spoils:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema("dilute")).validate({**answer, **spoil})


def test_own_vessels_take_the_place_of_the_usual_ones() -> None:
    own = ("--pipette", "0.1-1:0.008:0.003", "--pipette", "5:u0.01", "--flask", "50:0.06", "--smallest", "0.2")
    answer = data("dilute", "--stock-level", "100", "--to", "2", *own)
    assert [one["name"] for one in answer["pipettes"]] == ["pipette 0.1-1 mL", "pipette 5 mL"]
    assert [one["shape"] for one in answer["pipettes"]] == ["rectangular", "normal"]
    assert answer["pipettes"][0]["repeat_mL"] == 0.003
    assert {one["flask"] for one in answer["solutions"]} == {"flask 50 mL"}
    assert not any("memory" in text for text in answer["warnings"])


def test_text_tells_steps_levels_budgets_and_cautions() -> None:
    text = " ".join(call(*STANDARDS, "--lot-level", "0.05", "--lot-u", "0.01").stdout.split())
    assert text.startswith("2 standards from a stock of 1000000 ug/L")
    for words in (
        "Make, in this order, each flask filled up with seawater",
        "Uncertainty of 0.5 ug/L comes from",
        "content of the diluent 20 %",
        "correlation",
        "from memory",
        "Never mix thiocyanate with acid",
        "no cyanide",
        "level_rel_u",
    ):
        assert words in text
    assert max(len(line) for line in call(*STANDARDS).stdout.splitlines()) <= 80


def test_text_of_a_sample_tells_what_the_seawater_adds() -> None:
    text = " ".join(call(*SAMPLE).stdout.split())
    assert "Dilution 10, relative standard uncertainty" in text
    assert "The seawater adds 0.27 +- 0.045 ug/L to the cell" in text
    assert "No acid and no azide" in text
    assert "dilution = 10" in text


def test_what_was_not_said_is_a_warning() -> None:
    warnings = data("dilute", "--stock-level", "1000", "--to", "400")["warnings"]
    assert any("exactly known" in text for text in warnings)
    assert any("free of the analyte" in text for text in warnings)
    assert any("differs from it in salinity" in text for text in warnings)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--stock-level", "10", "--to", "20"), "wanted level 20; expected a level above the diluent's own (0)"),
        (("--stock-level", "nan", "--to", "20"), "stock of level nan"),
        (("--stock-level", "10", "--to", "1", "--flask", "-5:0.1"), "flask -5 mL"),
        (("--stock-level", "10", "--to", "1", "--steps", "0"), "at least one step"),
        (("--by", "0.5"), "dilution 0.5; expected a factor above 1"),
        (("--by", "5", "--sample-volume", "-1"), "-1 mL of sample"),
    ],
)
def test_numbers_that_make_no_sense_are_refused_in_one_line(words: tuple[str, ...], line: str) -> None:
    result = call("dilute", *words)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert line in result.stderr


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ((), "write --stock-level (or --stock) and --to for standards"),
        (("--to", "2"), "write --stock-level (or --stock) and --to for standards"),
        (("--stock", "K1", "--stock-level", "3", "--to", "2"), "leave its numbers out"),
        (("--by", "3", "--lot", "L7", "--lot-u", "2"), "leave its numbers out"),
        (("--by", "5", "--to", "2"), "write one of the two"),
        (("--stock-level", "10", "--to", "2", "--sample-volume", "3"), "belongs to --by"),
        (("--by", "5", "--pipette", "ten"), "'ten' should be like 10:0.02"),
        (("--by", "5", "--flask", "100:0.1:0.2:0.3"), "should be like 100:0.1"),
        (("--by", "five"), "not a valid float"),
    ],
)
def test_wrong_use_ends_with_status_2(words: tuple[str, ...], line: str) -> None:
    result = call("dilute", *words)
    assert result.exit_code == 2
    assert line in result.stderr


def with_stock(book: Path) -> Path:
    with (book / "logbook.toml").open("a", encoding="utf-8") as text:
        text.write("\n[stock.K1]\nlevel = 1000.0\nrel_u = 0.004\n[stock.K2]\n[lot.L7]\ncontent = 0.1\nu = 0.03\n")
    return book


def test_a_stock_and_a_lot_of_the_settings_are_taken_from_the_logbook(empty: Path) -> None:
    book = str(with_stock(empty))
    answer = data("--logbook", book, "dilute", "--stock", "K1", "--lot", "L7", "--to", "2")
    assert answer["stock"] == {"level": 1000.0, "rel_u": 0.004}
    assert answer["diluent"] == {"level": 0.1, "u": 0.03}
    assert answer["unit"] == "ug/L"
    assert answer["levels"][0]["level"] == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--stock", "K9"), "no stock 'K9' in logbook.toml; expected one of its stock sections (K1, K2)"),
        (("--stock", "K2"), "stock 'K2' without a level"),
        (("--stock", "K1", "--lot", "L1"), "no lot 'L1' in logbook.toml; expected one of its lot sections (L7)"),
    ],
)
def test_a_stock_or_lot_that_is_not_in_the_settings_is_refused(empty: Path, words: tuple[str, ...], line: str) -> None:
    result = call("--logbook", with_stock(empty), "dilute", *words, "--to", "2")
    assert result.exit_code == 1
    assert line in result.stderr


def test_another_unit_than_the_logbook_s_is_wrong_use(empty: Path) -> None:
    result = call("--logbook", with_stock(empty), "dilute", "--stock", "K1", "--to", "2", "--unit", "nmol/L")
    assert result.exit_code == 2
    assert "leave --unit out" in result.stderr

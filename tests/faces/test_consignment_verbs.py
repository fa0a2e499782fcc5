"""The verbs consignment, exposures, kinetics and trials on the small example: text for people, data for programs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pikepdf
import pytest

from brinemark.logbook import Logbook

from .conftest import call, schema

RECORD = """\
consignment,at,what,tank,fish,count,mass_g,at_u_d,history,volume_L,system,carried_L,amount_ug,stock,sample,blank
K1,2026-03-01T08:00+02:00,catch,,Ωx,3,20,0.5,unknown,,,,,,,
K1,2026-03-02T08:00+02:00,filled,T1,,,,,,30,quay,,,,,
K1,2026-03-02T09:00+02:00,in,T1,Ωx,,,,,,,0.1,,,,
K1,2026-03-04T09:00+02:00,sample,T1,,,,,,,,,,,W-1,
K1,2026-03-04T09:10+02:00,filled,T2,,,,,,30,quay,,,,,
E1,2026-03-10T08:00+02:00,filled,S1,,,,,,20,quay,,,,,
E1,2026-03-10T08:10+02:00,spiked,S1,,,,,,,,,100,KSCN-1,,
E1,2026-03-11T08:10+02:00,sample,S1,,,,,,,,,,,W-2,
E1,2026-03-09T08:00+02:00,catch,,bred,2,9,,captive-bred,,,,,,,
E1,2026-03-10T08:00+02:00,filled,C1,,,,,,20,quay,,,,,
E1,2026-03-10T09:00+02:00,in,C1,bred,,,,,,,,,,,
"""


@pytest.fixture
def tanks(book: Path, tmp_path: Path) -> Path:
    """The small example with an invented consignment whose water is W-1, and a spiked tank whose water is W-2."""
    (tmp_path / "tanks.csv").write_text(RECORD, encoding="utf-8")
    with Logbook.open(book) as logbook:
        logbook.add_tanks(tmp_path / "tanks.csv")
    return book


def told(*words: str | Path) -> str:
    """What a call prints, in lines of at most 80 columns."""
    answer = call(*words)
    assert answer.exit_code == 0, answer.stderr
    lines = answer.stdout.partition("\nNext: ")[0].splitlines()
    assert max(len(line) for line in lines if ".pdf" not in line) <= 80  # a path is as long as it is
    return answer.stdout


def data(verb: str, *words: str | Path) -> Any:
    answer = call(*words, "--json")
    assert (answer.exit_code, answer.stderr) == (0, "")
    plain = json.loads(answer.stdout, parse_constant=lambda name: pytest.fail(f"{name} is no number"))
    jsonschema.Draft202012Validator.check_schema(schema(verb))
    jsonschema.Draft202012Validator(schema(verb)).validate(plain)
    return plain


def in_one_line(text: str) -> str:
    return " ".join(text.split())


def test_a_consignment_is_told_tank_by_tank_with_both_worlds_side_by_side(tanks: Path) -> None:
    text = told("--logbook", tanks, "consignment", "K1")
    beside = [line for line in text.splitlines() if "world 'released'" in line and "world 'not released'" in line]
    assert any(line.split("   ")[0].strip() == "world 'released'" for line in beside)
    plain = in_one_line(text)
    assert "Consignment K1: 3 fish, 2 tanks; kept as " in plain
    assert "missing: no source water blank was taken" in plain
    assert "Ωx: 3 of 20 g, history unknown, 2026-03-01 06:00 UTC (standard uncertainty 0.5 d)" in plain
    assert "such finds are expected when none holds any" in plain
    assert text.count("Cautions:") == text.count("does not convict") == 1
    assert "report consignment K1" in text


def test_in_a_narrow_terminal_one_world_stands_below_the_other(tanks: Path) -> None:
    from click.testing import CliRunner

    from brinemark.faces.cli.main import brinemark

    words = ["--logbook", str(tanks), "consignment", "K1", "--tank", "T1"]
    text = CliRunner(env={"COLUMNS": "50"}).invoke(brinemark, words, prog_name="brinemark").stdout
    lines = [line.strip() for line in text.partition("\nNext: ")[0].splitlines()]
    assert lines.index("world 'released':") < lines.index("world 'not released':")
    assert max(len(line) for line in lines) <= 50


def test_one_tank_alone_is_told_and_nothing_is_kept(tanks: Path) -> None:
    whole = data("consignment", "--logbook", tanks, "consignment", "K1")
    assert len(whole["interpretation"]) == 64
    one = data("consignment", "--logbook", tanks, "consignment", "K1", "--tank", "T1")
    assert (one["interpretation"], [tank["tank"] for tank in one["tanks"]]) == ("", ["T1"])
    assert "nothing was kept" in in_one_line(told("--logbook", tanks, "consignment", "K1", "--tank", "T1"))
    again = data("consignment", "--logbook", tanks, "consignment", "K1")
    assert again == whole


def test_priors_are_told_when_asked_for(tanks: Path) -> None:
    words = ("--logbook", tanks, "consignment", "K1", "--tank", "T1")
    assert "The prior is for a court to say" not in in_one_line(told(*words))
    found = data("consignment", *words)["tanks"][0]["worlds"]
    text = told(*words, "--priors")
    assert ("The prior is for a court to say" in in_one_line(text)) == any(one["posterior"] for one in found)


def test_exposures_are_told_world_by_world(tanks: Path) -> None:
    text = in_one_line(told("--logbook", tanks, "exposures", "K1", "T1"))
    assert "recorded: Ωx caught 3.04 d before the first water, standard uncertainty 0.5 d" in text
    assert "In the world 'released'" in text and "In the world 'not released'" in text
    plain = data("exposures", "--logbook", tanks, "exposures", "K1", "T1")
    assert [one["world"] for one in plain["worlds"]] == ["released", "not released"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("consignment", "K9"), "no consignment 'K9'"),
        (("consignment", "K1", "--tank", "T9"), "no tank 'T9' in consignment 'K1'; expected one of T1, T2"),
        (("exposures", "K1", "T9"), "no tank 'T9'"),
        (("exposures", "K1", "T2"), "no fish in tank 'T2'"),
        (("exposures", "E1", "C1"), "no water of tank 'C1' that was read"),
    ],
)
def test_what_is_unknown_or_not_read_is_refused_in_one_line(tanks: Path, words: tuple[str, ...], said: str) -> None:
    for more in ((), ("--json",)):
        answer = call("--logbook", tanks, *words, *more)
        assert (answer.exit_code, answer.stdout) == (1, "")
        assert said in answer.stderr
        assert answer.stderr.count("\n") == 1


def test_parameters_are_shown_with_where_they_are_from(tanks: Path) -> None:
    text = in_one_line(told("--logbook", tanks, "kinetics"))
    assert "10.1371/journal.pone.0035355" in text and "10.1371/journal.pone.0196841" in text
    assert "E1, tank S1, spiked: 1 water" in text
    assert "no own experiments have been fitted yet" in text
    plain = data("kinetics", "--logbook", tanks, "kinetics")
    assert plain["own_experiments"]["record"] is None
    loss = [one for world in plain["worlds"] for one in world["parameters"] if one["name"] == "water_loss"]
    assert loss[0]["median"] != loss[1]["median"]


def test_a_fit_of_too_few_experiments_is_kept_and_says_what_is_missing(tanks: Path) -> None:
    before = data("consignment", "--logbook", tanks, "consignment", "K1")
    assert "no own experiments have been fitted yet" in before["own_world"]
    plain = data("kinetics", "--logbook", tanks, "kinetics", "--fit")["own_experiments"]
    assert len(plain["record"]) == 64
    assert plain["reason"].startswith("loss in water: readings at 1 times after a spike")
    assert data("kinetics", "--logbook", tanks, "kinetics")["own_experiments"] == plain
    after = data("consignment", "--logbook", tanks, "consignment", "K1")
    assert after["own_world"] == plain["reason"]
    assert after["interpretation"] != before["interpretation"]


def test_without_an_experiment_there_is_nothing_to_fit(book: Path) -> None:
    answer = call("--logbook", book, "kinetics", "--fit")
    assert (answer.exit_code, answer.stdout) == (1, "")
    assert "no own experiment that can be used" in answer.stderr


def test_a_trial_is_told_and_kept_only_when_that_is_asked_for(tanks: Path) -> None:
    text = in_one_line(told("--logbook", tanks, "trials"))
    assert "1 tanks" not in text and "1 tank of fish whose history is known" in text
    assert "Nothing was kept" in text
    assert "both are needed" in text
    assert data("trials", "--logbook", tanks, "trials")["trial"] == ""
    assert len(data("trials", "--logbook", tanks, "trials", "--keep")["trial"]) == 64


def test_without_fish_of_known_history_there_is_no_trial(book: Path) -> None:
    answer = call("--logbook", book, "trials")
    assert (answer.exit_code, answer.stdout) == (1, "")
    assert "no tank of fish whose history is known" in answer.stderr


def test_a_consignment_is_reported_with_its_data_and_the_same_again_is_the_same_file(
    tanks: Path, tmp_path: Path
) -> None:
    words = ("--logbook", tanks, "report", "consignment", "K1", "--to", tmp_path / "k1.pdf")
    first = data("report", *words)
    assert (first["kind"], first["names"], first["new"]) == ("consignment", ["K1"], True)
    again = data("report", *words, "--replace")
    assert again == {**first, "new": False}
    with pikepdf.open(tmp_path / "k1.pdf") as pdf:
        attached = json.loads(pdf.attachments["results.json"].get_file().read_bytes())
    jsonschema.Draft202012Validator(schema("report-results")).validate(attached)
    said = attached["data"]
    assert {row["sample"] for row in said["rows"] if row["sample"]} == {"W-1"}
    assert len(said["tables"][0]["sha256"]) == 64
    assert ["interpretation", said["consignment"]["interpretation"]] in said["records"]
    text = in_one_line(
        told("--logbook", tanks, "report", "consignment", "K1", "--to", tmp_path / "k1.pdf", "--replace")
    )
    assert "of consignment K1 into" in text


def test_next_names_waters_that_are_not_read_and_blanks_that_are_missing(tanks: Path, tmp_path: Path) -> None:
    waits = [one for one in data("next", "--logbook", tanks, "next") if one["kind"] == "consignment"]
    assert [(one["step"], one["about"]) for one in waits] == [("look", ["K1"]), ("look", ["E1"])]
    assert waits[0]["sentence"] == "consignment K1: no source water blank and no field blank"
    more = "consignment,at,what,tank,system,sample,blank\n"
    more += "K1,2026-03-04T09:20+02:00,blank,,quay,BL-1,source water\n"
    (tmp_path / "more.csv").write_text(more, encoding="utf-8")
    assert call("--logbook", tanks, "tanks", tmp_path / "more.csv").exit_code == 0
    waits = [one for one in data("next", "--logbook", tanks, "next") if one["about"] == ["K1"]]
    assert [one["step"] for one in waits] == ["lay-out", "look"]
    assert waits[0]["sentence"] == "consignment K1: 1 of 2 waters in no run sheet yet: BL-1"
    assert waits[1]["sentence"] == "consignment K1: no field blank"
    text = in_one_line(call("--logbook", tanks, "next").stdout)
    assert "consignment K1" in text.partition("no field blank.")[2]


def test_a_trial_is_reported_once_it_is_kept(tanks: Path, tmp_path: Path) -> None:
    words = ("--logbook", tanks, "report", "trials", "--to", tmp_path / "trial.pdf")
    refused = call(*words)
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "keep it with 'trials --keep'" in refused.stderr
    kept = data("trials", "--logbook", tanks, "trials", "--keep")["trial"]
    made = data("report", *words)
    assert (made["kind"], made["names"]) == ("trials", ["E1"])
    with pikepdf.open(tmp_path / "trial.pdf") as pdf:
        attached = json.loads(pdf.attachments["results.json"].get_file().read_bytes())
    jsonschema.Draft202012Validator(schema("report-results")).validate(attached)
    assert attached["data"]["trial"]["trial"] == kept

"""make, batches and set-aside by the command."""

from __future__ import annotations

from pathlib import Path

from .conftest import call
from .test_data import data

MAKING = 'batch = "H16"\nmade_on = 2026-08-03\nelectrode_count = 2\n[factors]\nthickness_um = 8.2\n'


def written(folder: Path, text: str = MAKING) -> Path:
    path = folder / "H16.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_make_batches_and_set_aside_give_data_of_their_shapes(empty: Path, tmp_path: Path) -> None:
    file = written(tmp_path)
    made = data("make", "--logbook", empty, "make", file)
    assert (made["new"], made["batch"]["counts"]["ready"]) == (True, 2)
    assert made["batch"]["making"]["factors"] == [{"name": "thickness_um", "value": 8.2, "unit": "um"}]
    aside = data("set-aside", "--logbook", empty, "set-aside", "H16-1", "--reason", "film lifted")
    assert (aside["state"], aside["reason"]) == ("set aside", "film lifted")
    corrected = written(tmp_path, MAKING.replace("8.2", "9.1"))
    words = ("--corrects", "H16", "--reason", "measured again")
    assert data("make", "--logbook", empty, "make", corrected, *words)["supersedes"] == made["id"]
    found = data("batches", "--logbook", empty, "batches", "H16")
    assert [one["reason"] for one in found[0]["earlier"]] == ["measured again"]
    assert data("batches", "--logbook", empty, "batches") == found


def test_the_batches_of_sheets_give_data_too(book: Path) -> None:
    found = data("batches", "--logbook", book, "batches")
    assert {one["batch"] for one in found} == {"S1", "S2", "S3"}
    assert {one["making"] for one in found} == {None}


def test_the_text_says_what_was_made_and_what_is_left(empty: Path, tmp_path: Path) -> None:
    told = call("--logbook", empty, "make", written(tmp_path)).stdout
    assert "Recorded batch H16: 2 electrodes." in told
    assert "thickness_um = 8.2 um" in told
    assert "nothing new" in call("--logbook", empty, "make", written(tmp_path)).stdout
    call("--logbook", empty, "set-aside", "H16-2", "--reason", "film lifted")
    assert "set aside: film lifted" in call("--logbook", empty, "batches", "H16").stdout
    assert "2026-08-03" in call("--logbook", empty, "batches").stdout


def test_an_empty_logbook_says_what_to_do(empty: Path) -> None:
    assert "No batch in this logbook." in call("--logbook", empty, "batches").stdout


def test_a_faulty_file_is_refused_in_one_line_that_names_it(empty: Path, tmp_path: Path) -> None:
    result = call("--logbook", empty, "make", written(tmp_path, MAKING.replace("8.2", "8200")))
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("brinemark: H16.toml, column factors.thickness_um: ")
    assert result.stderr.count("\n") == 1

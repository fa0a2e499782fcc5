"""The page Audit: entries in words with links, by word, action and day; the last check; entries to save."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.canonical import canonical_bytes
from web.settings_visitor import Visitor, fields_of, visiting

SMALL = Path(__file__).resolve().parents[2] / "examples" / "small"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small example with its sheet, and a change of settings."""
    folder = tmp_path_factory.mktemp("audit") / "book"
    Logbook.create(folder).close()
    (folder / "logbook.toml").write_bytes((SMALL / "logbook.toml").read_bytes())
    with Logbook.open(folder) as book:
        book.add(SMALL / "runsheet.csv")
        book.change_settings({"decision.alpha": 0.01, "logbook.name": "=1+1"}, "=cmd <b>")
    return folder


@pytest.fixture
def visitor(filled: Path) -> Iterator[Visitor]:
    with visiting(filled) as found:
        yield found


def test_entries_stand_in_words_newest_first(visitor: Visitor, filled: Path) -> None:
    page = visitor.get("/audit").text
    text = page[page.index("<tbody>") : page.index("</tbody>")]
    assert text.index("settings changed") < text.index("sheet added") < text.index("logbook made")
    assert "decision.alpha: not in the file → 0.01" in text
    assert "reason: =cmd &lt;b&gt;" in text
    assert "{" not in text


def test_links_lead_to_the_sheet_and_the_kept_texts(visitor: Visitor, filled: Path) -> None:
    data = visitor.data("/audit")
    sheet = next(one for one in data["entries"] if one["action"] == "sheet added")
    assert visitor.get(sheet["address"]).content == (SMALL / "runsheet.csv").read_bytes()
    change = next(one for one in data["entries"] if one["action"] == "settings changed")
    links = {part["words"]: part["links"] for part in change["parts"] if part["links"]}
    assert visitor.get(links["file after"][0]["address"]).content == (filled / "logbook.toml").read_bytes()
    assert visitor.get(links["file before"][0]["address"]).content == (SMALL / "logbook.toml").read_bytes()


@pytest.mark.parametrize(
    ("asked", "actions"),
    [
        ("find=RUNSHEET", ["sheet added"]),
        ("find=decision.alpha", ["settings changed"]),
        ("action=logbook+made", ["logbook made"]),
        ("day=2001-01-01", []),
        ("find=nowhere", []),
    ],
)
def test_entries_are_found_by_word_action_and_day(visitor: Visitor, asked: str, actions: list[str]) -> None:
    assert [one["action"] for one in visitor.data(f"/audit?{asked}")["entries"]] == actions


def test_a_day_finds_its_entries_and_nonsense_is_refused(visitor: Visitor) -> None:
    every = visitor.data("/audit")["entries"]
    day = every[0]["at"][:10]
    of_that_day = [one["number"] for one in every if one["at"].startswith(day)]
    assert [one["number"] for one in visitor.data(f"/audit?day={day}")["entries"]] == of_that_day
    assert visitor.get("/audit?day=yesterday").status_code == 404


def test_one_entry_has_its_place_in_the_chain(visitor: Visitor) -> None:
    text = visitor.get("/audit/2").text
    entries = {one["number"]: one for one in visitor.data("/audit")["entries"]}
    assert entries[1]["hash"] in text
    assert entries[2]["hash"] in text
    assert 'href="/audit/1"' in text
    assert 'href="/audit/3"' in text
    for wrong in ("0", "99", "x", "-1"):
        assert visitor.get(f"/audit/{wrong}").status_code == 404


def test_saved_entries_hold_all_that_their_hashes_are_made_of(visitor: Visitor) -> None:
    saved = visitor.get("/audit/entries.json")
    assert 'filename="audit.json"' in saved.headers["content-disposition"]
    previous = "0" * 64
    for one in saved.json()["entries"]:
        parts = [one["number"], one["at"], one["action"], one["subject"], one["detail"], one["previous"]]
        assert one["previous"] == previous
        previous = hashlib.sha256(canonical_bytes(parts)).hexdigest()
        assert one["hash"] == previous


def test_the_saved_table_has_the_same_entries_and_no_formula(visitor: Visitor) -> None:
    answer = visitor.get("/audit/entries.csv?action=settings+changed")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["action"] for row in rows] == ["settings changed"]
    assert json.loads(rows[0]["detail"])["reason"] == "=cmd <b>"
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())
    assert visitor.get("/audit/entries.pdf").status_code == 404


def test_a_check_is_kept_with_its_date(visitor: Visitor) -> None:
    page = visitor.get("/audit").text
    assert "The chain was not checked yet." in page
    answer = visitor.send("/audit", fields_of(page, "/audit"))
    end = time.monotonic() + 60
    job: Any = {}
    while not job.get("ended") and time.monotonic() < end:
        time.sleep(0.2)
        job = visitor.data(answer.headers["location"])["job"]
    assert job["state"] == "done", job
    check = visitor.data("/audit")["check"]
    assert (check["sound"], check["since"], check["fault_count"]) == (True, 0, 0)
    page = visitor.get("/audit").text
    assert "all was sound" in page
    assert f'href="/audit/{check["number"]}"' in page
    saved = csv.DictReader(io.StringIO(visitor.get("/audit/entries.csv?action=logbook+checked").text))
    assert [row["subject"] for row in saved] == ["'=1+1"]  # the logbook's name, which no table program may work out

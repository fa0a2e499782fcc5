"""Making and opening logbooks."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.errors import Refused


def test_a_new_logbook_holds_settings_database_and_originals(tmp_path: Path) -> None:
    with Logbook.create(tmp_path / "deep" / "book", name="Harbour bench", timezone="UTC") as book:
        assert {"logbook.toml", "logbook.db", "originals"} <= {path.name for path in book.path.iterdir()}
        assert (book.path / "originals").is_dir()
        assert book.settings.logbook.name == "Harbour bench"
        assert [entry.action for entry in book.audit()] == ["logbook made"]
    with Logbook.open(tmp_path / "deep" / "book") as again:
        assert again.settings.logbook.name == "Harbour bench"
        assert again.verify().sound


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "book").mkdir()
    Logbook.create(tmp_path / "book").close()
    assert (tmp_path / "book" / "logbook.db").is_file()


def test_a_folder_with_something_in_it_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(Refused, match=r"not empty.*note\.txt"):
        Logbook.create(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_a_second_logbook_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    Logbook.create(tmp_path / "book").close()
    with pytest.raises(Refused, match="holds a logbook"):
        Logbook.create(tmp_path / "book")


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "book").write_text("x", encoding="utf-8")
    with pytest.raises(Refused, match="is a file"):
        Logbook.create(tmp_path / "book")


def test_a_bad_time_zone_leaves_no_folder(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="Nowhere"):
        Logbook.create(tmp_path / "book", timezone="Nowhere/At_all")
    assert not (tmp_path / "book").exists()


def test_a_failing_database_leaves_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise Refused("no disk", "a disk", "buy one")

    monkeypatch.setattr("brinemark.steps.create.Database.create", fail)
    with pytest.raises(Refused, match="no disk"):
        Logbook.create(tmp_path / "book")
    assert not (tmp_path / "book").exists()


def test_a_place_that_cannot_be_written_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("brinemark.steps.create.write_settings", fail)
    with pytest.raises(Refused, match=r"cannot make .*Permission denied"):
        Logbook.create(tmp_path / "book")
    assert not (tmp_path / "book").exists()


@pytest.mark.parametrize("missing", ["logbook.toml", "logbook.db"])
def test_opening_names_what_a_logbook_needs(tmp_path: Path, missing: str) -> None:
    Logbook.create(tmp_path / "book").close()
    (tmp_path / "book" / missing).unlink()
    with pytest.raises(Refused, match="no logbook in"):
        Logbook.open(tmp_path / "book")


def test_a_logbook_reads_well_in_a_notebook(book: Logbook) -> None:
    assert repr(book) == "<logbook book: 0 sheets, 0 electrodes of 0 batches, 0 samples, 0 calibrations>"
    assert book._repr_html_() == f"<p>{repr(book)[1:-1]}</p>"

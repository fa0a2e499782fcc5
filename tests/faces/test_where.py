"""Which logbook is meant: the option, the directory around, then the environment."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.faces.cli.session import VARIABLE, command_line, enclosing

from .conftest import call


def test_inside_the_directory_and_below_it_no_option_is_needed(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for folder in (book, next((book / "originals").iterdir())):
        monkeypatch.chdir(folder)
        answer = call("show", "W-1")
        assert answer.exit_code == 0
        assert "Next: brinemark chart W-1" in answer.stdout


def test_the_environment_names_a_logbook_too(book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, str(book))
    assert call("show", "W-1").exit_code == 0


def test_the_directory_around_goes_before_the_environment_and_the_option_before_both(
    book: Path, empty: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(book)
    monkeypatch.setenv(VARIABLE, str(empty))
    assert call("show", "W-1").exit_code == 0
    assert call("--logbook", empty, "show", "W-1").exit_code == 1


def test_a_folder_is_a_logbook_only_with_both_of_its_files(tmp_path: Path) -> None:
    (tmp_path / "logbook.toml").touch()
    assert enclosing(tmp_path) is None
    (tmp_path / "logbook.db").touch()
    assert enclosing(tmp_path / "deep" / "down") == tmp_path


def test_a_command_to_type_quotes_names_with_blanks() -> None:
    line = command_line("--logbook", "my book", "read", "S 1")
    assert line.endswith(("--logbook 'my book' read 'S 1'", '--logbook "my book" read "S 1"'))

"""The small example of the project, walked through by the command as a new user would."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from brinemark.faces.cli.main import brinemark

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "examples" / "small"
SHEET = SMALL / "runsheet.csv"
SCHEMAS = ROOT / "src" / "brinemark" / "terms" / "schemas"

Call = Callable[..., Result]


def call(*words: str | Path) -> Result:
    """The command with these words, as on a pipe of 80 columns."""
    return CliRunner(env={"COLUMNS": "80"}).invoke(brinemark, [str(word) for word in words], prog_name="brinemark")


def schema(verb: str) -> Any:
    return json.loads((SCHEMAS / f"{verb}.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def walked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Result]]:
    """The logbook of the page of the small example, and what each of its commands answered."""
    book = tmp_path_factory.mktemp("walk") / "my-logbook"
    answers = {"new": call("new", book)}
    shutil.copy(SMALL / "logbook.toml", book / "logbook.toml")
    answers["add"] = call("--logbook", book, "add", SHEET)
    answers["calibrate"] = call("--logbook", book, "calibrate")
    answers["read"] = call("--logbook", book, "read")
    return book, answers


@pytest.fixture
def book(walked: tuple[Path, dict[str, Result]], tmp_path: Path) -> Path:
    """A copy of the calibrated logbook, to write to."""
    shutil.copytree(walked[0], tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """A new logbook without a row."""
    call("new", tmp_path / "empty")
    return tmp_path / "empty"

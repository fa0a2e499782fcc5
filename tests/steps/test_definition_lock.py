"""The definition that samples are first read with is locked, and a later one is told not to be blind."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from season import BLANK, Season, sample, standard

PLAN = [BLANK, standard(0.5), standard(2.0), standard(8.0)]
WINDOW, OTHER = "window_V = [0.40, 0.76]", "window_V = [0.44, 0.74]"


def edit(folder: Path, old: str, new: str) -> None:
    settings = folder / "logbook.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches and a sample, nothing tried and nothing read yet."""
    root = tmp_path_factory.mktemp("lock")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(20443))
    Logbook.create(root / "book").close()
    with (root / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write("[calibration]\ndraws = 256\n")
    with Logbook.open(root / "book") as book:
        for day in range(1, 4):
            extra = [sample("S-mid", 1.5)] if day == 3 else []
            book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
    return root / "book"


def read_once(folder: Path) -> dict[str, object]:
    with Logbook.open(folder) as book:
        book.calibrate()
        (answer,) = book.read()
        choice = answer.to_dict()["choice"]
        return {**choice, "warned": any("not blind" in text for text in answer.warnings)}


def test_the_first_definition_is_blind_and_a_later_one_is_not(folder: Path) -> None:
    with Logbook.open(folder) as book:
        book.signals(quantities=("height",), baselines=("chord",), windows=((0.44, 0.74),))
    first = read_once(folder)
    assert (first["tried"], first["changed"], first["blind"], first["warned"]) == (2, [], True, False)
    with Logbook.open(folder) as book:
        book.signals(quantities=("height",), baselines=("chord",), windows=((0.42, 0.76),))
    assert WINDOW in (folder / "logbook.toml").read_text(encoding="utf-8")
    edit(folder, WINDOW, OTHER)
    second = read_once(folder)
    assert (second["tried"], second["changed"], second["warned"]) == (3, ["[signal]"], True)
    assert second["lock"] != first["lock"]
    edit(folder, OTHER, WINDOW)
    assert read_once(folder) == first  # what came after the lock does not touch that choice
    with Logbook.open(folder) as book:
        entries = len(book.audit())
        assert not [text for text in book.read()[0].warnings if "differs by" in text]
        assert len(book.audit()) == entries
        report = book.verify()
        assert report.sound
        assert report.faults == ()

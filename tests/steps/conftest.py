"""Logbooks for the tests of the steps: an empty one, and one that is calibrated once for all of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from season import BLANK, COVARIATE, Season, sample, standard

SEED = 20310
PLANS = {
    "B1": [BLANK, standard(0.5), standard(8.0), standard(2.0)],
    "B2": [BLANK, BLANK, standard(1.0), standard(4.0)],
    "B3": [BLANK, standard(2.0), standard(16.0), standard(0.5)],
    "B4": [BLANK, standard(1.0), standard(4.0), standard(8.0)],
    "B5": [
        BLANK,
        standard(2.0),
        sample("S-absent", 0.0),
        sample("S-mid", 1.5),
        sample("S-full", 80.0),
        ("control", 1.5, "C1"),
    ],
}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.create(tmp_path / "book") as made:
        yield made


@pytest.fixture
def season(tmp_path: Path) -> Season:
    folder = tmp_path / "sheets"
    folder.mkdir()
    return Season(folder, np.random.default_rng(SEED))


@pytest.fixture(scope="session")
def calibrated_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with five batches, a covariate and one calibration. Copy it before writing to it."""
    root = tmp_path_factory.mktemp("season")
    sheets = root / "sheets"
    sheets.mkdir()
    season = Season(sheets, np.random.default_rng(SEED))
    Logbook.create(root / "book").close()
    with (root / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(COVARIATE)
    with Logbook.open(root / "book") as book:
        for day, (batch, plan) in enumerate(PLANS.items(), start=1):
            book.add(season.batch(batch, plan, day=day))
        book.calibrate()
    return root / "book"


@pytest.fixture
def calibrated(calibrated_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    """A copy of the calibrated logbook."""
    import shutil

    shutil.copytree(calibrated_folder, tmp_path / "calibrated")
    with Logbook.open(tmp_path / "calibrated") as made:
        yield made

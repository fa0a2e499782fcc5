"""Logbooks for the tests of the steps: an empty one, and one that is calibrated once for all of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from calibrated import SEED, make_calibrated
from season import Season


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
    return make_calibrated(tmp_path_factory.mktemp("season"))


@pytest.fixture
def calibrated(calibrated_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    """A copy of the calibrated logbook."""
    import shutil

    shutil.copytree(calibrated_folder, tmp_path / "calibrated")
    with Logbook.open(tmp_path / "calibrated") as made:
        yield made

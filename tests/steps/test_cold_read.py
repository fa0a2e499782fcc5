"""What the command loads for reading a sample: numpy and the standard library, none of the large libraries."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from season import BLANK, Season, sample

PROGRAM = """
import sys
from brinemark.faces.cli.main import brinemark
try:
    brinemark.main(sys.argv[1:], prog_name="brinemark")
finally:
    print("loaded:", *sorted({name.partition(".")[0] for name in sys.modules}), file=sys.stderr)
"""
STORED, FRESH = "S-mid", "S-new"


@pytest.fixture(scope="module")
def loaded(calibrated_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, set[str]]:
    """Top names of all that `read` loads, for a sample whose signals are stored and for one that is measured first."""
    root = tmp_path_factory.mktemp("cold")
    sheets, folder = root / "sheets", root / "book"
    sheets.mkdir()
    shutil.copytree(calibrated_folder, folder)
    season = Season(sheets, np.random.default_rng(20312))
    with Logbook.open(folder) as book:
        book.add(season.batch("B6", [BLANK, sample(FRESH, 1.5)], day=9))
    return {name: read(folder, name) for name in (STORED, FRESH)}


def read(folder: Path, name: str) -> set[str]:
    words = ["--logbook", str(folder), "read", name, "--json"]
    done = subprocess.run([sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, check=True)
    assert [one["sample"] for one in json.loads(done.stdout)] == [name]
    return set(done.stderr.rpartition("loaded:")[2].split())


UNWANTED = [
    "sqlalchemy",
    "alembic",
    "pybaselines",
    "scipy",
]


@pytest.mark.parametrize("name", [STORED, FRESH])
@pytest.mark.parametrize("library", UNWANTED)
def test_reading_a_sample_loads_no_large_library(loaded: dict[str, set[str]], library: str, name: str) -> None:
    assert "numpy" in loaded[name]
    assert library not in loaded[name]

"""A logbook with five batches, a covariate and one calibration, for the tests of steps and pages."""

from __future__ import annotations

from pathlib import Path

import numpy as np

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


def make_calibrated(root: Path) -> Path:
    """The logbook, in root/book."""
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

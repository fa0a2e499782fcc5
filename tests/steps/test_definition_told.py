"""What a lock says is told with every reading and no part of its record; definitions are counted, not records."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.definition_lock import lock_of, seen_already
from brinemark.steps.identity import definition_of
from brinemark.steps.study_answers import SignalStudy
from season import BLANK, Season, sample, standard

SEED = 20551
PLAN = [BLANK, standard(0.5), standard(2.0), standard(8.0)]
OWN, OTHER = "window_V = [0.40, 0.76]", "window_V = [0.44, 0.74]"
NOT_BLIND = "samples were read by another definition before this one ([signal] differs): the choice was not blind"
LATE = "samples were read already (1 reading): a definition that is chosen now is not chosen blind"


def change(book: Logbook, old: str, new: str) -> Logbook:
    """The same logbook opened again with a changed settings file."""
    path = book.path / "logbook.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    book.close()
    return Logbook.open(book.path)


@pytest.fixture(scope="module")
def both_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches, a sample and a control, calibrated by two definitions; nothing was read, the first is present."""
    root = tmp_path_factory.mktemp("told")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(SEED))
    Logbook.create(root / "book").close()
    with (root / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write("\n[calibration]\ndraws = 256\n")
    book = Logbook.open(root / "book")
    for day in range(1, 4):
        extra = [sample("S-mid", 1.5), ("control", 2.0, "C1")] if day == 3 else []
        book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
    book.calibrate()
    book = change(book, OWN, OTHER)
    book.calibrate()
    change(book, OTHER, OWN).close()
    return root / "book"


@pytest.fixture
def both(both_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(both_folder, tmp_path / "both")
    with Logbook.open(tmp_path / "both") as book:
        yield book


def tried(book: Logbook) -> int:
    """What a lock of the present definition says, or would say if a sample were read now."""
    with book._place.database.reading() as reader:
        results: Any = lock_of(reader, definition_of(book.settings)).results
    return int(results["tried"])


def heights(book: Logbook, *windows: tuple[float, float]) -> SignalStudy:
    return book.signals(quantities=("height",), baselines=("chord",), windows=windows)


def test_readings_by_a_definition_taken_up_later_carry_the_warning_and_earlier_ones_do_not(both: Logbook) -> None:
    (first,) = both.read("S-mid")
    assert first.choice is not None
    assert (first.choice["tried"], first.choice["blind"]) == (2, True)
    book = change(both, OWN, OTHER)
    (late,) = book.read("S-mid")
    assert late.warnings[0] == NOT_BLIND
    (again,) = book.read("S-mid", calibration=first.calibration)
    assert again.to_dict() == first.to_dict()
    assert [one.to_dict() for one in book.readings()] == [first.to_dict(), late.to_dict()]


def test_a_control_locks_nothing_and_is_told_nothing(both: Logbook) -> None:
    (control,) = both.read("C1")
    both.controls()
    assert control.choice is None
    (answer,) = change(both, OWN, OTHER).read("S-mid")
    assert NOT_BLIND not in answer.warnings


def test_no_record_of_a_reading_holds_what_its_lock_says(both: Logbook) -> None:
    both.read("S-mid")
    (answer,) = change(both, OWN, OTHER).read("S-mid")
    with both._place.database.reading() as reader:
        record = reader.record(answer.id)
    assert record is not None
    kept: Any = record.results
    assert answer.choice is not None
    assert not {"choice", "tried", "films"} & {*kept, *kept["context"]}
    assert "not blind" not in json.dumps([record.settings, record.results])


def test_a_definition_counts_once_however_often_and_however_it_was_tried(both: Logbook, tmp_path: Path) -> None:
    assert tried(both) == 2  # by calibrating alone
    heights(both, (0.42, 0.75), (0.44, 0.74))
    assert tried(both) == 3
    (tmp_path / "more").mkdir()
    season = Season(tmp_path / "more", np.random.default_rng(SEED + 1))
    both.add(season.batch("B6", [BLANK, standard(2.0)], day=9))
    heights(both, (0.42, 0.75))
    assert len(both.signals_tried()) == 5  # two of them once more, on further electrodes
    assert tried(both) == 3


def test_the_baseline_is_part_of_the_choice_and_the_name_of_the_analyte_is_not(both: Logbook) -> None:
    both.read("S-mid")
    mine = definition_of(both.settings)
    signal = mine.signal.model_copy(update={"baseline": "polynomial"})
    with both._place.database.reading() as reader:
        assert seen_already(reader, replace(mine, analyte="rhodanide", level_unit="nmol/L")).warnings == [LATE]
        assert seen_already(reader, replace(mine, signal=signal)).warnings == [NOT_BLIND, LATE]


def test_a_study_says_first_what_was_read_before_it(both: Logbook) -> None:
    unseen = heights(both, (0.42, 0.75)).seen
    assert (unseen.readings, unseen.locked, unseen.warnings) == (0, False, [])
    both.read("S-mid", "C1")
    seen = heights(both, (0.42, 0.75))
    assert (seen.seen.locked, seen.to_dict()["warnings"]) == (True, [LATE])
    other = heights(change(both, OWN, OTHER), (0.42, 0.75))
    assert (other.seen.locked, other.to_dict()["warnings"]) == (False, [NOT_BLIND, LATE])

"""Draws of batches are made once, when the calibration is, and looked up by every later process."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.amount import predictive


def again(book: Logbook) -> Logbook:
    """As another process finds it."""
    book.close()
    return Logbook.open(book.path)


def made_anew(patch: pytest.MonkeyPatch) -> list[tuple[str, ...]]:
    """Grows by the electrodes of every batch whose draws are made."""
    seen: list[tuple[str, ...]] = []
    make = predictive.batch_part

    def watched(*given: Any) -> predictive.BatchPart:
        seen.append(given[1].electrode)
        return make(*given)

    patch.setattr(predictive, "batch_part", watched)
    return seen


def test_a_reading_looks_up_what_the_calibration_made(calibrated: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the run's blank, which does not speak for itself, needs draws without it; the next sample needs none."""
    seen = made_anew(monkeypatch)
    with again(calibrated) as book:
        (first,) = book.read("S-absent")
        assert first.statement == "not detected"
        once = [len(electrodes) for electrodes in seen]
        assert once in ([1], [])  # nothing where another test has read from the logbook that this one is a copy of
    with again(calibrated) as book:
        book.read("S-mid")
        assert len(seen) == len(once)


def test_a_reading_is_the_same_with_and_without_kept_draws(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("brinemark.steps.kept_draws.draw_memory", lambda *_: predictive.DrawMemory())
    monkeypatch.setattr("brinemark.steps.read.draw_memory", lambda *_: predictive.DrawMemory())
    fresh = calibrated.read()
    monkeypatch.undo()
    kept = again(calibrated)  # recomputed and compared with what is stored: a difference would be a warning
    for one, other in zip(fresh, kept.read(), strict=True):
        assert one.warnings == other.warnings
        assert one.reading.two_sided == other.reading.two_sided
    kept.close()


def test_a_blank_that_joins_a_batch_makes_its_draws_anew(calibrated: Logbook) -> None:
    """The key names all that is known of the batch's electrodes."""
    made = calibrated.calibration().calibration
    own = predictive.of_batch(made.readings, "B5")
    other = predictive.of_batch(made.readings, "B4")
    memory = predictive.DrawMemory()
    memory.draws(made, own, ["B5"], made.seed)
    memory.draws(made, own, ["B5"], made.seed)
    assert len(memory.fresh) == 1
    shifted = predictive.subset(own, np.array([True, False]))
    memory.draws(made, shifted, ["B5"], made.seed)
    memory.draws(made, other, ["B4"], made.seed)
    memory.draws(made, own, ["B5"], made.seed + 1)
    assert len(memory.fresh) == 4


def test_sets_of_draws_are_held_up_to_a_number(calibrated: Logbook) -> None:
    made = calibrated.calibration().calibration
    memory = predictive.DrawMemory()
    for seed in range(predictive.KEPT + 3):
        memory.draws(made, predictive.of_batch(made.readings, "B5"), ["B5"], seed)
    assert len(memory._kept) == predictive.KEPT

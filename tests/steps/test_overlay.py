"""Curves of rows over one another, and the signals of rows with their records."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.overlay import last_cycle, overlay_picture
from brinemark.terms.curves import Trace
from brinemark.terms.errors import Refused
from build import small_run, write_run


@pytest.fixture
def small(book: Logbook, tmp_path: Path) -> Logbook:
    """The small run: seven electrodes with curve and pre-scan, one whose value was written down."""
    book.add(write_run(tmp_path / "sheets", small_run()))
    return book


def test_whole_curves_are_told_by_what_the_cells_held_with_the_window_shaded(small: Logbook) -> None:
    made = overlay_picture(small._place, small.rows())
    assert [one.kind for one in made.curves] == [
        "blank", "0.5 µg/L", "2 µg/L", "8 µg/L", "sample", "control", "sample",
    ]  # fmt: skip
    assert made.window == (0.40, 0.76)
    assert made.title == "Curves of 2 batches"
    trace = small.trace_of(small.rows()[0])
    assert isinstance(trace, Trace)
    assert np.array_equal(made.curves[0].y, trace.current_A)


def test_pre_scans_are_added_or_stand_alone(small: Logbook) -> None:
    rows = small.rows()
    both = overlay_picture(small._place, rows, "with")
    assert sum(one.prescan for one in both.curves) == 7
    assert len(both.curves) == 14
    alone = overlay_picture(small._place, rows, "only")
    assert [one.prescan for one in alone.curves] == [True] * 7
    with pytest.raises(Refused, match="none, with or only"):
        overlay_picture(small._place, rows, "some")


def test_with_the_baseline_off_a_curve_is_what_its_dissection_says(small: Logbook) -> None:
    row = small.rows()[3]
    made = overlay_picture(small._place, [row], above_baseline=True)
    apart = small.dissection_of(row)
    assert np.array_equal(made.curves[0].y, apart.current_A - apart.baseline_A)  # type: ignore[union-attr]
    assert made.window is None
    assert made.up == "current above its baseline"
    assert made.title == "Curve of electrode B1-4, baseline taken off"


def test_a_curve_that_cannot_be_read_is_left_out_with_its_reason(small: Logbook) -> None:
    path = small.path / "logbook.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("window_V = [0.40, 0.76]", "window_V = [0.40, 1.20]"), encoding="utf-8")
    with Logbook.open(small.path) as wide:
        rows = wide.rows()
        with pytest.raises(Refused, match="no anodic sweep"):
            wide.draw_overlay(rows, above_baseline=True)
        assert len(overlay_picture(wide._place, rows).curves) == 7
        read = wide.signals_of(rows)
        assert ["no anodic sweep from 0.4 to 1.2 V" in one.reason for one in read] == [True] * 6 + [False, True]
        written = read[6].of("main")
        assert written is not None
        assert written.signal.value == 2.1e-7


def test_rows_without_any_curve_are_refused(small: Logbook) -> None:
    written = [row for row in small.rows() if row.trace_sha256 is None]
    with pytest.raises(Refused, match="no curve among these rows"):
        small.draw_overlay(written)


def test_of_several_cycles_the_last_complete_one_is_drawn() -> None:
    up = np.linspace(-0.4, 0.9, 131)
    once = np.concatenate([up, up[::-1][1:]])
    potential = np.concatenate([once, once[1:], once[1:60]])
    part = last_cycle(Trace(potential, np.zeros(potential.size)))
    assert (part.start, part.stop) == (once.size - 1, 2 * once.size - 1)
    whole = last_cycle(Trace(once, np.zeros(once.size)))
    assert (whole.start, whole.stop) == (0, once.size)


def test_signals_of_rows_are_those_of_their_records(calibrated: Logbook) -> None:
    rows = [row for row in calibrated.rows() if row.row.role in ("blank", "standard")]
    for read in calibrated.signals_of(rows):
        assert {one.role for one in read.signals} == {"main", "prescan", "zero"}
        for one in read.signals:
            record = calibrated.record(one.record)
            assert record.results["value"] == one.signal.value  # type: ignore[index,call-overload]
            assert dict(record.parents)["row"] == read.row.id
            assert dict(record.parents).get("wave", "") == one.wave
    main = calibrated.signals_of(rows[:1])[0].of("main")
    assert main is not None
    assert calibrated.record(main.wave).role == "without batch B1"


def test_signals_that_no_record_holds_yet_are_read_and_say_so(small: Logbook) -> None:
    path = small.path / "logbook.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("window_V = [0.40, 0.76]", "window_V = [0.42, 0.74]"), encoding="utf-8")
    with Logbook.open(small.path) as changed:
        entries = len(changed.audit())
        (read,) = changed.signals_of(changed.rows()[3:4])
        main = read.of("main")
        assert main is not None
        assert main.record == ""
        assert main.signal.value > 0.0
        assert len(changed.audit()) == entries

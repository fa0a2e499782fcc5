"""One more electrode supposed in a whole logbook: the same as adding it, nothing stored, refusals, batches."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import brinemark.science.amount.one_more as one_more_science
from brinemark.logbook import Logbook
from brinemark.science.amount.reading import read_sample
from brinemark.steps.one_more import NEW
from brinemark.terms.amounts import Reading, SamplePortion
from brinemark.terms.errors import Refused
from season import COLUMNS, Season, sample

from .test_read_step import valid

SAME = 1e-6
"""A typical signal written into a sheet keeps so many digits."""


def state(book: Logbook) -> tuple[str, list[str]]:
    return book.audit_head(), [head.id for head in book.reading_heads()]


def test_it_answers_in_the_committed_shape_and_stores_nothing(calibrated: Logbook) -> None:
    calibrated.read()
    before = state(calibrated)
    answer = calibrated.one_more("S-mid")
    assert state(calibrated) == before
    plain = valid("one-more", answer.to_dict())
    assert [row["dilution"] for row in plain["rows"]] == [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
    assert [row["again"] for row in plain["rows"]] == [True, *[False] * 6]
    assert {row["level"] for row in plain["rows"]} == {calibrated.read("S-mid")[0].reading.estimate.median}  # type: ignore[union-attr]
    for row in plain["rows"]:
        assert row["cell_level"] == pytest.approx(row["level"] / row["dilution"])
    assert any("nothing is promised" in text for text in answer.remarks())


def test_what_is_supposed_is_what_reading_gives_when_such_an_electrode_is_added(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    calibrated.read()
    seen: list[SamplePortion] = []

    def spied(portions: list[SamplePortion], *rest: Any) -> Reading:
        seen.append(portions[-1])
        return read_sample(portions, *rest)

    monkeypatch.setattr(one_more_science, "read_sample", spied)
    (row,) = calibrated.one_more("S-mid", "B4", [5.0]).rows
    (supposed,) = seen
    assert (supposed.electrode, supposed.batch, supposed.dilution) == (NEW, "B4", 5.0)
    add_with_signals(calibrated, tmp_path, supposed)
    (real,) = calibrated.read("S-mid")
    ends = real.reading.estimate
    assert ends is not None
    assert real.statement == row.would.statement
    assert ends.lower == pytest.approx(row.would.lower, rel=SAME)
    assert ends.upper == pytest.approx(row.would.upper, rel=SAME)


def add_with_signals(book: Logbook, folder: Path, made: SamplePortion) -> None:
    """The electrode in a sheet of its own, with signals in place of curves."""
    names = f"{COLUMNS},signal,signal_u,signal_unit,covariate,prescan_signal"
    unit = book.calibration().signal_unit
    cells = dict.fromkeys(names.split(","), "")
    cells |= {"electrode": made.electrode, "batch": made.batch, "instrument": made.instrument, "role": "sample"}
    cells |= {"measured_at": "2031-05-20T10:00:00Z", "sample": "S-mid", "dilution": f"{made.dilution:g}"}
    cells |= {"signal": f"{made.signal:.12e}", "signal_u": f"{made.u:.12e}", "signal_unit": unit, "salinity": "35"}
    cells |= {"covariate": f"{made.covariate:.12e}", "prescan_signal": f"{made.others[0].signal:.12e}"}
    cells |= {"scan_rate_V_per_s": "0.1"}
    path = folder / "more.csv"
    path.write_text(f"{names}\n{','.join(cells.values())}\n", encoding="utf-8")
    book.add(path)


def test_a_saturated_sample_is_to_be_diluted_and_not_read_the_same_again(calibrated: Logbook) -> None:
    calibrated.read()
    answer = calibrated.one_more("S-full")
    assert answer.now.statement == "at or above"
    assert answer.best is not None
    assert answer.best >= 5.0
    again = [row for row in answer.rows if row.again]
    assert len({row.level for row in again}) == len(again) == 3
    assert {row.would.statement for row in again} == {"at or above"}
    best = [row for row in answer.rows if row.best]
    assert all(row.dilution == answer.best for row in best)
    assert sum(row.would.fold is not None for row in best) > 0
    assert f"diluted {answer.best:g} times" in answer.sentence


def test_an_absent_sample_is_not_to_be_diluted(calibrated: Logbook) -> None:
    calibrated.read()
    answer = calibrated.one_more("S-absent")
    assert answer.now.statement == "not detected"
    assert answer.best in (None, 1.0)
    assert {row.level for row in answer.rows} == {0.0, answer.now.upper / 3.0}  # type: ignore[operator]
    ends = {(row.dilution, row.level): row.would.upper for row in answer.rows}
    assert ends[1.0, 0.0] < ends[100.0, 0.0]  # type: ignore[operator]


def test_where_nothing_can_be_supposed_it_says_why(calibrated: Logbook) -> None:
    folder = calibrated.path.parent / "odd"
    folder.mkdir()
    odd = Season(folder, np.random.default_rng(11)).batch("B9", [sample("S-odd", 1.0)], day=9, instrument="elsewhere")
    calibrated.add(odd)
    calibrated.read("S-odd")
    answer = calibrated.one_more("S-odd")
    assert (answer.rows, answer.best, list(answer.remarks())) == ((), None, [])
    assert answer.sentence.startswith("cannot say what one more electrode would change: ")
    assert "elsewhere" in answer.sentence
    valid("one-more", answer.to_dict())


def test_a_sample_is_to_be_read_first_and_anew_when_an_electrode_was_added(calibrated: Logbook) -> None:
    with pytest.raises(Refused, match="read the sample first"):
        calibrated.one_more("S-mid")
    calibrated.read()
    folder = calibrated.path.parent / "more"
    folder.mkdir()
    calibrated.add(Season(folder, np.random.default_rng(11)).batch("B9", [sample("S-mid", 1.5)], day=9))
    with pytest.raises(Refused, match="read the sample first"):
        calibrated.one_more("S-mid")


def test_the_newest_batch_with_ready_electrodes_is_supposed(calibrated: Logbook) -> None:
    calibrated.read()
    assert (calibrated.one_more("S-mid", dilutions=[1.0]).batch, calibrated.one_more("S-mid", "B1", [1.0]).batch) == (
        "B5",
        "B1",
    )
    names = [f"B3-{place}" for place in range(1, 7)]
    calibrated.record_making({"batch": "B3", "made_on": "2031-05-02", "electrodes": names})
    answer = calibrated.one_more("S-mid", dilutions=[1.0])
    assert (answer.batch, answer.ready) == ("B3", 2)


def test_an_electrode_of_a_batch_without_any_reading_is_supposed_from_history_alone(calibrated: Logbook) -> None:
    calibrated.read()
    calibrated.record_making({"batch": "B6", "made_on": "2031-05-09", "electrode_count": 4})
    known, unknown = (calibrated.one_more("S-mid", batch, [1.0]).rows[0].would for batch in (None, "B6"))
    assert calibrated.one_more("S-mid", "B6", [1.0]).ready == 4
    assert known.fold is not None
    assert unknown.fold is not None
    assert unknown.fold > known.fold


@pytest.mark.parametrize(
    ("words", "came"),
    [
        ({"sample": "S-med"}, "did you mean 'S-mid'"),
        ({"sample": "S-mid", "batch": "B55"}, "B55"),
        ({"sample": "S-mid", "dilutions": [0.5]}, "dilution 0.5"),
        ({"sample": "S-mid", "dilutions": [math.nan]}, "dilution nan"),
        ({"sample": "S-mid", "dilutions": []}, "0 dilutions"),
        ({"sample": "S-mid", "dilutions": [float(n) for n in range(1, 15)]}, "14 dilutions"),
    ],
)
def test_what_cannot_be_asked_is_refused(calibrated: Logbook, words: dict[str, Any], came: str) -> None:
    calibrated.read()
    with pytest.raises(Refused, match=came):
        calibrated.one_more(**words)

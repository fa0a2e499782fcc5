"""Reading samples of a logbook: contract, failures, changed definitions, and the way back."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from brinemark.logbook import Logbook
from brinemark.terms.errors import Refused
from season import BLANK, Season, sample, standard

SCHEMAS = Path(__file__).resolve().parents[2] / "src" / "brinemark" / "terms" / "schemas"


def valid(name: str, answer: Any) -> Any:
    """The answer after a round trip through JSON, checked against the committed schema."""
    plain = json.loads(json.dumps(answer, allow_nan=False))
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(plain)
    return plain


def change_settings(book: Logbook, old: str, new: str) -> Logbook:
    """The same logbook opened again with a changed settings file."""
    path = book.path / "logbook.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    book.close()
    return Logbook.open(book.path)


def more(book: Logbook, batch: str, plan: list[tuple[str, float, str]], instrument: str = "bench") -> Path:
    folder = book.path.parent / f"more-{batch}"
    folder.mkdir()
    return Season(folder, np.random.default_rng(11)).batch(batch, plan, day=9, instrument=instrument)


def test_all_samples_are_read_and_controls_only_by_name(calibrated: Logbook) -> None:
    answers = calibrated.read()
    plain = valid("read", [one.to_dict() for one in answers])
    assert [one["sample"] for one in plain] == ["S-absent", "S-mid", "S-full"]
    assert {one["calibration"] for one in plain} == {calibrated.calibration().id}
    (control,) = calibrated.read("C1")
    assert any(text.startswith("control: expected 1.5 ug/L") for text in control.warnings)
    assert [line.role for line in control.electrodes[0].readings] == ["prescan", "control"]


def test_the_statements_hold_the_known_truth(calibrated: Logbook) -> None:
    absent, mid, full = calibrated.read()
    assert absent.statement == "not detected"
    assert mid.reading.estimate is not None
    assert mid.reading.estimate.lower is not None
    assert mid.reading.estimate.upper is not None
    assert mid.reading.estimate.lower < 1.5 < mid.reading.estimate.upper
    assert full.reading.estimate is not None
    assert full.reading.estimate.upper is None
    assert "thiocyanate not detected" in str(absent)
    assert "thiocyanate at or above" in str(full)
    assert "S-mid" in mid._repr_html_()


def test_reading_again_gives_the_stored_reading_and_stores_nothing(calibrated: Logbook) -> None:
    first = calibrated.read("S-mid")[0]
    before = calibrated._place.database.logical_dump()
    again = calibrated.read("S-mid")[0]
    assert (again.id, again.to_dict()) == (first.id, first.to_dict())
    assert calibrated._place.database.logical_dump() == before
    assert [one.id for one in calibrated.readings()] == [first.id]


def test_a_reading_rests_on_its_calibration_rows_and_signals(calibrated: Logbook) -> None:
    answer = calibrated.read("S-mid")[0]
    with calibrated._place.database.reading() as reader:
        record = reader.record(answer.id)
    assert record is not None
    roles = [role for role, _ in record.parents]
    batch, run = ["batch signal", "batch prescan", "batch zero"] * 2, ["run blank", "run control"]
    assert roles == ["calibration", "row", "signal", "prescan", "zero", *batch, *run]


def test_an_unknown_sample_is_refused_with_the_nearest_one(calibrated: Logbook) -> None:
    before = calibrated._place.database.logical_dump()
    with pytest.raises(Refused, match=r"no sample 'S-midd'.*did you mean 'S-mid'"):
        calibrated.read("S-absent", "S-midd")
    assert calibrated._place.database.logical_dump() == before


def test_without_a_calibration_nothing_is_read(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", [BLANK, sample("S1", 1.0)]))
    with pytest.raises(Refused, match="no calibration in this logbook"):
        book.read()


CHANGES = {
    "window": ("window_V = [0.40, 0.76]", "window_V = [0.42, 0.76]", r"\[signal\]"),
    "covariate": ("window_V = [-0.36, 0.00]", "window_V = [-0.34, 0.00]", r"\[covariate\]"),
    "unit": ('level_unit = "ug/L"', 'level_unit = "ng/L"', r"\[analyte\] level_unit"),
    "instrument": ("[decision]", '[instrument.bench]\nsign = "cathodic positive"\n[decision]', r"\[instrument.bench\]"),
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_changed_definition_asks_for_a_calibration_or_its_id(calibrated: Logbook, name: str) -> None:
    old, new, words = CHANGES[name]
    before = calibrated.calibration().id
    with (
        change_settings(calibrated, old, new) as book,
        pytest.raises(
            Refused, match=f"signal definition changed since calibration {before[:12]} .{words}.*--calibration"
        ),
    ):
        book.read()


def test_an_old_calibration_still_reads_when_it_is_named(calibrated: Logbook) -> None:
    before = calibrated.calibration().id
    first = calibrated.read("S-mid")[0]
    with change_settings(calibrated, *CHANGES["window"][:2]) as book:
        again = book.read("S-mid", calibration=before[:10])[0]
        assert (again.id, again.to_dict()) == (first.id, first.to_dict())
        for name in ("zzzz", "ab"):
            with pytest.raises(Refused, match="0 calibrations"):
                book.read("S-mid", calibration=name)


def test_a_changed_decision_needs_no_calibration_and_makes_another_reading(calibrated: Logbook) -> None:
    first = calibrated.read("S-mid")[0]
    with change_settings(calibrated, "interval = 0.95", "interval = 0.80") as book:
        second = book.read("S-mid")[0]
        assert second.id != first.id
        assert second.calibration == first.calibration
        one, two = first.reading.estimate, second.reading.estimate
        assert one is not None
        assert two is not None
        assert one.lower is not None
        assert two.lower is not None
        assert two.lower > one.lower
        assert len(book.show("S-mid").readings) == 2


def test_a_sample_on_two_electrodes_shares_the_information(calibrated: Logbook) -> None:
    calibrated.add(more(calibrated, "B6", [BLANK, standard(2.0), sample("S-two", 1.5), sample("S-two", 1.5)]))
    (answer,) = calibrated.read("S-two")
    valid("read", [answer.to_dict()])
    assert [use.electrode for use in answer.electrodes] == ["B6-3", "B6-4"]
    share_rounding = 1e-9
    assert abs(sum(use.share for use in answer.electrodes) - 1.0) < share_rounding


def test_a_batch_that_came_later_is_read_with_the_wave_of_all_and_its_own_electrodes(calibrated: Logbook) -> None:
    added = calibrated.add(more(calibrated, "B6", [BLANK, standard(2.0), sample("S-new", 1.5)]))
    assert added.wave.startswith("of calibration")
    (answer,) = calibrated.read("S-new")
    assert [one.wave for one in calibrated.show("B6-3").rows[0].signals if one.role == "main"] == ["of all"]
    with calibrated._place.database.reading() as reader:
        record = reader.record(answer.id)
    assert record is not None
    assert [role for role, _ in record.parents].count("batch signal") == 2


def test_an_instrument_without_calibration_cannot_say(calibrated: Logbook) -> None:
    calibrated.add(more(calibrated, "B6", [sample("S-other", 1.5)], instrument="boat"))
    (answer,) = calibrated.read("S-other")
    valid("read", [answer.to_dict()])
    assert answer.statement == "cannot say"
    assert "boat" in (answer.reading.reason or "")


def test_a_failed_pre_scan_cannot_say(calibrated: Logbook) -> None:
    sheet = more(calibrated, "B6", [sample("S-bad", 1.5)])
    path = sheet.with_name("B6-1-pre.csv")
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in lines]
    path.write_text("\n".join([header, *(f"{e},{float(i) * 0.05:.9e},{t}" for e, i, t in cells)]), encoding="utf-8")
    calibrated.add(sheet)
    (answer,) = calibrated.read("S-bad")
    assert answer.statement == "cannot say"
    assert "pre-scan failed" in (answer.reading.reason or "")


def test_a_missing_pre_scan_is_a_warning(calibrated: Logbook) -> None:
    sheet = more(calibrated, "B6", [sample("S-none", 1.5)])
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("B6-1-pre.csv", ""), encoding="utf-8")
    calibrated.add(sheet)
    (answer,) = calibrated.read("S-none")
    assert any(text.startswith("no pre-scan for B6-1") for text in answer.warnings)
    assert answer.statement != "cannot say"


def test_a_signal_in_another_unit_cannot_say(calibrated: Logbook) -> None:
    path = calibrated.path.parent / "old.csv"
    path.write_text(
        "electrode,batch,instrument,measured_at,role,sample,signal,signal_unit\n"
        "Z1,B5,bench,2031-05-09T09:00:00Z,sample,S-unit,0.2,uA\n",
        encoding="utf-8",
    )
    calibrated.add(path)
    (answer,) = calibrated.read("S-unit")
    assert answer.statement == "cannot say"
    assert "in uA, the calibration in A" in (answer.reading.reason or "")


def test_show_leads_from_a_sample_a_batch_and_an_electrode_to_the_files(calibrated: Logbook) -> None:
    calibrated.read()
    shown = calibrated.show("S-mid")
    valid("show", shown.to_dict())
    (row,) = shown.rows
    assert [file.role for file in row.files] == ["sheet", "trace", "prescan"]
    for file in row.files:
        assert (calibrated.path / file.path).stat().st_size == file.size
    assert shown.readings[0].sentence.startswith("S-mid: thiocyanate")
    batch = calibrated.show("B5")
    valid("show", batch.to_dict())
    assert (batch.kind, len(batch.rows), [(one.batch, one.protocol) for one in batch.limits]) == (
        "batch",
        6,
        [("B5", "single"), ("B5", "with pre-scan")],
    )
    assert valid("show", calibrated.show("electrode:B5-1").to_dict())["kind"] == "electrode"
    assert "B5-4.csv" in str(shown)
    assert "S-mid" in shown._repr_html_()


def test_show_refuses_an_unknown_and_an_ambiguous_name(calibrated: Logbook) -> None:
    with pytest.raises(Refused, match=r"did you mean 'S-mid'"):
        calibrated.show("S-mit")
    calibrated.add(more(calibrated, "B6", [sample("B5", 1.5)]))
    with pytest.raises(Refused, match=r"write sample:B5 or batch:B5"):
        calibrated.show("B5")
    assert calibrated.show("sample:B5").rows[0].electrode == "B6-1"


def test_the_answer_of_add_keeps_its_contract(calibrated: Logbook) -> None:
    sheet = more(calibrated, "B6", [BLANK, sample("S-new", 1.5)])
    valid("add", calibrated.add(sheet).to_dict())
    valid("add", calibrated.add(sheet).to_dict())


def test_reading_imports_no_heavy_library_that_it_does_not_need(calibrated_folder: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(calibrated_folder, tmp_path / "copy")
    program = (
        "import sys; from brinemark.logbook import Logbook\n"
        f"with Logbook.open({str(folder)!r}) as book: book.read('S-absent')\n"
        "print(sorted({'alembic', 'scipy.stats', 'scipy.optimize', 'vl_convert'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_everything_in_a_used_logbook_checks_out(calibrated: Logbook) -> None:
    calibrated.read()
    report = calibrated.verify()
    assert report.faults == ()
    assert report.sound
    assert report.to_dict()["records"] > 40

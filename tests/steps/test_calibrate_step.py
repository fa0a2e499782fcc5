"""Calibrating a logbook: what feeds what, what is stored, and what leaves no trace."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from brinemark.logbook import Logbook
from brinemark.science.amount import compiled
from brinemark.steps.identity import ENGINE
from brinemark.steps.packing import unpack_signal
from brinemark.terms.errors import GateFailed, Refused, Stopped
from season import BLANK, COVARIATE, Season, sample, standard

SCHEMAS = Path(__file__).resolve().parents[2] / "src" / "brinemark" / "terms" / "schemas"


def parents_of(book: Logbook, kind: str) -> dict[str, set[str]]:
    """Electrodes of the row parents of each record of a kind, by the record's role."""
    electrode = {row.id: row.row.electrode for row in book.rows()}
    with book._place.database.reading() as reader:
        return {
            record.role: {electrode[one] for _, one in record.parents if one in electrode}
            for record in reader.newest_first(kind)
        }


def test_the_report_keeps_its_contract(calibrated: Logbook) -> None:
    report = calibrated.calibration().to_dict()
    schema = json.loads((SCHEMAS / "calibrate.json").read_text(encoding="utf-8"))
    Draft202012Validator(schema).validate(json.loads(json.dumps(report, allow_nan=False)))
    assert report["electrodes"]["count"] == 18
    for protocol in ("single", "with pre-scan"):
        batches = [one["batch"] for one in report["limits"] if one["protocol"] == protocol]
        assert batches == ["B1", "B2", "B3", "B4", "B5"]
    assert report["electrodes"]["left_out"] == []


def test_only_blanks_and_standards_feed_a_calibration(calibrated: Logbook) -> None:
    known = {row.row.electrode for row in calibrated.rows() if row.row.role in ("blank", "standard")}
    assert set(calibrated.calibration().calibration.readings.electrode) == known
    for electrodes in parents_of(calibrated, "wave").values():
        assert electrodes <= known


def test_a_wave_reads_no_batch_that_taught_it(calibrated: Logbook) -> None:
    waves = parents_of(calibrated, "wave")
    assert {role for role in waves if role != "theoretical"} == {"of all"} | {
        f"without batch B{n}" for n in range(1, 6)
    }
    for n in range(1, 6):
        taught = waves[f"without batch B{n}"]
        assert taught
        assert not any(name.startswith(f"B{n}-") for name in taught)
    with calibrated._place.database.reading() as reader:
        wave = {record.id: record.role for record in reader.newest_first("wave")}
        batch = {row.id: row.row.batch for row in calibrated.rows()}
        last = calibrated.calibration().id
        ids = [one for _, one in (reader.record(last) or pytest.fail("no record")).parents]
        used = [one for one in reader.records(ids).values() if one.kind == "signal" and one.role == "main"]
        assert len(used) == 18
        for record in used:
            parents = dict(record.parents)
            assert wave[parents["wave"]] == f"without batch {batch[parents['row']]}"


def test_with_one_batch_each_electrode_is_left_out_instead(book: Logbook, season: Season) -> None:
    plan = [BLANK, BLANK, standard(1.0), standard(2.0), standard(4.0), standard(8.0), sample("S1", 2.0)]
    book.add(season.batch("B1", plan))
    book.calibrate()
    waves = parents_of(book, "wave")
    assert len(waves) == 6 + 2  # each electrode once, all, and the theoretical one of `add`
    for n in range(1, 7):
        assert waves[f"without electrode B1-{n}"] == {f"B1-{m}" for m in range(1, 7) if m != n}


def test_learned_waves_find_the_place_that_the_curves_have(calibrated: Logbook) -> None:
    place_tolerance_V = 0.01
    for wave in calibrated.calibration().waves:
        assert wave.source == "learned"
        assert wave.place_V is not None
        assert abs(wave.place_V - 0.58) < place_tolerance_V


def test_calibrating_again_makes_the_same_and_stores_nothing(calibrated: Logbook) -> None:
    before = calibrated._place.database.logical_dump()
    again = calibrated.calibrate()
    assert (again.new, again.id) == (False, calibrated.calibration().id)
    assert not [text for text in again.warnings if "same recipe" in text]
    assert calibrated._place.database.logical_dump() == before


def test_a_changed_decision_asks_for_new_limits_but_no_new_calibration(calibrated: Logbook) -> None:
    before = calibrated.calibration()
    path = calibrated.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("alpha = 0.05", "alpha = 0.01"), encoding="utf-8")
    calibrated.close()
    with Logbook.open(calibrated.path) as book:
        assert book.calibration().limits == ()
        assert "calibrate again for the limits" in book.calibration().warnings[-1]
        assert book.show("B1").limits == ()
        again = book.calibrate()
        assert (again.new, again.id) == (False, before.id)
        assert (again.limits[0].critical_signal or 0.0) > (before.limits[0].critical_signal or math.inf)
        assert book.show("B1").limits == again.limits[:2]


def test_a_signal_that_changed_behind_our_back_is_noticed_as_the_same_recipe(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    from brinemark.steps import calibrate as step

    stored = calibrated.calibration().calibration
    monkeypatch.setattr(step, "calibrate", lambda *_: replace(stored, matrix_K_sd=stored.matrix_K_sd * 1.5))
    again = calibrated.calibrate()
    assert [text for text in again.warnings if "same recipe, differs by 0.33" in text]
    assert calibrated.calibration().calibration.matrix_K_sd == stored.matrix_K_sd


def test_stopping_leaves_nothing(calibrated: Logbook) -> None:
    calibrated.add(_more(calibrated))
    before = calibrated._place.database.logical_dump()
    seen: list[tuple[int, int]] = []

    def stop(done: int, total: int) -> bool:
        seen.append((done, total))
        return False

    with pytest.raises(Stopped):
        calibrated.calibrate(on_step=stop)
    assert seen
    assert calibrated._place.database.logical_dump() == before


def _more(book: Logbook) -> Path:
    folder = book.path.parent / "more"
    folder.mkdir()
    return Season(folder, np.random.default_rng(3)).batch("B6", [BLANK, standard(3.0)], day=9)


def test_a_failed_gate_leaves_nothing(calibrated: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise GateFailed("Pareto k", 0.9, 0.7, "ln_K")

    monkeypatch.setattr("brinemark.steps.calibrate.calibrate", fail)
    before = calibrated._place.database.logical_dump()
    with pytest.raises(GateFailed, match="Pareto k"):
        calibrated.calibrate()
    assert calibrated._place.database.logical_dump() == before


def test_no_standard_is_refused(book: Logbook, season: Season) -> None:
    with pytest.raises(Refused, match="no blank or standard"):
        book.calibrate()
    book.add(season.batch("B1", [sample("S1", 2.0)]))
    with pytest.raises(Refused, match="no blank or standard"):
        book.calibrate()


def lifted_film(folder: Path, electrode: str, share: float) -> None:
    """Scale a pre-scan's currents, as if the film covered only a share of its area."""
    path = folder / f"{electrode}-pre.csv"
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in lines]
    path.write_text("\n".join([header, *(f"{e},{float(i) * share:.9e},{t}" for e, i, t in cells)]), encoding="utf-8")


def test_a_calibration_electrode_with_a_failed_pre_scan_is_left_out_by_name(tmp_path: Path, season: Season) -> None:
    Logbook.create(tmp_path / "book").close()
    with (tmp_path / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(COVARIATE)
    with Logbook.open(tmp_path / "book") as book:
        for day, batch in enumerate(("B1", "B2", "B3"), start=1):
            path = season.batch(batch, [BLANK, standard(1.0), standard(4.0), standard(12.0)], day=day)
            if batch == "B2":
                lifted_film(season.folder, "B2-3", 0.1)
            book.add(path)
        report = book.calibrate()
    assert [one["electrode"] for one in report.left_out] == ["B2-3"]
    assert "lifted" in report.left_out[0]["reason"]
    assert "B2-3" not in report.calibration.readings.electrode
    assert any("B2-3" in text for text in report.warnings)


def test_signals_in_two_units_are_refused(book: Logbook, season: Season) -> None:
    for n, unit in ((1, "A"), (2, "uA")):
        path = season.folder / f"{n}.csv"
        path.write_text(
            "electrode,batch,instrument,measured_at,role,level,signal,signal_unit\n"
            f"E{n},B{n},bench,2031-05-01T09:00:00Z,standard,2,2e-7,{unit}\n",
            encoding="utf-8",
        )
        book.add(path)
    with pytest.raises(Refused, match=r"electrode E2 in uA and others in A"):
        book.calibrate()


def test_every_row_is_measured_anew_samples_included(calibrated: Logbook) -> None:
    shown = calibrated.show("S-mid").rows[0]
    waves = [one.wave for one in shown.signals if one.role == "main"]
    assert waves == ["theoretical", "without batch B5"]
    assert [one.current for one in shown.signals if one.role == "main"] == [False, True]
    with calibrated._place.database.reading() as reader:
        for one in shown.signals:
            record = reader.record(one.id)
            assert record is not None
            assert unpack_signal(record) == one.signal


def runs_engine(monkeypatch: pytest.MonkeyPatch, engine: str) -> None:
    for module in ("identity", "chosen"):
        monkeypatch.setattr(f"brinemark.steps.{module}.ENGINE", engine)


def test_a_calibration_of_an_earlier_version_is_refused_until_calibrated_again(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = calibrated.calibration()
    stored = report.id
    monkeypatch.setattr("brinemark.steps.calibrate.calibrate", lambda *_: report.calibration)
    runs_engine(monkeypatch, f"0.2.0/{int(ENGINE.rpartition('/')[2]) + 1}")
    refusal = f"calibration {stored[:12]}, made by an earlier version of the program"
    for ask in (lambda: calibrated.read("S-mid"), calibrated.calibration, lambda: calibrated.calibration(stored[:12])):
        with pytest.raises(Refused, match=refusal) as refused:
            ask()
        assert refused.value.remedy == "run calibrate"
        assert len(str(refused.value).splitlines()) == 1
    assert calibrated.show("S-mid").rows
    again = calibrated.calibrate()
    assert again.new
    assert calibrated.read("S-mid")[0].calibration == again.id
    runs_engine(monkeypatch, ENGINE)
    assert calibrated.calibration().id == stored


def test_a_calibration_of_a_later_version_is_refused(calibrated: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    runs_engine(monkeypatch, "0.1.0/1")
    with pytest.raises(Refused, match="made by a later version of the program"):
        calibrated.read("S-mid")


def test_another_version_that_gives_the_same_numbers_reads_on(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = calibrated.calibration().id
    number = ENGINE.rpartition("/")[2]
    runs_engine(monkeypatch, f"0.1.1/{number}")
    assert calibrated.calibration().id == stored


def test_compiled_loops_end_with_the_calibration_so_that_readings_have_the_same_digits_everywhere(
    calibrated: Logbook,
) -> None:
    calibrated.calibrate()
    assert compiled.loaded() is None

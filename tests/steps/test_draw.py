"""Pictures of a real logbook: the small example, calibrated once for all tests here."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.limits import response_band
from brinemark.science.amount.predictive import batch_draws
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.steps.create import open_place
from brinemark.steps.draw import (
    calibration_picture,
    draw_calibration,
    draw_reading,
    draw_residuals,
    draw_statements,
    draw_trace,
    fan_panels,
    reading_picture,
    residuals_picture,
)
from brinemark.steps.place import Place
from brinemark.terms.amounts import FitCheck, SamplePortion
from brinemark.terms.curves import Dissection
from brinemark.terms.errors import Refused

SMALL = Path(__file__).resolve().parents[2] / "examples" / "small"
GRID_ERROR = 0.02
THINNING_ERROR = 0.1


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("drawn") / "logbook"
    Logbook.create(folder).close()
    shutil.copy(SMALL / "logbook.toml", folder / "logbook.toml")
    with Logbook.open(folder) as logbook:
        logbook.add(SMALL / "runsheet.csv")
        logbook.calibrate()
    opened = open_place(folder)
    yield opened
    opened.database.close()


@pytest.fixture
def logbook(place: Place) -> Logbook:
    return Logbook(place)


def test_a_calibration_is_drawn_with_every_batch_and_every_reading(logbook: Logbook) -> None:
    report = logbook.calibration()
    spec = calibration_picture(report)
    points = [row for row in spec["datasets"]["panels"] if row["kind"] == "point"]
    assert len(points) == (report.calibration.readings.dip == 0).sum()
    assert {row["panel"] for row in points} == set(report.calibration.readings.batch)
    assert spec["title"]["text"].startswith(f"Calibration {report.id[:12]}: thiocyanate, 3 batches")


def test_one_batch_can_be_drawn_alone_and_an_unknown_one_is_refused(logbook: Logbook) -> None:
    report = logbook.calibration()
    batch = report.calibration.readings.batch[0]
    assert len(calibration_picture(report, [batch])["concat"]) == 1
    with pytest.raises(Refused, match="no batch 'nowhere'"):
        calibration_picture(report, ["nowhere"])


def test_most_standards_lie_within_the_band_of_their_batch_and_it_within_that_of_a_new_one(logbook: Logbook) -> None:
    calibration = logbook.calibration().calibration
    pairs = sorted(set(zip(calibration.readings.batch, calibration.readings.instrument, strict=True)))
    inside = []
    for panel in fan_panels(calibration, pairs):
        assert np.all(panel.curve_lower < panel.curve_median)
        assert np.all(panel.curve_median < panel.curve_upper)
        assert np.all(np.diff(panel.curve_median) > 0)
        width = panel.population_upper - panel.population_lower
        assert np.mean(panel.curve_upper - panel.curve_lower) < np.mean(width)
        low, high = (np.interp(panel.level, panel.curve_level, ends) for ends in (panel.curve_lower, panel.curve_upper))
        inside += list((low < panel.signal) & (panel.signal < high))
    assert np.mean(inside) > 0.8


def test_the_band_is_the_predictive_distribution_of_the_model(logbook: Logbook) -> None:
    calibration = logbook.calibration().calibration
    batch, instrument = calibration.readings.batch[0], calibration.readings.instrument[0]
    level = np.array([0.0, 0.5, 2.0, 20.0])
    band = np.array(response_band(calibration, calibration.readings, batch, instrument, level))
    u = float(np.median(calibration.readings.u))
    draws = batch_draws(calibration, calibration.readings, [batch], calibration.seed)
    portion = SamplePortion("", batch, instrument, calibration.covariate_ref, 0.0, u)
    (law,), _ = electrode_laws(draws, scale_of_calibration(calibration), portion)
    exact = np.array([law.quantile(p, level) for p in (0.5, 0.025, 0.975)]) * calibration.signal_ref
    assert np.max(np.abs(band - exact) / (exact[2] - exact[1])) < THINNING_ERROR
    thin = law.thinned(160)
    exact = np.array([thin.quantile(p, level) for p in (0.5, 0.025, 0.975)]) * calibration.signal_ref
    assert np.max(np.abs(band - exact) / (exact[2] - exact[1])) < GRID_ERROR


def test_curves_readings_and_statements_are_drawn(place: Place, logbook: Logbook) -> None:
    row = next(row for row in logbook.rows() if row.row.role == "standard")
    assert draw_trace(place, row, "svg").startswith(b"<svg")
    before = draw_trace(place, row, "svg", prescan=True).decode()
    assert "pre-scan" in before
    assert "Ag/AgCl, 3 mol/L KCl" in before
    sample = next(row.row.sample for row in logbook.rows() if row.row.sample)
    assert draw_reading(place, sample, "png").startswith(b"\x89PNG")
    assert sample in draw_statements(place, [], "svg").decode()
    assert draw_calibration(place, "pdf").startswith(b"%PDF")


def test_the_public_logbook_draws_the_same_pictures(place: Place, logbook: Logbook) -> None:
    row = next(row for row in logbook.rows() if row.row.role == "sample")
    sample = str(row.row.sample)
    assert logbook.draw_trace(row) == draw_trace(place, row, "svg")
    assert logbook.draw_reading(sample) == draw_reading(place, sample, "svg")
    assert logbook.draw_statements(sample) == draw_statements(place, [sample], "svg")
    batch = logbook.calibration().calibration.readings.batch[0]
    assert logbook.draw_calibration(batches=[batch]) == draw_calibration(place, "svg", None, [batch])


def test_residuals_are_drawn_of_every_electrode_or_of_named_batches(place: Place, logbook: Logbook) -> None:
    known = logbook.calibration().calibration.readings
    spec = residuals_picture(logbook.calibration())
    drawn = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "point")["data"]["values"]
    assert len(drawn) == len(known.electrode)
    batch = known.batch[0]
    assert logbook.draw_residuals(batches=[batch]) == draw_residuals(place, "svg", None, [batch])
    with pytest.raises(Refused, match="no batch 'nowhere'"):
        logbook.draw_residuals(batches=["nowhere"])


def test_a_reading_is_drawn_under_its_own_sentence_and_critical_value(logbook: Logbook) -> None:
    answer = logbook.read()[0]
    spec = reading_picture(answer, logbook.calibration(answer.calibration))
    assert spec["title"]["text"] == answer.sentence.replace("ug/L", "µg/L")
    labels = [layer["mark"]["text"] for layer in spec["vconcat"][0]["layer"] if "text" in layer["mark"]]
    assert ("critical value" in labels) == (len(answer.electrodes) == 1)


def test_drawing_changes_nothing_that_is_kept(place: Place, logbook: Logbook) -> None:
    logbook.read()
    before = logbook.audit()
    draw_calibration(place, "svg")
    draw_statements(place, [], "svg")
    assert logbook.audit() == before


def test_a_curve_that_was_not_kept_is_refused(place: Place, logbook: Logbook) -> None:
    row = replace(logbook.rows()[0], trace_sha256=None, prescan_sha256=None)
    for prescan in (False, True):
        with pytest.raises(Refused, match="kept for electrode"):
            draw_trace(place, row, "svg", prescan=prescan)
    with pytest.raises(Refused, match="no sample"):
        draw_reading(place, "nobody", "svg")


@pytest.mark.parametrize("baseline", ["polynomial", "whittaker"])
def test_a_trace_is_drawn_with_every_baseline_and_its_signal_is_that_baseline_s(
    place: Place, tmp_path: Path, baseline: str
) -> None:
    shutil.copytree(place.folder, tmp_path / "book")
    with (tmp_path / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(f'\n[signal]\nbaseline = "{baseline}"\n')
    with Logbook.open(tmp_path / "book") as book:
        row = book.rows()[0]
        other = book.dissection_of(row)
        assert isinstance(other, Dissection)
        assert np.abs(np.diff(other.baseline_A, 2)).max() > 1e-6 * np.ptp(other.baseline_A)  # no straight line
        assert other.signal.value != Logbook(place).dissection_of(row).signal.value
        assert book.draw_trace(row).startswith(b"<svg")


def test_fit_is_drawn_as_it_was_stored_and_refused_where_nothing_tells_it(
    logbook: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = logbook.calibration()
    stored = logbook.calibration(report.id)
    assert stored.calibration.fit == report.calibration.fit
    bare = replace(report, calibration=replace(report.calibration, fit=()))
    monkeypatch.setattr("brinemark.steps.draw.stored_calibration", lambda *_: bare)
    with pytest.raises(Refused, match="too small to tell how well the model fits"):
        logbook.draw_fit()
    some = replace(bare.calibration, fit=(FitCheck("top", 5, -0.4, 0.1),))
    monkeypatch.setattr("brinemark.steps.draw.stored_calibration", lambda *_: replace(bare, calibration=some))
    assert "highest standards" in logbook.draw_fit().decode()

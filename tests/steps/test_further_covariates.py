"""A second covariate from sheet to reading: measured, kept, drawn, and a part of the definition."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.gather import further_of
from brinemark.steps.identity import Recipe
from brinemark.steps.measure import RowSignals
from brinemark.steps.packing import pack_signal
from brinemark.terms.curves import Signal
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

LAYER = '\n[further_covariate.layer]\nquantity = "charging"\nwindow_V = [0.05, 0.35]\n'
CHARGING_A = 3e-7  # of season.curve, whose background bends a little beyond
BEND_A = 2e-7


@pytest.fixture
def layered(calibrated_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    """The calibrated logbook with a second covariate in its settings, not calibrated with it yet."""
    shutil.copytree(calibrated_folder, tmp_path / "layered")
    with (tmp_path / "layered" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(LAYER)
    with Logbook.open(tmp_path / "layered") as made:
        yield made


def test_the_settings_ask_for_a_calibration_that_has_it(layered: Logbook) -> None:
    with pytest.raises(Refused, match=r"changed since calibration .*\[further_covariate\]"):
        layered.read("S-mid")


def test_a_second_covariate_goes_the_whole_way(layered: Logbook) -> None:
    report = layered.calibrate()
    calibration = report.calibration
    assert calibration.covariates.names == ("", "layer")
    bend = BEND_A * float(np.exp((np.linspace(0.05, 0.35, 999) - 0.9) / 0.2).mean())
    assert calibration.readings.further_covariate.shape == (1, len(calibration.readings.electrode))
    # The film's wave at -0.2 V still reaches into the window by about a nanoampere.
    assert np.median(calibration.readings.further_covariate) == pytest.approx(CHARGING_A + bend, rel=0.02)
    assert "slope of the covariate, layer" in [entry["name"] for entry in report.to_dict()["population"]]
    answer = layered.read("S-mid")[0]
    assert answer.reading.estimate is not None
    with layered._place.database.reading() as reader:
        record = reader.record(answer.id)
        made = reader.record(report.id)
    assert record is not None and made is not None
    assert "prescan layer" in [role for role, _ in record.parents]
    assert "prescan layer" in [role for role, _ in made.parents]
    assert layered.verify().sound
    again = Logbook.open(layered.path)
    assert again.calibration(report.id).calibration.covariates.names == ("", "layer")
    again.close()


def test_its_pre_scan_is_drawn_with_the_middle_of_the_sweeps(layered: Logbook) -> None:
    row = layered.rows()[0]
    parts = layered.dissection_of(row, prescan=True, covariate="layer")
    assert parts.signal.unit == "A"
    picture = layered.draw_trace(row, prescan=True, covariate="layer").decode()
    assert "middle of sweeps" in picture
    assert "charging current" in picture
    with pytest.raises(Refused, match=r"without \[further_covariate.dye\]"):
        layered.dissection_of(row, prescan=True, covariate="dye")


def test_what_is_not_positive_counts_as_missing() -> None:
    def record(value: float) -> Record:
        return Recipe("signal", "prescan layer", (), {}).record(pack_signal(Signal(value, 1e-9, "A")))

    main = record(1.0)
    assert further_of(RowSignals(main, None, further=(("layer", record(2e-7)),))) == {"layer": 2e-7}
    assert further_of(RowSignals(main, None, further=(("layer", record(-2e-7)),))) == {}

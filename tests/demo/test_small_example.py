"""The committed example is what its script writes, small, and readable by the readers of records."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from brinemark.demo.scenario import draw_world
from brinemark.logbook import Logbook
from brinemark.records.settings_file import read_settings
from brinemark.records.sheets import read_sheet
from brinemark.records.traces import parse_trace

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SMALL = EXAMPLES / "small"
LAST_DIGIT_A = 1.01e-9
"""One step of the last printed digit, for machines whose exponential rounds otherwise."""


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_small", EXAMPLES / "make_small.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_example_is_what_its_script_writes(script: ModuleType, tmp_path: Path) -> None:
    script.write_small(tmp_path)
    for name in ("runsheet.csv", "logbook.toml"):
        assert (tmp_path / name).read_text(encoding="utf-8") == (SMALL / name).read_text(encoding="utf-8")
    made = sorted(file.name for file in (tmp_path / "curves").iterdir())
    assert made == sorted(file.name for file in (SMALL / "curves").iterdir())
    for name in made:
        one, two = (parse_trace((folder / "curves" / name).read_bytes(), None, name) for folder in (tmp_path, SMALL))
        assert np.array_equal(one.potential_V, two.potential_V)
        assert np.max(np.abs(one.current_A - two.current_A)) < LAST_DIGIT_A


def test_the_example_is_a_valid_sheet_of_fourteen_rows_with_curves_of_a_few_kB() -> None:
    sheet = read_sheet((SMALL / "runsheet.csv").read_bytes(), "runsheet.csv", read_settings(SMALL / "logbook.toml"))
    assert len(sheet.rows) == 14
    assert not sheet.warnings
    assert {row.role for row in sheet.rows} == {"blank", "standard", "sample"}
    for row in sheet.rows:
        for name in (row.trace, row.prescan):
            assert name is not None
            assert (SMALL / name).stat().st_size < 8192


def test_the_commands_of_its_page_work_and_the_statements_hold_the_truth(script: ModuleType, tmp_path: Path) -> None:
    Logbook.create(tmp_path / "my-logbook").close()
    shutil.copy(SMALL / "logbook.toml", tmp_path / "my-logbook" / "logbook.toml")
    truth = draw_world(script.small_plan(), script.SEED).tanks
    with Logbook.open(tmp_path / "my-logbook") as logbook:
        logbook.add(SMALL / "runsheet.csv")
        assert any("3 batches only" in weakness for weakness in logbook.calibrate().calibration.weaknesses)
        answers = logbook.read()
    assert [answer.sample for answer in answers] == ["W-1", "W-2"]
    for answer in answers:
        estimate = answer.reading.estimate
        assert estimate is not None and estimate.lower is not None and estimate.upper is not None
        assert estimate.lower <= truth[answer.sample] <= estimate.upper

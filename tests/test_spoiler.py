"""A good run is spoilt in more than a hundred named ways: each is refused with place and phrase and changes nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from brinemark.records.files import read_source
from brinemark.records.sheets import read_sheet
from brinemark.records.traces import parse_trace
from brinemark.terms.errors import Refused
from brinemark.terms.settings import Settings
from build import SHEET, write_run
from spoil_curves import CURVE_FAULTS, CURVE_ODDITIES
from spoil_sheets import SHEET_FAULTS, SHEET_ODDITIES
from spoil_tools import Fault, Oddity

FAULTS = (*SHEET_FAULTS, *CURVE_FAULTS)
ODDITIES = (*SHEET_ODDITIES, *CURVE_ODDITIES)


@pytest.fixture(scope="module")
def good_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("good") / "run"
    write_run(folder)
    return folder


@pytest.fixture
def run(good_run: Path, tmp_path: Path) -> Path:
    """A fresh copy of the good run, to be spoilt."""
    return Path(shutil.copytree(good_run, tmp_path / "run"))


def take(folder: Path) -> int:
    """Take the run in folder; the number of its rows."""
    settings = Settings()
    sheet = read_sheet(read_source(folder, SHEET), SHEET, settings)
    for row in sheet.rows:
        for column, name in (("trace", row.trace), ("prescan", row.prescan)):
            if name is not None:
                data = read_source(folder, name, sheet=SHEET, row=row.number, column=column)
                parse_trace(data, settings.instrument.get(row.instrument), name)
    return len(sheet.rows)


def test_the_good_run_is_taken(run: Path) -> None:
    assert take(run) == 8


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_refused_with_its_place(fault: Fault, run: Path) -> None:
    fault.spoil(run)
    with pytest.raises(Refused) as refusal:
        take(run)
    message = str(refusal.value)
    assert fault.phrase in message
    assert (refusal.value.row, refusal.value.column) == (fault.row, fault.column), message
    assert refusal.value.file, message
    assert len(message.splitlines()) == 1
    assert len(message) < 1000


@pytest.mark.parametrize("oddity", ODDITIES, ids=lambda oddity: f"{oddity.family}: {oddity.name}")
def test_a_valid_oddity_is_accepted(oddity: Oddity, run: Path) -> None:
    oddity.change(run)
    assert take(run) == 8


def test_there_are_more_than_a_hundred_faults_each_with_its_own_name() -> None:
    names = [fault.name for fault in FAULTS]
    assert len(set(names)) == len(names)
    assert len(names) > 100


def test_every_family_has_two_valid_oddities() -> None:
    families = [oddity.family for oddity in ODDITIES]
    assert {family for family in families if families.count(family) < 2} == set()

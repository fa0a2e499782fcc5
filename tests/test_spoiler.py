"""A good run is spoilt in more than a hundred named ways: each is refused with its place and changes nothing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from brinemark import Logbook
from brinemark.records.database import Database
from brinemark.terms.errors import Refused
from build import SHEET, sheet_row, write_run
from spoil_curves import CURVE_FAULTS, CURVE_ODDITIES, PATH_FAULTS
from spoil_sheets import HISTORY_FAULTS, SHEET_FAULTS, SHEET_ODDITIES
from spoil_tools import Fault, Oddity

FAULTS = (*SHEET_FAULTS, *PATH_FAULTS, *HISTORY_FAULTS)
ODDITIES = (*SHEET_ODDITIES, *CURVE_ODDITIES)
EARLIER = [
    sheet_row("A1-1", "blank"),
    sheet_row("A1-2", "standard", level="2"),
    sheet_row("A1-3", "sample", sample="S0"),
]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a good run and with a logbook that holds an earlier one."""
    folder = tmp_path_factory.mktemp("good")
    write_run(folder / "run")
    earlier = write_run(folder / "earlier", EARLIER).rename(folder / "earlier" / "earlier.csv")
    with Logbook.create(folder / "logbook") as logbook:
        logbook.add(earlier)
    return folder


@pytest.fixture
def run(good: Path, tmp_path: Path) -> Path:
    """A fresh copy of the good run, to be spoilt."""
    return Path(shutil.copytree(good / "run", tmp_path / "run"))


@pytest.fixture(scope="module")
def shared(good: Path) -> Iterator[Logbook]:
    """The logbook that refuses every fault; it must stay as it is."""
    with Logbook.open(good / "logbook") as logbook:
        yield logbook


@pytest.fixture
def own(good: Path, tmp_path: Path) -> Iterator[Logbook]:
    """A copy of the logbook, for a run that is taken."""
    with Logbook.open(Path(shutil.copytree(good / "logbook", tmp_path / "logbook"))) as logbook:
        yield logbook


def state(logbook: Logbook) -> tuple[object, ...]:
    """Everything that a refusal must leave alone: settings, originals, facts and audit head."""
    database = Database.open(logbook.path / "logbook.db")
    with database.reading() as reader:
        head = reader.audit_head()
    dump = database.logical_dump()
    database.close()
    originals = sorted((path.name, path.stat().st_mtime_ns) for path in (logbook.path / "originals").rglob("*"))
    return (logbook.path / "logbook.toml").read_bytes(), originals, dump, head


def refusal(logbook: Logbook, run: Path) -> Refused:
    """What the logbook says to the run; it is one line and changes nothing."""
    before = state(logbook)
    with pytest.raises(Refused) as caught:
        logbook.add(run / SHEET)
    assert state(logbook) == before
    assert len(str(caught.value).splitlines()) == 1
    assert len(str(caught.value)) < 1000
    assert caught.value.file == SHEET
    return caught.value


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_spoilt_sheet_or_path_is_refused_with_row_and_column(fault: Fault, run: Path, shared: Logbook) -> None:
    fault.spoil(run)
    refused = refusal(shared, run)
    assert fault.phrase in str(refused)
    assert (refused.row, refused.column) == (fault.row, fault.column), str(refused)


@pytest.mark.parametrize("fault", CURVE_FAULTS, ids=lambda fault: fault.name)
def test_a_spoilt_curve_is_refused_with_its_row_and_the_place_in_its_file(
    fault: Fault, run: Path, shared: Logbook
) -> None:
    fault.spoil(run)
    refused = refusal(shared, run)
    assert fault.phrase in str(refused)
    assert (refused.row, refused.column) == (2, "trace"), str(refused)
    inside = ["curves/B1-1.csv"]
    inside += [f"line {fault.row}"] if fault.row else []
    inside += [f"column {fault.column}"] if fault.column else []
    assert ", ".join(inside) + ": " in str(refused)


@pytest.mark.parametrize("oddity", ODDITIES, ids=lambda oddity: f"{oddity.family}: {oddity.name}")
def test_a_valid_oddity_is_taken(oddity: Oddity, run: Path, own: Logbook) -> None:
    before = state(own)
    oddity.change(run)
    added = own.add(run / SHEET)
    assert (added.new, added.electrodes, len(added.signals)) == (True, 8, added.rows)
    assert state(own) != before


def test_the_good_run_is_taken_once(run: Path, own: Logbook) -> None:
    assert own.add(run / SHEET).new
    before = state(own)
    assert not own.add(run / SHEET).new
    assert state(own) == before


def test_there_are_more_than_a_hundred_faults_each_with_its_own_name() -> None:
    names = [fault.name for fault in (*FAULTS, *CURVE_FAULTS)]
    assert len(set(names)) == len(names)
    assert len(names) > 100


def test_every_family_has_two_valid_oddities() -> None:
    families = [oddity.family for oddity in ODDITIES]
    assert {family for family in families if families.count(family) < 2} == set()

"""The life of an electrode in a real logbook: the small example, and one electrode with an addition and a spike."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.create import open_place
from brinemark.steps.draw import draw_life
from brinemark.steps.life_picture import held_words, life_of, life_picture
from brinemark.steps.place import Place
from brinemark.terms.curves import Dissection
from brinemark.terms.errors import Refused

SMALL = Path(__file__).resolve().parents[2] / "examples" / "small"
ADDED = """\
electrode,batch,instrument,measured_at,role,level,sample,dilution,volume_mL,signal,signal_u,signal_unit,prescan_signal
Z1-1,Z1,bench,2026-05-02T09:00:00Z,sample,,W-9,4,20,2e-7,5e-9,A,4e-8
Z1-1,Z1,bench,2026-05-02T09:20:00Z,addition,2,,,,3e-7,5e-9,A,
Z1-1,Z1,bench,2026-05-02T09:40:00Z,addition,100,,,,6e-7,5e-9,A,
"""
SPIKE = 80.0


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("drawn") / "logbook"
    Logbook.create(folder).close()
    shutil.copy(SMALL / "logbook.toml", folder / "logbook.toml")
    (folder.parent / "added.csv").write_text(ADDED, encoding="utf-8")
    with Logbook.open(folder) as logbook:
        logbook.add(SMALL / "runsheet.csv")
        logbook.add(folder.parent / "added.csv")
    opened = open_place(folder)
    yield opened
    opened.database.close()


@pytest.fixture
def logbook(place: Place) -> Logbook:
    return Logbook(place)


def test_a_life_has_its_prescan_first_and_the_signals_and_curves_of_the_logbook(place: Place, logbook: Logbook) -> None:
    row = next(row for row in logbook.rows() if row.row.sample == "W-2")
    before, main = life_picture(place, row.row.electrode, "potential, V").dips
    assert (before.held, main.held) == ("clean seawater", "sample")
    apart = logbook.dissection_of(row)
    assert isinstance(apart, Dissection)
    assert main.signal == apart.signal.value
    assert main.y is not None and before.x is not None and main.x is not None
    assert np.array_equal(main.y, apart.current_A)
    assert before.x.min() == pytest.approx(main.x.min())


def test_the_words_say_dilution_rises_and_the_closing_spike_when_its_level_is_known(place: Place) -> None:
    with place.database.reading() as reader:
        life = life_of(place, reader, "Z1-1")
    assert held_words(life, "ug/L", SPIKE) == [
        "clean seawater",
        "sample, diluted 4 times",
        "+ 2 µg/L",
        "closing spike + 100 µg/L",
    ]
    assert held_words(life, "ug/L", None)[-1] == "+ 100 µg/L"


def test_signals_without_curves_are_drawn_with_the_statement_that_is_given(place: Place) -> None:
    drawn = draw_life(place, "Z1-1", "svg", "W-9: thiocyanate 8 ug/L").decode()
    assert "Electrode Z1-1, batch Z1" in drawn
    assert "W-9: thiocyanate 8 µg/L" in drawn
    assert "+ 2 µg/L" in drawn


def test_without_a_calibration_there_is_no_statement_and_the_reference_is_named(logbook: Logbook) -> None:
    row = next(row for row in logbook.rows() if row.row.sample == "W-2")
    drawn = logbook.draw_life(row.row.electrode).decode()
    assert "W-2: thiocyanate" not in drawn
    assert "potential, V against Ag/AgCl, 3 mol/L KCl" in drawn


def test_the_life_of_a_standard_says_its_level_and_an_unknown_electrode_is_refused(
    logbook: Logbook, place: Place
) -> None:
    row = next(row for row in logbook.rows() if row.row.role == "standard")
    held = [dip.held for dip in life_picture(place, row.row.electrode, "potential, V").dips]
    assert held[-1] == f"standard, {row.row.level:g} µg/L"
    with pytest.raises(Refused, match="no electrode 'nowhere'"):
        draw_life(place, "nowhere", "svg")

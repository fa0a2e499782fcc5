"""The classical line through additions stands beside the reading: on one electrode, and across siblings."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from brinemark.faces.cli.main import brinemark
from brinemark.logbook import Logbook
from brinemark.steps.answers import AdditionLine
from brinemark.terms.errors import Refused

ROUNDING = 1e-9
HEAD = "electrode,batch,instrument,measured_at,role,level,sample,dilution,stock,signal,signal_u,signal_unit,covariate"
STOCK = "\n[stock.K1]\nlevel = 1000.0\nrel_u = 0.01\n"
BLANKS = 1.1e-8  # mean of the two blanks below
LEVEL, SLOPE = 0.3, 1e-7


def height(cell: float, slope: float = SLOPE) -> float:
    """A signal on a straight line through the floor."""
    return BLANKS + slope * cell


def sheet(folder: Path, rows: list[tuple[str, str, str, str, str, float]]) -> Path:
    """Rows of batch B6, ten minutes apart: electrode, role, level, sample and dilution ("S:2"), stock, signal."""
    lines = [HEAD]
    blanks = [("B6-1", "blank", "", "", "", 1.0e-8), ("B6-2", "blank", "", "", "", 1.2e-8)]
    for place, (electrode, role, level, sample, stock, signal) in enumerate([*blanks, *rows]):
        name, _, dilution = sample.partition(":")
        when = f"2031-05-{6 + place // 6:02d}T1{place % 6}:00Z"
        first = place == 0 or electrode not in {line.split(",")[0] for line in lines}
        covariate = "2.0e-6" if first else ""
        cells = (electrode, "B6", "bench", when, role, level, name, dilution, stock, f"{signal:.9e}", "1e-9", "A")
        lines.append(",".join([*cells, covariate]))
    path = folder / "b6.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def with_stock(book: Logbook) -> Logbook:
    """The same logbook with a stock in its settings."""
    path = book.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8") + STOCK, encoding="utf-8")
    book.close()
    return Logbook.open(path.parent)


RISING = [("B6-3", "sample", "", "S-rise:2", "", height(LEVEL / 2))] + [
    ("B6-3", "addition", "0.1", "", "K1", height(LEVEL / 2 + 0.1 * n)) for n in (1, 2, 3)
]
SIBLINGS = [
    (
        f"B6-{4 + n}",
        "sample",
        "" if n == 0 else f"{0.2 * n:g}",
        "S-kin",
        "" if n == 0 else "K1",
        height(LEVEL + 0.2 * n),
    )
    for n in range(4)
]


@pytest.fixture
def read(calibrated: Logbook, tmp_path: Path) -> Logbook:
    book = with_stock(calibrated)
    book.add(sheet(tmp_path, [*RISING, *SIBLINGS]))
    return book


def test_additions_on_one_electrode_give_the_level_that_the_line_was_made_of(read: Logbook) -> None:
    (answer,) = read.read("S-rise")
    (line,) = answer.straight_lines
    assert (line.electrodes, line.across, line.points, line.reason) == (("B6-3",), False, 4, None)
    assert line.level == pytest.approx(LEVEL, rel=1e-6), "diluted twice: the level is that of the sample"
    assert answer.reading.statement != "cannot say"


def test_siblings_with_different_additions_give_one_line_across(read: Logbook) -> None:
    (answer,) = read.read("S-kin")
    (line,) = answer.straight_lines
    assert (line.across, line.points, line.reason) == (True, 4, None)
    assert line.level == pytest.approx(LEVEL, rel=1e-6)
    assert len([share for share in answer.reading.shares if share > 0]) == 4, "the program's own reading uses them too"


def test_an_addition_before_the_first_reading_lowers_what_is_read(read: Logbook) -> None:
    """The same signal with and without .6 added: what was added is not the sample's."""
    (answer,) = read.read("S-kin")
    assert answer.reading.two_sided is not None
    assert (answer.reading.two_sided.lower or 0.0) <= LEVEL
    last = answer.electrodes[3].readings[-1]
    assert last.signal.value == pytest.approx(height(LEVEL + 0.6))


def test_a_sample_without_additions_has_no_line(calibrated: Logbook) -> None:
    (answer,) = calibrated.read("S-mid")
    assert answer.straight_lines == ()
    assert answer.to_dict()["straight_lines"] == []


def test_without_blanks_the_line_cannot_say(calibrated: Logbook, tmp_path: Path) -> None:
    book = with_stock(calibrated)
    path = sheet(tmp_path, RISING)
    text = [line for line in path.read_text(encoding="utf-8").splitlines() if ",blank," not in line]
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    book.add(path)
    (line,) = book.read("S-rise")[0].straight_lines
    assert line.level is None
    assert line.reason is not None and "no blank of this batch" in line.reason
    assert "cannot say" in line.words("ug/L")


def test_the_line_moves_with_the_unit(read: Logbook) -> None:
    (plain,), (moved,) = read.read("S-rise"), read.read("S-rise", unit="nmol/L")
    assert plain.straight_lines[0].level is not None and moved.straight_lines[0].level is not None
    ratio = moved.straight_lines[0].level / plain.straight_lines[0].level
    assert ratio == pytest.approx(1e3 / 58.078, rel=1e-4)


def test_the_command_prints_the_line(read: Logbook) -> None:
    read.close()
    told = CliRunner(env={"COLUMNS": "200"}).invoke(brinemark, ["--logbook", str(read.path), "read", "S-rise"])
    assert told.exit_code == 0, told.output
    assert "standard addition on electrode B6-3 by a straight line, for comparison: 0.3" in told.stdout


def test_a_level_of_a_sample_without_the_stock_that_was_added_is_refused(calibrated: Logbook, tmp_path: Path) -> None:
    book = with_stock(calibrated)
    rows = [("B6-3", "sample", "0.2", "S-x", "", height(LEVEL))]
    with pytest.raises(Refused, match="what was added to a sample has its stock"):
        book.add(sheet(tmp_path, rows))


def test_a_line_goes_through_its_record_unchanged() -> None:
    line = AdditionLine(("E1", "E2", "E3"), True, 3, 0.3, 0.1, None, None, None)
    assert AdditionLine.from_dict(line.to_dict()) == line
    assert line.restated(2.0).level == 0.6

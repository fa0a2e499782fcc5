"""The pre-scan as a reading at level 0, several rows of one electrode in a logbook, and stocks across sheets."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.steps.identity import definition_of
from brinemark.steps.measure import Traces, measure_rows, theoretical_waves
from brinemark.terms.errors import Refused
from season import BLANK, COVARIATE, Season, curve, sample, standard

PLAN = [BLANK, standard(8.0), sample("S1", 1.0)]
HEADER = "electrode,batch,instrument,measured_at,role,level,stock,stock_level,level_rel_u,signal,signal_u,signal_unit"


def logbook(folder: Path, settings: str = "") -> Logbook:
    Logbook.create(folder).close()
    with (folder / "logbook.toml").open("a", encoding="utf-8") as text:
        text.write(settings)
    return Logbook.open(folder)


def roles(book: Logbook, electrode: str) -> list[str]:
    return sorted(one.role for one in book.show(electrode).rows[0].signals)


USES = {
    "both": (COVARIATE, ["main", "prescan", "zero"]),
    "covariate": (COVARIATE + '[prescan]\nuse = "covariate"\n', ["main", "prescan"]),
    "zero": (COVARIATE + '[prescan]\nuse = "zero"\n', ["main", "zero"]),
    "both without a covariate": ("", ["main", "zero"]),
    "covariate without one": ('[prescan]\nuse = "covariate"\n', ["main"]),
}


@pytest.mark.parametrize("name", USES)
def test_the_settings_say_what_a_pre_scan_is_read_for(season: Season, tmp_path: Path, name: str) -> None:
    settings, expected = USES[name]
    with logbook(tmp_path / "book", settings) as book:
        book.add(season.batch("B1", PLAN))
        assert roles(book, "B1-2") == expected
        assert book.verify().sound


def test_the_zero_reading_is_the_pre_scan_read_as_the_main_curve_is(season: Season, tmp_path: Path) -> None:
    path = season.batch("B1", [BLANK])
    curve(season.folder / "B1-1-pre.csv", 1.5e-7, season.random)
    with logbook(tmp_path / "book") as book:
        book.add(path)
        (stored,) = book.rows()
        zero = next(one for one in book.show("B1-1").rows[0].signals if one.role == "zero")
        text = path.read_text(encoding="utf-8")
        swapped = text.replace("B1-1.csv", "x").replace("B1-1-pre.csv", "B1-1.csv").replace(",x,", ",B1-1-pre.csv,")
        other = swapped.replace("\nB1-1,B1,", "\nB2-1,B2,")
        path.with_name("other.csv").write_text(other, encoding="utf-8")
        main = book.add(path.with_name("other.csv")).signals[0].line.signal
    assert zero.wave == "theoretical"
    assert (zero.signal.value, zero.signal.u, zero.signal.unit) == (main.value, main.u, "A")
    assert zero.signal.value == pytest.approx(1.5e-7, rel=0.1)
    assert stored.prescan_sha256 is not None


def test_calibration_measures_the_zero_reading_anew_with_the_wave_of_the_row(season: Season, tmp_path: Path) -> None:
    with logbook(tmp_path / "book") as book:
        for batch in ("B1", "B2"):
            book.add(season.batch(batch, PLAN))
        place = book._place
        definition = definition_of(place.settings)
        with place.database.reading() as reader:
            rows = reader.rows()
            found = measure_rows(rows, definition, theoretical_waves(definition), Traces(place, reader))
        for row in rows:
            one = found[row.id]
            assert one.zero is not None
            assert [record.role for record in one.records] == ["main", "zero"]
            parents = dict(one.zero.parents)
            assert (parents["row"], parents["trace"]) == (row.id, row.prescan_sha256)
            assert parents["wave"] == dict(one.main.parents)["wave"]


def test_a_pre_scan_that_does_not_reach_the_window_is_refused_with_the_way_out(season: Season, tmp_path: Path) -> None:
    path = season.batch("B1", [BLANK])
    short = season.folder / "B1-1-pre.csv"
    lines = short.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines[1:] if float(line.split(",")[0]) < 0.3]
    short.write_text("\n".join([lines[0], *kept]), encoding="utf-8")
    with logbook(tmp_path / "book") as book, pytest.raises(Refused) as caught:
        book.add(path)
    assert (caught.value.row, caught.value.column) == (2, "prescan")
    assert 'write [prescan] use = "covariate"' in str(caught.value)
    with logbook(tmp_path / "other", '[prescan]\nuse = "covariate"\n') as book:
        assert book.add(path).new


def signals(folder: Path, name: str, rows: list[str], header: str = HEADER) -> Path:
    path = folder / name
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def reading(electrode: str, minute: int, role: str, level: str, stock: str = ",,", signal: float = 1e-7) -> str:
    return f"{electrode},B1,bench,2031-05-01T09:{minute:02d}Z,{role},{level},{stock},{signal:g},2e-9,A"


def test_a_zero_reading_without_a_curve_has_the_unit_and_the_uncertainty_of_the_row(tmp_path: Path) -> None:
    rows = [reading("E1", 0, "blank", "0") + ",3e-9", reading("E2", 0, "standard", "2") + ","]
    with logbook(tmp_path / "book") as book:
        book.add(signals(tmp_path, "old.csv", rows, HEADER + ",prescan_signal"))
        one, two = (book.show(name).rows[0].signals for name in ("E1", "E2"))
        zero = next(found.signal for found in one if found.role == "zero")
        assert (zero.value, zero.u, zero.unit, zero.flags[0].name) == (3e-9, 2e-9, "A", "no curve kept")
        assert [found.role for found in two] == ["main"]


def test_a_life_of_several_rows_is_kept_and_shown_with_its_known_levels(tmp_path: Path) -> None:
    rows = [
        reading("E1", 0, "blank", "0", signal=1e-8),
        reading("E1", 9, "addition", "50", signal=6e-7),
        reading("E1", 4, "standard", "2", signal=3e-7),
    ]
    with logbook(tmp_path / "book") as book:
        added = book.add(signals(tmp_path, "life.csv", rows))
        assert (added.rows, added.electrodes) == (3, 1)
        assert [one.line.cell_level for one in added.signals] == [0.0, 52.0, 2.0]
        assert [row.row.role for row in book.rows()] == ["blank", "addition", "standard"]
        assert book.verify().sound
        with pytest.raises(Refused, match=r"'E1' was spent on blank 0 in life\.csv, row 2"):
            book.add(signals(tmp_path, "more.csv", [reading("E1", 30, "standard", "5")]))


def test_a_sample_is_shown_with_its_additions(tmp_path: Path) -> None:
    rows = [
        "E1,B1,bench,2031-05-01T09:00Z,sample,,S1,10,,1e-7,2e-9,A",
        "E1,B1,bench,2031-05-01T09:09Z,addition,50,S1,10,,6e-7,2e-9,A",
        "E2,B1,bench,2031-05-01T09:09Z,sample,,S2,1,,6e-7,2e-9,A",
    ]
    header = "electrode,batch,instrument,measured_at,role,level,sample,dilution,note,signal,signal_u,signal_unit"
    with logbook(tmp_path / "book") as book:
        added = book.add(signals(tmp_path, "life.csv", rows, header))
        assert [one.line.cell_level for one in added.signals] == [None, None, None]
        assert [(row.role, row.dilution) for row in book.show("S1").rows] == [("sample", 10.0), ("addition", 1.0)]
        # Repeating the sample and its dilution in the row of an addition says nothing new.
        plain = signals(tmp_path, "again.csv", [rows[0], rows[1].replace("S1,10", ","), rows[2]], header)
        assert not book.add(plain).new


def test_a_stock_is_one_thing_in_every_sheet(tmp_path: Path) -> None:
    with logbook(tmp_path / "book") as book:
        book.add(signals(tmp_path, "one.csv", [reading("E1", 0, "standard", "2", "K1,1000,0.01")]))
        for stock, words in (
            ("K1,1001,", r"row 2, column stock_level: 1001 for stock 'K1', in an earlier sheet 1000"),
            ("K1,1000,0.02", r"row 2, column level_rel_u: 0.02 for stock 'K1', in an earlier sheet 0.01"),
        ):
            with pytest.raises(Refused, match=words):
                book.add(signals(tmp_path, "two.csv", [reading("E2", 0, "standard", "2", stock)]))
        fixed = signals(tmp_path, "fixed.csv", [reading("E1", 0, "standard", "2", "K1,1001,0.02")])
        assert book.add(fixed, corrects="one.csv", reason="the label was misread").new


def test_equal_curves_of_one_electrode_are_remarked_upon(season: Season, tmp_path: Path) -> None:
    path = season.batch("B1", [BLANK])
    head, first = path.read_text(encoding="utf-8").splitlines()
    second = first.replace("T09:01", "T09:09").replace(",blank,0,", ",standard,2,")
    second = second.replace("B1-1.csv", "B1-1b.csv").replace("B1-1-pre.csv", "")
    (season.folder / "B1-1b.csv").write_bytes((season.folder / "B1-1.csv").read_bytes())
    path.write_text("\n".join([head, first, second]) + "\n", encoding="utf-8")
    with logbook(tmp_path / "book") as book:
        assert book.add(path).warnings[-1] == "row 3: the curve of B1-1 is byte for byte that of row 2"

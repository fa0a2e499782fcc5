"""A sheet from a bag of uploads: every fault at once, nothing stored before all is right, names that are no paths."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Mapping
from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.records.archives import unpack
from brinemark.steps.sheet_sources import Uploads, safe_title
from brinemark.terms.errors import Refused, Stopped
from build import sheet_csv, sheet_row, small_run, write_run


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return write_run(tmp_path / "run")


def spooled(run: Path, spool: Path, *, front: str = "", folders: bool = True) -> dict[str, Path]:
    """The curves beside a sheet as uploads: their names, to files under numbers."""
    spool.mkdir(exist_ok=True)
    files = {}
    for number, path in enumerate(sorted(run.parent.rglob("*.csv"))):
        if path != run:
            kept = spool / f"{number:06d}"
            shutil.copy(path, kept)
            files[front + (path.relative_to(run.parent).as_posix() if folders else path.name)] = kept
    return files


def bag(title: str, data: bytes, files: Mapping[str, Path]) -> Uploads:
    return Uploads(title, data, list(files.items()))


def uploads(run: Path, tmp_path: Path, **how: object) -> Uploads:
    return bag("run.csv", run.read_bytes(), spooled(run, tmp_path / "spool", **how))  # type: ignore[arg-type]


def counted(book: Logbook) -> tuple[int, int]:
    return len(book.rows()), len(list((book.path / "originals").rglob("*")))


def test_uploads_come_in_as_the_same_sheet_as_from_a_folder(book: Logbook, run: Path, tmp_path: Path) -> None:
    checked = book.check_sheet(uploads(run, tmp_path))
    assert (checked.sound, checked.rows, checked.files) == (True, 8, 14)
    assert counted(book) == (0, 0)
    added = book.keep(checked)
    with Logbook.create(tmp_path / "other") as other:
        beside = other.add(run)
        assert added.to_dict() == beside.to_dict()
        assert [row.id for row in other.rows()] == [row.id for row in book.rows()]
    assert book.verify().sound
    again = book.check_sheet(uploads(run, tmp_path))
    assert again.there is not None
    assert book.keep(again).new is False


@pytest.mark.parametrize("how", [{"front": "my run/"}, {"folders": False}, {"front": "C:\\bench\\"}])
def test_a_browser_may_put_a_folder_in_front_or_leave_folders_out(
    book: Logbook, run: Path, tmp_path: Path, how: dict[str, object]
) -> None:
    checked = book.check_sheet(uploads(run, tmp_path, **how))
    assert checked.findings == ()
    assert book.keep(checked).new


def test_backslashes_of_the_sheet_are_slashes_of_the_upload(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = spooled(run, tmp_path / "spool")
    sheet = run.read_bytes().replace(b"curves/", b".\\curves\\")
    assert book.check_sheet(bag("run.csv", sheet, files)).findings == ()


def test_capital_letters_are_not_overlooked(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = {name.replace("B1-1.csv", "b1-1.csv"): path for name, path in spooled(run, tmp_path / "spool").items()}
    (finding,) = book.check_sheet(bag("run.csv", run.read_bytes(), files)).findings
    assert (finding.row, finding.column, finding.remedy) == (2, "trace", "did you mean 'b1-1.csv'?")


def test_every_fault_of_every_row_is_told_and_nothing_is_stored(book: Logbook, run: Path, tmp_path: Path) -> None:
    rows = small_run()
    rows[0] |= {"level": "0.5", "measured_at": "yesterday"}
    rows[2] |= {"level": "two"}
    rows[4] |= {"role": "sampel"}
    rows[5] |= {"dilution": "0.5"}
    files = spooled(run, tmp_path / "spool")
    del files["curves/B1-2.csv"]
    files["curves/B2-2.csv"].write_bytes(b"no table")
    files["curves/B1-6-before.csv"].write_bytes(b"")
    files["extra.txt"] = files["curves/B1-1.csv"]
    checked = book.check_sheet(bag("run.csv", sheet_csv(rows).encode(), files))
    assert [(one.row, one.column) for one in checked.findings] == [
        (2, "measured_at"),
        (2, "level"),
        (3, "trace"),
        (4, "level"),
        (6, "role"),
        (7, "dilution"),
        (9, "trace"),
    ]
    assert all(one.came and one.expected and one.remedy for one in checked.findings)
    assert not checked.sound
    assert counted(book) == (0, 0)
    with pytest.raises(Refused, match="row 2, column measured_at"):
        book.keep(checked)
    assert counted(book) == (0, 0)


def test_uploads_that_no_row_names_are_told(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = spooled(run, tmp_path / "spool")
    files["notes/extra.txt"] = files["curves/B1-1.csv"]
    checked = book.check_sheet(bag("run.csv", run.read_bytes(), files))
    assert checked.sound
    assert checked.remarks == ("1 uploaded file that no row names, left out: 'notes/extra.txt'",)


def test_curves_that_cannot_be_measured_are_all_told(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = spooled(run, tmp_path / "spool")
    for name in ("curves/B1-1.csv", "curves/B1-3.csv"):
        lines = files[name].read_text().splitlines()
        files[name].write_text("\n".join(lines[:60]) + "\n")
    checked = book.check_sheet(bag("run.csv", run.read_bytes(), files))
    assert [(one.row, one.column) for one in checked.findings] == [(2, "trace"), (4, "trace")]


def test_spent_electrodes_of_an_earlier_sheet_are_all_told(book: Logbook, run: Path, tmp_path: Path) -> None:
    book.add(run)
    rows = [row | {"note": "again"} for row in small_run()]
    checked = book.check_sheet(bag("two.csv", sheet_csv(rows).encode(), spooled(run, tmp_path / "spool")))
    assert [one.row for one in checked.findings] == list(range(2, 10))
    assert "was spent on blank 0 in run.csv" in checked.findings[0].sentence


def test_a_correction_of_uploads_takes_the_place_of_the_old_sheet(book: Logbook, run: Path, tmp_path: Path) -> None:
    book.add(run)
    rows = [row | {"note": "again"} for row in small_run()]
    source = bag("two.csv", sheet_csv(rows).encode(), spooled(run, tmp_path / "spool"))
    assert [one.came for one in book.check_sheet(source, corrects="run.csv").findings] == [
        "a correction without a reason"
    ]
    added = book.keep(book.check_sheet(source, corrects="run.csv", reason="notes were missing"))
    assert added.supersedes is not None
    assert [sheet.title for sheet in book.sheets(current=True)] == ["two.csv"]


def test_one_upload_stands_for_one_name_only(book: Logbook, tmp_path: Path) -> None:
    rows = [sheet_row("B1-1", trace="a/1.csv", prescan=""), sheet_row("B1-2", trace="b/1.csv", prescan="")]
    run = write_run(tmp_path / "run", rows)
    one = tmp_path / "spool" / "0"
    one.parent.mkdir()
    shutil.copy(run.parent / "a" / "1.csv", one)
    (finding,) = book.check_sheet(bag("run.csv", run.read_bytes(), {"1.csv": one})).findings
    assert (finding.row, "already stands for" in finding.came) == (3, True)
    both = {"x/a/1.csv": one, "y/a/1.csv": one, "b/1.csv": one}
    (finding,) = book.check_sheet(bag("run.csv", run.read_bytes(), both)).findings
    assert (finding.row, "2 uploaded files that could be" in finding.came) == (2, True)


@pytest.mark.parametrize("name", ["../secret.csv", "/etc/hostname", "C:\\x.csv", "a\x01.csv"])
def test_paths_out_of_the_upload_are_refused_as_they_are_in_a_folder(
    book: Logbook, run: Path, tmp_path: Path, name: str
) -> None:
    rows = [sheet_row("B1-1", trace=name, prescan="")]
    files = {name: spooled(run, tmp_path / "spool")["curves/B1-1.csv"]}
    (finding,) = book.check_sheet(bag("run.csv", sheet_csv(rows).encode(), files)).findings
    assert finding.column == "trace"


def test_a_name_that_was_uploaded_twice_is_a_finding(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = list(spooled(run, tmp_path / "spool", folders=False).items())
    (finding,) = book.check_sheet(Uploads("run.csv", run.read_bytes(), [*files, files[0]])).findings
    assert (finding.row, finding.column, "2 uploaded files that could be" in finding.came) == (2, "prescan", True)


def test_the_sheet_is_found_among_the_uploads(book: Logbook, run: Path, tmp_path: Path) -> None:
    files = spooled(run, tmp_path / "spool")
    sheet = tmp_path / "spool" / "sheet"
    for text in (run.read_text(), "sep=;\n" + run.read_text().replace(",", ";")):
        sheet.write_text(text)
        found = Uploads.of([*files.items(), ("my run/run 3.csv", sheet)])
        assert found.title == "run 3.csv"
        assert book.check_sheet(found).findings == ()
    with pytest.raises(Refused, match="0 run sheets among 14 uploaded files"):
        Uploads.of(list(files.items()))
    sheet.write_text("consignment,at,what\nC1,2031-04-01T06:00Z,note\n")
    with pytest.raises(Refused, match=r"a tank record, 'april.csv', and no run sheet; .*use 'tanks FILE'"):
        Uploads.of([*files.items(), ("april.csv", sheet)])
    sheet.write_text(run.read_text())
    twice = [*files.items(), ("a.csv", sheet), ("b.csv", sheet)]
    with pytest.raises(Refused, match="2 run sheets among 16 uploaded files"):
        Uploads.of(twice)
    assert Uploads.of(twice, "b.csv").title == "b.csv"


def test_an_archive_comes_in_like_its_files(book: Logbook, run: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "run.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for path in run.parent.rglob("*.csv"):
            archive.write(path, f"my run/{path.relative_to(run.parent)}")
    unpacked = unpack(tmp_path / "run.zip", tmp_path)
    checked = book.check_sheet(Uploads.of(list(unpacked.files.items())))
    assert (checked.findings, checked.remarks) == ((), ())
    assert book.keep(checked).rows == 8


def test_progress_counts_files_and_curves_and_can_stop(book: Logbook, run: Path, tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []

    def noted(done: int, total: int) -> bool:
        seen.append((done, total))
        return True

    checked = book.check_sheet(uploads(run, tmp_path), on_step=noted)
    assert seen == [(n, 21) for n in range(1, 22)]
    with pytest.raises(Stopped):
        book.check_sheet(uploads(run, tmp_path), on_step=lambda done, _: done < 5)
    with pytest.raises(Stopped):
        book.keep(checked, on_step=lambda done, _: done < 5)
    assert book.rows() == ()
    assert book.verify().sound
    assert book.keep(checked).swept > 0
    assert book.verify().sound


def test_a_sheet_that_is_no_table_is_one_finding(book: Logbook) -> None:
    for data in (b"", b"PK\x03\x04", b"a,b\n1,2\n"):
        assert len(book.check_sheet(bag("run.csv", data, {})).findings) == 1


def test_what_changed_between_check_and_keeping_is_seen(book: Logbook, run: Path, tmp_path: Path) -> None:
    source = uploads(run, tmp_path)
    checked = book.check_sheet(source)
    with (book.path / "logbook.toml").open("a") as settings:
        settings.write('\n[prescan]\nuse = "covariate"\n')
    with Logbook.open(book.path) as changed, pytest.raises(Refused, match="settings that have changed"):
        changed.keep(checked)
    dict(source.files)["curves/B1-1.csv"].write_bytes(b"potential_V,current_A\n")
    with pytest.raises(Refused, match="changed while it was taken in"):
        book.keep(checked)
    assert book.rows() == ()


def test_somebody_else_may_add_an_electrode_between_check_and_keeping(book: Logbook, run: Path, tmp_path: Path) -> None:
    checked = book.check_sheet(uploads(run, tmp_path))
    book.add(write_run(tmp_path / "other", [sheet_row("B1-4", note="by another")]))
    with pytest.raises(Refused, match="was spent on blank 0"):
        book.keep(checked)


def test_a_making_is_compared_with_the_sheet(book: Logbook, run: Path) -> None:
    made = {"made_on": "2026-02-01"}
    book.record_making({"batch": "B1", "electrodes": [f"B1-{n}" for n in range(1, 6)], **made})
    book.record_making({"batch": "B9", "electrodes": ["B2-2"], **made})
    book.set_aside("B1-2", "film lifted")
    checked = book.check_sheet(run)
    assert [(one.row, one.column) for one in checked.findings] == [(9, "batch")]
    assert "made in batch B9" in checked.findings[0].came
    book.record_making({"batch": "B9", "electrodes": ["B9-1"], "made_on": "2027-01-01"}, "B9", "wrong name")
    book.record_making({"batch": "B2", "electrodes": ["B2-1", "B2-2"], "made_on": "2027-01-01"})
    assert book.add(run).warnings[-4:] == (
        "electrodes that the making of their batch does not name: B1-6",
        "row 3: electrode B1-2 was set aside: film lifted",
        "row 8: electrode B2-1 was measured before its batch was made (2027-01-01)",
        "row 9: electrode B2-2 was measured before its batch was made (2027-01-01)",
    )


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("run.csv", "run.csv"),
        ("C:\\bench\\run 3.csv", "run 3.csv"),
        ("../../etc/passwd", "passwd"),
        ("a\x00\nb.csv", "a b.csv"),
        ("/", "sheet"),
        ("x" * 300, "x" * 120),
    ],
)
def test_the_name_of_an_uploaded_sheet_is_a_title_and_nothing_else(name: str, title: str) -> None:
    assert safe_title(name) == title

"""Taking in tank records: one record for each consignment, growth, corrections, and nothing by halves."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brinemark.logbook import Logbook
from brinemark.steps.consignments import TANK_RECORD
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record
from tank_build import Cells, catch, happening, sample, small_consignment, tank_csv


def written(folder: Path, rows: list[Cells], name: str = "tanks.csv") -> Path:
    path = folder / name
    path.write_text(tank_csv(rows), encoding="utf-8")
    return path


def dump(book: Logbook) -> str:
    return book._place.database.logical_dump()


def record(book: Logbook, name: str) -> Record:
    with book._place.database.reading() as reader:
        found = reader.record(name)
    assert found is not None
    return found


def others(rows: list[Cells]) -> list[Cells]:
    """The same rows as another consignment with samples of its own."""
    named = [{**row, "consignment": "C2"} for row in rows]
    return [{**row, **{name: f"{row[name]}b" for name in ("sample", "duplicate") if row.get(name)}} for row in named]


def test_a_record_is_kept_with_its_file_and_the_logbook_stays_sound(book: Logbook, tmp_path: Path) -> None:
    path = written(tmp_path, small_consignment())
    taken = book.add_tanks(path)
    assert taken.new
    (one,) = taken.consignments
    assert (one.consignment, one.new, one.known, one.supersedes) == ("C1", 12, 0, None)
    stored = record(book, one.record or "")
    assert (stored.kind, stored.role) == (TANK_RECORD, "as recorded")
    assert stored.parents == (("original", sha256_hex(path.read_bytes())),)
    assert stored.results == {"title": "tanks.csv", "new": 12, "known": 0}
    (there,) = book.consignments()
    assert (there.name, there.id, there.tanks, len(there.rows)) == ("C1", one.record, ("T1", "T2"), 12)
    assert (there.system_of("T1"), there.system_of("T2")) == ("hall line", "C1")
    entry = book.audit()[-1]
    assert (entry.action, entry.subject) == ("tank record added", "tanks.csv")
    detail: Any = entry.detail
    assert detail["tank_records"] == [{"consignment": "C1", "record": one.record}]
    assert book.original(stored.parents[0][1])[1] == path.read_bytes()
    report = book.verify()
    assert (report.sound, report.records) == (True, 1)


def test_the_same_rows_again_change_nothing(book: Logbook, tmp_path: Path) -> None:
    first = book.add_tanks(written(tmp_path, small_consignment()))
    before = dump(book)
    again = book.add_tanks(written(tmp_path, small_consignment()[::-1], "again.csv"))
    assert (again.new, again.consignments[0].record) == (False, first.consignments[0].record)
    assert (again.consignments[0].new, again.consignments[0].known) == (0, 12)
    assert dump(book) == before


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.permutations(small_consignment()))
def test_any_order_of_rows_in_the_file_gives_the_same_rows_in_the_record(
    rows: list[Cells], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("order")
    said = []
    for name, order in (("one", small_consignment()), ("other", rows)):
        with Logbook.create(folder / name) as book:
            taken = book.add_tank_rows(order)
            said.append(taken.consignments[0].record)
    assert said[0] == said[1]


def test_a_record_grows_and_follows_the_one_before(book: Logbook, tmp_path: Path) -> None:
    rows = small_consignment()
    first = book.add_tanks(written(tmp_path, rows[:9], "day-1.csv")).consignments[0]
    second = book.add_tanks(written(tmp_path, rows, "day-2.csv")).consignments[0]
    assert (second.new, second.known) == (3, 9)
    assert dict(record(book, second.record or "").parents)["follows"] == first.record
    third = book.add_tank_rows([sample("W4", "04T10:00")])
    assert third.title == "form"
    (there,) = book.consignments()
    assert (there.earlier, there.titles) == (2, ("day-1.csv", "day-2.csv", "form"))
    assert [row.sample for row in there.samples_of("T1")] == ["W1", "W2", "W4"]
    assert record(book, there.id).parents == (("follows", second.record),)
    assert book.verify().sound


def test_one_file_may_hold_several_consignments_of_which_some_are_known(book: Logbook, tmp_path: Path) -> None:
    rows = small_consignment()
    first = book.add_tanks(written(tmp_path, rows)).consignments[0]
    taken = book.add_tanks(written(tmp_path, [*rows, *others(rows)], "both.csv"))
    assert [(one.consignment, one.new, one.known) for one in taken.consignments] == [("C1", 0, 12), ("C2", 12, 0)]
    assert taken.consignments[0].record == first.record
    assert [one.name for one in book.consignments()] == ["C1", "C2"]
    assert len(book.audit()) == 3


def test_a_contradiction_is_refused_with_the_way_to_correct_and_nothing_is_stored(
    book: Logbook, tmp_path: Path
) -> None:
    book.add_tanks(written(tmp_path, small_consignment()))
    before = dump(book)
    kept = sorted(book._place.originals.rglob("*"))
    rows = small_consignment()
    rows[2] = {**rows[2], "volume_L": "80"}
    for source in (written(tmp_path, rows, "new.csv"), ("new.csv", tank_csv(rows).encode())):
        with pytest.raises(Refused, match=r"tank 'T1' filled twice.*--corrects 'C1' --reason TEXT"):
            book.add_tanks(source)
        checked = book.check_tanks(source)
        assert [(one.row, one.column) for one in checked.findings] == [(4, "tank")]
    assert dump(book) == before
    assert sorted(book._place.originals.rglob("*")) == kept


def test_a_correction_replaces_all_rows_and_the_old_record_stays(book: Logbook, tmp_path: Path) -> None:
    first = book.add_tanks(written(tmp_path, small_consignment())).consignments[0]
    rows = small_consignment()[:-1]
    rows[2] = {**rows[2], "volume_L": "80"}
    words = ("C1", "tank 1 holds  80 L")
    path = written(tmp_path, rows, "right.csv")
    assert book.check_tanks(path, *words).new
    second = book.add_tanks(path, *words).consignments[0]
    assert (second.new, second.known, second.supersedes) == (1, 10, first.record)
    stored = record(book, second.record or "")
    assert dict(stored.parents)["corrects"] == first.record
    said: Any = stored.settings
    assert said["reason"] == "tank 1 holds 80 L"
    (there,) = book.consignments()
    assert (len(there.rows), there.of("filled")[0].volume_L, there.earlier) == (11, 80.0, 1)
    assert book.audit()[-1].action == "tank record corrected"
    assert record(book, first.record or "").content
    before = dump(book)
    again = book.add_tanks(path, *words)
    assert (again.new, again.consignments[0].record) == (False, second.record)
    assert dump(book) == before
    back = book.add_tanks(written(tmp_path, small_consignment()), "C1", "no, it was 40")
    assert back.consignments[0].record != first.record
    assert book.verify().sound


@pytest.mark.parametrize(
    ("rows", "corrects", "reason", "words"),
    [
        (small_consignment(), "C1", None, "a correction without a reason"),
        (small_consignment(), None, "why", "a reason without a correction"),
        (small_consignment(), "C7", "why", "no consignment 'C7' in this logbook.*did you mean 'C1'"),
        (small_consignment(), "C1", "why", "says what is recorded of consignment 'C1' already"),
        ([{**row, "consignment": "C2"} for row in small_consignment()], "C1", "why", "'C2' in a correction of 'C1'"),
    ],
)
def test_a_correction_that_cannot_be_meant_is_refused(
    book: Logbook, tmp_path: Path, rows: list[Cells], corrects: str | None, reason: str | None, words: str
) -> None:
    book.add_tanks(written(tmp_path, small_consignment()))
    before = dump(book)
    path = written(tmp_path, rows, "right.csv")
    with pytest.raises(Refused, match=words):
        book.add_tanks(path, corrects, reason)
    (found,) = book.check_tanks(path, corrects, reason).findings
    assert re.search(words, found.sentence)
    assert dump(book) == before


def test_checking_tells_every_fault_and_every_remark_and_stores_nothing(book: Logbook, tmp_path: Path) -> None:
    before = dump(book)
    rows = [*small_consignment(), sample("W5", "01T10:00"), catch("F9", mass_g="0")]
    rows[9] = {**rows[9], "seal": ""}
    checked = book.check_tanks(written(tmp_path, rows))
    assert not checked.sound
    assert [(one.row, one.column) for one in checked.findings] == [(14, "at"), (15, "mass_g")]
    good = book.check_tanks(written(tmp_path, rows[:-2]))
    assert (good.sound, good.new, good.rows, good.findings) == (True, True, 12, ())
    assert good.remarks == ("no seal is recorded: sample 'W1'",)
    assert book.check_tanks(("x.csv", b"nonsense")).findings[0].came.startswith("no known column")
    assert book.check_tanks([happening("cach", "01T10:00")]).title == "form"
    assert dump(book) == before


def test_remarks_are_told_of_new_rows_alone(book: Logbook, tmp_path: Path) -> None:
    rows = small_consignment()
    rows[9] = {**rows[9], "seal": ""}
    assert book.add_tanks(written(tmp_path, rows)).warnings == ("no seal is recorded: sample 'W1'",)
    assert book.add_tank_rows([sample("W4", "04T10:00")]).warnings == ()


def test_a_form_may_correct_a_consignment(book: Logbook) -> None:
    book.add_tank_rows(small_consignment())
    rows = small_consignment()
    rows[9] = {**rows[9], "seal": "17"}
    taken = book.add_tank_rows(rows, "C1", "seal was misread")
    assert taken.consignments[0].supersedes is not None
    assert book.consignments()[0].samples_of("T1")[0].seal == "17"


def test_the_title_of_an_upload_is_no_path(book: Logbook) -> None:
    taken = book.add_tanks(("..\\..\\far/away\n.csv", tank_csv(small_consignment()).encode()))
    assert taken.title == "away .csv"


def test_two_hundred_tanks_are_taken_in_at_once(book: Logbook, tmp_path: Path) -> None:
    rows = []
    for number in range(200):
        tank, fish = f"T{number}", f"F{number}"
        rows += [
            catch(fish),
            happening("filled", "02T08:00", tank=tank, volume_L="40"),
            happening("in", "02T09:00", tank=tank, fish=fish),
            sample(f"W{number}", "03T09:00", tank=tank),
        ]
    assert book.add_tanks(written(tmp_path, rows)).consignments[0].new == 800
    assert len(book.consignments()[0].tanks) == 200

"""Results of other methods are kept like everything else: the file, who corrected what, and nothing twice."""

from __future__ import annotations

from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.records.files import read_original
from brinemark.steps.markers import known_markers
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused
from tank_build import small_consignment, tank_csv

HEAD = "sample,marker,method,unit,value,limit_of_detection,u"
FIRST = (f"{HEAD}", "W1,thiocyanate,LC-MS/MS,ug/L,4.2,0.6,0.4", "W3,thiocyanate,LC-MS/MS,ug/L,not found,0.6,")
MORE = "W2,thiocyanate,LC-MS/MS,ug/L,3.9,0.6,0.4"


def csv(*lines: str) -> bytes:
    return "\n".join([*lines, ""]).encode()


@pytest.fixture
def marked(book: Logbook) -> Logbook:
    """A logbook with a consignment and the first file of another method."""
    book.add_tanks(("tanks.csv", tank_csv(small_consignment()).encode()))
    book.add_markers(("ms.csv", csv(*FIRST)))
    return book


def values(book: Logbook) -> dict[str, float | None]:
    return {row.sample: row.value for row in book.marker_results()}


def last(book: Logbook) -> tuple[str, str]:
    with book._place.database.reading() as reader:
        entry = reader.audit_entries()[-1]
    return entry.action, entry.subject


def test_a_file_is_kept_with_its_bytes_and_an_audit_entry(marked: Logbook) -> None:
    assert values(marked) == {"W1": 4.2, "W3": None}
    data = csv(*FIRST)
    assert read_original(marked._place.originals, sha256_hex(data)) == data
    assert last(marked) == ("marker results added", "ms.csv")
    with marked._place.database.reading() as reader:
        (known,) = known_markers(reader)
    assert dict(known.record.parents) == {"original": sha256_hex(data)}
    assert marked.verify().sound


def test_the_same_file_again_changes_nothing_and_a_longer_one_adds_what_is_new(marked: Logbook) -> None:
    with marked._place.database.reading() as reader:
        head = reader.audit_head()
    again = marked.add_markers(("ms.csv", csv(*FIRST)))
    assert (again.new, again.rows, again.known) == (False, 0, 2)
    with marked._place.database.reading() as reader:
        assert reader.audit_head() == head
    longer = marked.add_markers(("ms.csv", csv(*FIRST, MORE)))
    assert (longer.new, longer.rows, longer.known, longer.supersedes) == (True, 1, 2, None)
    assert values(marked) == {"W1": 4.2, "W3": None, "W2": 3.9}


def test_a_correction_takes_the_place_of_a_file_which_stays_on_record(marked: Logbook) -> None:
    better = csv(HEAD, "W1,thiocyanate,LC-MS/MS,ug/L,4.6,0.6,0.4")
    done = marked.add_markers(("ms2.csv", better), corrects="ms.csv", reason="misread")
    assert values(marked) == {"W1": 4.6}
    assert last(marked) == ("marker results corrected", "ms2.csv")
    with marked._place.database.reading() as reader:
        old = reader.record(done.supersedes or "")
        new = reader.record(done.record)
    assert old is not None and new is not None
    assert dict(new.parents)["corrects"] == old.id
    assert new.settings["reason"] == "misread"  # type: ignore[index, call-overload]
    again = marked.add_markers(("ms2.csv", better), corrects="ms2.csv", reason="misread")
    assert again.new is False
    assert marked.verify().sound


@pytest.mark.parametrize(
    ("data", "corrects", "reason", "words"),
    [
        (csv(*FIRST), "ms.csv", None, "a correction without a reason"),
        (csv(*FIRST), None, "misread", "a reason without a correction"),
        (csv(*FIRST), "nothing.csv", "misread", "no file 'nothing.csv'"),
        (csv(*FIRST), "ms.csv", "misread", "says already"),
        (csv(HEAD, "W1,thiocyanate,LC-MS/MS,ug/L,5,0.6,"), None, None, "recorded already with other content"),
        (csv(HEAD, "W9,thiocyanate,LC-MS/MS,mg/L,5,0.6,"), None, None, "'mg/L' for thiocyanate by LC-MS/MS"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_stores_nothing(
    marked: Logbook, data: bytes, corrects: str | None, reason: str | None, words: str
) -> None:
    before = values(marked)
    with pytest.raises(Refused, match=words):
        marked.add_markers(("x.csv", data), corrects, reason)
    assert values(marked) == before
    checked = marked.check_markers(("x.csv", data), corrects, reason)
    assert not checked.sound
    assert any(words.replace("'", "") in finding.sentence.replace("'", "") for finding in checked.findings)


def test_a_corrected_unit_is_no_fault_of_the_correction(marked: Logbook) -> None:
    marked.add_markers(("ms.csv", csv(*(line.replace("ug/L", "nM") for line in FIRST))), "ms.csv", "unit was wrong")
    assert {row.unit for row in marked.marker_results()} == {"nM"}


def test_a_sample_that_nothing_names_is_a_remark_and_not_refused(marked: Logbook) -> None:
    taken = marked.add_markers(
        ("hplc.csv", csv(HEAD, "W11,thiocyanate,HPLC,ug/L,4,1,", "BW,thiocyanate,HPLC,ug/L,4,1,"))
    )
    assert taken.rows == 2
    (warning,) = taken.warnings
    assert "'W11' is on no run sheet and in no tank record yet" in warning
    assert "did you mean" in warning


def test_checking_tells_every_fault_and_what_would_be_new(marked: Logbook) -> None:
    data = csv(HEAD, "W1,thiocyanate,HPLC,ug/L,,,", "W3,,HPLC,ug/L,x,1,")
    checked = marked.check_markers(("hplc.csv", data))
    assert [(one.row, one.column) for one in checked.findings] == [(2, "value"), (3, "marker"), (3, "value")]
    sound = marked.check_markers(("ms.csv", csv(*FIRST, MORE)))
    assert (sound.sound, sound.rows, sound.new) == (True, 3, 1)
    assert values(marked) == {"W1": 4.2, "W3": None}


def test_a_file_on_the_disk_is_read_beside_its_name(marked: Logbook, tmp_path: Path) -> None:
    (tmp_path / "more.csv").write_bytes(csv(HEAD, MORE))
    assert marked.add_markers(tmp_path / "more.csv").title == "more.csv"
    with pytest.raises(Refused, match="no file"):
        marked.add_markers(tmp_path / "none.csv")

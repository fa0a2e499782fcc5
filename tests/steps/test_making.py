"""Recording a making, correcting it, setting electrodes aside; and what that says of each electrode."""

from __future__ import annotations

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.errors import Refused
from season import BLANK, Season, sample, standard


def values(batch: str = "B1", count: int = 4, **more: object) -> dict[str, object]:
    return {"batch": batch, "made_on": "2031-04-20", "electrode_count": count, **more}


def states(book: Logbook, batch: str) -> dict[str, str]:
    return {one.electrode: one.state for one in book.batch(batch).electrodes}


def test_a_making_is_kept_with_its_electrodes_ready_and_the_logbook_stays_sound(book: Logbook) -> None:
    recorded = book.record_making(values(factors={"thickness_um": 8.2}, positions={"B1-2": "left"}))
    assert recorded.new
    batch = book.batch("B1")
    assert batch.making is not None
    assert batch.making.factors == (("thickness_um", 8.2),)
    assert states(book, "B1") == dict.fromkeys(("B1-1", "B1-2", "B1-3", "B1-4"), "ready")
    assert [one.position for one in batch.electrodes] == [None, "left", None, None]
    assert book.audit()[-1].action == "making recorded"
    report = book.verify()
    assert (report.sound, report.records) == (True, 1)


def test_the_same_making_again_changes_nothing(book: Logbook) -> None:
    first = book.record_making(values())
    dump = book._place.database.logical_dump()
    again = book.record_making(values())
    assert (again.new, again.id) == (False, first.id)
    assert book._place.database.logical_dump() == dump


def test_a_correction_is_a_new_record_with_a_reason_and_the_old_stays(book: Logbook) -> None:
    first = book.record_making(values(factors={"peak_C": 500}))
    second = book.record_making(values(factors={"peak_C": 450}), corrects="B1", reason="oven was set to 450")
    third = book.record_making(values(factors={"peak_C": 500}), corrects="B1", reason="no, it was 500")
    assert second.supersedes == first.id
    assert third.supersedes == second.id
    batch = book.batch("B1")
    assert batch.id == third.id
    assert [(one.id, one.reason) for one in batch.earlier] == [
        (second.id, "no, it was 500"),
        (first.id, "oven was set to 450"),
    ]
    assert [dict(one.making.factors)["peak_C"] for one in batch.earlier] == [450.0, 500.0]
    assert book.verify().sound


def test_a_batch_can_get_its_right_name(book: Logbook) -> None:
    book.record_making(values("B1"))
    book.record_making(values("B7", electrodes=["B1-1"], electrode_count=None), corrects="B1", reason="was B7")
    assert [batch.name for batch in book.batches()] == ["B7"]


def test_sheets_and_makings_are_joined_and_electrodes_of_sheets_alone_count_too(book: Logbook, season: Season) -> None:
    book.record_making(values("B1", 6))
    book.add(season.batch("B1", [BLANK, standard(2.0), sample("S1", 1.0)]))
    book.add(season.batch("B2", [BLANK, standard(2.0)], day=2))
    one, two = sorted(book.batches(), key=lambda batch: batch.name)
    assert [electrode.state for electrode in one.electrodes] == ["spent"] * 3 + ["ready"] * 3
    assert [electrode.used_for for electrode in one.electrodes[:3]] == ["blank", "standard 2", "sample S1"]
    assert one.electrodes[0].sheet == "B1.csv"
    assert two.making is None
    assert [(electrode.made, electrode.state) for electrode in two.electrodes] == [(False, "spent")] * 2
    assert one.to_dict()["counts"] == {"ready": 3, "laid out": 0, "spent": 3, "set aside": 0}


def test_a_making_may_come_after_the_sheet_of_its_batch(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", [BLANK, standard(2.0)]))
    book.record_making(values("B1", 3))
    assert list(states(book, "B1").values()) == ["spent", "spent", "ready"]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (values("B1", 5), "whose making is recorded already"),
        (values("B9", electrodes=["B1-2"], electrode_count=None), "'B1-2' of batch 'B1'"),
        (values("B9", electrodes=["b1-2"], electrode_count=None), "only in capital letters"),
        (values("B9", electrodes=["B2-1"], electrode_count=None), "'B2-1' of batch 'B2'"),
    ],
)
def test_a_name_means_one_electrode_of_one_batch(
    book: Logbook, season: Season, said: dict[str, object], words: str
) -> None:
    book.record_making(values("B1"))
    book.add(season.batch("B2", [BLANK]))
    before = book._place.database.logical_dump()
    with pytest.raises(Refused, match=words):
        book.record_making(said)
    assert [one.sentence for one in book.making_findings(said) if words in one.sentence]
    assert book._place.database.logical_dump() == before


@pytest.mark.parametrize(
    ("corrects", "reason", "words"),
    [
        ("B1", None, "a correction without a reason"),
        ("B1", " ", "a correction without a reason"),
        (None, "why", "a reason without a correction"),
        ("B7", "why", "no making of a batch 'B7' to correct"),
        ("B2", "why", "which has a making of its own"),
        ("B1", "x" * 2001, "at most 2,000"),
    ],
)
def test_a_correction_that_cannot_be_meant_is_refused(
    book: Logbook, corrects: str | None, reason: str | None, words: str
) -> None:
    book.record_making(values("B1"))
    book.record_making(values("B2"))
    with pytest.raises(Refused, match=words):
        book.record_making(values("B1", 5), corrects=corrects, reason=reason)


def test_an_electrode_is_set_aside_and_taken_back_each_by_a_record(book: Logbook) -> None:
    book.record_making(values())
    assert book.set_aside("B1-2", "film  lifted\n").reason == "film lifted"
    assert states(book, "B1")["B1-2"] == "set aside"
    assert book.set_aside("B1-2", "mistaken", back=True).state == "ready"
    assert book.set_aside("B1-2", "film lifted").state == "set aside"
    actions = [entry.action for entry in book.audit()[-3:]]
    assert actions == ["electrode set aside", "electrode taken back", "electrode set aside"]
    report = book.verify()
    assert (report.sound, report.records) == (True, 4)


def test_what_cannot_be_set_aside_is_refused(book: Logbook, season: Season) -> None:
    book.record_making(values())
    book.add(season.batch("B1", [BLANK]))
    cases = {
        ("B1-1", "lifted", False): "was spent on blank in B1.csv",
        ("B1-9", "lifted", False): "did you mean",
        ("Z", "lifted", False): "no electrode 'Z'",
        ("B1-2", "", False): "say why",
        ("B1-2", "back", True): "which is not set aside",
    }
    for (electrode, reason, back), words in cases.items():
        with pytest.raises(Refused, match=words):
            book.set_aside(electrode, reason, back)
    book.set_aside("B1-2", "lifted")
    with pytest.raises(Refused, match="set aside already: lifted"):
        book.set_aside("B1-2", "again")


def test_an_unknown_batch_is_refused_with_the_nearest_name(book: Logbook) -> None:
    book.record_making(values("Harbour-1"))
    with pytest.raises(Refused, match="did you mean 'Harbour-1'"):
        book.batch("Harbor-1")

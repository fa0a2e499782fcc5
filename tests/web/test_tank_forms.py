"""Tank records by the pages: tables looked through and taken in, single happenings, first rows; refused in words."""

from __future__ import annotations

import re
from typing import Any

import pytest

from brinemark.terms.tanks import COLUMNS, HAPPENINGS
from web.fish_records import happening, quay, take_in, upload
from web.web_bench import Bench

FIRST = {
    "consignment": "K7",
    "catch.at": "2031-04-01T06:00",
    "catch.fish": "wrasse",
    "catch.count": "4",
    "catch.mass_g": "12,5",
    "filled.at": "2031-04-02T08:00",
    "filled.tank": "A",
    "filled.volume_L": "40",
    "in.at": "2031-04-02T09:00",
    "in.carried_L": "0,2",
}


@pytest.fixture
def quayside(bench: Bench) -> Bench:
    take_in(bench, quay())
    return bench


def rows_of(bench: Bench, name: str) -> list[str]:
    return [row.what for one in bench.desk.book.consignments() if one.name == name for row in one.rows]


def test_a_table_comes_in_and_its_page_opens(bench: Bench) -> None:
    answer = upload(bench, quay(), do="take")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/consignments/K1?said=")
    assert "13 rows of record.csv recorded." in bench.client.get(answer.headers["location"]).text
    again = upload(bench, quay(), do="take")
    assert "nothing changed" in bench.client.get(again.headers["location"]).text


def test_a_table_can_be_looked_through_first_and_then_taken_in_without_choosing_it_again(bench: Bench) -> None:
    before = bench.desk.book.audit_head()
    looked = upload(bench, quay(), do="look")
    assert looked.status_code == 200
    assert "nothing wrong" in looked.text
    assert bench.desk.book.audit_head() == before
    carried = re.search(r'name="carried" value="([^"]+)"', looked.text)
    assert carried is not None
    taken: Any = bench.send("/tank-records", carried=carried[1], called="record.csv", do="take")
    assert taken.status_code == 303
    assert len(rows_of(bench, "K1")) == 13


def test_every_fault_of_a_table_is_told_row_by_row_and_nothing_stored(bench: Bench) -> None:
    rows = quay()
    rows[0]["mass_g"] = "0"  # row 2
    rows[2]["volume_L"] = "-4"  # row 4
    rows.append(happening("K1", "sample", "02T08:30", tank="B", sample="early"))  # before its fish went in
    rows.append(happening("K1", "in", "02T09:30", tank="Z", fish="tang"))  # a tank that was never filled
    before = bench.desk.book.audit_head()
    answer = upload(bench, rows, do="take")
    assert answer.status_code == 422
    table = re.findall(r'<tr><td class="n">(\d+)</td><td>(\w*)</td>', answer.text)
    assert ("2", "mass_g") in table
    assert ("4", "volume_L") in table
    assert {row for row, _ in table} >= {"2", "4", "16"}
    assert "Take it in</button>" not in answer.text
    assert bench.desk.book.audit_head() == before


@pytest.mark.parametrize("body", [b"", b"not,a,record\n1,2,3\n", b"\x00\xff\x00", b"consignment,at,what\n"])
def test_what_is_no_tank_record_is_refused_in_words(bench: Bench, body: bytes) -> None:
    answer = upload(bench, body, do="take")
    assert answer.status_code == 422
    assert "nothing was stored" in answer.text


def test_a_form_without_a_table_or_with_a_spoilt_one_is_refused(bench: Bench) -> None:
    none: Any = bench.send("/tank-records", do="take")
    spoilt: Any = bench.send("/tank-records", do="take", carried="!!")
    assert none.status_code == spoilt.status_code == 422
    assert "choose the table" in none.text
    assert "choose it again" in spoilt.text


def test_an_empty_table_has_every_column_and_what_is_recorded_comes_back_the_same(quayside: Bench) -> None:
    empty = quayside.client.get("/tank-records/empty.csv")
    assert empty.text.strip().split(",") == list(COLUMNS)
    assert "attachment" in empty.headers["content-disposition"]
    for language in ("en", "de"):
        given = quayside.client.get("/tank-records/of/K1.csv", headers={"accept-language": language})
        again = upload(quayside, given.content, do="take")
        assert "nothing changed" in quayside.client.get(again.headers["location"]).text
    assert quayside.client.get("/tank-records/of/K9.csv").status_code == 404


def test_a_correction_replaces_every_row_and_needs_its_reason(quayside: Bench) -> None:
    rows = [row | {"volume_L": "5"} if row.get("volume_L") == "4" else row for row in quay()]
    refused = upload(quayside, rows, do="take", corrects="K1")
    assert refused.status_code == 422
    done = upload(quayside, rows, do="take", corrects="K1", reason="the scale was misread")
    assert done.status_code == 303
    (one,) = quayside.desk.book.consignments()
    assert [row.volume_L for row in one.of("filled") if row.tank == "A"] == [5.0]


def test_every_kind_has_a_form_with_its_own_fields_alone(quayside: Bench) -> None:
    kinds = quayside.client.get("/happening?consignment=K1&tank=A").text
    for what in HAPPENINGS:
        assert f"what={what}" in kinds
        form = quayside.client.get(f"/happening?consignment=K1&tank=A&what={what}")
        assert form.status_code == 200
    sample = quayside.client.get("/happening?consignment=K1&tank=A&what=sample").text
    assert 'name="smoker"' in sample
    assert 'name="mass_g"' not in sample
    assert re.search(r'name="tank"[^>]* value="A"', sample)
    assert quayside.client.get("/happening?what=eaten").status_code == 404


def test_a_happening_is_added_to_its_tank(quayside: Bench) -> None:
    address = "/happening?consignment=K1&tank=A&what=renewed"
    done: Any = quayside.send(
        address, what="renewed", consignment="K1", tank="A", at="2031-04-03T12:00", share="0,5", substance=""
    )
    assert done.status_code == 303
    assert done.headers["location"].startswith("/consignments/K1/tanks/A?said=")
    assert "Share that was replaced: 0.5" in quayside.client.get(done.headers["location"]).text
    assert rows_of(quayside, "K1").count("renewed") == 2
    again: Any = quayside.send(address, what="renewed", consignment="K1", tank="A", at="2031-04-03T12:00", share="0.5")
    assert "nothing changed" in quayside.client.get(again.headers["location"]).text


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"what": "renewed", "share": "5"}, "share"),
        ({"what": "renewed", "share": "half"}, "share"),
        ({"what": "renewed", "share": ""}, "share"),
        ({"what": "renewed", "share": "0.5", "tank": "Z"}, "Z"),
        ({"what": "renewed", "share": "0.5", "at": "soon"}, "soon"),
        ({"what": "renewed", "share": "0.5", "at": ""}, "at"),
        ({"what": "volume", "volume_L": "-3"}, "volume_L"),
        ({"what": "sample", "sample": "early", "at": "2031-04-02T08:30"}, "early"),
        ({"what": "out", "fish": "wrasse", "count": "9"}, "count"),
        ({"what": "in", "fish": "nobody"}, "nobody"),
        ({"what": "eaten"}, "eaten"),
        ({"what": ""}, "what"),
    ],
)
def test_a_happening_that_cannot_be_is_refused_with_what_was_typed(
    quayside: Bench, fields: dict[str, str], told: str
) -> None:
    before = quayside.desk.book.audit_head()
    sent = {"consignment": "K1", "tank": "A", "at": "2031-04-03T12:00", "place": "quay <i>", **fields}
    answer: Any = quayside.send("/happening?consignment=K1&tank=A", **sent)
    assert answer.status_code == 422
    assert told in answer.text
    assert "nothing was stored" in answer.text
    if fields["what"] in HAPPENINGS:
        assert 'value="quay &lt;i&gt;"' in answer.text
    assert quayside.desk.book.audit_head() == before


def test_the_first_rows_of_a_consignment_come_from_one_form(bench: Bench) -> None:
    assert bench.client.get("/new-consignment").status_code == 200
    done: Any = bench.send("/new-consignment", **FIRST)
    assert done.status_code == 303
    (one,) = bench.desk.book.consignments()
    assert [row.what for row in one.rows] == ["catch", "filled", "in"]
    assert (one.rows[0].mass_g, one.rows[2].carried_L, one.rows[2].fish, one.tanks) == (12.5, 0.2, "wrasse", ("A",))
    page = bench.client.get(done.headers["location"])
    assert "4 wrasse" in page.text
    again: Any = bench.send("/new-consignment", **FIRST)
    assert again.status_code == 422
    assert "a new name" in again.text


def test_fish_alone_make_a_consignment_too(bench: Bench) -> None:
    done: Any = bench.send("/new-consignment", **{key: FIRST[key] for key in FIRST if not key.startswith(("fi", "in"))})
    assert done.status_code == 303
    assert rows_of(bench, "K7") == ["catch"]
    assert "No tank of this consignment" in bench.client.get("/consignments/K7").text


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"catch.mass_g": "0"}, "catch.mass_g"),
        ({"catch.count": "2.5"}, "catch.count"),
        ({"catch.fish": ""}, "catch.fish"),
        ({"filled.volume_L": ""}, "filled.volume_L"),
        ({"filled.tank": ""}, "filled.tank"),
        ({"in.at": "2031-03-01T09:00"}, "in.at"),
        ({"consignment": ""}, "consignment"),
        ({"catch.at": "2031-13-45T99:00"}, "catch.at"),
    ],
)
def test_faults_of_the_first_rows_stand_at_their_fields(bench: Bench, change: dict[str, str], field: str) -> None:
    before = bench.desk.book.audit_head()
    answer: Any = bench.send("/new-consignment", **{**FIRST, **change})
    assert answer.status_code == 422
    assert f'id="fault-{field}"' in answer.text
    assert 'value="0,2"' in answer.text
    assert bench.desk.book.audit_head() == before

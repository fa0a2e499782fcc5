"""Batches by the pages: a new one, its correction, electrodes set aside, labels."""

from __future__ import annotations

from typing import Any

from web.web_bench import Bench

MAKING = {
    "batch": "B7",
    "made_on": "2031-05-02",
    "electrode_count": "5",
    "maker": "Maker <b>",
    "factors.peak_C": "450,5",
}


def test_a_batch_is_recorded_and_shown_as_it_was_typed(bench: Bench) -> None:
    answer: Any = bench.send("/batch-making", **MAKING, further="humidity = 41,5\nmood = calm")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/batches/B7?said=")
    made = bench.desk.book.batch("B7")
    assert [one.electrode for one in made.electrodes] == [f"B7-{n}" for n in range(1, 6)]
    assert made.making is not None
    assert dict(made.making.factors) == {"peak_C": 450.5}
    assert dict(made.making.further) == {"humidity": 41.5, "mood": "calm"}
    page = bench.client.get(answer.headers["location"]).text
    assert "Recorded." in page
    assert "Maker &lt;b&gt;" in page
    assert "Recorded." not in bench.client.get(answer.headers["location"]).text  # said once
    assert "450.5" in page


def test_every_fault_stands_beside_its_field_and_what_was_typed_stays(bench: Bench) -> None:
    before = bench.desk.book.audit_head()
    answer: Any = bench.send(
        "/batch-making", **(MAKING | {"made_on": "soon", "factors.peak_C": "9000", "note": "a <i>"})
    )
    assert answer.status_code == 422
    assert answer.text.count('class="fault"') == 2
    assert 'value="9000"' in answer.text
    assert "a &lt;i&gt;" in answer.text
    assert bench.desk.book.audit_head() == before


def test_a_correction_needs_a_reason_and_keeps_what_was_said_before(bench: Bench) -> None:
    bench.send("/batch-making", **MAKING)
    form = bench.client.get("/batch-making?corrects=B7").text
    assert 'value="450.5"' in form
    changed = {key: value for key, value in MAKING.items() if key != "electrode_count"} | {"maker": "Someone"}
    changed["electrodes"] = "\n".join(f"B7-{n}" for n in range(1, 6))
    refused: Any = bench.send("/batch-making?corrects=B7", **changed)
    assert refused.status_code == 422
    done: Any = bench.send("/batch-making?corrects=B7", **changed, reason="misheard")
    assert done.status_code == 303
    page = bench.client.get("/batches/B7").text
    assert "corrected, since misheard" in page


def test_an_electrode_is_set_aside_and_taken_back_by_the_page(bench: Bench) -> None:
    bench.send("/batch-making", **MAKING)
    bench.send("/batches/B7", electrode="B7-2", reason="film lifted")
    assert "set aside: film lifted" in bench.client.get("/batches/B7").text
    assert "B7-2" in bench.client.get("/labels/B7").text
    bench.send("/batches/B7", electrode="B7-2", reason="only dust", back="yes")
    assert bench.desk.book.batch("B7").count("ready") == 5
    refused: Any = bench.send("/batches/B5", electrode="B5-3", reason="no")
    assert refused.status_code == 422


def test_labels_hold_a_code_for_each_unused_electrode(bench: Bench) -> None:
    bench.send("/batch-making", **MAKING)
    page = bench.client.get("/labels/B7").text
    assert page.count("/pictures/code.svg?text=B7-") == 5
    assert bench.client.get("/labels/B5").status_code == 404


def test_an_electrode_that_was_not_used_yet_shows_its_making_and_its_state(bench: Bench) -> None:
    bench.send("/batch-making", **MAKING, positions="B7-2 = edge")
    page = bench.client.get("/electrodes/B7-2").text
    assert "made on 2031-05-02 by Maker &lt;b&gt;, lay at edge" in page
    assert "Its state: ready." in page
    assert 'href="/lay-out?batch=B7"' in page
    assert "No run sheet names it yet." in page
    assert "<table" not in page
    assert 'href="/electrodes/B7-2"' in bench.client.get("/batches/B7").text
    bench.send("/batches/B7", electrode="B7-2", reason="film lifted")
    data = bench.client.get("/electrodes/B7-2", headers={"accept": "application/json"}).json()
    assert (data["made"]["state"], data["made"]["lay_out"], data["rows"]) == ("set aside", "", [])
    assert bench.client.get("/electrodes/B7-9").status_code == 404


def test_a_used_electrode_says_what_it_was_spent_on_and_offers_no_run(bench: Bench) -> None:
    data = bench.client.get("/electrodes/B5-3", headers={"accept": "application/json"}).json()
    assert data["made"]["state"] == "spent"
    assert data["made"]["lay_out"] == ""
    assert len(data["rows"]) == 1


def test_pre_scans_of_a_batch_lie_over_one_another_where_there_are_any(bench: Bench) -> None:
    data = bench.client.get("/batches/B5", headers={"accept": "application/json"}).json()
    assert data["prescans"] == "/pictures/overlay.svg?batch=B5&prescans=only"
    drawn = bench.client.get(data["prescans"])
    assert drawn.status_code == 200
    assert drawn.content.startswith(b"<svg")
    chosen = bench.client.get(data["curves"], headers={"accept": "application/json"}).json()
    assert chosen["choice"]["batch"] == "B5"
    assert all(one["prescan"] for one in chosen["curves"])
    assert len(chosen["curves"]) == len(data["electrodes"])
    without = bench.client.get("/batches/B6", headers={"accept": "application/json"}).json()
    assert (without["prescans"], without["curves"]) == ("", "")

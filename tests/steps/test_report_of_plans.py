"""Reports of a run that was laid out under codes, and of batches whose making was recorded."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from bench import Bench, Cells
from brinemark.logbook import Logbook

from .test_lay_out import TRUTH, laid_out
from .test_report import SCHEMA, attached, text_of

MAKING = {
    "batch": "L1",
    "made_on": "2031-05-29",
    "electrode_count": 8,
    "recipe": "paste 1.5",
    "factors": {"particle_nm": 22.5, "dwell_min": 30},
    "note": "oven door was slow",
}


def first_two_changed(rows: list[Cells]) -> list[Cells]:
    """The first two electrodes change places, which a plan calls a departure."""
    first, second = list(dict.fromkeys(row["electrode"] for row in rows))[:2]
    mine = [row for row in rows if row["electrode"] == first]
    other = [row for row in rows if row["electrode"] == second]
    changed = [*other, *mine, *(row for row in rows if row["electrode"] not in (first, second))]
    for row, at in zip(changed, sorted(one["measured_at"] for one in rows), strict=True):
        row["measured_at"] = at
    return changed


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("planned")
    Logbook.create(root / "book").close()
    with Logbook.open(root / "book") as book:
        book.record_making(MAKING)
        plan = laid_out(book)
        book.add(Bench(root / "sheets", TRUTH).read(plan, first_two_changed))
        book.calibrate()
        book.read()
    return root / "book"


def test_a_sample_has_its_code_and_its_own_name_and_no_other_code_is_told(measured: Path) -> None:
    with Logbook.open(measured) as book:
        codes = {name: code for code, name in book.sample_names().items()}
        made = book.report("samples", codes["Tank 1"])
        plan = book.run_plans()[0]
    said, data = text_of(made.pdf), attached(made.pdf)["data"]
    assert f"Thiocyanate in {codes['Tank 1']} (Tank 1)" in said
    assert f"{codes['Tank 1']} (Tank 1): thiocyanate" in said
    assert "Tank 2" not in said
    assert "Tank 2" not in json.dumps(data)
    assert data["plans"][0]["key"] == {codes["Tank 1"]: "Tank 1"}
    assert ("run plan", plan.id) in made.made_from
    jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(attached(made.pdf))


def test_the_plan_of_the_run_is_told_with_its_seed_and_every_departure(measured: Path) -> None:
    with Logbook.open(measured) as book:
        plan = book.run_plans()[0]
        said = text_of(book.report("samples").pdf)
    assert "Run plan run 14 drew by lot" in said
    assert "(seed 5)" in said
    assert plan.departures
    for one in plan.departures:
        assert f"Departure: {one.sentence}." in said


def test_a_batch_is_told_with_its_making_and_the_electrodes_that_are_left(measured: Path) -> None:
    with Logbook.open(measured) as book:
        made = book.report("batch", "L1", decimal="comma")
        other = text_of(book.report("batch", "L2").pdf)
        left = [one.electrode for one in book.batch("L1").electrodes if one.state == "ready"]
    said = text_of(made.pdf)
    for part in ("Recipe paste 1.5", "Size of the paste's particles 22,5 nm", "30 min", "oven door was slow"):
        assert part in said
    assert left
    for electrode in left:
        assert f"{electrode} (ready)" in said
    assert "Made on 2031-05-30" in other
    jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(attached(made.pdf))


def test_a_batch_without_a_making_says_so(tmp_path: Path) -> None:
    from .test_report import small_logbook

    small_logbook(tmp_path / "book")
    with Logbook.open(tmp_path / "book") as book:
        assert "Its making was not recorded" in text_of(book.report("batch", "S1").pdf)

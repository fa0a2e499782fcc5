"""Plans that are kept: the same when opened again, listed, named by title or id, carried out by a run."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace

import pytest

from brinemark.logbook import Logbook
from brinemark.science.planning.figures import Figure
from brinemark.steps.fish_answers import finite
from brinemark.steps.kept_plans import keep_batch_plan
from brinemark.steps.plan_batch_answers import BatchPlanned
from brinemark.steps.revive import revive
from brinemark.terms.errors import Refused

from .test_plan_sample import state
from .test_read_step import valid

FISH = {"fish": 60, "prevalence": 0.05, "seed": 1, "pool": {"level": 2, "minimum": 0.5}, "hold": {"minimum": 0.5}}
MADE = {"batch": "B6", "made_on": "2031-05-02", "electrode_count": 5}


@pytest.fixture
def planned(calibrated: Logbook) -> BatchPlanned:
    return calibrated.plan_batch(5, levels=[1.0])


def test_a_plan_for_a_batch_is_the_same_when_it_is_opened_again(calibrated: Logbook, planned: BatchPlanned) -> None:
    kept = calibrated.keep_batch_plan(planned, "six of June")
    assert kept.new
    again = calibrated.batch_plan("six of June")
    assert (again.answer, again.title, again.id) == (planned, "six of June", kept.id)
    assert calibrated.batch_plan(kept.id[:8]).id == kept.id
    valid("plan-batch", again.to_dict())
    (head,) = valid("batch-plans", {"schema": 1, "plans": [one.head() for one in calibrated.batch_plans()]})["plans"]
    assert (head["electrodes"], head["burned"]) == (5, len(planned.plans[0].plan.burned))


def test_the_same_plan_is_kept_once_and_another_beside_it(calibrated: Logbook, planned: BatchPlanned) -> None:
    first = calibrated.keep_batch_plan(planned, "one")
    before = state(calibrated)
    again = calibrated.keep_batch_plan(planned, "two")
    assert (again.id, again.new, again.title) == (first.id, False, "one")
    assert state(calibrated) == before
    other = calibrated.keep_batch_plan(replace(planned, electrodes=6), "one")
    assert [one.id for one in calibrated.batch_plans()] == [first.id, other.id]
    with pytest.raises(Refused, match=r"2 plans for a batch 'one'.*name it by its id"):
        calibrated.batch_plan("one")


def test_kept_plans_are_records_made_from_their_calibration_that_the_check_reads(
    calibrated: Logbook, planned: BatchPlanned
) -> None:
    kept = calibrated.keep_batch_plan(planned)
    assert kept.title == "5 electrodes"
    assert calibrated.record(kept.id).parents == (("calibration", planned.calibration),)
    fewer = calibrated.verify().records
    calibrated.plan_fish(("quay", FISH))
    report = calibrated.verify()
    assert (report.sound, report.records) == (True, fewer + 1), report.faults


def test_a_plan_for_fish_is_the_same_when_it_is_opened_again(calibrated: Logbook) -> None:
    made = calibrated.plan_fish(("quay", FISH))
    again = calibrated.fish_plan("quay")
    assert (again.plan, again.page(), again.new) == (made.plan, made.page(), False)
    assert valid("plan-fish", again.to_dict()) == {**made.to_dict(), "new": False}
    assert [one.id for one in calibrated.fish_plans()] == [made.id]
    assert calibrated.fish_plans()[0].made_at


def test_an_open_interval_stays_open(calibrated: Logbook, planned: BatchPlanned) -> None:
    best = planned.plans[0]
    open_fold = replace(best, figures=replace(best.figures, fold=(Figure(math.inf, math.inf),)))
    answer = replace(planned, plans=(open_fold,))
    assert calibrated.keep_batch_plan(answer).answer == answer


def test_what_came_later_than_the_record_has_its_default(planned: BatchPlanned) -> None:
    plain = json.loads(json.dumps(finite(asdict(planned))))
    del plain["currency"], plain["reason"]
    assert revive(BatchPlanned, plain) == planned


@pytest.mark.parametrize(("name", "came"), [("six of july", "did you mean 'six of June'"), ("000", "0 plans")])
def test_an_unknown_plan_is_refused(calibrated: Logbook, planned: BatchPlanned, name: str, came: str) -> None:
    calibrated.keep_batch_plan(planned, "six of June")
    with pytest.raises(Refused, match=came):
        calibrated.batch_plan(name)
    with pytest.raises(Refused, match="see fish-plans"):
        calibrated.fish_plan("quay")


def test_what_is_no_plan_is_not_kept(calibrated: Logbook, planned: BatchPlanned) -> None:
    before = state(calibrated)
    with pytest.raises(Refused, match="a wish without a plan"):
        keep_batch_plan(calibrated._place, replace(planned, plans=(), reason="it takes 2"), "")
    with pytest.raises(Refused, match="a title of 81 letters"):
        calibrated.keep_batch_plan(planned, "x" * 81)
    assert state(calibrated) == before


def test_a_run_takes_from_its_plan_what_it_does_not_say_itself(calibrated: Logbook, planned: BatchPlanned) -> None:
    calibrated.record_making(MADE)
    kept = calibrated.keep_batch_plan(planned, "six of June")
    best = planned.plans[0].plan
    names = [f"tank {number}" for number in range(best.samples)]
    asked = {"plan": "six of June", "batches": ["B6"], "sample": [{"name": name} for name in names]}
    values = calibrated.planned_run(asked)
    laid = calibrated.lay_out(values, 1)
    burned = [row.level or 0.0 for row in laid.rows if row.role in ("blank", "standard")]
    assert sorted(burned) == sorted(one.level for one in best.burned)
    read = [laid.key[row.sample or ""] for row in laid.rows if row.role == "sample"]
    assert sorted(read) == sorted(names * best.use.electrodes)
    assert sorted(row.dilution or 0.0 for row in laid.rows if row.role == "sample") == sorted(
        list(best.use.dilutions) * best.samples
    )
    assert (laid.request.plan, laid.request.instrument) == (kept.id, planned.instrument)
    assert ("planned", kept.id) in calibrated.record(laid.id).parents
    assert calibrated.run_plan(laid.id).request == laid.request
    valid("lay-out", {**laid.to_dict(), "sheet_file": "run.csv"})


def test_what_a_run_says_itself_goes_before_its_plan(calibrated: Logbook, planned: BatchPlanned) -> None:
    calibrated.keep_batch_plan(planned, "six of June")
    own = {"plan": "six of June", "blanks": 2, "instrument": "other", "sample": [{"name": "A", "dilution": 7.0}]}
    values = calibrated.planned_run(own)
    assert (values["blanks"], values["instrument"], values["sample"]) == (2, "other", own["sample"])
    assert calibrated.planned_run({"blanks": 1}) == {"blanks": 1}


def test_a_run_of_a_plan_that_is_not_kept_is_refused(calibrated: Logbook) -> None:
    calibrated.record_making(MADE)
    with pytest.raises(Refused, match="0 plans for a batch 'six'"):
        calibrated.planned_run({"plan": "six"})
    with pytest.raises(Refused, match="as plan"):
        calibrated.planned_run({"plan": 6})
    before = state(calibrated)
    with pytest.raises(Refused, match="no plan for a batch"):
        calibrated.lay_out({"plan": "0" * 64, "batches": ["B6"], "instrument": "bench", "blanks": 2})
    assert state(calibrated) == before

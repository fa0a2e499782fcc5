"""The plan of a sample as a run to lay out: its dilutions, additions, cell and seawater, as the plan has them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from brinemark.logbook import Logbook
from brinemark.records.run_request import checked_request
from brinemark.steps.plan_sample_answers import PlannedSample
from brinemark.steps.planned_run import run_of_sample
from brinemark.terms.sample_plans import PlannedAddition, SampleWish

ADDED = (PlannedAddition(2.04567, False, "K1", 0.02), PlannedAddition(40.0, True))


@pytest.fixture
def planned(calibrated: Logbook) -> PlannedSample:
    return calibrated.plan_sample("W 7", SampleWish(electrodes=3, unread=True, cell_mL=10.0))


def test_a_run_reads_the_sample_in_every_dilution_that_the_plan_names(planned: PlannedSample) -> None:
    request = checked_request(run_of_sample(planned))
    dilutions = sorted(one.dilution for one in request.portions for _ in range(one.electrodes))
    assert dilutions == sorted(row.dilution for row in planned.chosen)
    assert {one.name for one in request.portions} == {"W 7"}
    assert (request.batches, request.instrument) == ((planned.batch,), planned.instrument)
    assert (request.volume_mL, request.prescan, request.matrix_lot) == (10.0, planned.prescan, None)


def test_one_electrode_of_a_dilution_that_is_named_twice_is_two_electrodes(planned: PlannedSample) -> None:
    assert planned.together is not None
    twice = replace(planned.together, dilutions=(5.0, 5.0, 20.0), ways=("read once",) * 3)
    found = run_of_sample(replace(planned, together=twice, lot="L1"))
    assert [(one["dilution"], one["electrodes"]) for one in found["sample"]] == [(5.0, 2), (20.0, 1)]
    assert found["matrix_lot"] == "L1"
    assert not {"addition", "closing_spike", "add_to"} & set(found)


def test_additions_and_spike_are_those_of_the_electrode_that_gets_most(planned: PlannedSample) -> None:
    rows = tuple(replace(row, additions=ADDED if row is planned.chosen[0] else ()) for row in planned.rows)
    found = run_of_sample(replace(planned, rows=rows))
    assert found["addition"] == [{"rise": 2.05, "stock": "K1"}]
    assert found["closing_spike"] == {"rise": 40.0}
    request = checked_request(found)
    assert [(one.rise, one.stock, one.spike) for one in request.additions] == [(2.05, "K1", False), (40.0, None, True)]
    assert request.add_to == ("sample",)

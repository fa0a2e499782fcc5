"""The list for the bench of a sample's next electrodes: every solution, step and addition of the plan stands on it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from brinemark.logbook import Logbook
from brinemark.steps.plan_sample_answers import PlannedSample
from brinemark.steps.plan_sample_bench import SampleBench
from brinemark.terms.sample_plans import PlannedAddition, SampleWish

STOCK = """
[stock.K1]
level = 1000
"""
SMALL = SampleWish(cell_mL=10.0)


@pytest.fixture
def planned(calibrated: Logbook) -> PlannedSample:
    calibrated.read()
    return calibrated.plan_sample("S-full", SMALL)


def test_each_solution_of_the_plan_is_made_and_the_last_fills_the_cell(planned: PlannedSample) -> None:
    bench = SampleBench.of(planned)
    steps = planned.prepare[0].steps
    assert len(bench.prepare) == len(steps) >= 1
    for text, step in zip(bench.prepare, steps, strict=True):
        assert f"{step.volume_mL:g} mL of {step.source} ({step.pipette.name})" in text
        assert f"into a {step.flask.volume_mL:g} mL flask" in text
    assert bench.prepare[-1].endswith("of this 10 mL")
    (electrode,) = bench.electrodes
    assert electrode.what == planned.best.words
    assert electrode.steps[0].startswith("pre-scan")
    assert f"{planned.best.dilution:g} times diluted" in electrode.steps[1]


def test_a_box_stands_before_every_solution_and_step_and_nothing_else(planned: PlannedSample) -> None:
    bench = SampleBench.of(planned)
    page = bench.page()
    assert page.count("[ ] ") == len(bench.prepare) + sum(len(one.steps) for one in bench.electrodes)
    assert "Thiocyanate and acid, oxidants: never together." in page
    for words in ("Name: ___", "Date, time: ___", "Initials: ___", "What ends it:"):
        assert words in page
    assert max(map(len, page.splitlines())) <= 96


def test_without_a_known_stock_the_volume_of_an_addition_is_left_to_write_in(planned: PlannedSample) -> None:
    row = next(row for row in planned.rows if row.way == "with an addition and a closing spike")
    assert [(one.stock, one.volume_mL, one.spike) for one in row.additions] == [(None, None, False), (None, None, True)]
    best = replace(planned, rows=(replace(row, best=True),))
    steps = SampleBench.of(best).electrodes[0].steps
    assert sum("volume ______" in text for text in steps) == 2


def test_an_addition_takes_a_stock_of_the_settings_and_its_volume_brings_the_rise(calibrated: Logbook) -> None:
    file = calibrated.path / "logbook.toml"
    calibrated.read()
    file.write_text(file.read_text(encoding="utf-8") + STOCK, encoding="utf-8")
    with Logbook.open(calibrated.path) as book:
        row = next(one for one in book.plan_sample("S-full", SMALL).rows if len(one.additions) == 2)
    added = row.additions[0]
    assert added.stock == "K1" and added.volume_mL is not None
    assert 1000.0 * added.volume_mL / (10.0 + added.volume_mL) == pytest.approx(added.rise, rel=5e-3)


def test_a_closing_spike_names_the_stock_and_volume_of_the_standards(planned: PlannedSample) -> None:
    spike = PlannedAddition(rise=100.0, spike=True, stock="K2", volume_mL=0.5)
    best = replace(planned, rows=(replace(planned.best, additions=(spike,)),))
    text = SampleBench.of(best).electrodes[0].steps[2]
    assert text.startswith("closing spike: 0.5 mL of stock K2, a rise of about 100 ug/L")
    assert "as standards are spiked" in text


def test_what_ends_it_follows_from_the_plan(planned: PlannedSample) -> None:
    ends = " ".join(SampleBench.of(planned).ends)
    assert "no further electrode is needed" not in ends
    assert "within a factor of 3" in ends
    assert "are left after" not in ends
    done = replace(planned, stop="the interval is as narrow as wanted", water_mL=60.0)
    ends = " ".join(SampleBench.of(done).ends)
    assert "no further electrode is needed, since the interval is as narrow as wanted" in ends
    assert f"{60.0 - done.best.sample_mL:g} mL of 60 mL are left after" in ends


def test_electrodes_that_are_read_together_stand_below_one_another(calibrated: Logbook) -> None:
    wish = SampleWish(electrodes=3, unread=True, cell_mL=10.0, read_once=True)
    planned = calibrated.plan_sample("S-new", wish)
    assert planned.together is not None
    bench = SampleBench.of(planned)
    assert [one.what for one in bench.electrodes] == planned.together.words.split("; ")
    assert bench.page().startswith("NEXT 3 ELECTRODES OF SAMPLE S-new")
    for dilution in set(planned.together.dilutions):
        begins = "the sample as it is" if dilution == 1.0 else f"{dilution:g} times, "
        assert any(text.startswith(begins) for text in bench.prepare)

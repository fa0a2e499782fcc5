"""Holds: the chance of detection is that of the logbook's own electrodes, and each world stands by itself."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.amount.limits import power_curve
from brinemark.science.amount.predictive import batch_draws
from brinemark.science.fish.forward import NO_CHOICE
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.tanks import Fish, History, Move, Tank
from brinemark.science.fish.worlds import (
    NOT_RELEASED,
    OWN,
    RELEASED,
    Drawing,
    draw_world,
    kinetics_of,
    published_worlds,
    with_parameters,
)
from brinemark.steps import holds as step
from brinemark.steps.kept_experiments import KeptExperiments
from brinemark.steps.look import stored_calibration
from brinemark.steps.water_power import WaterPower, best_protocol, water_power
from brinemark.terms.amounts import Limits
from brinemark.terms.errors import Refused

SAME_CURVE = 0.02  # relative; the curve is linear between rungs, limits are found on a smooth one


def power_at(book: Logbook, alpha: float) -> WaterPower:
    """The power with another alpha of consignments."""
    place = book._place
    fish = place.settings.fish.model_copy(update={"alpha": alpha})
    other = replace(place, settings=place.settings.model_copy(update={"fish": fish}))
    with other.database.reading() as reader:
        return water_power(other, reader)


def test_the_power_is_that_of_the_calibrations_limits(calibrated: Logbook) -> None:
    decision = calibrated.settings.decision
    power = power_at(calibrated, decision.alpha)  # the error that the stored limits were worked out with
    known = {(one.batch, one.protocol): one for one in stored_calibration(calibrated._place).limits}
    mine = known[power.batch, power.protocol]
    assert mine.minimum_detectable is not None
    assert power.minimum_ug_L == pytest.approx(mine.minimum_detectable, rel=SAME_CURVE)
    assert mine.critical_value is not None
    assert power.at(np.array([0.0, mine.critical_value])) == pytest.approx([decision.alpha, 0.5], abs=SAME_CURVE)
    assert np.all(np.diff(power.chance) >= 0.0)


def test_the_power_by_several_readings_passes_through_their_minimum_detectable_value(calibrated: Logbook) -> None:
    decision, made = calibrated.settings.decision, stored_calibration(calibrated._place)
    mine = next(one for one in made.limits if (one.batch, one.protocol) == ("B5", "with pre-scan"))
    one = made.calibration
    draws = batch_draws(one, one.readings, ["B5"], one.seed)
    levels, chance = power_curve(one, one.readings, mine, decision.alpha, draws)
    assert mine.minimum_detectable is not None
    assert np.interp(mine.minimum_detectable, levels, chance) == pytest.approx(1.0 - decision.beta, abs=SAME_CURVE)


def test_a_smaller_alpha_finds_less(calibrated: Logbook) -> None:
    strict, loose = calibrated.holds().power, power_at(calibrated, 0.05)
    assert strict.alpha == 0.01
    assert strict.minimum_ug_L is not None and loose.minimum_ug_L is not None
    assert strict.minimum_ug_L > loose.minimum_ug_L
    assert float(strict.at(np.array([0.3]))[0]) < float(loose.at(np.array([0.3]))[0])


def test_the_chance_of_a_hold_is_the_mean_over_the_levels_that_the_kinetics_give(calibrated: Logbook) -> None:
    answer = calibrated.holds(2, 8.0, days=[1.5], volumes_L=[2.0], hours=[18.0])
    world, drawing = published_worlds()[0], Drawing()
    drawn = draw_world(world, drawing)
    fish = Fish("two", 2, 0.008, drawn["absorbed_dose"])
    history = History((Tank("hold", 2.0, filled_d=1.5),), (fish,), (Move(1.5, "two", "hold"),))
    levels = follow(kinetics_of(drawn), history, np.array([1.5 + 18.0 / 24.0])).water_ug_L[:, 0, 0]
    (place,) = answer.worlds[0].places
    assert place.probability == pytest.approx(float(answer.power.at(levels).mean()), rel=1e-9)
    assert (place.days, place.volume_L, place.hours) == (1.5, 2.0, 18.0)


def test_without_release_no_hold_is_better_and_the_worlds_stay_apart(calibrated: Logbook) -> None:
    released, kept = calibrated.holds().worlds
    assert [one.probability for one in kept.places] == pytest.approx([kept.false_alarm] * len(kept.places))
    assert all((one.hours, one.reason) == (None, NO_CHOICE) for one in kept.best)
    early = next(one for one in released.best if (one.days, one.volume_L) == (0.25, 0.5))
    assert early.hours is not None and early.probability is not None
    assert early.probability == max(one.probability for one in released.places)


def test_own_controls_are_a_third_column_where_they_made_a_world(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = with_parameters(published_worlds()[0], name=OWN, words="as our own experiments show")
    monkeypatch.setattr(step, "newest_experiments", lambda reader: KeptExperiments("r", None, own))
    answer = calibrated.holds(days=[1.0], volumes_L=[1.0], hours=[24.0])
    assert [one.world for one in answer.worlds] == [RELEASED, NOT_RELEASED, OWN]
    assert answer.worlds[2].places == answer.worlds[0].places  # with the parameters of that world


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        ("0 fish", {"count": 0}),
        ("a fish of 0 g", {"mass_g": 0.0}),
        ("a fish of nan g", {"mass_g": math.nan}),
        ("a volume of -2 L", {"volumes_L": [-2.0]}),
        ("a volume of 0 L", {"volumes_L": [0.0]}),
        ("days of -1 d", {"days": [-1.0]}),
        ("a hold of 0 h", {"hours": [0.0]}),
        ("21 x 20 x 1 days", {"days": range(21), "volumes_L": range(1, 21), "hours": [1.0]}),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(calibrated: Logbook, words: str, changes: dict[str, object]) -> None:
    with pytest.raises(Refused, match=words) as refused:
        calibrated.holds(**changes)  # type: ignore[arg-type]
    assert "\n" not in str(refused.value)


def test_levels_in_another_unit_are_converted_or_refused(calibrated_folder: Path, tmp_path: Path) -> None:
    import shutil

    from brinemark.steps.in_unit import ug_per_L

    shutil.copytree(calibrated_folder, tmp_path / "book")
    with Logbook.open(tmp_path / "book") as book:
        settings = book.settings
    for unit, factor in (("ug/L", 1.0), ("ng/L", 1e-3), ("nmol/L", 0.058078), ("uM", 58.078)):
        other = settings.model_copy(update={"analyte": settings.analyte.model_copy(update={"level_unit": unit})})
        assert ug_per_L(other) == pytest.approx(factor, rel=1e-9)
    per_kg = settings.model_copy(update={"analyte": settings.analyte.model_copy(update={"level_unit": "nmol/kg"})})
    with pytest.raises(Refused, match="salinity and temperature"):
        ug_per_L(per_kg)
    sea = per_kg.conditions.model_copy(update={"salinity": 35.0, "temperature_C": 25.0})
    # 1.0233 kg/L: TEOS-10 at 35 and 25 degree Celsius, from memory.
    assert ug_per_L(per_kg.model_copy(update={"conditions": sea})) == pytest.approx(0.058078 * 1.0233, rel=1e-4)
    strange = settings.model_copy(update={"analyte": settings.analyte.model_copy(update={"name": "iodide"})})
    with pytest.raises(Refused, match="'iodide'"):
        ug_per_L(strange)


def test_the_protocol_is_the_one_whose_middle_batch_finds_least() -> None:
    one = Limits("B1", "bench", "single", 4, 1.0, 0.2, 0.8, None, None)
    lived = replace(one, protocol="with spike")
    limits = [
        *(replace(one, batch=f"B{n}", minimum_detectable=level) for n, level in ((1, 0.1), (2, 0.9), (3, None))),
        *(replace(lived, batch=f"B{n}", minimum_detectable=level) for n, level in ((1, 0.5), (2, 0.4), (3, 0.6))),
    ]
    chosen, count = best_protocol(limits)
    assert (chosen.protocol, chosen.batch, chosen.minimum_detectable, count) == ("with spike", "B1", 0.5, 3)

"""Trials: every tank of known fish is weighed as if its history were not known, then compared with it."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from brinemark.science.fish.proportions import clopper_pearson
from brinemark.steps.known_waters import system_water
from brinemark.steps.trials import FEWEST, trial_of
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals


def exposed(count: int) -> Consignment:
    """So many small tanks with two fish each, exposed a day before they came in; half of them lightly."""
    lines = []
    for number in range(1, count + 1):
        history = "heavy_exposure" if number % 2 else "light_exposure"
        lines += [
            f"2031-06-01T08:00 catch fish=x{number} count=2 mass_g=20 history={history}",
            f"2031-06-01T12:00 filled tank=X{number} volume_L=4 system=harbour",
            f"2031-06-01T13:00 in tank=X{number} fish=x{number}",
            f"2031-06-02T13:00 sample tank=X{number} sample=X-{number}",
        ]
    return consignment("trial", "\n".join(lines))


def test_rates_are_exact_and_by_history() -> None:
    signals = {**lognormal_signals(8, 0.02, 1.1), **{f"X-{n}": 6.0 if n % 2 else 0.02 for n in range(1, 7)}}
    answer = trial_of(desk([controls("harbour", 8), exposed(6)], signals))
    rates = dict(answer.rates)
    assert (rates["heavy exposure"].count, rates["heavy exposure"].of) == (3, 3)
    assert (rates["light exposure"].count, rates["light exposure"].of) == (0, 3)
    assert (rates["any exposure"].count, rates["any exposure"].of) == (3, 6)
    assert (answer.specificity.count, answer.specificity.of) == (8, 8)
    assert (answer.specificity.lower, answer.specificity.upper) == pytest.approx(clopper_pearson(8, 8, 0.95))


def test_a_control_is_weighed_against_a_background_that_does_not_know_it() -> None:
    signals = {**lognormal_signals(8, 0.6, 1.5), "X-1": 6.0, "X-2": 5.0}
    found = desk([controls("harbour", 8), exposed(2)], signals)
    every = found.consignments.values()
    whole = system_water("harbour", every, found.waters)
    without = system_water("harbour", every, found.waters, ("controls", "C8"))
    assert len(whole.waters) == 8 and len(without.waters) == 7
    assert "C-8" not in {one.sample for one in without.waters}
    judged = {one.tank: dict(one.ratios)["released"] for one in trial_of(found).tanks}
    ratios = [judged[f"C{n}"] for n in range(1, 9)]
    assert all(one is not None and math.isfinite(one) for one in ratios)


def test_a_world_without_release_is_useless_and_says_so() -> None:
    signals = {**lognormal_signals(8, 0.6, 1.5), **{f"X-{n}": 4.0 for n in range(1, 7)}}
    worlds = {one.world: one for one in trial_of(desk([controls("harbour", 8), exposed(6)], signals)).worlds}
    silent = worlds["not released"].result
    assert silent is not None
    assert silent.cost == pytest.approx(1.0) and silent.roc.area == pytest.approx(0.5)
    speaking = worlds["released"].result
    assert speaking is not None and speaking.cost < 0.8 and speaking.roc.area > 0.9


def test_a_line_needs_enough_tanks_of_both_kinds() -> None:
    def lines(count: int) -> list[bool]:
        signals = {**lognormal_signals(count, 0.6, 1.5), **{f"X-{n}": 4.0 for n in range(1, count + 1)}}
        found = trial_of(desk([controls("harbour", count), exposed(count)], signals))
        return [one.recalibration is not None for one in found.worlds]

    assert lines(FEWEST - 1) == [False, False]
    assert lines(FEWEST) == [True, False]  # a world whose ratios are all 1 has no line


def test_without_fish_of_known_history_a_trial_is_refused() -> None:
    with pytest.raises(Refused, match="no tank of fish whose history is known"):
        trial_of(desk([], {}))


def test_the_answer_is_json_without_infinities() -> None:
    signals = {**lognormal_signals(8, 0.6, 1.5), "X-1": 6.0, "X-2": 5.0}
    plain = trial_of(desk([controls("harbour", 8), exposed(2)], signals)).to_dict()
    json.dumps(plain, allow_nan=False)
    roc = plain["worlds"][0]["result"]["roc"]
    assert np.all(np.diff(roc["true_positive"]) >= 0.0)

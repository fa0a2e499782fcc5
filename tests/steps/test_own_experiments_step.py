"""Own experiments as tank records have them: what is used and what is left out, and the third world they make."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.fish.own_experiments import OwnFit, fit_experiments, own_world
from brinemark.science.fish.worlds import OWN, Drawing, World, draw_world
from brinemark.steps.interpret import FishDesk, considered
from brinemark.steps.kept_experiments import KeptExperiments, packed, unpacked
from brinemark.steps.kinetics_in_use import backgrounds, own_experiments, own_tanks
from brinemark.steps.trials import trial_of
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals

LOSS_PER_D = 1.0
HOURS = (2, 8, 14)
ASKED = """
2031-07-01T08:00 catch fish=wrasse count=2 mass_g=20
2031-07-02T08:00 filled tank=A volume_L=4 system=harbour
2031-07-02T09:00 in tank=A fish=wrasse
2031-07-03T09:00 sample tank=A sample=A-1
"""


def spiked(count: int) -> tuple[Consignment, dict[str, float]]:
    """Tanks of 20 L with 200 ug, which lose LOSS_PER_D, read at HOURS without error."""
    lines, signals = [], {}
    for number in range(count):
        lines += [
            f"2031-05-01T07:00 filled tank=S{number} volume_L=20 system=harbour",
            f"2031-05-01T08:00 spiked tank=S{number} amount_ug=200",
        ]
        for hours in HOURS:
            name = f"S{number}-{hours}"
            lines.append(f"2031-05-01T{8 + hours:02d}:00 sample tank=S{number} sample={name}")
            signals[name] = 10.0 * math.exp(-LOSS_PER_D * hours / 24.0)
    return consignment("spikes", "\n".join(lines)), signals


def exposed(count: int, system: str = "harbour") -> tuple[Consignment, dict[str, float]]:
    lines, signals = [], {}
    for number in range(count):
        lines += [
            f"2031-05-01T08:00 catch fish=x{number} count=3 mass_g=20 history=heavy_exposure",
            f"2031-05-01T09:00 filled tank=X{number} volume_L=4 system={system}",
            f"2031-05-01T10:00 in tank=X{number} fish=x{number}",
            f"2031-05-02T10:00 sample tank=X{number} sample=X{number}-{system}",
        ]
        signals[f"X{number}-{system}"] = 5.0
    return consignment(f"exposed {system}", "\n".join(lines)), signals


def laboratory(system: str = "harbour", tanks: int = 3) -> FishDesk:
    (spikes, one), (fish, two) = spiked(2), exposed(tanks, system)
    known = controls("harbour", 8), lognormal_signals(8, 0.4, 1.5)
    signals = {**one, **two, **known[1], "A-1": 3.0}
    return desk([consignment("K", ASKED), spikes, fish, known[0]], signals, draws=60)


@pytest.fixture(scope="module")
def fit() -> OwnFit:
    found = laboratory()
    return fit_experiments(own_experiments(found), backgrounds(found), Drawing(4096, 1))


def test_spiked_tanks_and_fish_of_known_exposure_are_experiments_and_nothing_else_is() -> None:
    found = laboratory()
    tanks = [(one.tank, one.kind, one.waters, one.left_out) for one in own_tanks(found)]
    assert tanks == [("S0", "spiked", 3, None), ("S1", "spiked", 3, None)] + [
        (f"X{number}", "exposed fish", 1, None) for number in range(3)
    ]
    used = own_experiments(found)
    assert [one.exposed for one in used] == [(), (), ("x0",), ("x1",), ("x2",)]


def test_exposed_fish_in_a_water_without_background_are_left_out_with_the_reason() -> None:
    found = laboratory(system="other")
    left = {one.tank: one.left_out for one in own_tanks(found)}
    assert left["S0"] is None
    assert left["X0"] is not None and "no control tank" in left["X0"]
    assert len(own_experiments(found)) == 2


def test_the_loss_that_was_put_in_comes_out_and_the_kept_fit_makes_the_same_world(fit: OwnFit) -> None:
    low, middle, high = fit.ends["water_loss"]
    assert low < LOSS_PER_D < high
    assert abs(math.log(middle / LOSS_PER_D)) < 0.2
    world = own_world(fit)
    assert isinstance(world, World) and world.name == OWN
    made = packed(fit)
    again = own_world(unpacked(made.results, made.arrays))
    assert isinstance(again, World) and again == world
    drawn = [draw_world(one, Drawing(50, 3)) for one in (world, again)]
    for name, values in drawn[0].items():
        np.testing.assert_array_equal(values, drawn[1][name])


def test_the_third_world_stands_beside_the_others_and_judges_no_trial(fit: OwnFit) -> None:
    world = own_world(fit)
    assert isinstance(world, World)
    found = laboratory()
    found.scales = replace(found.scales, worlds=(*found.scales.worlds, world))
    answer = considered(found, "K").tanks[0]
    assert [one.world for one in answer.worlds] == ["released", "not released", OWN]
    assert answer.worlds[2].weight is not None
    plain = considered(laboratory(), "K").tanks[0]
    assert [one.weight for one in answer.worlds[:2]] == [one.weight for one in plain.worlds]
    assert [one.world for one in trial_of(found).worlds] == ["released", "not released"]


def test_a_kept_fit_gives_three_worlds_and_one_that_says_too_little_two(fit: OwnFit) -> None:
    assert [one.name for one in KeptExperiments("r", fit, own_world(fit)).worlds][2:] == [OWN]
    assert len(KeptExperiments("r", fit, "nothing was measured").worlds) == 2

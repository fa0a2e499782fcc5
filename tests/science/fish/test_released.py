"""What exposed fish alone would have added to the water of a tank."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.fish.forward import with_doses
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.released import MOMENTS, Case, released
from brinemark.science.fish.tanks import Add, Fish, History, Move, Renew, Tank
from brinemark.science.fish.worlds import Drawing, draw_world, kinetics_of, published_worlds
from brinemark.terms.errors import Refused

DRAWING = Drawing(200, 5)
TIMES = np.array([2.5, 3.0, 4.0])


def history(source: float = 0.0) -> History:
    return History(
        (Tank("A", 5.0, 1.0, source_ug_L=source, filled_d=1.0), Tank("B", 20.0, filled_d=0.5)),
        (Fish("asked", 2, 0.02), Fish("bred", 3, 0.01, dose_mg_kg=9.0)),
        (
            *(Move(1.5, "asked", "A", 0.1), Move(1.5, "bred", "A"), Renew(3.0, "A", 0.4, level_ug_L=7.0)),
            Add(2.8, "A", 50.0),
        ),
    )


def test_only_the_fish_that_are_asked_about_count_and_no_other_source() -> None:
    world = published_worlds()[0]
    drawn = draw_world(world, DRAWING)
    clean = replace(history(), events=(*history().events[:2], Renew(3.0, "A", 0.4, level_ug_L=0.0)))
    alone = replace(clean, fish=(clean.fish[0], replace(clean.fish[1], dose_mg_kg=0.0)))
    wanted = follow(kinetics_of(drawn), with_doses(alone, ["asked"], drawn["absorbed_dose"]), TIMES).water_ug_L[:, 0]
    found = released(world, history(source=3.0), Case("A", ("asked",)), TIMES, DRAWING)
    np.testing.assert_allclose(found.water_ug_L, wanted, rtol=1e-12)
    assert "capture" not in found.drawn


def test_a_world_without_release_adds_nothing_at_all() -> None:
    found = released(published_worlds()[1], history(), Case("A", ("asked",)), TIMES, DRAWING)
    assert not found.water_ug_L.any()


def test_an_uncertain_capture_is_taken_at_its_quantiles_and_never_after_the_fish_came() -> None:
    """With .5 d of uncertainty all five moments lie before the fish came into their tank at 1.5 d; with 5 d, the late
    ones are kept at that."""
    world = published_worlds()[0]
    near = released(world, history(), Case("A", ("asked",), {"asked": 0.5}), TIMES, DRAWING)
    wanted = np.array([-0.6408, -0.2622, 0.0, 0.2622, 0.6408])  # .5 d times normal quantiles .1, .3, .5, .7, .9
    np.testing.assert_allclose(np.unique(near.drawn["capture"]), wanted, atol=1e-4)
    assert len(MOMENTS) == np.unique(near.drawn["capture"]).size
    far = released(world, history(), Case("A", ("asked",), {"asked": 5.0}), TIMES, DRAWING)
    assert far.drawn["capture"].max() == pytest.approx(1.5)
    share = int(DRAWING.count / len(MOMENTS))
    moved = replace(history(), fish=(replace(history().fish[0], exposed_d=-0.6408), history().fish[1]))
    late = released(world, moved, Case("A", ("asked",)), TIMES, DRAWING).water_ug_L[::5]
    assert len(late) == share
    np.testing.assert_allclose(near.water_ug_L[::5], late, rtol=2e-3)


def test_unknown_fish_are_refused() -> None:
    with pytest.raises(Refused, match="exposed fish 'none'"):
        released(published_worlds()[0], history(), Case("A", ("none",)), TIMES, DRAWING)

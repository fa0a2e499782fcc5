"""Other accounts of thiocyanate in a tank: their scale against published arithmetic, and their fate in the tank."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.fish.alternatives import (
    DROPLET,
    IN_FEED,
    NATURAL,
    SALIVA,
    SALIVA_OF_SMOKER,
    Meal,
    of_feed,
    of_outflow,
    of_touching,
)
from brinemark.science.fish.tanks import History, Renew, Tank
from brinemark.science.fish.worlds import Drawing, draw_world, published_worlds
from brinemark.terms.errors import Refused

DRAWING = Drawing(2000, 3)
RELEASED, SILENT = published_worlds()
HISTORY = History((Tank("A", 10.0),), (), (Renew(1.0, "A", 0.5),))


def test_saliva_has_the_published_mean_and_spread() -> None:
    """0.34 (0.16) and 0.97 (1.05) mmol/L: a log-normal of median m and spread g has mean m exp(s^2/2), s = ln g."""
    for parameter, mean, sd in ((SALIVA, 0.34, 0.16), (SALIVA_OF_SMOKER, 0.97, 1.05)):
        s2 = math.log(parameter.spread) ** 2
        assert parameter.median * math.exp(s2 / 2) == pytest.approx(mean)
        assert mean * math.sqrt(math.exp(s2) - 1) == pytest.approx(sd)


def test_a_microlitre_of_saliva_in_ten_millilitres_is_the_size_of_the_signal() -> None:
    """2.0 ug/L for the mean of non-smokers: .34 mmol/L x 58.08 g/mol x 1 uL / 10 mL."""
    scale = 58.08e3 * 0.34 * 1e-3 / 10.0
    assert scale == pytest.approx(1.97, abs=0.01)
    found = of_touching(False, 10.0, DRAWING)
    assert np.median(found) == pytest.approx(58.08e3 * SALIVA.median * DROPLET.median * 1e-3 / 10.0, rel=0.05)
    assert np.median(of_touching(True, 10.0, DRAWING)) > np.median(found)
    np.testing.assert_allclose(of_touching(False, 100.0, DRAWING), found / 10.0)


def test_an_outflow_spans_natural_waters_and_fades_as_the_tank_does() -> None:
    times = np.array([0.0, 0.5, 1.0, 2.0])
    found = of_outflow(RELEASED, HISTORY, "A", times, DRAWING)
    assert found[:, 0].min() >= 0.06 and found[:, 0].max() <= 58.0
    assert np.median(found[:, 0]) == pytest.approx(NATURAL.median, rel=0.02)
    loss = draw_world(RELEASED, DRAWING)["water_loss"]
    np.testing.assert_allclose(found[:, 1] / found[:, 0], np.exp(-0.5 * loss), rtol=1e-9)
    np.testing.assert_allclose(found[:, 3] / found[:, 0], 0.5 * np.exp(-2.0 * loss), rtol=1e-9)
    gone = of_outflow(SILENT, HISTORY, "A", times, DRAWING)
    assert np.median(gone[:, 3]) < 0.01


def test_feed_adds_what_is_in_it_to_the_litres_of_the_tank() -> None:
    """0.1 g at 0.1 to 1 umol/g is 0.6 to 5.8 ug: 0.058 to 0.58 ug/L in 10 L."""
    found = of_feed(RELEASED, HISTORY, "A", np.array([0.2]), [Meal(0.2, 0.1)], DRAWING)[:, 0]
    assert found.min() >= 0.058 and found.max() <= 0.5809
    assert np.median(found) == pytest.approx(58.08 * IN_FEED.median * 0.1 / 10.0, rel=0.02)
    twice = of_feed(RELEASED, HISTORY, "A", np.array([0.2]), [Meal(0.2, 0.1), Meal(0.2, 0.1)], DRAWING)[:, 0]
    np.testing.assert_allclose(twice, 2.0 * found)


def test_impossible_accounts_are_refused() -> None:
    with pytest.raises(Refused, match="no feed that was weighed"):
        of_feed(RELEASED, HISTORY, "A", np.array([1.0]), [], DRAWING)
    with pytest.raises(Refused, match="a sample of 0 mL"):
        of_touching(False, 0.0, DRAWING)

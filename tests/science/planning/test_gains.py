"""What a better batch would buy: what is scaled, and which way the figures go."""

from __future__ import annotations

import numpy as np
import pytest
from planned_history import LIFE, burned, calibration

from brinemark.science.amount.response import population
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.science.planning.allocation import Planner
from brinemark.science.planning.figures import Prices, Wish
from brinemark.science.planning.gains import MORE_ELECTRODES, PARTS, TODAY, gains, improved
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.terms.settings import DecisionSection

pytestmark = pytest.mark.usefixtures("compiled_loops")

PLAN = BatchPlan(6, burned(2.0), Use(LIFE))


def scales(part: str | None) -> dict[str, float]:
    made = calibration() if part is None else improved(calibration(), part, 2.0)
    assert made is not None
    one = population(made.draws.T[:, :, None], scale_of_calibration(made).layout)
    names = ("batch_sd", "ln_K_sd", "electrode_sd", "floor_sd", "cv", "noise", "ln_floor", "drift_sd", "dip_drift")
    return {name: float(np.asarray(getattr(one, name)).ravel()[7]) for name in names}


@pytest.mark.parametrize(
    ("part", "halved"),
    [
        ("batch scatter", {"batch_sd", "ln_K_sd"}),
        ("electrode scatter", {"electrode_sd", "floor_sd"}),
        ("noise", {"cv", "noise"}),
        ("drift between dips", {"drift_sd", "dip_drift"}),
    ],
)
def test_only_what_is_named_falls(part: str, halved: set[str]) -> None:
    before, after = scales(None), scales(part)
    for name, value in before.items():
        assert after[name] == pytest.approx(value / 2.0 if name in halved else value, rel=1e-9, abs=1e-12), name


def test_half_the_floor_is_half_the_floor() -> None:
    assert scales("floor")["ln_floor"] == pytest.approx(scales(None)["ln_floor"] - np.log(2.0))


def test_what_was_not_measured_is_not_scaled() -> None:
    assert improved(calibration(), "defective films", 2.0) is None
    assert "defective films" in PARTS


def test_less_floor_and_less_noise_find_less_and_the_order_is_by_gain() -> None:
    planner = Planner.of(calibration(), Wish("narrow", (1.0, 2.0)), DecisionSection(), Prices())
    found = gains(planner, PLAN, 2.0)
    assert found[0].part == TODAY and found[0].gain.value == 0.0
    assert [one.gain.value for one in found[1:]] == sorted((one.gain.value for one in found[1:]), reverse=True)
    by_part = {one.part: one for one in found}
    today = by_part[TODAY].figures.detectable.value
    assert by_part["floor"].figures.detectable.value < today
    for part in ("noise", "electrode scatter"):
        assert by_part[part].gain.value > -2.0 * by_part[part].gain.error
    assert by_part[MORE_ELECTRODES].electrodes == 8

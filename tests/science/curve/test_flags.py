from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, PLACE_V, bell, known_wave, straight, sweep_up, trace_of

from brinemark.science.curve.flags import RUN_LIMIT, noise_flag, prescan_ratio_flag, saturation_flag
from brinemark.science.curve.voltammetry import measure
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Flag


def read(current: FloatArray) -> dict[str, Flag]:
    signal = measure(trace_of(current, sweep_up()), DEFINITION, known_wave())
    return {flag.name: flag for flag in signal.flags}


def noisy(size_A: float = NOISE_A) -> FloatArray:
    points = sweep_up().size
    return np.asarray(straight(sweep_up()) + size_A * np.random.default_rng(8).normal(size=points))


def test_a_clear_wave_in_its_place_has_no_flag() -> None:
    assert read(noisy() + 1e-7 * bell(sweep_up())) == {}


def test_a_trace_without_a_wave_says_no_wave_and_nothing_severe() -> None:
    flags = read(noisy())
    assert set(flags) == {"no wave"}
    assert flags["no wave"].value <= flags["no wave"].limit == 3.0
    assert not flags["no wave"].severe


@pytest.mark.parametrize(("u_noise", "noisy_"), [(0.19, False), (0.21, True), (0.5, True)])
def test_a_wave_that_is_hardly_above_its_noise_is_noisy(u_noise: float, noisy_: bool) -> None:
    assert (noise_flag(-1.0, u_noise) is not None) is noisy_


def test_a_full_converter_is_seen_at_the_top_of_the_wave() -> None:
    clipped = np.minimum(noisy() + 1e-7 * bell(sweep_up()), 1e-7)
    flag = read(clipped)["saturated"]
    assert flag.severe
    assert flag.value == pytest.approx(np.sum(clipped == 1e-7), abs=3)


def test_a_full_converter_is_seen_from_below_as_well() -> None:
    depth = np.maximum(-(np.linspace(0.0, 1.0, 50) ** 2), -0.7)
    flag = saturation_flag(depth)
    assert flag is not None
    assert flag.value == np.sum(depth == -0.7)


def test_a_broad_summit_of_a_coarse_converter_is_not_full() -> None:
    counts = np.round(1e-7 * bell(sweep_up()) / 1e-9) * 1e-9
    top = np.sum(counts == counts.max())
    assert top > RUN_LIMIT
    assert "saturated" not in read(counts)


def test_a_current_that_never_changes_is_saturated() -> None:
    flag = saturation_flag(np.full(40, 3e-7))
    assert flag is not None
    assert (flag.value, flag.severe) == (40.0, True)


def test_a_steep_background_under_a_small_wave_is_tilted() -> None:
    flags = read(noisy() + 1e-8 * bell(sweep_up()) + 1e-6 * sweep_up())
    assert set(flags) == {"tilted"}
    window_rise_over_wave = 0.36 * 1.05e-6 / 1e-8
    assert flags["tilted"].value == pytest.approx(window_rise_over_wave, rel=0.1)


def test_a_wave_away_from_its_place_has_moved() -> None:
    flags = read(noisy() + 1e-7 * bell(sweep_up(), PLACE_V + 0.045))
    assert flags["moved"].value == pytest.approx(0.045, abs=0.003)
    assert flags["moved"].severe


def test_a_wave_in_the_end_of_the_window_is_at_its_edge() -> None:
    definition = replace(DEFINITION, window_V=(0.42, 0.62))
    current = noisy() + 1e-7 * bell(sweep_up(), 0.602)
    signal = measure(trace_of(current, sweep_up()), definition, known_wave(0.595))
    edges = [flag for flag in signal.flags if flag.name == "edge"]
    assert [flag.severe for flag in edges] == [True]


@pytest.mark.parametrize(("value", "ratio"), [(0.3, 0.3), (0.0, 0.0), (-1.0, -1.0), (2.6, 2.6)])
def test_a_prescan_far_from_its_batch_is_flagged_with_its_ratio(value: float, ratio: float) -> None:
    flag = prescan_ratio_flag(value * 1e-6, 1e-6, 2.5)
    assert flag is not None
    assert flag.value == pytest.approx(ratio)
    assert flag.severe


@pytest.mark.parametrize("value", [0.41, 1.0, 2.49])
def test_a_prescan_like_its_batch_is_not_flagged(value: float) -> None:
    assert prescan_ratio_flag(value, 1.0, 2.5) is None


@pytest.mark.parametrize(("reference", "ratio"), [(0.0, 2.5), (1.0, 1.0), (float("nan"), 2.0)])
def test_a_prescan_cannot_be_compared_with_nothing(reference: float, ratio: float) -> None:
    with pytest.raises(ValueError, match="max_ratio"):
        prescan_ratio_flag(1.0, reference, ratio)

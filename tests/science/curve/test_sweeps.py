from __future__ import annotations

import itertools

import numpy as np
import pytest

from brinemark.science.curve.sweeps import MIN_POINTS, find_sweeps, take_segment
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import SignalDefinition, Sweep, Trace
from brinemark.terms.errors import Refused

STEP_V = 0.005


def walk(*turns_V: float, step_V: float = STEP_V) -> FloatArray:
    """Potentials from one turning point to the next."""
    pieces = [np.array([turns_V[0]])]
    for start, stop in itertools.pairwise(turns_V):
        count = round(abs(stop - start) / step_V)
        pieces.append(start + (stop - start) * np.arange(1, count + 1) / count)
    return np.round(np.concatenate(pieces), 9)


def story(sweeps: tuple[Sweep, ...]) -> list[tuple[int, int, bool]]:
    return [(sweep.direction, sweep.cycle, sweep.complete) for sweep in sweeps]


def definition(
    cycle: str = "last", sweep: str = "anodic", window: tuple[float, float] = (0.1, 0.4)
) -> SignalDefinition:
    return SignalDefinition("height", sweep, cycle, window)


def test_three_whole_cycles_are_six_sweeps_that_share_their_turning_points() -> None:
    potential = walk(0.0, 0.8, 0.0, 0.8, 0.0, 0.8, 0.0)
    sweeps = find_sweeps(potential)
    assert story(sweeps) == [(1, 1, True), (-1, 1, True), (1, 2, True), (-1, 2, True), (1, 3, True), (-1, 3, True)]
    assert sweeps[0].start == 0
    assert sweeps[-1].stop == potential.size
    for before, after in itertools.pairwise(sweeps):
        assert after.start == before.stop - 1


def test_a_single_stair_of_a_square_wave_is_one_sweep_of_one_cycle() -> None:
    assert story(find_sweeps(walk(0.1, -0.5, step_V=0.001))) == [(-1, 1, True)]


def test_a_start_inside_the_range_gives_a_partial_first_sweep_of_the_first_cycle() -> None:
    sweeps = find_sweeps(walk(0.2, 0.8, -0.2, 0.8, -0.2, 0.2))
    assert story(sweeps) == [(1, 1, False), (-1, 1, True), (1, 2, True), (-1, 2, True), (1, 3, False)]


def test_a_truncated_last_cycle_is_not_complete() -> None:
    assert story(find_sweeps(walk(0.5, -0.5, 0.5, -0.5, 0.3)))[-1] == (1, 2, False)


@pytest.mark.parametrize("repeats", [2, 3, 40])
def test_potentials_repeated_at_the_turning_points_belong_to_no_sweep(repeats: int) -> None:
    potential = walk(0.0, 0.8, 0.0)
    top = int(np.argmax(potential))
    held = np.insert(potential, top, np.full(repeats - 1, potential[top]))
    sweeps = find_sweeps(held)
    assert story(sweeps) == [(1, 1, True), (-1, 1, True)]
    assert sweeps[1].start - (sweeps[0].stop - 1) == repeats - 1
    assert (np.diff(held[sweeps[0].start : sweeps[0].stop]) > 0).all()


@pytest.mark.parametrize(("step", "jitter"), [(0.005, 0.001), (0.001, 0.0002), (0.0002, 0.0004), (0.0005, 0.001)])
def test_jitter_of_the_recorded_potential_makes_no_sweeps(step: float, jitter: float) -> None:
    rng = np.random.default_rng(3)
    potential = walk(0.0, 0.8, 0.0, 0.8, 0.0, step_V=step)
    noisy = potential + rng.uniform(-jitter, jitter, potential.size)
    assert story(find_sweeps(noisy)) == story(find_sweeps(potential))


@pytest.mark.parametrize("shift", [-0.7, 0.0, 1.3])
def test_shifting_and_turning_the_potential_changes_no_sweep(shift: float) -> None:
    potential = walk(0.2, 0.8, -0.2, 0.8, 0.1)
    expected = find_sweeps(potential)
    assert find_sweeps(potential + shift) == expected
    turned = find_sweeps(-potential)
    assert [(s.start, s.stop, -s.direction, s.cycle) for s in turned] == [
        (s.start, s.stop, s.direction, s.cycle) for s in expected
    ]


def test_a_consistent_cycle_column_gives_the_numbers() -> None:
    potential = walk(0.0, 0.8, 0.0, 0.8, 0.0)
    column = np.where(np.arange(potential.size) <= potential.size // 2, 4, 5)
    assert [s.cycle for s in find_sweeps(potential, column)] == [4, 4, 5, 5]


def test_a_cycle_column_that_gives_one_number_to_all_is_not_followed() -> None:
    potential = walk(0.0, 0.8, 0.0, 0.8, 0.0)
    assert [s.cycle for s in find_sweeps(potential, np.ones(potential.size, dtype=np.int64))] == [1, 1, 2, 2]


def test_a_constant_potential_is_refused() -> None:
    with pytest.raises(Refused, match="constant potential"):
        find_sweeps(np.full(50, 0.2))


def test_a_potential_that_is_no_number_is_refused_with_its_point() -> None:
    with pytest.raises(Refused, match="point 3"):
        find_sweeps(np.array([0.0, 0.1, np.nan, 0.3]))


def test_two_points_are_refused() -> None:
    with pytest.raises(Refused, match="2 points"):
        find_sweeps(np.array([0.0, 0.1]))


def cycles_with_level(potential: FloatArray) -> Trace:
    """Current = number of the cycle, counted from 1, in the invented trace of whole cycles from 0 V."""
    period = 2 * round(0.8 / STEP_V)
    return Trace(potential, 1.0 + (np.arange(potential.size) // period).clip(max=potential.size // period - 1))


@pytest.mark.parametrize(
    ("cycle", "level", "cycles"), [("last", 3.0, (3,)), ("1", 1.0, (1,)), ("2", 2.0, (2,)), ("mean", 2.5, (2, 3))]
)
def test_the_segment_comes_from_the_cycles_asked_for(cycle: str, level: float, cycles: tuple[int, ...]) -> None:
    trace = cycles_with_level(walk(0.0, 0.8, 0.0, 0.8, 0.0, 0.8, 0.0))
    segment = take_segment(trace, definition(cycle))
    assert segment.cycles == cycles
    assert segment.current_A == pytest.approx(level)
    assert (np.diff(segment.potential_V) > 0).all()
    assert (segment.potential_V[0], segment.potential_V[-1]) == pytest.approx((0.1, 0.4))


def test_the_mean_of_two_cycles_keeps_the_first() -> None:
    trace = cycles_with_level(walk(0.0, 0.8, 0.0, 0.8, 0.0))
    assert take_segment(trace, definition("mean")).cycles == (1, 2)


def test_a_cathodic_segment_is_turned_into_rising_potential_and_keeps_its_sign() -> None:
    potential = walk(0.0, 0.8, 0.0)
    trace = Trace(potential, -potential, np.arange(potential.size, dtype=float))
    segment = take_segment(trace, definition(sweep="cathodic"))
    assert segment.current_A == pytest.approx(-segment.potential_V)
    assert segment.time_s is not None
    assert (np.diff(segment.time_s) < 0).all()


def test_last_takes_the_last_cycle_whose_sweep_covers_the_window() -> None:
    trace = cycles_with_level(walk(0.0, 0.8, 0.0, 0.8, 0.0, 0.3))
    assert take_segment(trace, definition()).cycles == (2,)
    assert take_segment(trace, definition(window=(0.1, 0.25))).cycles == (3,)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (definition(sweep="cathodic"), "without cathodic sweep"),
        (definition(sweep="up"), '"anodic" or "cathodic"'),
        (definition("2"), "cycle '2'"),
        (definition("first"), "cycle 'first'"),
        (definition("-1"), "cycle '-1'"),
        (definition(window=(0.5, 0.9)), "from 0.5 to 0.9 V"),
        (definition(window=(-0.1, 0.3)), "window_V"),
        (definition(window=(0.2, 0.2 + 18 * STEP_V)), f"at least {MIN_POINTS}"),
    ],
)
def test_a_segment_that_is_not_there_is_refused(bad: SignalDefinition, message: str) -> None:
    potential = walk(0.0, 0.8)
    with pytest.raises(Refused, match=message):
        take_segment(Trace(potential, potential), bad)


def test_a_current_that_is_no_number_inside_the_window_is_refused() -> None:
    potential = walk(0.0, 0.8)
    current = np.where(np.abs(potential - 0.2) < 0.001, np.nan, potential)
    with pytest.raises(Refused, match="current that is no number"):
        take_segment(Trace(potential, current), definition())

"""Invented curves show their waves where they are said to be, and bad films show in the pre-scan."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from brinemark.demo import curves, making
from brinemark.science.curve.electrode_theory import surface_confined_shape
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Trace

SOUND = making.draw_film(making.Batch(1.0, 1.0, 2.0), making.Population(), np.random.default_rng(4))
PLAIN = curves.Film(loading=1.0, yield_per_site=1.0, floor=0.08, constant=2.0)
QUIET = replace(curves.BENCH, noise_A=0.0, drift_A=0.0, bits=24, filter_s=1e-3)
TAIL_AND_LAG = 0.02
"""The oxidation tail inside the window and the filter's lag take less than this share of the full wave."""


def last_anodic(trace: Trace, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Potential and current of the last rising sweep between low and high."""
    assert trace.cycle is not None
    rising = np.diff(trace.potential_V, prepend=np.inf) > 0
    keep = rising & (trace.cycle == trace.cycle.max()) & (trace.potential_V >= low) & (trace.potential_V <= high)
    return trace.potential_V[keep], trace.current_A[keep]


def height(trace: Trace) -> float:
    """Least-squares height of a textbook wave at thiocyanate's place on a straight baseline; not the product's way."""
    potential, current = last_anodic(trace, 0.40, 0.76)
    shape = surface_confined_shape(potential, curves.ANALYTE_V)
    design = np.column_stack([shape, np.ones_like(potential), potential])
    return float(np.linalg.lstsq(design, current, rcond=None)[0][0])


def charge(trace: Trace) -> float:
    """Charge above a straight line between the ends of the film's window [C]."""
    potential, current = last_anodic(trace, -0.36, 0.0)
    ends = [current[:6].mean(), current[-6:].mean()]
    line = np.interp(potential, [potential[:6].mean(), potential[-6:].mean()], ends)
    return float(np.trapezoid(current - line, potential)) / curves.SCAN_RATE


def seen(film: curves.Film, level: float, meter: curves.Meter, seed: int) -> Trace:
    return curves.voltammogram(film, level, meter, np.random.default_rng(seed))


def test_both_waves_peak_at_their_stated_places() -> None:
    trace = seen(PLAIN, 20.0, QUIET, 1)
    for place, low, high in ((curves.FILM_V, -0.36, 0.0), (curves.ANALYTE_V, 0.40, 0.70)):
        potential, current = last_anodic(trace, low, high)
        assert potential[np.argmax(current)] == pytest.approx(place, abs=2 * QUIET.step_V)


def test_the_height_follows_the_filling_of_the_sites() -> None:
    top = curves.analyte_peak_current(PLAIN, 1e9)
    for level in (0.0, 0.5, 2.0, 8.0, 20.0, 200.0):
        strong, weak = level / (2.0 + level), level / (80.0 + level)
        filled = 0.92 * strong + 0.08 * weak
        expected = top * (0.08 + filled) / 1.08
        assert height(seen(PLAIN, level, QUIET, 2)) == pytest.approx(expected, abs=TAIL_AND_LAG * top)


def test_half_the_sites_hold_half_the_charge_and_give_half_the_wave() -> None:
    half = replace(PLAIN, loading=0.5)
    assert charge(seen(half, 0.0, QUIET, 3)) == pytest.approx(0.5 * charge(seen(PLAIN, 0.0, QUIET, 3)), rel=0.01)
    assert curves.analyte_peak_current(half, 5.0) == pytest.approx(0.5 * curves.analyte_peak_current(PLAIN, 5.0))
    assert charge(seen(PLAIN, 0.0, QUIET, 3)) == pytest.approx(curves.film_charge(PLAIN), rel=0.10)


def test_a_film_fades_a_little_from_dip_to_dip_and_stays_the_same_film() -> None:
    random = np.random.default_rng(31)
    made = [curves.next_dip(PLAIN, random) for _ in range(4000)]
    change = np.log([film.yield_per_site for film in made])
    assert change.mean() == pytest.approx(curves.FADED, abs=4 * curves.FADED_SD / np.sqrt(len(made)))
    assert change.std() == pytest.approx(curves.FADED_SD, rel=0.05)
    assert all(replace(film, yield_per_site=1.0) == PLAIN for film in made)


def test_the_meters_differ_in_gain_and_noise_as_stated() -> None:
    heights = {
        meter.name: np.array([height(seen(PLAIN, 20.0, meter, seed)) for seed in range(80)])
        for meter in (curves.BENCH, curves.PORTABLE)
    }
    ratio = heights["portable"].mean() / heights["bench"].mean()
    assert ratio == pytest.approx(curves.PORTABLE.gain, abs=0.02)
    assert 2.0 < heights["portable"].std() / heights["bench"].std() < 6.0
    assert heights["bench"].std() < 0.03 * heights["bench"].mean()


def test_the_noise_of_a_curve_is_correlated_from_point_to_point() -> None:
    noise = seen(PLAIN, 0.0, curves.BENCH, 5).current_A - seen(PLAIN, 0.0, QUIET, 5).current_A
    fast = np.diff(noise, n=2)  # takes drift off
    neighbours = float(np.mean(fast[1:] * fast[:-1]) / np.var(fast))
    assert neighbours > -2.0 / 3.0 + 0.1  # white noise, differenced twice, has -2/3


@pytest.mark.parametrize("fault", [making.lifted, making.shorted])
@pytest.mark.parametrize("meter", [curves.BENCH, curves.PORTABLE])
def test_a_bad_film_shows_in_the_charge_of_its_prescan(fault: object, meter: curves.Meter) -> None:
    assert callable(fault)
    bad = fault(SOUND)
    assert charge(seen(bad, 0.0, meter, 6)) < charge(seen(SOUND, 0.0, meter, 6)) / 2.5


def test_the_charge_explains_most_of_the_scatter_within_a_batch() -> None:
    random = np.random.default_rng(8)
    within: list[FloatArray] = []
    for _ in range(60):
        batch = making.draw_batch(making.Population(), random)
        made = [making.draw_film(batch, making.Population(), random) for _ in range(5)]
        pairs = np.array([[curves.film_charge(f), curves.analyte_peak_current(f, 20.0)] for f in made])
        within.append(np.log(pairs) - np.log(pairs).mean(axis=0))
    x, y = np.concatenate(within).T
    explained = (x @ y) ** 2 / ((x @ x) * (y @ y))
    assert explained > 0.7
    assert 0.10 < np.std(y) * np.sqrt(5 / 4) < 0.20


def test_no_invented_curve_comes_from_the_model_that_reads_it() -> None:
    folder = Path(curves.__file__).parent
    for file in folder.glob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        named = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        named |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
        assert not [name for name in named if name.startswith("brinemark.science.amount")], file.name

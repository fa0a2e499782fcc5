"""Whole curves by partial least squares: they find what is there, and a batch plays no part in its own reading."""

from __future__ import annotations

import importlib

import numpy as np
import pytest

from brinemark.science.amount.definition_errors import log_errors, step_of
from brinemark.science.amount.whole_curve import by_whole_curve, is_there
from brinemark.terms.arrays import FloatArray

if not is_there():
    pytest.skip('the extra "pls" is not installed', allow_module_level=True)

LEVELS, BATCHES, MIDDLE = (0.0, 0.5, 2.0, 8.0), 6, 2.0
PLACE = np.linspace(-1.0, 1.0, 120)
NAMES = [f"B{k // len(LEVELS)}" for k in range(BATCHES * len(LEVELS))]
LEVEL = np.tile(LEVELS, BATCHES)
TEACH = np.ones(LEVEL.size, dtype=bool)


def curves(seed: int, noise: float = 1e-3, gain: FloatArray | None = None) -> FloatArray:
    """A wave that follows c/(c + MIDDLE) on lines and on a film that have nothing to do with the level."""
    rng = np.random.default_rng(seed)
    share = (LEVEL / (LEVEL + MIDDLE)) * (1.0 if gain is None else gain)
    film = rng.normal(1.0, 0.3, LEVEL.size)
    wave, other = np.exp(-((PLACE / 0.1) ** 2)), np.exp(-(((PLACE + 0.6) / 0.1) ** 2))
    lines = rng.normal(size=(LEVEL.size, 1)) + rng.normal(size=(LEVEL.size, 1)) * PLACE
    return np.asarray(share[:, None] * wave + film[:, None] * other + lines + noise * rng.normal(size=(24, 120)))


def typical(read: FloatArray) -> float:
    return float(log_errors(read, LEVEL, 8.0, step_of(LEVEL)).mean())


def test_a_wave_beside_lines_and_films_is_read() -> None:
    assert typical(by_whole_curve(curves(20461), LEVEL, NAMES, TEACH)) < 0.05


def test_gains_that_go_with_a_charge_drop_out() -> None:
    gain = np.exp(np.random.default_rng(20462).normal(0.0, 0.3, LEVEL.size))
    scaled = gain[:, None] * curves(20463)
    by_charge = typical(by_whole_curve(scaled, LEVEL, NAMES, TEACH, 3e-6 * gain))
    assert by_charge < 0.05 < 0.5 * typical(by_whole_curve(scaled, LEVEL, NAMES, TEACH))


def test_the_unit_of_the_current_does_not_matter() -> None:
    plain = by_whole_curve(curves(20461), LEVEL, NAMES, TEACH)
    other = by_whole_curve(1e-9 * curves(20461), LEVEL, NAMES, TEACH)
    assert other == pytest.approx(plain, rel=1e-6, abs=1e-9)


def test_an_electrode_s_own_batch_plays_no_part() -> None:
    """Levels of siblings are swapped: the number of components and the fit that read the batch stay the same."""
    level = LEVEL.copy()
    level[[1, 3]] = level[[3, 1]]
    before, after = (by_whole_curve(curves(20461), one, NAMES, TEACH) for one in (LEVEL, level))
    assert after[:4] == pytest.approx(before[:4], rel=1e-12)
    assert not np.allclose(after[4:], before[4:])


def test_each_number_of_components_is_what_a_fit_of_its_own_gives() -> None:
    from sklearn.cross_decomposition import PLSRegression

    module = importlib.import_module("brinemark.science.amount.whole_curve")
    taught, unknown = curves(20461)[:20], curves(20461)[20:]
    x = (LEVEL / (LEVEL + MIDDLE))[:20]
    steps = module._predicted(taught, x, unknown)
    for count in (1, 2, 3):
        alone = PLSRegression(n_components=count, scale=False).fit(taught, x).predict(unknown)
        assert steps[count - 1] == pytest.approx(np.ravel(alone), rel=1e-8)


@pytest.mark.parametrize("alike", [np.zeros((24, 120)), np.tile(np.sin(PLACE), (24, 1))], ids=["zeros", "all alike"])
def test_curves_that_do_not_differ_read_as_the_mean(alike: FloatArray) -> None:
    read = by_whole_curve(alike, LEVEL, NAMES, TEACH)
    mean = float((LEVEL / (LEVEL + MIDDLE)).mean())
    assert read == pytest.approx(MIDDLE * mean / (1.0 - mean), rel=1e-9)


def test_exact_curves_need_one_component_and_no_warning() -> None:
    exact = (LEVEL / (LEVEL + MIDDLE))[:, None] * np.exp(-((PLACE / 0.1) ** 2))
    assert by_whole_curve(exact, LEVEL, NAMES, TEACH) == pytest.approx(LEVEL, rel=1e-6, abs=1e-6)

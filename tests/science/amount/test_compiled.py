"""The compiled loops against the same likelihoods in numpy."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount import compiled
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.priors import default_priors, spike_level
from brinemark.science.amount.quadrature import STEP_DONE, Adapted, LatentModel, adapt, log_marginal
from brinemark.science.amount.scale import latent_model, scale_of_data
from brinemark.science.amount.simulate import (
    PRESCAN_AND_SPIKE,
    RISING,
    SINGLE,
    Protocol,
    Truth,
    draw_batches,
    simulate_history,
)
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

pytest.importorskip("numba", reason="the extra 'fast' is not installed")

SAME = 1e-8  # of log marginals, in the median; with the same nodes they agree to rounding (SAME_NODES)
WORST = 2e-6  # of 9e-4, the rule's own error: the modes are found by differences whose steps are not the same
SAME_NODES = 1e-12
NEAR = 0.2 * STEP_DONE  # posterior sd of a latent, by which nodes may lie apart: the search stops at STEP_DONE
SAME_POSTERIOR = 1 / np.sqrt(1024)  # posterior sd: the Monte Carlo error of the draws that are kept
ROUNDING = float(np.finfo(float).eps)
SEED = 31
LEVELS = np.array([0.0, 0.5, 2.0, 8.0])
TRUTH = Truth(floor_sd=0.1, floor_batch_sd=0.1, electrode_K_sd=0.1, drift=-0.05, drift_sd=0.05)
LIVES = {
    "read once": [SINGLE] * 4,
    "some with pre-scan and spike": [SINGLE, SINGLE, PRESCAN_AND_SPIKE, PRESCAN_AND_SPIKE],
    "all with pre-scan and spike": [PRESCAN_AND_SPIKE] * 4,
    "rising additions": [SINGLE, PRESCAN_AND_SPIKE, RISING, RISING],
}


def history(protocols: list[Protocol], names: str = "ABC") -> ElectrodeReadings:
    """Batches of four electrodes, one without covariate, levels with errors of their own and of a stock."""
    rng = np.random.default_rng(SEED)
    batches = draw_batches(TRUTH, list(names), rng)
    made = simulate_history(TRUTH, batches, [LEVELS] * len(names), rng, [protocols] * len(names))
    covariate = made.covariate.copy()
    covariate[1] = np.nan
    instrument = ("bench",) * 8 + ("field",) * (len(made.electrode) - 8)
    salinity = np.where(np.arange(made.level.size) % 3 == 0, 25.0, 35.0)  # blanks at both, so the effect is estimated
    return replace(
        made,
        salinity=salinity,
        covariate=covariate,
        instrument=instrument,
        level_u=0.03 * made.level,
        stocks=("S1",),
        stock_part=made.level[None],
        stock_rel_u=np.array([0.02]),
    )


def model_and_vectors(readings: ElectrodeReadings) -> tuple[LatentModel, FloatArray]:
    """The model, and parameter vectors about the middle of the prior."""
    analyte, prior = AnalyteSection(), PriorSection()
    scale = scale_of_data(readings, spike_level(readings, analyte, prior))
    priors = default_priors(scale.layout, readings, analyte, prior, True)
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    spread = 0.5 * np.random.default_rng(SEED).normal(size=(20, center.size))
    return latent_model(readings, scale), center + sd * spread


def marginals(readings: ElectrodeReadings) -> FloatArray:
    model, vectors = model_and_vectors(readings)
    return log_marginal(model, vectors, NODES, adapt(model, vectors))


@pytest.mark.parametrize("kind", LIVES)
def test_log_marginals_are_those_of_numpy(kind: str) -> None:
    readings = history(LIVES[kind])
    plain = marginals(readings)
    assert compiled.load()
    fast = marginals(readings)
    assert np.isfinite(plain).all()
    assert np.median(np.abs(fast - plain)) <= SAME
    assert fast == pytest.approx(plain, rel=0.0, abs=WORST)
    assert (fast != plain).any(), "the compiled loops were not used"


@pytest.mark.parametrize("kind", LIVES)
def test_nodes_taken_from_elsewhere_give_the_same_integral(kind: str) -> None:
    """With the same nodes nothing but the order of sums differs."""
    readings = history(LIVES[kind])
    model, vectors = model_and_vectors(readings)
    nodes = adapt(model, vectors)
    plain = log_marginal(model, vectors, NODES, nodes)
    assert compiled.load()
    model, _ = model_and_vectors(readings)
    assert log_marginal(model, vectors, NODES, nodes) == pytest.approx(plain, rel=SAME_NODES, abs=1e-10)


def test_absurd_parameters_give_the_same_or_nothing() -> None:
    readings = history(LIVES["some with pre-scan and spike"])
    model, vectors = model_and_vectors(readings)
    far = vectors + 40.0 * np.random.default_rng(1).normal(size=vectors.shape)
    with np.errstate(all="ignore"):
        start = adapt(model, vectors)
        plain = log_marginal(model, far, NODES, start)
        assert compiled.load()
        model, _ = model_and_vectors(readings)
        fast = log_marginal(model, far, NODES, start)
    both = np.isfinite(plain) & np.isfinite(fast)
    assert both.any()
    assert fast[both] == pytest.approx(plain[both], rel=1e-10)
    assert (plain[~both] < -300.0).all(), "only what is impossible may be lost"


def test_a_calibration_is_the_same() -> None:
    readings = history(LIVES["read once"], "ABCDEFGH")
    sections = AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED)
    plain = calibrate(readings, *sections).draws
    assert compiled.load()
    fast = calibrate(readings, *sections).draws
    assert np.abs(fast.mean(axis=0) - plain.mean(axis=0)).max() <= (SAME_POSTERIOR * plain.std(axis=0)).max()


def test_unloading_goes_back_to_numpy() -> None:
    assert compiled.load()
    compiled.unload()
    assert compiled.loaded() is None
    model, _ = model_and_vectors(history(LIVES["read once"]))
    assert model.climb is None


def test_they_are_used_for_a_while_and_then_as_before() -> None:
    with compiled.compiled_loops():
        assert compiled.loaded() is not None
    assert compiled.loaded() is None


def test_without_the_extra_nothing_is_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)
    assert not compiled.load()
    assert compiled.loaded() is None


def test_the_modes_agree() -> None:
    readings = history(LIVES["some with pre-scan and spike"])
    model, vectors = model_and_vectors(readings)
    plain: Adapted = adapt(model, vectors)
    assert compiled.load()
    model, _ = model_and_vectors(readings)
    fast = adapt(model, vectors)
    for name in ("z", "z_root", "e", "slope", "e_root"):
        assert getattr(fast, name) == pytest.approx(getattr(plain, name), abs=NEAR), name


def test_exponentials_and_logarithms_are_those_of_the_library() -> None:
    from brinemark.science.amount.kernels_base import exponential, logarithm

    rng = np.random.default_rng(SEED)
    for x in (*rng.uniform(-700.0, 700.0, 500), 0.0, 1e-300, -1e-17):
        assert exponential(float(x)) == pytest.approx(np.exp(x), rel=3 * ROUNDING)
    for x in (*np.exp(rng.uniform(-700.0, 700.0, 500)), *rng.uniform(0.5, 2.0, 500), 1.0):
        assert logarithm(float(x)) == pytest.approx(np.log(x), rel=3 * ROUNDING, abs=0.0)
    assert np.isnan(exponential(np.nan)) and np.isnan(logarithm(np.nan))


@pytest.mark.parametrize("kind", LIVES)
def test_densities_are_those_of_numpy(kind: str) -> None:
    readings = history(LIVES[kind])
    model, vectors = model_and_vectors(readings)
    nodes = adapt(model, vectors)
    place = vectors.T[:, :, None], nodes.z[:, None][..., model.group_of_unit], nodes.e[:, None, None]
    plain = model.log_likelihood(*place)
    assert compiled.load()
    fast, _ = model_and_vectors(readings)
    assert fast.log_likelihood(*place) == pytest.approx(plain, rel=SAME_NODES, abs=1e-10)


@pytest.mark.parametrize("kind", LIVES)
def test_the_whole_integral_is_the_sum_of_its_parts(kind: str) -> None:
    """What the loops give in one pass against the same loops, one integral an electrode, summed by the quadrature."""
    assert compiled.load()
    model, vectors = model_and_vectors(history(LIVES[kind]))
    nodes = adapt(model, vectors)
    whole, parts = (log_marginal(one, vectors, NODES, nodes) for one in (model, replace(model, marginal=None)))
    assert whole == pytest.approx(parts, rel=SAME_NODES, abs=1e-10)


@pytest.mark.parametrize("kind", ["read once", "some with pre-scan and spike"])
def test_threads_change_no_digit(kind: str) -> None:
    readings = history(LIVES[kind])
    with compiled.compiled_loops():
        alone = marginals(readings)
    for threads in (2, 3):
        with compiled.compiled_loops(threads):
            assert (marginals(readings) == alone).all()


def test_work_in_parts_that_fit_into_memory_changes_no_digit(monkeypatch: pytest.MonkeyPatch) -> None:
    readings = history(LIVES["some with pre-scan and spike"])
    assert compiled.load()
    whole = marginals(readings)
    monkeypatch.setattr(compiled, "ROOM", 8 * readings.signal.size * 3)
    assert (marginals(readings) == whole).all()


def test_a_thread_that_did_not_ask_has_no_compiled_loops() -> None:
    """A reading made beside a calibration keeps its digits."""
    with compiled.compiled_loops(), ThreadPoolExecutor(1) as other:
        assert other.submit(compiled.loaded).result() is None

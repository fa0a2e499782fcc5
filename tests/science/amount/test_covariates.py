"""Several covariates: missing ones against brute force, slopes that come back, and what leaving one out costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount import compiled
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.covariates import covariate_scale, filled, missing_covariates
from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.lives import latent_model_of
from brinemark.science.amount.predictive import batch_draws, subset
from brinemark.science.amount.quadrature import Nodes, log_marginal
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.response import ParameterLayout, UnitData
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.terms.amounts import Calibration, CovariateScale, ElectrodeReadings, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

SEED = 20261
CENTER = np.array([0.1, -0.2, 0.05])
COV = np.array([[0.09, 0.03, 0.0], [0.03, 0.04, -0.01], [0.0, -0.01, 0.0625]])
SCALE = CovariateScale(("", "layer", "dye"), np.array([2.0, 5.0, 0.3]), CENTER, COV)
SLOPES = {"": 0.8, "layer": -0.6}
OWN_SD, K, FLOOR, NOISE = 0.06, 2.0, 0.06, 0.01
LEVELS = (0.0, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0)


def test_a_missing_covariate_is_what_a_regression_on_the_others_says() -> None:
    """Least squares on 400,000 draws; limits: four Monte Carlo errors."""
    x = np.random.default_rng(SEED).multivariate_normal(CENTER, COV, size=400_000)
    design = np.column_stack([np.ones(len(x)), x[:, [0, 2]]])
    weights, *_ = np.linalg.lstsq(design, x[:, 1], rcond=None)
    left_over = float((x[:, 1] - design @ weights).std())
    raw = {"": np.array([2.0 * np.exp(0.4)]), "layer": np.array([np.nan]), "dye": np.array([0.3 * np.exp(-0.2)])}
    found, cov = filled(SCALE, raw)
    assert found[[0, 2], 0] == pytest.approx([0.4, -0.2], abs=1e-12)
    assert found[1, 0] == pytest.approx(float(weights @ [1.0, 0.4, -0.2]), abs=0.003)
    assert cov[1, 1, 0] == pytest.approx(left_over**2, rel=0.01)
    assert np.count_nonzero(cov) == 1


def test_with_nothing_known_the_calibration_electrodes_stand_for_it() -> None:
    found, cov = filled(SCALE, {"": np.array([np.nan, 2.0])})
    assert found[:, 0] == pytest.approx(CENTER)
    assert cov[:, :, 0] == pytest.approx(COV)
    assert cov[0, :, 1] == pytest.approx(0.0)
    assert cov[1, 1, 1] == pytest.approx(COV[1, 1] - COV[0, 1] ** 2 / COV[0, 0])


def test_a_missing_covariate_in_the_likelihood_is_its_integral() -> None:
    """One electrode, two missing covariates: the marginal likelihood against a grid over both, written out."""
    layout = ParameterLayout(("bench",), ("", "layer"))
    values = dict.fromkeys(layout.names, 0.0) | {
        "ln_K": np.log(K),
        "ln_floor": np.log(0.5),
        "ln_electrode_sd": np.log(0.10),
        "logit_share": -30.0,
        "ln_noise:bench": np.log(0.02),
        "slope": 0.8,
        "slope:layer": -0.6,
    }
    values |= dict.fromkeys(("ln_batch_sd", "ln_K_sd", "ln_floor_sd", "ln_floor_batch_sd"), -14.0)
    theta = np.array([[values[name] for name in layout.names]])
    covariance, middle, signal = COV[:2, :2], CENTER[:2, None], 0.45
    data = UnitData(
        instrument=np.zeros(1, dtype=np.int64),
        unit=np.zeros(1, dtype=np.int64),
        signal=np.array([signal]),
        u=np.zeros(1),
        level=np.zeros(1),  # a blank: K plays no part
        level_u=np.zeros(1),
        dip=np.zeros(1, dtype=np.int64),
        spike=np.zeros(1, dtype=bool),
        stock_part=np.zeros((0, 1)),
        covariate=middle,
        covariate_cov=covariance[:, :, None],
    )
    model = latent_model_of(data, np.zeros(1, dtype=np.int64), layout)
    found = float(log_marginal(model, theta, Nodes(group=(4, 4, 3)))[0])
    z = np.linspace(-6.0, 6.0, 161)
    first, second, own = np.meshgrid(z, z, z, indexing="ij")
    root = np.linalg.cholesky(covariance)
    x = middle[:, 0, None, None, None] + np.einsum("ij,jabc->iabc", root, np.stack([first, second]))
    mean = 0.5 * np.exp(0.8 * x[0] - 0.6 * x[1] + 0.10 * own)
    log_density = -0.5 * (first**2 + second**2 + own**2 + ((signal - mean) / 0.02) ** 2) - 2.0 * np.log(2.0 * np.pi)
    dense = float(np.log(np.exp(log_density).sum() * (z[1] - z[0]) ** 3 / 0.02))
    assert found == pytest.approx(dense, abs=2e-3)


def season(seed: int, batches: int = 10, own_sd: float = OWN_SD) -> tuple[ElectrodeReadings, FloatArray]:
    """Electrodes whose gain goes with two covariates, and their true log gains."""
    rng = np.random.default_rng(seed)
    n = batches * len(LEVELS)
    level = np.tile(LEVELS, batches)
    x = rng.multivariate_normal([0.0, 0.0], [[0.06, 0.02], [0.02, 0.06]], size=n).T
    log_gain = SLOPES[""] * x[0] + SLOPES["layer"] * x[1] + own_sd * rng.normal(size=n)
    log_gain += np.repeat(0.15 * rng.normal(size=batches), len(LEVELS))
    signal = np.exp(log_gain) * (FLOOR + level / (K + level)) + NOISE * rng.normal(size=n)
    readings = ElectrodeReadings(
        electrode=tuple(f"E{i}" for i in range(n)),
        batch=tuple(f"B{i // len(LEVELS)}" for i in range(n)),
        instrument=("bench",) * n,
        covariate=3.0 * np.exp(x[0]),
        unit=np.arange(n),
        signal=signal,
        u=np.full(n, NOISE),
        level=level,
        further=("layer",),
        further_covariate=7.0 * np.exp(x[1:]),
    )
    return readings, log_gain


def calibrated(readings: ElectrodeReadings) -> Calibration:
    with compiled.compiled_loops():
        return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection())


def quantiles(calibration: Calibration, name: str) -> FloatArray:
    return np.quantile(calibration.draws[:, calibration.names.index(name)], [0.005, 0.5, 0.995])


@pytest.fixture(scope="module")
def with_both() -> Calibration:
    return calibrated(season(SEED)[0])


@pytest.fixture(scope="module")
def with_one() -> Calibration:
    return calibrated(replace(season(SEED)[0], further=(), further_covariate=np.zeros((0, 0))))


def test_both_slopes_come_back(with_both: Calibration) -> None:
    for name, truth in (("slope", SLOPES[""]), ("slope:layer", SLOPES["layer"])):
        low, _, high = quantiles(with_both, name)
        assert low < truth < high
        assert high - low < 0.5


def test_leaving_a_covariate_out_is_seen_in_the_scatter_and_in_the_answer(
    with_both: Calibration, with_one: Calibration
) -> None:
    """What the second explained, .6 x .245 x sqrt(1 - 1/9) = .139, is then scatter of the electrodes."""
    _, both, _ = np.exp(quantiles(with_both, "ln_electrode_sd"))
    low, one, high = np.exp(quantiles(with_one, "ln_electrode_sd"))
    assert low < np.hypot(OWN_SD, 0.139) < high
    assert one > 1.6 * both
    folds = []
    for calibration, further in ((with_both, (("layer", 7.0),)), (with_one, ())):
        portion = SamplePortion("X", "B1", "bench", 3.0, 0.4, NOISE, further=further)
        reading = read_sample([portion], calibration, calibration.readings, DecisionSection(), 5)
        assert reading.two_sided is not None
        assert reading.two_sided.lower and reading.two_sided.upper
        folds.append(reading.two_sided.upper / reading.two_sided.lower)
    assert folds[1] > 1.25 * folds[0]


def test_an_electrode_without_the_second_is_read_wider_and_says_so(with_both: Calibration) -> None:
    bare = SamplePortion("X", "B1", "bench", 3.0, 0.4, NOISE)
    draws = batch_draws(with_both, with_both.readings, ["B1"], 5)
    scale = scale_of_calibration(with_both)
    (law, *_), _ = electrode_laws(draws, scale, bare)
    (known, *_), _ = electrode_laws(draws, scale, replace(bare, further=(("layer", 7.0),)))
    slope = with_both.names.index("slope:layer")
    left = float(scale.covariates.cov[1, 1] - scale.covariates.cov[0, 1] ** 2 / scale.covariates.cov[0, 0])
    wider = law.electrode.spread**2 - known.electrode.spread**2
    assert wider == pytest.approx(draws.theta[:, slope] ** 2 * left, rel=1e-6, abs=1e-12)
    (words,) = missing_covariates(bare, with_both.covariates)
    assert words == "electrode X has no covariate layer: read without it, and wider"
    assert missing_covariates(replace(bare, further=(("layer", 7.0),)), with_both.covariates) == []


def test_a_covariate_that_few_electrodes_have_is_not_used() -> None:
    readings, _ = season(SEED)
    sparse = readings.further_covariate.copy()
    sparse[0, 2:] = np.nan
    assert covariate_scale(replace(readings, further_covariate=sparse)).names == ("",)


def test_covariances_come_from_the_electrodes_that_have_both() -> None:
    readings, _ = season(SEED)
    gaps = readings.further_covariate.copy()
    gaps[0, ::2] = np.nan
    scale = covariate_scale(replace(readings, further_covariate=gaps))
    x, y = np.log(readings.covariate), np.log(gaps[0])
    both = np.isfinite(y)
    correlation = np.corrcoef(x[both], y[both])[0, 1]
    assert scale.cov[0, 1] == pytest.approx(correlation * x.std(ddof=1) * y[both].std(ddof=1))


def test_two_names_for_one_quantity_do_not_spoil_the_integral() -> None:
    readings, _ = season(SEED)
    twin = replace(readings, further_covariate=7.0 * readings.covariate[None, :])
    x, cov = filled(covariate_scale(twin), {"": np.array([4.0])})
    assert x[0] == pytest.approx(x[1], abs=1e-9)
    assert np.abs(cov).max() < 1e-12


def test_some_electrodes_keep_their_further_covariates_and_wrong_ones_are_refused() -> None:
    readings, _ = season(SEED, batches=2)
    keep = np.arange(len(readings.electrode)) % 3 == 0
    part = subset(readings, keep)
    assert np.array_equal(part.further_covariate, readings.further_covariate[:, keep])
    wrong = readings.further_covariate.copy()
    wrong[0, 4] = -1.0
    with pytest.raises(Refused, match="covariate layer -1 of electrode E4"):
        calibrated(replace(readings, further_covariate=wrong))

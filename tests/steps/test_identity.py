"""What makes a record the same record, and what is said when it is made again."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark import __version__
from brinemark.steps.identity import ENGINE, Made, Recipe, definition_from, definition_of, difference
from brinemark.steps.packing import (
    pack_calibration,
    pack_reading,
    pack_signal,
    pack_wave,
    unpack_calibration,
    unpack_reading,
    unpack_signal,
    unpack_wave,
)
from brinemark.terms.amounts import (
    Calibration,
    ConfidenceCurve,
    CovariateScale,
    Detection,
    ElectrodeReadings,
    Estimate,
    Gate,
    LimitValue,
    NormalPrior,
    Reading,
    Summary,
)
from brinemark.terms.curves import Band, Flag, Signal, Wave
from brinemark.terms.settings import Settings

RECIPE = Recipe("signal", "main", (("row", "a" * 64), ("trace", "b" * 64)), {"window_V": [0.4, 0.76]}, 3)
OTHERS = {
    "kind": Recipe("wave", RECIPE.role, RECIPE.parents, RECIPE.settings, 3),
    "role": Recipe("signal", "prescan", RECIPE.parents, RECIPE.settings, 3),
    "parents": Recipe("signal", "main", RECIPE.parents[:1], RECIPE.settings, 3),
    "order of parents": Recipe("signal", "main", RECIPE.parents[::-1], RECIPE.settings, 3),
    "role of a parent": Recipe("signal", "main", (("row", "a" * 64), ("other", "b" * 64)), RECIPE.settings, 3),
    "settings": Recipe("signal", "main", RECIPE.parents, {"window_V": [0.4, 0.77]}, 3),
    "seed": Recipe("signal", "main", RECIPE.parents, RECIPE.settings, 4),
}


def test_the_engine_names_the_version_of_the_package() -> None:
    assert ENGINE.split("/")[0] == __version__


@pytest.mark.parametrize("part", OTHERS)
def test_every_part_of_the_recipe_makes_another_id(part: str) -> None:
    assert OTHERS[part].id != RECIPE.id


def test_results_make_no_other_id_but_another_content() -> None:
    one, two = RECIPE.record(Made({"value": 1.0}, {})), RECIPE.record(Made({"value": 2.0}, {}))
    assert one.id == two.id
    assert one.content != two.content


def test_a_difference_is_told_with_its_size_and_place() -> None:
    one = RECIPE.record(Made({"value": 1.0, "name": "x"}, {"draws": np.array([1.0, 4.0])}))
    same = RECIPE.record(Made({"value": 1.0, "name": "x"}, {"draws": np.array([1.0, 4.0])}))
    apart = RECIPE.record(Made({"value": 1.0, "name": "x"}, {"draws": np.array([1.0, 5.0])}))
    words = RECIPE.record(Made({"value": 1.0, "name": "y"}, {"draws": np.array([1.0, 4.0])}))
    shorter = RECIPE.record(Made({"value": 1.0, "name": "x"}, {"draws": np.array([1.0])}))
    assert difference(one, same) is None
    assert difference(one, apart) == "same recipe, differs by 0.2 (relative) in draws; the stored signal is kept"
    assert "its words" in (difference(one, words) or "")
    assert "inf (relative) in draws" in (difference(one, shorter) or "")


DIFFERENT = {
    "window": {"signal": {"window_V": (0.4, 0.8)}},
    "covariate": {"covariate": {"window_V": (-0.3, 0.0)}},
    "pre-scan ratio": {"prescan": {"max_ratio": 3.0}},
    "unit": {"analyte": {"level_unit": "ng/L"}},
}


@pytest.mark.parametrize("name", DIFFERENT)
def test_what_defines_a_signal_is_part_of_the_definition(name: str) -> None:
    plain, other = definition_of(Settings()), definition_of(Settings.model_validate(DIFFERENT[name]))
    assert plain.identity != other.identity
    assert definition_from(other.identity) == other


@pytest.mark.parametrize("section", [{"decision": {"alpha": 0.01}}, {"calibration": {"draws": 512}}])
def test_decisions_and_draws_are_no_part_of_the_definition(section: dict[str, object]) -> None:
    assert definition_of(Settings()) == definition_of(Settings.model_validate(section))


def test_waves_and_signals_come_back_from_their_records() -> None:
    wave = Wave(np.linspace(0.4, 0.7, 5), np.array([0.0, 0.5, 1.0, 0.5, 0.0]), 0.55, "learned", 12)
    back = unpack_wave(RECIPE.record(pack_wave(wave)))
    assert isinstance(back, Wave)
    assert (back.place_V, back.source, back.traces) == (0.55, "learned", 12)
    assert np.array_equal(back.shape, wave.shape)
    band = Band(np.linspace(420.0, 480.0, 5), np.array([0.0, 0.5, 1.0, 0.5, 0.0]), 448.5, "learned", 7)
    again = unpack_wave(RECIPE.record(pack_wave(band)))
    assert isinstance(again, Band)
    assert (again.place_nm, again.source, again.spectra) == (448.5, "learned", 7)
    assert np.array_equal(again.wavelength_nm, band.wavelength_nm)
    signal = Signal(-1e-9, 2e-9, "A", (Flag("no wave", 0.4, 3.0, "small", True),), 1e-9, 1.7e-9)
    assert unpack_signal(RECIPE.record(pack_signal(signal))) == signal


def test_a_calibration_comes_back_from_its_record() -> None:
    readings = ElectrodeReadings(
        ("E1", "E2"),
        ("B1", "B1"),
        ("bench", "bench"),
        np.array([1.5, np.nan]),
        np.array([0, 1]),
        np.array([1e-9, 2e-7]),
        np.array([1e-9, 1e-9]),
        np.array([0.0, 2.0]),
    )
    made = Calibration(
        names=("ln_gain", "ln_K"),
        draws=np.array([[0.1, 0.2], [0.3, 0.4]]),
        signal_ref=2e-7,
        covariates=CovariateScale(),
        instruments=("bench",),
        highest_level=2.0,
        readings=readings,
        priors=(NormalPrior("ln_gain", 0.0, 1.0, "default"),),
        summaries=(Summary("K", 1.0, 0.5, 2.0, "level"),),
        gates=(Gate("Pareto k", 0.3, 0.7),),
        rounds=3,
        total_draws=2048,
        weaknesses=("one batch only",),
        seed=7,
    )
    back = unpack_calibration(RECIPE.record(pack_calibration(made, {"signal_unit": "A"})))
    for name in ("names", "signal_ref", "instruments", "priors", "summaries", "gates", "weaknesses", "seed", "rounds"):
        assert getattr(back, name) == getattr(made, name)
    assert np.array_equal(back.draws, made.draws)
    assert np.array_equal(back.readings.covariate, readings.covariate, equal_nan=True)
    assert back.readings.unit.dtype == np.int64
    assert (back.readings.electrode, back.readings.batch) == (readings.electrode, readings.batch)


def test_a_reading_comes_back_from_its_record() -> None:
    made = Reading(
        statement="quantified",
        reason=None,
        detection=Detection(True, 0.001, 0.05),
        estimate=Estimate(2.1, 1.4, 3.2, 0.95, 2),
        lower_limit=None,
        upper_limit=LimitValue(3.0, 0.95),
        working_range=(0.5, 5.2),
        shares=(0.25, 0.75),
        warnings=("a remark",),
        curve=ConfidenceCurve(np.array([0.0, 1.0]), np.array([0.9, 0.1]), 0.01),
        two_sided=Estimate(None, 0.0, None, 0.95, 2),
        monte_carlo_error=(0.01, 0.02),
    )
    back = unpack_reading(RECIPE.record(pack_reading(made, {})))
    for name in ("statement", "detection", "estimate", "upper_limit", "working_range", "shares", "two_sided"):
        assert getattr(back, name) == getattr(made, name)
    assert back.curve is not None
    assert made.curve is not None
    assert np.array_equal(back.curve.probability, made.curve.probability)
    assert (back.monte_carlo_error, back.lower_limit, back.warnings) == ((0.01, 0.02), None, ("a remark",))

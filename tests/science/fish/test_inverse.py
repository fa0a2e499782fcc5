"""Exposures that agree with readings: on known truth, against courses followed one by one, and at the grid's edges."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm

from brinemark.science.fish.integration import log_likelihood_at
from brinemark.science.fish.inverse import (
    CHI_SQUARE_95,
    CONTRADICTED,
    NO_BACKGROUND,
    Cells,
    Exposures,
    agreeing,
    exposures_that_agree,
    unit_levels,
)
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.mass_balance import LETHAL_MG_KG
from brinemark.science.fish.samples import TankSample
from brinemark.science.fish.tanks import Add, Fish, History, Leave, Move, Renew, Tank
from brinemark.science.fish.worlds import Drawing, draw_world, kinetics_of, published_worlds
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, LevelLikelihood

RELEASED, NOT_RELEASED = published_worlds()
LEVELS = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 240)])
TIMES = (3.0, 4.0, 6.0)
CELLS = Cells(
    np.geomspace(0.01, 30.0, 12), 1.0 + np.concatenate([[0.0], np.geomspace(0.05, 30.0, 11)]), Drawing(300, 1)
)
INTEGRATION = 0.02  # in ln, of the sum over backgrounds and of the tables


def noise(level: FloatArray) -> FloatArray:
    return np.sqrt(0.1**2 + (0.1 * level) ** 2)


Law = Callable[[FloatArray], FloatArray]


def table_of(law: Law) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, law(LEVELS), float(law(np.array([1e12]))[0]))


def signal_law(signal: float) -> Law:
    return lambda level: np.asarray(norm.logpdf(signal, level, noise(level)))


def of_signal(signal: float) -> LevelLikelihood:
    return table_of(signal_law(signal))


def below(limit: float) -> LevelLikelihood:
    return table_of(lambda level: np.asarray(norm.logcdf(limit, level, noise(level))))


def above(limit: float) -> LevelLikelihood:
    return table_of(lambda level: np.asarray(norm.logsf(limit, level, noise(level))))


def known_background(median: float, gsd: float) -> BackgroundFit:
    mu, sd = np.array([math.log(median)]), np.array([math.log(gsd)])
    ends = (median, median, median), (gsd, gsd, gsd)
    return BackgroundFit(mu, sd, np.array([mu, sd, [1.0]]), *ends, (median, gsd), 10, 0)


def history() -> History:
    """Fish from the sea into a tank at day 2, part of its water renewed, other fish there that were not exposed."""
    fish = (Fish("caught", 5, 0.01), Fish("bred", 2, 0.02, tank="a"))
    events = (Move(2.0, "caught", "a"), Renew(3.5, "a", 0.3), Leave(5.0, "caught", 1, dead=True))
    return History((Tank("a", 20.0, 1.0, 0.4),), fish, events)


def samples(*likelihoods: LevelLikelihood) -> list[TankSample]:
    return [TankSample("a", time, each) for time, each in zip(TIMES, likelihoods, strict=False)]


def found_with(*likelihoods: LevelLikelihood, background: BackgroundFit | None = None) -> Exposures:
    return exposures_that_agree(RELEASED, history(), ["caught"], samples(*likelihoods), background, CELLS)


def test_the_threshold_is_that_of_chi_square_with_two_degrees_of_freedom() -> None:
    assert pytest.approx(chi2.ppf(0.95, 2), rel=1e-12) == CHI_SQUARE_95


def test_water_from_fish_is_linear_in_the_dose() -> None:
    kinetics = kinetics_of(draw_world(RELEASED, Drawing(100, 2)))

    def water(dose: float) -> FloatArray:
        course = history()
        fish = tuple(replace(each, dose_mg_kg=dose if each.name == "caught" else 0.0) for each in course.fish)
        bare = History((Tank("a", 20.0, 1.0),), fish, course.events)
        return follow(kinetics, bare, np.array(TIMES)).water_ug_L[:, 0]

    assert water(7.3) == pytest.approx(7.3 * water(1.0), rel=1e-12)


def test_each_cell_is_that_of_courses_followed_one_by_one() -> None:
    likelihoods = (of_signal(2.0), below(1.5), of_signal(1.0))
    found = found_with(*likelihoods)
    kinetics = kinetics_of(draw_world(RELEASED, CELLS.drawing))
    days = CELLS.days_d
    assert days is not None

    def cell(dose: float, day: float) -> float:
        fish = (Fish("caught", 5, 0.01, dose, TIMES[0] - day), Fish("bred", 2, 0.02, tank="a"))
        course = follow(kinetics, History((Tank("a", 20.0, 1.0),), fish, history().events), np.array(TIMES))
        each = [log_likelihood_at(one, course.water_ug_L[:, 0, n]) for n, one in enumerate(likelihoods)]
        return math.log(math.fsum(math.exp(value) for value in np.sum(each, axis=0)) / CELLS.drawing.count)

    places = [(7, 0), (8, 4), (11, 9), (5, 2)]
    wanted = [cell(float(CELLS.dose_mg_kg[i]), float(days[j])) for i, j in places]
    differences = [float(found.log_likelihood[place] - found.log_likelihood[places[0]]) for place in places]
    assert differences == pytest.approx([value - wanted[0] for value in wanted], abs=1e-9)
    # Without exposure the level is 0 in every draw.
    none = sum(float(log_likelihood_at(one, np.zeros(1))[0]) for one in likelihoods)
    assert found.no_exposure - found.log_likelihood[places[0]] == pytest.approx(none - wanted[0], abs=1e-9)


def test_a_background_is_integrated_and_is_the_same_for_all_samples_of_a_tank() -> None:
    laws = (signal_law(2.0), signal_law(1.2))
    background = known_background(0.7, 2.0)
    cells = replace(CELLS, drawing=Drawing(6, 1))
    two = samples(*map(table_of, laws))
    unit = unit_levels(RELEASED, history(), ["caught"], two, cells)
    found = agreeing(unit, [one.likelihood for one in two], background, cells.dose_mg_kg)

    def density(added: FloatArray) -> float:
        def part(z: float) -> float:
            level = 0.7 * 2.0**z + added
            return float(np.exp(sum(law(level[n : n + 1])[0] for n, law in enumerate(laws))) * norm.pdf(z))

        return math.fsum(float(quad(part, a, a + 1.0, epsabs=0.0, epsrel=1e-6, limit=200)[0]) for a in range(-8, 8))

    def wanted(dose: float, place: int) -> float:
        return math.log(np.mean([density(dose * row) for row in unit.level_ug_L[place]]))

    none = math.log(density(np.zeros(2)))
    for i, j in ((6, 0), (8, 4), (9, 8)):
        told = found.log_likelihood[i, j] - found.no_exposure
        assert told == pytest.approx(wanted(float(cells.dose_mg_kg[i]), j) - none, abs=INTEGRATION)


def test_two_tanks_have_backgrounds_of_their_own() -> None:
    fish = (Fish("caught", 5, 0.01), Fish("bred", 2, 0.02))
    events = (Move(1.0, "caught", "a"), Move(1.0, "bred", "b"))
    both = History((Tank("a", 20.0), Tank("b", 5.0)), fish, events)
    names, background = ["caught", "bred"], known_background(0.7, 2.0)
    pair = [TankSample("a", 2.0, of_signal(2.0)), TankSample("b", 3.0, of_signal(4.0))]
    one = Cells(np.array([0.3, 1.0]), np.array([1.5, 4.0]), Drawing(1, 3))
    together = exposures_that_agree(RELEASED, both, names, pair, background, one)
    apart = []
    for sample, later in zip(pair, (0.0, 1.0), strict=True):
        cells = replace(one, days_d=np.array([1.5, 4.0]) + later)
        apart.append(exposures_that_agree(RELEASED, both, names, [sample], background, cells))
    told = together.log_likelihood - together.no_exposure
    wanted = sum(each.log_likelihood - each.no_exposure for each in apart)
    assert told == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("background", [None, known_background(0.7, 2.0)], ids=["no background", "background"])
def test_without_release_every_exposure_agrees_exactly_as_well_as_none(background: BackgroundFit | None) -> None:
    three = samples(of_signal(2.0), below(1.5), above(9.0))
    found = exposures_that_agree(NOT_RELEASED, history(), ["caught"], three, background, CELLS)
    assert np.all(found.log_likelihood == 0.0)
    assert found.no_exposure == 0.0
    assert found.agrees.all() and found.none_agrees
    assert "every dose and time agrees" in found.words and "as well as no exposure" in found.words


def test_the_region_holds_the_truth_in_the_stated_share_of_cases() -> None:
    # Fish, dose and time of every case are drawn, the kinetics from draws that the region does not know.
    cases, rng = 200, np.random.default_rng(17)
    likelihood = of_signal(1.0)
    cells = replace(CELLS, dose_mg_kg=np.geomspace(0.05, 20.0, 12))
    three = samples(likelihood, likelihood, likelihood)
    unit = unit_levels(RELEASED, history(), ["caught"], three, cells)
    truths = unit_levels(RELEASED, history(), ["caught"], three, replace(cells, drawing=Drawing(cases, 99)))
    held = []
    for case in range(cases):
        i, j = int(rng.integers(12)), int(rng.integers(unit.days_d.size))
        level = cells.dose_mg_kg[i] * truths.level_ug_L[j, case]
        signals = rng.normal(level, noise(level))
        found = agreeing(unit, [of_signal(float(signal)) for signal in signals], None, cells.dose_mg_kg)
        held.append(bool(found.agrees[i, j]))
    # 95 % is what two degrees of freedom promise; three binomial standard errors of 200 cases below it.
    assert np.mean(held) > 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / cases)


def test_a_reading_below_detection_leaves_no_lower_end_and_a_full_electrode_no_upper_end() -> None:
    soon = replace(CELLS, days_d=np.array([1.0, 1.2, 1.4]))
    low = exposures_that_agree(RELEASED, history(), ["caught"], samples(*[below(0.1)] * 3), None, soon)
    assert low.none_agrees and low.agrees[0].all()
    assert "with no lower end" in low.words and "No exposure agrees too" in low.words
    assert not low.agrees[-1, 0]
    high = found_with(above(15.0))
    assert high.agrees[-1].any() and not high.none_agrees
    assert "with no upper end" in high.words and "No exposure agrees less well" in high.words


@pytest.mark.parametrize("likelihood", [below(0.6), of_signal(3.0), above(15.0), above(400.0)])
def test_an_edge_of_the_grid_is_never_told_as_a_bound(likelihood: LevelLikelihood) -> None:
    found = found_with(likelihood)
    doses = np.flatnonzero(found.agrees.any(axis=1))
    told = found.words.split(",")[0]
    for place, edge in ((doses[0], 0), (doses[-1], -1)):
        if found.dose_mg_kg[place] == found.dose_mg_kg[edge]:
            assert f"{found.dose_mg_kg[edge]:.2g} mg" not in told
        else:  # the nearest dose that does not agree bounds those that do
            beside = found.dose_mg_kg[place + (1 if edge else -1)]
            assert f"{beside:.2g}" in told


def test_it_is_said_whether_doses_above_a_mammalian_lethal_dose_are_needed() -> None:
    soon = replace(CELLS, days_d=np.array([1.0, 1.2, 1.4]))
    low = exposures_that_agree(RELEASED, history(), ["caught"], samples(*[below(0.05)] * 3), None, soon)
    assert "none of them is above the 3.0 mg CN per kg" in low.words
    assert "are among them" in found_with(of_signal(3.0)).words
    needed = found_with(of_signal(400.0))
    assert "all of them are above the 3.0 mg CN per kg" in needed.words
    assert np.all(needed.dose_mg_kg[needed.agrees.any(axis=1)] > LETHAL_MG_KG)


def test_exposure_after_the_fish_went_into_their_first_tank_is_left_out() -> None:
    cells = replace(CELLS, days_d=np.array([0.2, 0.99, 1.0, 1.5]))
    found = exposures_that_agree(RELEASED, history(), ["caught"], samples(of_signal(2.0)), None, cells)
    assert np.all(np.isnan(found.log_likelihood[:, :2])) and np.all(np.isfinite(found.log_likelihood[:, 2:]))
    assert not found.agrees[:, :2].any()
    with pytest.raises(Refused, match="first tank"):
        late = replace(CELLS, days_d=np.array([0.2, 0.9]))
        exposures_that_agree(RELEASED, history(), ["caught"], samples(of_signal(2.0)), None, late)
    # Of several lots the one that was in a tank first counts: "bred" were there from its filling on.
    with pytest.raises(Refused, match="3 d or more"):
        exposures_that_agree(RELEASED, history(), ["caught", "bred"], samples(of_signal(2.0)), None, cells)


def test_the_times_that_come_with_it_begin_with_the_latest_possible_exposure() -> None:
    found = exposures_that_agree(RELEASED, history(), ["caught"], samples(of_signal(2.0)))
    assert found.days_d[0] == 1.0 and found.days_d[-1] == pytest.approx(61.0)
    assert np.all(np.isfinite(found.log_likelihood))


def test_other_sources_are_left_to_the_background_and_their_absence_is_said() -> None:
    polluted = replace(history(), events=(*history().events, Add(2.5, "a", 500.0)))
    clean, other = (
        exposures_that_agree(RELEASED, each, ["caught"], samples(of_signal(2.0)), None, CELLS)
        for each in (history(), polluted)
    )
    assert clean.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-9)  # an event more splits the steps
    assert clean.cautions == (NO_BACKGROUND,)
    known = exposures_that_agree(
        RELEASED, history(), ["caught"], samples(of_signal(2.0)), known_background(2.0, 1.5), CELLS
    )
    assert known.none_agrees and known.cautions == ()


def test_readings_that_contradict_each_other_are_named() -> None:
    apart = found_with(of_signal(20.0), of_signal(0.1))
    assert CONTRADICTED in apart.cautions
    assert CONTRADICTED not in found_with(of_signal(2.0), of_signal(1.9)).cautions


def test_readings_that_nothing_explains_agree_with_nothing() -> None:
    high = LevelLikelihood(np.array([0.0, 1.0, 2.0, 3.0]), np.array([-1e4, -1e4, -1e4, 0.0]), 0.0)
    low = LevelLikelihood(np.array([0.0, 0.1, 0.2, 0.3]), np.array([0.0, 0.0, -1e4, -1e4]), -math.inf)
    found = found_with(high, low, background=known_background(0.01, 1.5))
    assert not found.agrees.any() and not found.none_agrees
    assert "neither" in found.words and CONTRADICTED in found.cautions


def test_few_draws_behind_the_best_cell_are_said() -> None:
    few = replace(CELLS, drawing=Drawing(8, 1))
    found = exposures_that_agree(RELEASED, history(), ["caught"], samples(of_signal(2.0)), None, few)
    assert found.effective < 10.0 and "take more draws" in found.cautions[-1]


@pytest.mark.parametrize(
    ("exposed", "tank", "time", "cells", "words"),
    [
        ([], "a", 3.0, CELLS, "no exposed fish"),
        (["shark"], "a", 3.0, CELLS, "shark"),
        (["caught"], "b", 3.0, CELLS, "unknown tank 'b'"),
        (["caught"], "a", -1.0, CELLS, "a time from its filling"),
        (["caught"], "a", 3.0, replace(CELLS, dose_mg_kg=np.array([0.0, 1.0])), "doses"),
        (["caught"], "a", 3.0, replace(CELLS, dose_mg_kg=np.array([2.0, 1.0])), "doses"),
        (["caught"], "a", 3.0, replace(CELLS, days_d=np.array([-1.0, 2.0])), "days before"),
    ],
)
def test_what_cannot_be_is_refused(exposed: list[str], tank: str, time: float, cells: Cells, words: str) -> None:
    with pytest.raises(Refused, match=words):
        exposures_that_agree(RELEASED, history(), exposed, [TankSample(tank, time, of_signal(2.0))], None, cells)


def test_no_samples_and_fish_that_were_in_no_tank_are_refused() -> None:
    with pytest.raises(Refused, match="no samples"):
        exposures_that_agree(RELEASED, history(), ["caught"], [])
    free = History((Tank("a", 1.0),), (Fish("free", 1, 0.01),))
    with pytest.raises(Refused, match="never in a tank"):
        exposures_that_agree(RELEASED, free, ["free"], samples(of_signal(2.0)))

"""Own spiked tanks and exposed fish in place of published parameters: known truth, one-sided answers, refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.own_experiments import (
    BEFORE,
    CALLED,
    MOST_LOSS_PER_D,
    SLOW_SHARE,
    TO_WATER,
    WATER_LOSS,
    Experiment,
    OwnFit,
    fit_experiments,
    own_world,
)
from brinemark.science.fish.parameters import LOG_NORMAL, LOG_UNIFORM, MEASURED, UNIFORM, draw
from brinemark.science.fish.samples import TankSample, levels_of, sample_times
from brinemark.science.fish.tanks import Add, Fish, History, Move, Tank
from brinemark.science.fish.worlds import OWN, Drawing, World, draw_world, kinetics_of, published_worlds
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, LevelLikelihood

LEVELS = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 240)])
LIMIT = 0.6  # ug/L, detected in the published spike
SPIKE = 20.0  # ug/L
PLAIN = History((Tank("spiked", 1.0, start_ug_L=SPIKE),))


def noise(level: FloatArray) -> FloatArray:
    return np.sqrt(0.1**2 + (0.1 * level) ** 2)


def of_signal(signal: float) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, norm.logpdf(signal, LEVELS, noise(LEVELS)), -0.5 / 0.1**2 - math.log(1e12))


def below(limit: float = LIMIT) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, norm.logcdf(limit, LEVELS, noise(LEVELS)), -0.5 / 0.1**2)


def spiked(*readings: tuple[float, LevelLikelihood], name: str = "spike") -> Experiment:
    return Experiment(name, PLAIN, (), tuple(TankSample("spiked", time, each) for time, each in readings))


PUBLISHED = spiked((0.0, of_signal(SPIKE)), (1.0, below()))


def trial(number: int, dose: float, *likelihoods: LevelLikelihood) -> Experiment:
    """Two fish of known exposure, half a day later in clean water, read 1, 2 and 5 days after it."""
    history = History(
        (Tank("held", 2.0, filled_d=0.5),), (Fish("trial", 2, 0.01, dose),), (Move(0.5, "trial", "held"),)
    )
    times = (1.0, 2.0, 5.0)
    samples = tuple(TankSample("held", time, each) for time, each in zip(times, likelihoods, strict=True))
    return Experiment(f"trial {number}", history, ("trial",), samples)


def read(experiment: Experiment, truth: dict[str, FloatArray], rng: np.random.Generator) -> Experiment:
    """The experiment as it would be read if this were the truth."""
    course = follow(kinetics_of(truth), experiment.history, sample_times(experiment.samples))
    levels = levels_of(course, experiment.history, experiment.samples)[0]
    signals = rng.normal(levels, noise(levels))
    pairs = zip(experiment.samples, signals, strict=True)
    return replace(
        experiment, samples=tuple(sample._replace(likelihood=of_signal(float(signal))) for sample, signal in pairs)
    )


def blank(count: int) -> list[LevelLikelihood]:
    return [below()] * count


def loss_of(fit: OwnFit) -> float:
    return next(each.median for each in fit.measured if each.name == WATER_LOSS)


def test_without_readings_the_laws_are_those_from_before() -> None:
    fit = fit_experiments(())
    assert fit.effective == 4096 and fit.rounds == 1
    for name, values in fit.draws.items():
        levels = np.array([0.025, 0.1, 0.5, 0.9, 0.975])
        share = np.array([np.mean(values <= end) for end in BEFORE.parameters[name].quantile(levels)])
        assert share == pytest.approx(levels, abs=4.0 * 0.5 / math.sqrt(len(values)))  # four Monte Carlo errors at most
    assert fit.measured == () and set(fit.reasons) == set(CALLED)


def test_a_reading_that_says_nothing_changes_nothing() -> None:
    flat = LevelLikelihood(LEVELS, np.zeros(LEVELS.size), 0.0)
    fit, before = fit_experiments([spiked((0.0, flat), (1.0, flat))]), fit_experiments(())
    assert all(np.array_equal(fit.draws[name], before.draws[name]) for name in fit.draws)
    assert "do not narrow it" in fit.reasons[WATER_LOSS]


def test_loss_in_water_is_the_posterior_of_a_general_integrator() -> None:
    # 20 ug/L at the start, then exp(-k t): one parameter, its law log-uniform before the readings.
    readings = ((0.0, 20.5), (1.0, 14.0), (3.0, 8.5))
    fit = fit_experiments([spiked(*((time, of_signal(signal)) for time, signal in readings))])

    def density(log_k: float) -> float:
        levels = [SPIKE * math.exp(-math.exp(log_k) * time) for time, _ in readings]
        return float(np.prod([norm.pdf(s, c, noise(np.array(c))) for c, (_, s) in zip(levels, readings, strict=True)]))

    low, high = math.log(0.005), math.log(MOST_LOSS_PER_D)
    whole = quad(density, low, high, points=[-1.2], limit=500)[0]
    for end, share in zip(fit.ends[WATER_LOSS], (0.025, 0.5, 0.975), strict=True):
        found = quad(density, low, math.log(end), points=[-1.2], limit=500)[0] / whole
        # four standard errors of a share among the effective draws
        assert found == pytest.approx(share, abs=4.0 * math.sqrt(share * (1.0 - share) / fit.effective))
    law = fit.measured[0]
    assert (law.name, law.law, law.source.standing) == (WATER_LOSS, LOG_NORMAL, MEASURED)
    assert law.quantile(np.array([0.025, 0.975])) == pytest.approx(fit.ends[WATER_LOSS][::2], rel=0.05)
    assert "3 readings of 1 tank spiked (spike)" in law.source.how and "(95 %)" in law.source.how


def test_the_published_spike_gives_a_lower_end_and_names_the_upper_one_as_assumed() -> None:
    fit = fit_experiments([PUBLISHED])
    law = fit.measured[0]
    least = math.log(SPIKE / LIMIT)
    # Half of the readings at the limit itself are below it, so that the end is soft: noise of the limit over 1 d.
    softness = 2.0 * float(noise(np.array(LIMIT))) / LIMIT
    assert least - softness < fit.ends[WATER_LOSS][0] < least + softness
    assert law.law == LOG_UNIFORM
    assert law.quantile(0.0) == pytest.approx(fit.ends[WATER_LOSS][0])
    assert law.quantile(1.0) == pytest.approx(MOST_LOSS_PER_D)
    assert "at least" in law.source.how and "assumed beforehand and not measured" in law.source.how
    assert fit.ends[WATER_LOSS][2] > 0.9 * MOST_LOSS_PER_D  # not tightened towards the limit


def test_a_spike_that_stays_has_an_upper_end_and_its_lower_one_is_assumed() -> None:
    fit = fit_experiments([spiked(*((time, of_signal(SPIKE)) for time in (0.0, 1.0, 4.0)))])
    how = fit.measured[0].source.how
    assert "at most" in how and "lower end of 0.005 1/d was assumed" in how
    # Two readings of 10 % over 4 d allow a loss of about 2 * 0.1 * sqrt(2) / 4 per day.
    assert fit.ends[WATER_LOSS][2] < 0.1


def test_one_time_after_a_spike_is_too_few() -> None:
    once = fit_experiments([spiked((1.0, of_signal(10.0)))])
    assert "1 times after a spike, 2 different ones needed" in once.reasons[WATER_LOSS]
    tanks = [spiked((time, of_signal(10.0)), name=f"spike {time:g}") for time in (1.0, 2.0)]
    assert WATER_LOSS not in fit_experiments(tanks).reasons  # two tanks spiked alike, one reading each


def test_an_amount_added_is_a_spike() -> None:
    history = History((Tank("spiked", 2.0),), (), (Add(1.0, "spiked", 40.0, "spike"),))
    samples = tuple(TankSample("spiked", 1.0 + t, of_signal(SPIKE * math.exp(-0.5 * t))) for t in (0.0, 1.0, 2.0))
    fit = fit_experiments([Experiment("added", history, (), samples)])
    assert loss_of(fit) == pytest.approx(0.5, rel=0.1)
    early = samples[0]._replace(time_d=0.5, likelihood=below())
    assert fit_experiments([Experiment("added", history, (), (early, samples[1]))]).counts.spiked_times == 1


def held_at(case: int, truths: dict[str, FloatArray], plan: list[Experiment]) -> tuple[OwnFit, dict[str, bool]]:
    """The fit of a plan as it would be read under the case's truth, and whether its 95 % intervals hold that."""
    truth = {name: values[case : case + 1] for name, values in truths.items()}
    rng = np.random.default_rng([5, case])
    fit = fit_experiments([read(each, truth, rng) for each in plan], drawing=Drawing(4096, case))
    return fit, {name: fit.ends[name][0] <= float(truth[name][0]) <= fit.ends[name][2] for name in CALLED}


def stated(fit: OwnFit, truths: dict[str, FloatArray], case: int) -> list[bool]:
    """Whether the interval of each measured parameter, its unmeasured end included, holds the truth."""
    found = []
    for law in fit.measured:
        ends = law.quantile(np.array([0.0, 1.0] if law.law in (UNIFORM, LOG_UNIFORM) else [0.025, 0.975]))
        found.append(bool(ends[0] <= truths[law.name][case] <= ends[1]))
    return found


def least_share(count: int) -> float:
    """Three binomial standard errors below 95 %."""
    return 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / count)


def test_loss_in_water_is_held_in_the_stated_share_of_spiked_tanks() -> None:
    count, truths = 60, draw(BEFORE.parameters, 60, 78)
    plan = [spiked(*((time, below()) for time in (0.0, 1.0, 3.0)))]
    fits = [held_at(case, truths, plan) for case in range(count)]
    assert np.mean([held[WATER_LOSS] for _, held in fits]) > least_share(count)
    told = [one for case, (fit, _) in enumerate(fits) for one in stated(fit, truths, case)]
    assert len(told) > 0.9 * count  # three readings of a spike say something of nearly every loss
    assert np.mean(told) > least_share(len(told))


def test_truth_is_held_by_the_stated_intervals_in_the_stated_share() -> None:
    """Few histories, for each takes a second; benchmarks/own_experiments.py has sixty."""
    held, told, least = coverage(12)
    for name in CALLED:
        assert np.mean(held[name]) > least_share(12), name
    assert np.mean(told) > least_share(12)  # those of one history depend on each other
    assert least >= 100.0


def coverage(count: int) -> tuple[dict[str, list[bool]], list[bool], float]:
    """Of so many histories with a spiked tank and three of exposed fish, each read three times: whether the 95 %
    intervals held each truth, whether the stated ends of measured parameters did, and the least effective draws."""
    truths = draw(BEFORE.parameters, count, 77)
    plan = [spiked(*((time, below()) for time in (0.0, 1.0, 3.0)))]
    plan += [trial(number, 1.0, *blank(3)) for number in range(3)]
    fits = [held_at(case, truths, plan) for case in range(count)]
    told = [bool(one) for case, (fit, _) in enumerate(fits) for one in stated(fit, truths, case)]
    held = {name: [bool(found[name]) for _, found in fits] for name in CALLED}
    return held, told, min(fit.effective for fit, _ in fits)


def test_share_that_reaches_the_water_needs_three_tanks_of_exposed_fish() -> None:
    fit = fit_experiments([PUBLISHED, *(trial(n, 1.0, *blank(3)) for n in range(2))])
    assert "readings of 2 tanks with fish known to have been exposed, 3 needed" in fit.reasons[TO_WATER]
    world = own_world(fit)
    assert isinstance(world, str) and "share that reaches the water: readings of 2 tanks" in world
    none = own_world(fit_experiments([PUBLISHED]))
    assert isinstance(none, str) and "readings of 0 tanks" in none
    assert "loss in water: readings at 0 times" in str(own_world(fit_experiments(())))


def test_exposed_fish_whose_water_loses_all_within_a_day_measure_no_release() -> None:
    fit = fit_experiments([PUBLISHED, *(trial(n, 0.0, *blank(3)) for n in range(3))])
    assert "do not narrow it" in fit.reasons[TO_WATER]
    assert isinstance(own_world(fit), str)
    assert "dose that exposed fish absorbed was not known" in fit.cautions[0]


def test_own_controls_make_a_world_whose_draws_are_those_of_the_fit() -> None:
    stays = spiked(*((time, of_signal(SPIKE * math.exp(-0.3 * time))) for time in (0.0, 1.0, 3.0)))
    fit = fit_experiments([stays, *(trial(n, 1.0, *blank(3)) for n in range(3))])
    world = own_world(fit)
    assert isinstance(world, World) and world.name == OWN
    assert "at most" in world.parameters[TO_WATER].source.how and world.parameters[TO_WATER].law == UNIFORM
    assert world.parameters[WATER_LOSS].source.standing == MEASURED
    drawn = draw_world(world, Drawing(1000, 3))
    levels = np.array([0.05, 0.5, 0.95])
    for name in (WATER_LOSS, TO_WATER):
        share = np.array([np.mean(drawn[name] <= end) for end in np.quantile(fit.draws[name], levels)])
        assert np.all(np.abs(share - levels) < 4.0 * np.sqrt(levels * (1.0 - levels) / 1000))  # Monte Carlo errors
    rows = set(zip(fit.draws[WATER_LOSS].tolist(), fit.draws[TO_WATER].tolist(), strict=True))
    assert all(pair in rows for pair in zip(drawn[WATER_LOSS].tolist(), drawn[TO_WATER].tolist(), strict=True))
    published = published_worlds()[0]
    assert np.array_equal(drawn["body_half_life"], draw_world(published, Drawing(1000, 3))["body_half_life"])


def test_a_background_that_explains_a_reading_leaves_less_to_the_spike() -> None:
    mu, sd = np.array([math.log(2.0)]), np.array([math.log(1.2)])
    background = BackgroundFit(mu, sd, np.array([mu, sd, [1.0]]), (2, 2, 2), (1.2, 1.2, 1.2), (2.0, 1.2), 10, 0)
    readings = spiked((0.0, of_signal(SPIKE + 2.0)), (2.0, of_signal(2.0)))
    bare, behind = fit_experiments([readings]), fit_experiments([readings], background)
    assert loss_of(bare) == pytest.approx(math.log(SPIKE / 2.0) / 2.0, rel=0.1)
    assert "at least" in behind.measured[0].source.how and behind.ends[WATER_LOSS][0] > loss_of(bare)


def test_readings_that_contradict_each_other_measure_nothing() -> None:
    # The level rises 100-fold without any source.
    fit = fit_experiments([spiked((0.0, of_signal(0.2)), (1.0, of_signal(20.0)), (2.0, of_signal(0.2)))])
    assert "do not fit together" in fit.reasons[WATER_LOSS]


def test_too_few_draws_behind_the_answer_refuse_to_say() -> None:
    sharp = spiked(*((time, of_signal(SPIKE * math.exp(-0.3 * time))) for time in (0.0, 1.0, 3.0)))
    assert "cannot say" in fit_experiments([sharp], drawing=Drawing(64, 1)).reasons[WATER_LOSS]
    assert fit_experiments([sharp], drawing=Drawing(64, 1)).measured == ()


def test_the_share_that_leaves_slowly_stays_open_where_it_was_not_measured() -> None:
    fit = fit_experiments([PUBLISHED])
    assert fit.ends[SLOW_SHARE] == pytest.approx((0.025, 0.5, 0.975), abs=4.0 * 0.5 / math.sqrt(fit.effective))
    assert any(words.startswith("share that leaves slowly: not measured") for words in fit.words)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Refused, match="twice"):
        fit_experiments([PUBLISHED, PUBLISHED])
    with pytest.raises(Refused, match="without samples"):
        fit_experiments([Experiment("none", PLAIN)])
    with pytest.raises(Refused, match="unknown tank 'other'"):
        fit_experiments([Experiment("x", PLAIN, (), (TankSample("other", 1.0, below()),))])
    with pytest.raises(Refused, match="shark"):
        fit_experiments([replace(PUBLISHED, exposed=("shark",))])

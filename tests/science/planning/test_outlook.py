"""What new electrodes are expected to tell: closed forms where they exist, and electrodes simulated and really read."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount.joint import SimulatedLives
from brinemark.science.amount.joint_likelihood import Stretch
from brinemark.science.amount.law import DipLaw, ElectrodeLaw
from brinemark.science.amount.normal import normal_quantile
from brinemark.science.amount.reading import statistic_of
from brinemark.science.amount.statistic import Observed
from brinemark.science.planning.outlook import Aim, Bench, Deviates, Levels, Outlook, Part
from brinemark.terms.arrays import FloatArray

K, TOP = 2.0, 3000.0
AIM = Aim(normal_quantile(0.975), 3.0, 1e9)
NOTHING = 1e-9
SIGMAS = 3.0
LEVEL = 40.0
WIDTH = 1.06
"""The null of the stated interval is simulated from the exact law, the expected one has the normal quantile: ln folds
differ by as much (3 % with a closing spike, measured on 2,048 electrodes)."""
DILUTIONS = np.array([1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0])


def electrode(
    dilution: float = 1.0,
    *,
    noise: float = 0.02,
    cv: float = NOTHING,
    spread: float = NOTHING,
    floor: float = NOTHING,
    shared: FloatArray | None = None,
    rises: tuple[float, ...] = (),
    own_K_sd: float = NOTHING,
) -> Observed:
    """An electrode whose population is known; shared : (D,) ln gain of its batch, by draw."""
    gain = np.zeros(64) if shared is None else shared
    one = np.ones(gain.size)
    law = ElectrodeLaw(
        log_gain=gain,
        ln_K=math.log(K) * one,
        h=one,
        floor=floor * one,
        spread=spread * one,
        floor_sd=NOTHING * one,
        own_K_sd=own_K_sd * one,
        cv=cv * one,
        noise=noise**2 * one,
        drift_sd=NOTHING * one,
    )
    dips = [DipLaw(law, 0.0, 1.0 / dilution, 0.0 * one, 0.0, 0.0 * one, apart=False)]
    dips += [DipLaw(law, 0.0, 1.0 / dilution, rise * one, 0.0, 0.0 * one, apart=True) for rise in rises]
    return Observed(tuple(dips), (0.0,) * len(dips), dilution)


def narrow(level: float, sd: float) -> Levels:
    """A normal prior of ln level with sd, on a ladder that is fine against it."""
    rungs = np.exp(np.log(level) + sd * np.linspace(-5.0, 5.0, 81))
    candidates = np.concatenate([-np.array([0.9, 0.7, 0.5, 0.35, 0.2, 0.1, 0.05]), [0.0], rungs, [np.inf]])
    log_prior = np.concatenate([np.full(8, -np.inf), -0.5 * np.linspace(-5.0, 5.0, 81) ** 2, [-np.inf]])
    return Levels(candidates, log_prior)


def at_level(level: float) -> Levels:
    """One level that a sample certainly has, on the ladder of the whole range."""
    made = Levels.of(K, TOP, TOP)
    candidates = made.candidates.copy()
    nearest = int(np.argmin(np.abs(candidates[:-1] / level - 1.0)))
    candidates[nearest] = level
    return Levels(candidates, np.where(np.arange(candidates.size) == nearest, 0.0, -np.inf))


def outlook(levels: Levels, new: list[Observed], past: tuple[Observed, ...] = (), count: int = 4096) -> Outlook:
    bench = Bench(levels, tuple(Part.of(one, levels) for one in past), Deviates.draw(11, count), AIM)
    return bench.outlook([Part.of(one, levels) for one in new])


def steepness(dilution: FloatArray, level: float, noise: float, cv: float) -> FloatArray:
    """Information about ln level of a main reading, (d theta / d ln c)^2 / variance, theta = x / (1 + x)."""
    x = level / dilution / K
    theta = x / (1.0 + x)
    return np.asarray((theta * (1.0 - theta)) ** 2 / (noise**2 + (cv * theta) ** 2))


@pytest.mark.parametrize(("noise", "cv"), [(0.02, NOTHING), (0.01, 0.05), (0.003, 0.1)])
def test_what_a_reading_tells_of_a_nearly_known_level_is_the_normal_closed_form(noise: float, cv: float) -> None:
    """I = ln(1 + sd^2 J) / 2 for a normal prior and a response that is straight over it; no scatter of electrodes."""
    sd = 0.03
    levels = narrow(LEVEL, sd)
    expected = 0.5 * np.log1p(sd**2 * steepness(DILUTIONS, LEVEL, noise, cv))
    found = [outlook(levels, [electrode(float(d), noise=noise, cv=cv)]) for d in DILUTIONS]
    bent = 0.02  # of the information: over +-2 sd the response bends so much
    for one, wanted in zip(found, expected, strict=True):
        assert abs(one.information - wanted) < SIGMAS * one.error + bent * wanted


@pytest.mark.parametrize(("noise", "cv"), [(0.02, NOTHING), (0.003, 0.1)])
def test_the_most_is_told_where_the_response_is_steepest_against_its_noise(noise: float, cv: float) -> None:
    """Constant noise: theta (1 - theta) is largest at K, so the dilution is c / K; noise that grows with the signal
    draws it below K, where [theta (1 - theta)]^2 / (s^2 + cv^2 theta^2) is largest."""
    fine = np.geomspace(2.0, 400.0, 33)
    levels = narrow(LEVEL, 0.03)
    new = [electrode(float(d), noise=noise, cv=cv) for d in fine]
    best = fine[np.argmax([outlook(levels, [one], count=1024).information for one in new])]
    wanted = fine[np.argmax(steepness(fine, LEVEL, noise, cv))]
    assert abs(math.log(best / wanted)) <= math.log(fine[1] / fine[0]) + 1e-9
    if cv == NOTHING:
        assert wanted == pytest.approx(LEVEL / K, rel=fine[1] / fine[0] - 1.0)
    else:
        assert wanted > 1.5 * LEVEL / K


@pytest.mark.parametrize("rel_u", [0.05, 0.2])
def test_an_error_of_the_dilution_adds_to_that_of_the_level(rel_u: float) -> None:
    """I = ln(1 + sd^2 / (1/J + u^2)) / 2: an own error of ln K, which is what that of a dilution counts as."""
    sd, levels = 0.03, narrow(LEVEL, 0.03)
    J = float(steepness(np.array([20.0]), LEVEL, 0.02, NOTHING)[0])
    found = outlook(levels, [electrode(20.0, own_K_sd=rel_u)])
    wanted = 0.5 * math.log1p(sd**2 / (1.0 / J + rel_u**2))
    assert abs(found.information - wanted) < SIGMAS * found.error + 0.05 * wanted


def test_electrodes_that_share_nothing_tell_as_the_closed_form_has_it() -> None:
    """J adds up over electrodes with independent noise, so two of them give ln(1 + 2 sd^2 J) / 2."""
    sd, levels = 0.03, narrow(LEVEL, 0.03)
    J = float(steepness(np.array([20.0]), LEVEL, 0.02, NOTHING)[0])
    for count in (1, 2, 4):
        found = outlook(levels, [electrode(20.0)] * count)
        wanted = 0.5 * math.log1p(count * sd**2 * J)
        assert abs(found.information - wanted) < SIGMAS * found.error + 0.02 * wanted


def test_a_gain_that_a_batch_shares_is_learned_from_the_electrode_that_has_read() -> None:
    """Linear in ln gain g ~ N(0, b^2) and t = ln c ~ N(0, sd^2): ln y = g + s t + noise, two known slopes s. The
    information of the second reading given the first is that of the normal law."""
    sd, b, noise = 0.1, 0.2, 0.004
    normal = np.random.default_rng(3).normal(size=128)
    normal = b * (normal - normal.mean()) / normal.std()
    slopes, spread = [], []
    for d in (100.0, 10.0):
        x = LEVEL / d / K
        slopes.append(1.0 / (1.0 + x))  # d ln theta / d ln c
        spread.append(noise / (x / (1.0 + x)))
    levels = narrow(LEVEL, sd)
    first, second = (electrode(d, noise=noise, shared=normal) for d in (100.0, 10.0))
    typical = LEVEL / 100.0 / K / (1.0 + LEVEL / 100.0 / K)
    found = outlook(levels, [second], (replace(first, signals=(typical,)),))

    def left(rows: list[int]) -> float:
        """Variance of t given some of the readings."""
        s = np.array([slopes[i] for i in rows])
        covariance = b**2 + np.outer(s, s) * sd**2 + np.diag([spread[i] ** 2 for i in rows])
        return float(sd**2 - sd**4 * s @ np.linalg.solve(covariance, s))

    wanted = 0.5 * math.log(left([0]) / left([0, 1]))
    alone = outlook(levels, [second]).information
    assert wanted > 2.0 * alone  # so that forgetting what is shared would be seen
    assert abs(found.information - wanted) < SIGMAS * found.error + 0.08 * wanted


@pytest.mark.parametrize(("dilution", "rises"), [(20.0, ()), (20.0, (100.0,)), (5.0, (100.0,)), (2.0, ())])
def test_the_expected_interval_is_that_of_electrodes_that_are_simulated_and_read(
    dilution: float, rises: tuple[float, ...]
) -> None:
    """By the rules of reading at one level: median ln fold, and share within the fold."""
    made = electrode(dilution, noise=0.02, cv=0.05, spread=0.15, floor=0.3, rises=rises, own_K_sd=0.1)
    levels = at_level(LEVEL)
    aim = replace(AIM, highest=TOP)
    bench = Bench(levels, (), Deviates.draw(11), aim)
    expected = bench.outlook([Part.of(made, levels)])
    count = 160
    signals = SimulatedLives.draw([made], 7, count).signals(LEVEL)[0]
    folds = np.array([read_fold(replace(made, signals=tuple(row))) for row in signals])
    within = float(np.mean(folds <= AIM.max_fold))
    error = SIGMAS * math.sqrt(0.25 / count + 0.25 / expected.fold.size)
    fewest, most = (float(np.mean(expected.fold <= AIM.max_fold**part)) for part in (1.0 / WIDTH, WIDTH))
    assert fewest - error < within < most + error
    if math.isfinite(expected.typical_fold):
        finite = np.log(np.sort(folds))
        spread = (finite[3 * count // 4] - finite[count // 4]) / 1.349
        apart = abs(float(np.median(finite)) - math.log(expected.typical_fold))
        assert apart < SIGMAS * 1.2533 * spread / math.sqrt(count) + (WIDTH - 1.0) * math.log(expected.typical_fold)
    else:
        assert np.isinf(np.median(folds))


def read_fold(electrode: Observed) -> float:
    """Upper over lower end of the stated interval of an electrode."""
    statistic = statistic_of([electrode], 5)
    lower, upper = statistic.falls_to(0.975), statistic.falls_to(0.025)
    return upper / lower if lower and upper is not None else math.inf


def test_what_the_new_reading_will_be_is_learned_from_the_old_one() -> None:
    """Against rejection: pairs of electrodes of one batch, of which those are kept whose first reading is the one that
    was seen; the second reading's middle and spread."""
    rng = np.random.default_rng(8)
    shared = 0.25 * rng.normal(size=256)
    levels = at_level(LEVEL)
    first, second = (electrode(d, noise=0.02, spread=0.15, floor=0.3, shared=shared) for d in (100.0, 20.0))
    seen = 0.62
    bench = Bench(levels, (Part.of(replace(first, signals=(seen,)), levels),), Deviates.draw(11), AIM)
    new = Part.of(second, levels)
    _, made, _ = bench._readings([bench.past[0].moments, new.moments], bench.past[0].stretched)
    lives = SimulatedLives.draw([first, second], 4, 400_000).signals(LEVEL)
    kept = np.abs(lives[0][:, 0] / seen - 1.0) < 0.02
    w = Stretch.of(second.laws[0]).at(lives[1][kept, 0])
    unconditioned = Stretch.of(second.laws[0]).at(lives[1][:, 0])
    error = SIGMAS * w.std() / math.sqrt(made.size)
    shape = 0.05 * w.std()  # what the normal law of a gain that is log-normal leaves out
    assert abs(made.mean() - w.mean()) < error + shape
    assert made.std() == pytest.approx(w.std(), rel=0.1)
    assert abs(unconditioned.mean() - w.mean()) > 2.0 * (error + shape)
    assert unconditioned.std() > 1.2 * w.std()


def test_what_is_expected_cannot_be_negative_and_a_useless_reading_tells_nothing() -> None:
    levels = Levels.of(K, 500.0, TOP)
    useless = outlook(levels, [electrode(1.0, noise=50.0)])
    assert abs(useless.information) < SIGMAS * useless.error + 1e-3
    for d in DILUTIONS:
        assert outlook(levels, [electrode(float(d), noise=0.05, spread=0.15, floor=0.3)]).information > 0.3


def test_a_sample_may_be_supposed_to_hold_next_to_nothing() -> None:
    levels = Levels.of(K, 1e-3, TOP)
    supposed = levels.candidates[np.isfinite(levels.log_prior)]
    assert supposed.max() <= 1e-3 * (1.0 + 1e-9)
    found = outlook(levels, [electrode(1.0)])
    assert abs(found.information) < SIGMAS * found.error + 1e-3


def test_the_prior_is_uniform_in_ln_level_above_a_tenth_of_K_and_ends_where_it_should() -> None:
    levels = Levels.of(K, 500.0, TOP)
    weight = np.exp(levels.log_prior)
    weight /= weight.sum()
    inside = weight > 0
    assert levels.candidates[inside].min() == 0.0
    assert levels.candidates[inside].max() <= 500.0 * (1.0 + 1e-6)
    assert levels.candidates[np.isfinite(levels.candidates)].max() == pytest.approx(TOP)

    def below(level: float) -> float:
        return math.log1p(level / (0.1 * K)) / math.log1p(500.0 / (0.1 * K))

    rung = 0.5 * 0.2 / math.log1p(500.0 / (0.1 * K))  # half a rung of the ladder
    for level in (1.0, 10.0, 100.0):
        assert float(weight[levels.candidates <= level].sum()) == pytest.approx(below(level), abs=2.0 * rung)

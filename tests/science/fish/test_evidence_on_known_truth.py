"""Likelihood ratios of tanks whose fish have a known history: calibrated on data of their own model, and what becomes
of them on data from generators that the model does not contain (run with -s to see the table)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import norm

from brinemark.science.fish.background import fit_background
from brinemark.science.fish.evidence import cap_of, capped, weigh
from brinemark.science.fish.trials import cost, fit_recalibration, judge_trial, ratio_bins, with_recalibration
from brinemark.terms.arrays import FloatArray
from brinemark.terms.evidence import LevelLikelihood, Proposition, TrialResult

LIMIT = 0.7  # [ug/L] below which a tank reads as not detected
MEDIAN, GSD = 0.6, 2.0
RELEASE = (math.log(2.5), 0.8)
GRID = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 160)])
CONTROLS, TANKS = 20, 25  # in each system; tanks of each history
EDGES = (-math.inf, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, math.inf)
NONE = Proposition("no exposure at capture", "release", np.zeros(400))
SCORES = norm.ppf((np.arange(400) + 0.5) / 400)
EXPOSED = Proposition("exposed at capture", "release", np.exp(RELEASE[0] + RELEASE[1] * SCORES))

Amounts = Callable[[np.random.Generator, int], FloatArray]


def usual_background(rng: np.random.Generator, count: int) -> FloatArray:
    return MEDIAN * GSD ** rng.normal(size=count)


def usual_release(rng: np.random.Generator, count: int) -> FloatArray:
    return np.exp(rng.normal(*RELEASE, count))


def with_saliva(rng: np.random.Generator, count: int) -> FloatArray:
    """One tank in fifteen has 5 ug/L or more from a taker's breath."""
    return usual_background(rng, count) + np.where(rng.random(count) < 1 / 15, 5.0 * 1.5 ** rng.normal(size=count), 0.0)


@dataclass(frozen=True)
class World:
    """What makes the data: of tanks whose fish were not exposed, of what exposed fish add, of readings."""

    name: str
    tanks: Amounts = usual_background
    release: Amounts = usual_release
    recovery: float = 1.0


OWN = World("own model")
OTHERS = (
    World("contaminated while sampling", with_saliva),
    World("wild tanks with twice the controls' background", lambda rng, n: 2.0 * usual_background(rng, n)),
    World("fish release a third of what was supposed", release=lambda rng, n: usual_release(rng, n) / 3.0),
    World("water that reads 1.4 times too high", recovery=1.4),
)


def noise(level: FloatArray) -> FloatArray:
    return np.sqrt(0.25**2 + (0.2 * level) ** 2)


def likelihood(signal: float) -> LevelLikelihood:
    if signal < LIMIT:
        return LevelLikelihood(GRID, norm.logcdf(LIMIT, GRID, noise(GRID)), float(norm.logcdf(-5.0)))
    return LevelLikelihood(GRID, norm.logpdf(signal, GRID, noise(GRID)), -math.inf)


def ratios_of(world: World, seed: int, systems: int) -> tuple[FloatArray, FloatArray]:
    """log10 ratios of exposed and unexposed tanks; every system has its own control tanks, with exact amounts."""
    rng = np.random.default_rng(seed)
    found: tuple[list[float], list[float]] = ([], [])
    for _ in range(systems):
        controls = usual_background(rng, CONTROLS)
        seen = controls >= LIMIT
        background = fit_background(np.where(seen, controls, 0.0), np.where(seen, controls, LIMIT), draws=2)
        for exposed, ratios in zip((True, False), found, strict=True):
            level = world.tanks(rng, TANKS) + (world.release(rng, TANKS) if exposed else 0.0)
            signals = world.recovery * level + noise(level) * rng.normal(size=TANKS)
            ratios += [weigh(likelihood(s), background, EXPOSED, NONE).log10_ratio for s in signals.tolist()]
    return np.array(found[0]), np.array(found[1])


def told(world: World, trial: TrialResult) -> str:
    ten = trial.misleading[1]
    wrong = ", ".join(f"{b.low:g} to {b.high:g}: {b.log10_observed:.2f}" for b in trial.bins if not b.agrees)
    return (
        f"{world.name}: area {trial.roc.area:.3f}, Cllr {trial.cost:.3f} (least {trial.least_cost:.3f}), "
        f"misleading by 10 or more {ten.exposed.count}/{ten.exposed.of} exposed, "
        f"{ten.unexposed.count}/{ten.unexposed.of} unexposed; "
        f"bins that disagree: {wrong or 'none'}"
    )


def test_ratios_are_calibrated_on_data_of_their_own_model() -> None:
    trial = judge_trial(*ratios_of(OWN, 21, 12), "tanks of known history", edges=EDGES)
    print("\n" + told(OWN, trial))
    assert sum(not b.agrees for b in trial.bins) <= 1  # 7 bins with limits of 95 %
    assert trial.cost <= 1.1 * trial.least_cost
    for found in trial.misleading:
        assert found.unexposed.lower <= found.bound
        assert found.exposed.lower <= found.bound


@pytest.mark.parametrize("world", OTHERS, ids=[w.name for w in OTHERS])
def test_elsewhere_ratios_kept_within_the_cap_do_not_promise_too_much(world: World) -> None:
    exposed, unexposed = ratios_of(world, 22, 8)
    trial = judge_trial(exposed, unexposed, "tanks of known history", edges=EDGES)
    print("\n" + told(world, trial))
    # Half of the tanks are the held-out samples of this very population that set the cap; the others are judged by it.
    half = unexposed.size // 2
    positive = [int(np.sum(ratios[:half] > 0)) for ratios in (unexposed, exposed)]
    cap = cap_of(positive[0], half, "tanks of known history", True, (positive[1], half))
    kept = [np.array([capped(r, cap) for r in ratios[half:].tolist()]) for ratios in (exposed, unexposed)]
    top = ratio_bins(kept[0], kept[1], (math.log10(cap.ratio) - 1e-9, math.inf))[0]
    after = cost(kept[0], kept[1])
    print(
        f"  cap {cap.ratio:.1f}, floor {cap.floor:.2f}: at the cap {top.exposed} exposed and {top.unexposed} unexposed "
        f"of {half} each, a ratio of {10.0**top.log10_observed:.1f}; Cllr {after:.3f}"
    )
    assert top.exposed + top.unexposed > 0
    assert top.agrees  # as many more exposed than unexposed tanks are at the cap as it says, or more
    assert max(ratios.max() for ratios in kept) <= math.log10(cap.ratio) + 1e-12
    line = fit_recalibration(exposed[:half], unexposed[:half], "tanks of known history")
    held_out = judge_trial(
        with_recalibration(exposed[half:], line), with_recalibration(unexposed[half:], line), "the others", edges=EDGES
    )
    print("  " + told(World(f"recalibrated by {line.shift:.2f} + {line.slope:.2f} log10 LR"), held_out))
    assert sum(not b.agrees for b in held_out.bins) <= 1  # 7 bins with limits of 95 %


@pytest.mark.slow
@pytest.mark.parametrize("world", (OWN, *OTHERS), ids=[w.name for w in (OWN, *OTHERS)])
def test_a_trial_of_the_same_population_makes_the_ratios_of_other_tanks_agree(world: World) -> None:
    exposed, unexposed = ratios_of(world, 31, 48)
    half = exposed.size // 2
    line = fit_recalibration(exposed[:half], unexposed[:half], "tanks of known history")
    raw = judge_trial(exposed[half:], unexposed[half:], "the others", edges=EDGES)
    after = judge_trial(
        with_recalibration(exposed[half:], line), with_recalibration(unexposed[half:], line), "the others", edges=EDGES
    )
    print("\n" + told(world, raw) + "\n  " + told(World("recalibrated"), after))
    assert sum(not b.agrees for b in after.bins) <= 1  # 7 bins with limits of 95 %
    assert after.cost <= 1.1 * after.least_cost

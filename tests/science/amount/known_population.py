"""Laws of an electrode whose population is known, straight from a truth: cheap studies of what each term does."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.joint import BELOW_BLANK, SimulatedLives
from brinemark.science.amount.joint_likelihood import JointLikelihood
from brinemark.science.amount.law import DipLaw, ElectrodeLaw
from brinemark.science.amount.simulate import Protocol, TrueBatch, Truth, simulate_life
from brinemark.science.amount.statistic import Observed, search_levels
from brinemark.terms.arrays import FloatArray

DRAWS = 128
NOTHING = 1e-9
PLAIN = Truth(slope=0.0, covariate_sd=0.0, batch_sd=0.0, ln_K_sd=0.0)


def electrode(truth: Truth, protocol: Protocol, matrix_sd: float = 0.0, seed: int = 5, draws: int = DRAWS) -> Observed:
    """The laws that a model has which knows the truth, without signals; matrix_sd : of ln K between waters; draws :
    without scatter between waters all are alike, and one does."""
    one = np.ones(draws)
    water = matrix_sd * np.random.default_rng(seed).normal(size=draws)
    law = ElectrodeLaw(
        log_gain=0.0 * one,
        ln_K=truth.ln_K + water,
        h=truth.h * one,
        floor=truth.floor * one,
        spread=truth.electrode_sd * one,
        floor_sd=max(truth.floor_sd, NOTHING) * one,
        own_K_sd=max(truth.electrode_K_sd, NOTHING) * one,
        cv=truth.cv * one,
        noise=truth.noise**2 * one,
        drift_sd=truth.drift_sd * one,
    )
    order = [0, *([-1] if protocol.prescan else []), *range(1, len(protocol.additions) + 1)]
    rises = [0.0, *np.cumsum(protocol.additions)]
    dips = []
    for dip in order:
        last = dip > 0 and dip == len(protocol.additions)
        # A plateau T acts on the occupied share only: the log response moves by ln[(phi + T) / (phi + 1)] there.
        top = np.log((truth.floor + truth.plateau) / (truth.floor + 1.0)) if last and protocol.spiked else 0.0
        shift = (truth.prescan_shift if dip < 0 else dip * truth.drift) + top
        share, added = (0.0, 0.0) if dip < 0 else (1.0, float(rises[dip]))
        dips.append(DipLaw(law, 0.0, share, added * one, 0.0, shift * one, dip != 0))
    return Observed(tuple(dips), (0.0,) * len(dips), 1.0)


@dataclass(frozen=True, slots=True)
class Study:
    """Share of 95 % intervals that hold the level, and the median of best over true level."""

    coverage: float
    ratio: float


def study(nature: Truth, model: Truth, protocol: Protocol, level: float, seed: int, matrix_sd: float = 0.0) -> Study:
    """COUNT electrodes of nature, read at a level by the signed root of a model that knows the truth it believes in."""
    seen = electrode(model, protocol, matrix_sd)
    candidates = np.concatenate([BELOW_BLANK, np.sort(np.append(search_levels([seen]), level)), [np.inf]])
    likelihood = JointLikelihood.of([seen], candidates)
    place = int(np.flatnonzero(candidates == level)[0])
    simulated = SimulatedLives.draw([seen], seed).signals(level)
    null = likelihood.signed_root(likelihood.log_likelihood(simulated))[:, place]
    log_l = likelihood.log_likelihood([signals(nature, protocol, level, seed)])
    roots = likelihood.signed_root(log_l)[:, place]
    low, high = np.quantile(null, [0.025, 0.975])
    best = candidates[np.argmax(log_l, axis=1)]
    return Study(
        float(np.mean((roots >= low) & (roots <= high))), float(np.median(best) / level) if level > 0 else float("nan")
    )


COUNT = 500


def signals(nature: Truth, protocol: Protocol, level: float, seed: int) -> FloatArray:
    """(COUNT, J) signals, main reading first, as the laws have them."""
    water = replace(nature, ln_K=nature.ln_K + np.log(nature.matrix))
    batch = TrueBatch("N", 0.0, water.ln_K)
    lives = simulate_life(water, batch, np.full(COUNT, level), protocol, np.random.default_rng([seed, 7]))
    main = int(np.flatnonzero(lives.dip == 0)[0])
    others = [j for j in range(lives.dip.size) if j != main]
    return np.asarray(lives.signal[:, [main, *others]])

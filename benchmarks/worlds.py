"""Invented electrodes for accuracy studies: the fitted model's own world, and worlds that it does not contain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.response import occupancy
from brinemark.science.amount.simulate import TrueBatch, Truth, draw_batches, simulate_electrodes
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray

LAB = Truth()
HISTORY_LEVELS = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)
BURNED_LEVELS = (0.0, 2.0, 8.0)
HISTORY_BATCHES = 9
NEW_BATCH = "new"
T_FREEDOM = 3.0


@dataclass(frozen=True, slots=True)
class World:
    """How nature departs from the response model; all zero = not at all.

    floor_sd, ln_K_sd : scatter of ln floor and ln K between electrodes of a batch; dud_share, dud_gain : electrodes
    with a lower gain; heavy_tails : own gains from a t distribution with 3 degrees of freedom, same sd;
    second_share, second_ratio : share of sites whose K is second_ratio times as large, so the plateau comes late.
    """

    what: str
    floor_sd: float = 0.0
    ln_K_sd: float = 0.0
    dud_share: float = 0.0
    dud_gain: float = 0.4
    heavy_tails: bool = False
    second_share: float = 0.0
    second_ratio: float = 10.0


WORLDS = {
    "model": World("the fitted model's own world"),
    "floor": World("floors scatter between electrodes, sd of ln floor .2", floor_sd=0.2),
    "site-K": World("K scatters between electrodes, sd of ln K .25", ln_K_sd=0.25),
    "duds": World("5 % of all electrodes have .4 of their gain", dud_share=0.05),
    "tails": World("own gains from a t distribution with 3 degrees of freedom, same sd", heavy_tails=True),
    "two-site": World("30 % of the sites have ten times the K", second_share=0.3),
}


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """Calibration electrodes of nine history batches and of a new one, and the new batch's true latents."""

    readings: ElectrodeReadings
    batch: TrueBatch


def electrodes(
    world: World, batch: TrueBatch, level: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Log covariates and signals (n,) of fresh electrodes of a batch in a world, one reading each at levels (n,)."""
    if world == WORLDS["model"]:
        return simulate_electrodes(LAB, batch, level, rng)
    n = level.size
    x = LAB.covariate_sd * rng.normal(size=n)
    own = (
        rng.standard_t(T_FREEDOM, n) / np.sqrt(T_FREEDOM / (T_FREEDOM - 2)) if world.heavy_tails else rng.normal(size=n)
    )
    floor = LAB.floor * np.exp(world.floor_sd * rng.normal(size=n))
    ln_K = batch.ln_K + world.ln_K_sd * rng.normal(size=n)
    second = occupancy(level, ln_K + np.log(world.second_ratio), np.asarray(LAB.h))
    share = (1 - world.second_share) * occupancy(level, ln_K, np.asarray(LAB.h)) + world.second_share * second
    dud = np.where(rng.random(n) < world.dud_share, world.dud_gain, 1.0)
    mean = dud * np.exp(batch.log_gain + LAB.slope * x + LAB.electrode_sd * own) * (floor + share)
    return x, mean + np.sqrt(LAB.noise**2 + (LAB.cv * mean) ** 2) * rng.normal(size=n)


def season(world: World, rng: np.random.Generator, burned: tuple[float, ...] = BURNED_LEVELS) -> Season:
    """Nine batches of six electrodes and a new one with some burned at levels; one instrument, u(y) = 0."""
    names = [*(f"B{i}" for i in range(HISTORY_BATCHES)), NEW_BATCH]
    batches = draw_batches(LAB, names, rng)
    levels = [np.array(HISTORY_LEVELS)] * HISTORY_BATCHES + [np.array(burned)]
    parts = [electrodes(world, batch, level, rng) for batch, level in zip(batches, levels, strict=True)]
    owner = [batch.name for batch, level in zip(batches, levels, strict=True) for _ in level]
    count = len(owner)
    readings = ElectrodeReadings(
        electrode=tuple(f"{name}-{i}" for i, name in enumerate(owner)),
        batch=tuple(owner),
        instrument=("bench",) * count,
        covariate=np.exp(np.concatenate([x for x, _ in parts])),
        unit=np.arange(count),
        signal=np.concatenate([y for _, y in parts]),
        u=np.zeros(count),
        level=np.concatenate(levels),
    )
    return Season(readings, batches[-1])

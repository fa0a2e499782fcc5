"""The invented workshop: how batches and electrodes differ. Nothing of this is shown to the logbook.

The spreads in `Population` are chosen so that hand-made electrodes look as uneven as the trade reports them (common
practice, no source), and so that the pre-scan charge explains most of the scatter within a batch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brinemark.demo.curves import Film


@dataclass(frozen=True, slots=True)
class Population:
    """Standard deviations of natural logarithms, and medians. All invented.

    loading_* act on the sites and so on the pre-scan charge and the answer alike; yield_* on the answer alone;
    crowding : power with which the answer per site falls as the loading rises.
    """

    loading_batch: float = 0.20
    loading_electrode: float = 0.14
    yield_batch: float = 0.12
    yield_electrode: float = 0.05
    crowding: float = 0.1
    constant: float = 2.0
    constant_batch: float = 0.12
    constant_electrode: float = 0.04
    floor: float = 0.08
    floor_electrode: float = 0.12
    capacitance_electrode: float = 0.15
    tail_electrode: float = 0.25
    shift_V: float = 0.003


@dataclass(frozen=True, slots=True)
class Batch:
    """What all electrodes of one batch share."""

    loading: float
    yield_per_site: float
    constant: float


def draw_batch(population: Population, random: np.random.Generator) -> Batch:
    """One batch."""
    return Batch(
        loading=_around(1.0, population.loading_batch, random),
        yield_per_site=_around(1.0, population.yield_batch, random),
        constant=_around(population.constant, population.constant_batch, random),
    )


def draw_film(batch: Batch, population: Population, random: np.random.Generator) -> Film:
    """One sound electrode of a batch."""
    loading = _around(batch.loading, population.loading_electrode, random)
    per_site = _around(batch.yield_per_site, population.yield_electrode, random) * loading**-population.crowding
    return Film(
        loading=loading,
        yield_per_site=per_site,
        floor=_around(population.floor, population.floor_electrode, random),
        constant=_around(batch.constant, population.constant_electrode, random),
        capacitance_F=_around(3.0e-5, population.capacitance_electrode, random),
        resistance_ohm=_around(80.0, 0.3, random),
        tail_A=_around(6e-7, population.tail_electrode, random),
        shift_V=float(random.normal(0.0, population.shift_V)),
    )


def lifted(film: Film) -> Film:
    """The same film after most of it has come off the glass: little charge, more bare oxide, more tail."""
    return replace(film, loading=0.12 * film.loading, capacitance_F=1.5 * film.capacitance_F, tail_A=2.0 * film.tail_A)


def shorted(film: Film) -> Film:
    """The same film with the solution touching the conducting glass: an ohmic tilt, and sites that no longer answer."""
    return replace(film, loading=0.12 * film.loading, leak_S=1.2e-5, tail_A=3.0 * film.tail_A)


def _around(median: float, sd_of_log: float, random: np.random.Generator) -> float:
    return float(median * np.exp(random.normal(0.0, sd_of_log)))

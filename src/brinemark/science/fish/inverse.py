"""Which exposures agree with the readings of tanks, in one world: dose and days before the first sample.

Levels are linear in the dose D, so that one course at 1 mg CN per kg serves all doses. For every dose and time

    ln L(D, t) = ln mean over draws of the kinetics of L(D r_1(t), D r_2(t), ...)      (samples.py)

with r_s the level at sample s for a dose of 1. A dose and time agree when 2 [max ln L - ln L(D, t)] is at most the
95 % point of chi-square with two degrees of freedom (Annals of Mathematical Statistics 9 (1938) 60, doi
10.1214/aoms/1177732360; from memory). Deviations: the kinetics are averaged, not estimated, and the maximum is that
over the cells of the grid and no exposure. What the named fish put into the water is all that is followed: every other
source is the background's.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from brinemark.science.fish.forward import with_doses
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.mass_balance import LETHAL_MG_KG, fish_alone
from brinemark.science.fish.samples import (
    CONTRADICTION,
    SamplesOfTanks,
    TankSample,
    check_samples,
    levels_of,
    sample_times,
)
from brinemark.science.fish.tanks import Fish, History, Move
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, LevelLikelihood

CHI_SQUARE_95 = 5.991464547107979  # -2 ln 0.05: two degrees of freedom
SAME_TIME = 1e-9  # d
FEW_DRAWS = 10.0
DOSES_MG_KG = np.geomspace(0.01, 100.0, 25)
BEFORE_TANK_D = np.concatenate([[0.0], np.geomspace(1.0 / 24.0, 60.0, 19)])  # from the exposure to the first tank

NO_BACKGROUND = (
    "no background is known: all thiocyanate in the readings was laid to the fish, and any other source would make "
    "smaller doses and no exposure agree better"
)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """dose_mg_kg (doses,) [mg CN per kg], rising from above 0; days_d (days,) [d] from the exposure to the first
    sample, rising, None = from the latest exposure that is possible to 60 d before it; drawing : of the kinetics."""

    dose_mg_kg: FloatArray = field(default_factory=DOSES_MG_KG.copy)
    days_d: FloatArray | None = None
    drawing: Drawing = field(default_factory=Drawing)


@dataclass(frozen=True, slots=True, eq=False)
class UnitLevels:
    """What fish that absorbed 1 mg CN per kg add to each sample.

    least_days_d : from their first tank to the first sample [d], no exposure was later; possible (days,); level_ug_L
    (days, draws, samples) [ug/L], nan where the time is impossible.
    """

    world: str
    places: tuple[tuple[str, float], ...]
    days_d: FloatArray
    least_days_d: float
    possible: BoolArray
    level_ug_L: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Exposures:
    """How well each exposure agrees with the readings in one world.

    dose_mg_kg (doses,) [mg CN per kg]; days_d (days,) [d] from the exposure to the first sample; log_likelihood (doses,
    days), natural, below that of what agrees best, which may be no exposure; nan = impossible, since the fish were in a
    tank by then; no_exposure : the same for none; agrees (doses, days); none_agrees : no exposure agrees too;
    effective : draws that carry the best cell; words : one sentence or two; cautions.
    """

    world: str
    dose_mg_kg: FloatArray
    days_d: FloatArray
    log_likelihood: FloatArray
    no_exposure: float
    agrees: BoolArray
    none_agrees: bool
    effective: float
    words: str
    cautions: tuple[str, ...]


CONTRADICTED = (
    "the readings do not fit together in this world: neither an exposure nor none brings them near what each sample "
    "says by itself, so that a range of exposures means little"
)


def exposures_that_agree(
    world: World,
    history: History,
    exposed: Collection[str],
    samples: Sequence[TankSample],
    background: BackgroundFit | None = None,
    cells: Cells | None = None,
) -> Exposures:
    """Doses and times at which the named fish may have been exposed, together at one moment, before their first tank.

    Raises Refused for bad histories, samples, names and grids, and where no time of the grid is possible.
    """
    cells = cells or Cells()
    unit = unit_levels(world, history, exposed, samples, cells)
    return agreeing(unit, [sample.likelihood for sample in samples], background, cells.dose_mg_kg)


def unit_levels(
    world: World, history: History, exposed: Collection[str], samples: Sequence[TankSample], cells: Cells
) -> UnitLevels:
    """The part that no reading and no background changes; arguments and refusals as in exposures_that_agree."""
    alone = _alone(history, exposed)
    if not samples:
        raise Refused("no samples", "at least one sample with its readings", "name the samples")
    check_samples(alone, samples)
    first = min(sample.time_d for sample in samples)
    least = first - _first_tank_d(alone, exposed)
    days = np.asarray(max(least, 0.0) + BEFORE_TANK_D if cells.days_d is None else cells.days_d, dtype=float)
    _check_rising(days, "days before the first sample", "d", 0.0)
    possible = days >= least - SAME_TIME
    if not possible.any():
        came = f"exposure {days[-1]:g} d before the first sample and later"
        raise Refused(came, f"{least:g} d or more, when the fish went into their first tank", "take longer times")
    kinetics, times = kinetics_of(draw_world(world, cells.drawing)), sample_times(samples)
    level = np.full((days.size, cells.drawing.count, len(samples)), np.nan)
    for place in np.flatnonzero(possible):
        course = follow(kinetics, _exposed_at(alone, exposed, first - float(days[place])), times)
        level[place] = levels_of(course, alone, samples)
        if not kinetics.to_water.any():  # nothing is released, whenever it was
            level[possible] = level[place]
            break
    return UnitLevels(world.name, tuple((s.tank, s.time_d) for s in samples), days, least, possible, level)


def agreeing(
    unit: UnitLevels,
    likelihoods: Sequence[LevelLikelihood],
    background: BackgroundFit | None,
    dose_mg_kg: FloatArray,
) -> Exposures:
    """Exposures that agree with readings whose likelihoods stand in the order of the unit levels' samples."""
    doses = np.asarray(dose_mg_kg, dtype=float)
    _check_rising(doses, "doses", "mg CN per kg", math.ulp(0.0))
    samples = [TankSample(*place, each) for place, each in zip(unit.places, likelihoods, strict=True)]
    tanks = SamplesOfTanks(samples, background)
    none = float(tanks.log_likelihood(np.zeros((1, len(samples))))[0])
    log_l = np.full((doses.size, unit.days_d.size), np.nan)
    effective = np.full(log_l.shape, np.nan)
    nearest = none
    for place in np.flatnonzero(unit.possible):
        added = doses[:, None, None] * unit.level_ug_L[place]
        each = _of_draws(tanks, added, none)
        log_l[:, place], effective[:, place] = _log_mean(each), _effective(each)
        nearest = max(nearest, float(each.max()))
    cautions = [NO_BACKGROUND] if background is None else []
    if nearest < -CONTRADICTION * len(samples):
        cautions.append(CONTRADICTED)
    return _answer(unit, doses, (log_l, none), effective, cautions)


def _of_draws(tanks: SamplesOfTanks, added: FloatArray, none: float) -> FloatArray:
    """(doses, draws) ln likelihoods of levels (doses, draws, samples); exactly that of no exposure where none is
    added."""
    rows = added.reshape(-1, added.shape[-1])
    found = np.full(len(rows), none)
    some = rows.any(axis=1)
    found[some] = tanks.log_likelihood(rows[some])
    return found.reshape(added.shape[:-1])


def _log_mean(log_values: FloatArray) -> FloatArray:
    """ln mean exp over the last axis; -inf where all are."""
    top = log_values.max(axis=-1)
    safe = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(safe + np.log(np.exp(log_values - safe[..., None]).mean(axis=-1)))


def _effective(log_values: FloatArray) -> FloatArray:
    top = log_values.max(axis=-1, keepdims=True)
    weight = np.exp(log_values - np.where(np.isfinite(top), top, 0.0))
    with np.errstate(invalid="ignore"):
        return np.asarray(weight.sum(axis=-1) ** 2 / (weight**2).sum(axis=-1))


def _answer(
    unit: UnitLevels, doses: FloatArray, found: tuple[FloatArray, float], effective: FloatArray, cautions: list[str]
) -> Exposures:
    log_l, none = found
    best = float(np.nanmax(log_l))
    top = max(best, none)
    if math.isfinite(top):
        log_l, none = log_l - top, none - top
    agrees = -2.0 * log_l <= CHI_SQUARE_95
    none_agrees = -2.0 * none <= CHI_SQUARE_95
    carried = float(effective.ravel()[np.nanargmax(log_l)]) if math.isfinite(best) else 0.0
    words = _words(unit, doses, log_l, (agrees, none_agrees, none))
    if math.isfinite(best) and carried < FEW_DRAWS:
        cautions = [*cautions, f"{carried:.1f} draws of the kinetics carry the best exposure: take more draws"]
    return Exposures(unit.world, doses, unit.days_d, log_l, none, agrees, none_agrees, carried, words, tuple(cautions))


def _words(unit: UnitLevels, doses: FloatArray, log_l: FloatArray, about: tuple[BoolArray, bool, float]) -> str:
    agrees, none_agrees, none = about
    world = f"In the world '{unit.world}'"
    if not unit.level_ug_L[unit.possible].any():
        return (
            f"{world} nothing tells exposures apart: every dose and time agrees with the readings as well as no "
            "exposure, since the fish add nothing to them."
        )
    if not agrees.any():
        if none_agrees:
            return f"{world} no exposure agrees with the readings, and no dose and time looked at does."
        return f"{world} neither a dose and time that was looked at nor no exposure explains the readings."
    told = f"{world} the readings agree with {_doses(doses, agrees)}, {_days(unit, agrees)}; {_lethal(doses, agrees)}."
    if none_agrees:
        return f"{told} No exposure agrees too: the readings do not show that there was one."
    return f"{told} No exposure agrees less well than that (twice the ln likelihood ratio {_size(-2.0 * none)})."


def _doses(doses: FloatArray, agrees: BoolArray) -> str:
    low, high = _outside(doses, np.asarray(agrees.any(axis=1)))
    if low is None and high is None:
        return "every dose that was looked at, with no lower and no upper end"
    if low is None:
        return f"doses below {high:.2g} mg CN per kg, with no lower end"
    if high is None:
        return f"doses of at least {low:.2g} mg CN per kg, with no upper end"
    return f"doses between {low:.2g} and {high:.2g} mg CN per kg"


def _days(unit: UnitLevels, agrees: BoolArray) -> str:
    low, high = _outside(unit.days_d[unit.possible], np.asarray(agrees[:, unit.possible].any(axis=0)))
    if low is None and high is None:
        return "at every time before the fish went into their first tank"
    if low is None:
        return f"less than {high:.2g} d before the first sample"
    if high is None:
        return f"at least {low:.2g} d before the first sample, with no upper end"
    return f"between {low:.2g} and {high:.2g} d before the first sample"


def _outside(grid: FloatArray, kept: BoolArray) -> tuple[float | None, float | None]:
    """The nearest values below and above all that are kept, None where the grid ends before."""
    inside = np.flatnonzero(kept)
    low = float(grid[inside[0] - 1]) if inside[0] > 0 else None
    high = float(grid[inside[-1] + 1]) if inside[-1] + 1 < grid.size else None
    return low, high


def _lethal(doses: FloatArray, agrees: BoolArray) -> str:
    above = doses[agrees.any(axis=1)] > LETHAL_MG_KG
    lethal = f"above the {LETHAL_MG_KG:.1f} mg CN per kg that kill half of rats"
    if above.all():
        return f"all of them are {lethal}"
    return f"doses {lethal} are among them" if above.any() else f"none of them is {lethal}"


def _size(value: float) -> str:
    return f"{value:.3g}" if value < 100.0 else "above 100"


def _alone(history: History, exposed: Collection[str]) -> History:
    """The history without any source of thiocyanate, all doses 0."""
    if not exposed:
        raise Refused("no exposed fish named", "the fish that are taken as exposed", "name them")
    bare = fish_alone(history)
    with_doses(bare, exposed, 1.0)  # refuses unknown names
    return replace(bare, fish=tuple(replace(each, dose_mg_kg=0.0) for each in bare.fish))


def _exposed_at(alone: History, exposed: Collection[str], time_d: float) -> History:
    fish = tuple(
        replace(each, dose_mg_kg=1.0, exposed_d=time_d) if each.name in exposed else each for each in alone.fish
    )
    return replace(alone, fish=fish)


def _first_tank_d(history: History, exposed: Collection[str]) -> float:
    """When the first of the named fish went into a tank [d]."""
    times = [time for fish in history.fish if fish.name in exposed for time in _entries(history, fish)]
    if not times:
        raise Refused("exposed fish that were never in a tank", "fish in a tank", "add when they went into it")
    return min(times)


def _entries(history: History, fish: Fish) -> list[float]:
    start = [] if fish.tank is None else [history.tank(fish.tank).filled_d]
    moves = [event for event in history.events if isinstance(event, Move) and event.fish == fish.name]
    return start + [event.time_d for event in moves if event.tank is not None]


def _check_rising(values: FloatArray, what: str, unit: str, least: float) -> None:
    sound = values.ndim == 1 and values.size > 0 and bool(np.isfinite(values).all() and (values >= least).all())
    if not sound or bool((np.diff(values) <= 0.0).any()):
        start = "0" if least == 0.0 else "above 0"
        raise Refused(f"{what} {values.tolist()} {unit}", f"rising finite numbers from {start} {unit}", "correct them")

"""Other accounts of thiocyanate in a tank's water: a shoreline outflow, feed, contamination while sampling.

Each gives draws of what it would add at the time of a sample; nothing of it says how likely the account is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.parameters import (
    ASSUMED,
    LOG_NORMAL,
    LOG_UNIFORM,
    READ,
    Parameter,
    Source,
    draw,
)
from brinemark.science.fish.tanks import FEED, Add, History, Renew
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

OUTFLOW, FED, TOUCHED = "shoreline outflow", "feed", "contamination while sampling"
SCN_UG_PER_UMOL = 58.08
UG_L_PER_MMOL_L = 58.08e3
USUAL_SAMPLE_ML = 50.0

NATURAL = Parameter(
    "natural_level",
    "ug/L",
    math.sqrt(0.06 * 58.0),
    math.sqrt(58.0 / 0.06),
    LOG_UNIFORM,
    Source(
        "Thiocyanate biodegradation: harnessing microbial metabolism for mine remediation",
        "Microbiol Aust 2018",
        "10.1071/MA18047",
        READ,
        "nM to uM in uncontaminated natural waters, 0.06 to 58 ug/L; outflows of mines hold far more",
    ),
)
IN_FEED = Parameter(
    "feed_content",
    "umol/g",
    math.sqrt(0.1),
    math.sqrt(10.0),
    LOG_UNIFORM,
    Source("", "", "", ASSUMED, "0.1 to 1 umol per g of feed; no value for marine feed was found"),
)
_SALIVA = Source(
    "",
    "Res J Pharm Technol 2018",
    "10.5958/0974-360X.2018.00449.3",
    READ,
    "mean and standard deviation of saliva, here as a log-normal of the same two",
)


def _log_normal(mean: float, sd: float) -> tuple[float, float]:
    """Median and geometric standard deviation of the log-normal with this mean and standard deviation."""
    variance = math.log1p((sd / mean) ** 2)
    return mean * math.exp(-0.5 * variance), math.exp(math.sqrt(variance))


SALIVA = Parameter("saliva", "mmol/L", *_log_normal(0.34, 0.16), LOG_NORMAL, _SALIVA)
SALIVA_OF_SMOKER = Parameter("saliva", "mmol/L", *_log_normal(0.97, 1.05), LOG_NORMAL, _SALIVA)
DROPLET = Parameter(
    "droplet", "uL", 1.0, 3.0, LOG_NORMAL, Source("", "", "", ASSUMED, "a microlitre of saliva, spread by three")
)


@dataclass(frozen=True, slots=True)
class Meal:
    """Feed given to a tank: when [d] and how much [g]."""

    time_d: float
    amount_g: float


def of_outflow(world: World, history: History, tank: str, times_d: FloatArray, drawing: Drawing) -> FloatArray:
    """(draws, times) [ug/L]: a tank first filled with water of the natural span, which nothing but renewal, dilution
    and the world's loss took away since. What fish carried from such water in their bodies is left out."""
    level = draw({NATURAL.name: NATURAL}, drawing.count, drawing.seed)[NATURAL.name]
    empty = _empty(history)
    filled = replace(
        empty, tanks=tuple(replace(one, start_ug_L=1.0 if one.name == tank else 0.0) for one in empty.tanks)
    )
    return level[:, None] * _water(world, filled, tank, times_d, drawing)


def of_feed(
    world: World, history: History, tank: str, times_d: FloatArray, meals: Sequence[Meal], drawing: Drawing
) -> FloatArray:
    """(draws, times) [ug/L]: thiocyanate of the feed, all of it in the water at once. Raises Refused without a meal."""
    if not meals:
        raise Refused("no feed that was weighed", "at least one meal with its amount", "weigh what is fed")
    content = draw({IN_FEED.name: IN_FEED}, drawing.count, drawing.seed)[IN_FEED.name]
    empty = _empty(history)
    given = tuple(Add(meal.time_d, tank, SCN_UG_PER_UMOL * meal.amount_g, FEED) for meal in meals)
    fed = replace(empty, events=(*empty.events, *given))
    return content[:, None] * _water(world, fed, tank, times_d, drawing)


def of_touching(smoker: bool, sample_mL: float | None, drawing: Drawing) -> FloatArray:
    """(draws,) [ug/L]: a droplet of the taker's saliva in a sample of this volume [mL], None = USUAL_SAMPLE_ML."""
    volume = USUAL_SAMPLE_ML if sample_mL is None else sample_mL
    if not (math.isfinite(volume) and volume > 0.0):
        raise Refused(f"a sample of {volume:g} mL", "a volume above 0 mL", "correct it")
    saliva = SALIVA_OF_SMOKER if smoker else SALIVA
    drawn = draw({one.name: one for one in (saliva, DROPLET)}, drawing.count, drawing.seed)
    return np.asarray(UG_L_PER_MMOL_L * drawn[saliva.name] * drawn[DROPLET.name] * 1e-3 / volume)


def _empty(history: History) -> History:
    """The history with clean water and unexposed fish, of which nothing came."""
    tanks = tuple(replace(one, source_ug_L=0.0, start_ug_L=0.0) for one in history.tanks)
    fish = tuple(replace(one, dose_mg_kg=0.0) for one in history.fish)
    events = tuple(replace(one, level_ug_L=0.0) if isinstance(one, Renew) else one for one in history.events)
    return History(tanks, fish, tuple(one for one in events if not isinstance(one, Add)))


def _water(world: World, history: History, tank: str, times_d: FloatArray, drawing: Drawing) -> FloatArray:
    """(draws, times) of the level; uptake by fish counted."""
    course = follow(kinetics_of(draw_world(world, drawing)), history, times_d)
    return np.asarray(course.water_ug_L[:, [one.name for one in history.tanks].index(tank)])

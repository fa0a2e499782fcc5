"""Consignments and readings for tests, without curves: rows of tank records, and waters read with a known error."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
from scipy.stats import norm

from brinemark.science.fish.wording import DEFAULT_SCALE
from brinemark.science.fish.worlds import Drawing, published_worlds
from brinemark.steps.answers import SampleReading
from brinemark.steps.interpret import FishDesk
from brinemark.steps.known_waters import cap_from, known_tanks
from brinemark.steps.trial_lines import KeptTrial
from brinemark.steps.water_readings import Rule, WaterReading, water_answer
from brinemark.steps.weighing import Scales
from brinemark.terms.amounts import ConfidenceCurve, Detection, Estimate, LimitValue, Reading
from brinemark.terms.settings import Settings
from brinemark.terms.tanks import BLANK, SAMPLE, Consignment, TankRow

GRID = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 200)])
SD0, REL = 0.15, 0.12
"""Error of a water: standard deviation at level 0 [ug/L], and relative one."""
FULL = 60.0
"""Level from which the invented electrode cannot tell levels apart [ug/L]."""
TYPES: Mapping[str, Callable[[str], Any]] = {
    "count": int,
    "dead": lambda text: text == "yes",
    "smoker": lambda text: text == "yes",
}
NUMBERS = (
    *("mass_g", "at_u_d", "volume_L", "renewal_L_per_d", "carried_L", "share", "amount_g", "amount_ug"),
    *("filtration_um", "retained_mL"),
)


def rows_of(table: str) -> tuple[TankRow, ...]:
    """Rows from short lines "2031-07-01T08:00 what key=value key=value ...", in the zone UTC."""
    found = []
    for number, line in enumerate((one for one in table.strip().splitlines() if one.strip()), start=2):
        at, what, *cells = next(csv.reader(io.StringIO(line.strip()), delimiter=" ", skipinitialspace=True))
        said: dict[str, Any] = dict(cell.split("=", 1) for cell in cells)
        for key in said.keys() & TYPES.keys():
            said[key] = TYPES[key](said[key])
        for key in said.keys() & set(NUMBERS):
            said[key] = float(said[key])
        said = {
            key: value.replace("_", " ") if key in ("history", "blank", "near") else value
            for key, value in said.items()
        }
        found.append(
            TankRow(number=number, consignment="", at=datetime.fromisoformat(f"{at}+00:00"), what=what, **said)
        )
    return tuple(sorted(found, key=lambda row: row.at))


def consignment(name: str, table: str) -> Consignment:
    named = {field.name for field in fields(TankRow)}
    assert "consignment" in named
    from dataclasses import replace

    return Consignment(name, f"id of {name}", tuple(replace(row, consignment=name) for row in rows_of(table)))


def spread(level: float | np.ndarray) -> Any:
    return np.sqrt(SD0**2 + (REL * np.minimum(level, FULL)) ** 2)


def reading(signal: float) -> Reading:
    """What an invented electrode makes of a signal that is normal about the level up to FULL [ug/L]."""
    seen = np.minimum(GRID, FULL)
    curve = ConfidenceCurve(
        GRID, norm.cdf((signal - seen) / spread(seen)), float(norm.cdf((signal - FULL) / spread(FULL)))
    )
    p = float(norm.sf(signal / SD0))

    def at(probability: float) -> float | None:
        below = np.flatnonzero(curve.probability <= probability)
        if below.size == 0:
            return None
        return float(np.interp(-probability, -curve.probability, GRID)) if below[0] > 0 else 0.0

    low, middle, high = at(0.975), at(0.5), at(0.025)
    common: dict[str, Any] = {
        "reason": None,
        "detection": Detection(p <= 0.05, p, 0.05),
        "working_range": None,
        "shares": (1.0,),
    }
    common |= {"warnings": (), "curve": curve, "two_sided": None}
    if p > 0.05:
        limit = at(0.05) or 0.0
        return Reading(
            "not detected",
            estimate=Estimate(middle, 0.0, limit, 0.95, 1),
            lower_limit=None,
            upper_limit=LimitValue(limit, 0.95),
            **common,
        )
    if high is None:
        least = at(0.95) or 0.0
        return Reading(
            "at or above",
            estimate=Estimate(None, least, None, 0.95, 1),
            lower_limit=LimitValue(least, 0.95),
            upper_limit=None,
            **common,
        )
    return Reading(
        "quantified", estimate=Estimate(middle, low, high, 0.95, 2), lower_limit=None, upper_limit=None, **common
    )


def desk(
    consignments: Sequence[Consignment],
    signals: Mapping[str, float],
    *,
    alpha: float = 0.01,
    hold_h: float | None = None,
    hours: float = 6.0,
    draws: int = 400,
    trial: KeptTrial | None = None,
) -> FishDesk:
    """Everything an interpretation needs, with these signals as readings of the waters [ug/L]."""
    rows = [row for one in consignments for row in one.of(SAMPLE, BLANK)]
    read = {
        str(row.sample): WaterReading(
            SampleReading(
                f"reading of {row.sample}",
                str(row.sample),
                "thiocyanate",
                "ug/L",
                reading(signals[str(row.sample)]),
                (),
                "calibration",
                (),
            ),
            row.at + timedelta(hours=hours),
        )
        for row in rows
        if str(row.sample) in signals
    }
    rule = Rule(alpha, hold_h)
    waters = {str(row.sample): water_answer(row, read.get(str(row.sample)), rule) for row in rows}
    cap = cap_from(known_tanks(consignments, waters))
    scales = Scales(published_worlds(), Drawing(draws, 1), cap, DEFAULT_SCALE, trial or KeptTrial())
    place: Any = SimpleNamespace(settings=Settings())
    return FishDesk(place, {one.name: one for one in consignments}, read, waters, rule, scales, None)


def controls(system: str, count: int, history: str = "captive-bred") -> Consignment:
    """A consignment of so many tanks with two bred fish each, one sample a tank: C-1, C-2, ..."""
    lines = []
    for number in range(1, count + 1):
        lines += [
            f"2031-06-01T08:00 catch fish=bred{number} count=2 mass_g=10 history={history}",
            f"2031-06-02T08:00 filled tank=C{number} volume_L=40 system={system}",
            f"2031-06-02T09:00 in tank=C{number} fish=bred{number}",
            f"2031-06-03T09:00 sample tank=C{number} sample=C-{number}",
        ]
    return consignment("controls", "\n".join(lines))


def lognormal_signals(count: int, median: float, gsd: float) -> dict[str, float]:
    """Signals of the controls at the middle quantiles of a log-normal background."""
    scores = norm.ppf((np.arange(count) + 0.5) / count)
    return {f"C-{n}": float(median * math.exp(math.log(gsd) * score)) for n, score in enumerate(scores, start=1)}

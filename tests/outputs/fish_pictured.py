"""Invented records for the charts of tanks, consignments and evidence."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np

from brinemark.terms.evidence import AssumptionMove, Rate, RatioBin, Roc, TrialResult, VerbalBand, VerbalScale
from brinemark.terms.fish_pictures import (
    SAMPLE,
    SOURCE_WATER,
    ConsignmentPicture,
    ConsignmentRow,
    ExposurePanel,
    ExposuresPicture,
    HoldPanel,
    HoldsPicture,
    PairedValue,
    PairsPicture,
    SplitPair,
    StatedLevel,
    TankEvent,
    TankSample,
    TankTimeline,
    WeightBar,
    WeightsPicture,
    WorldBand,
    WorldMoves,
)
from brinemark.terms.surveillance import (
    FittedLine,
    Funnel,
    FunnelLimits,
    FunnelPoint,
    Interval,
    PrevalenceStatement,
    TimePoint,
)

WORLDS = ("released", "not released")
START = datetime(2031, 4, 2, 8, 0, tzinfo=timezone(timedelta(hours=8)))


def stated(kind: str, *, size: float = 1.0) -> StatedLevel:
    """One of each statement."""
    return {
        "quantified": StatedLevel(
            "quantified", "thiocyanate 2.1 µg/L (95 % interval 1.4 to 3.2)", 1.4 * size, 3.2 * size, 2.1 * size
        ),
        "uncertain": StatedLevel(
            "detected, amount uncertain",
            "thiocyanate detected, amount uncertain (95 % interval 0.4 to 6 µg/L)",
            0.4 * size,
            6.0 * size,
            1.7 * size,
        ),
        "absent": StatedLevel(
            "not detected", "thiocyanate not detected, less than 0.62 µg/L (95 %, one-sided)", None, 0.62 * size
        ),
        "high": StatedLevel("at or above", "thiocyanate at or above 6.4 µg/L (95 %, one-sided)", 6.4 * size),
        "silent": StatedLevel("cannot say", "cannot say (thiocyanate)", reason="the run control failed: recovery 41 %"),
    }[kind]


def world(name: str, top: float, days: float = 9.0, filled: float = 1.0) -> WorldBand:
    day = np.linspace(0.0, days, 120)
    middle = top * (1.0 - np.exp(-1.4 * np.maximum(day - filled, 0.0))) * np.exp(-0.08 * day)
    middle = np.where(day > 5.0, 0.6 * middle, middle)
    middle = np.where(day < filled, np.nan, middle)
    return WorldBand(name, day, middle, middle / 1.8, middle * 1.8, middle / 5.0, middle * 5.0)


def timeline(**changes: object) -> TankTimeline:
    events = [
        TankEvent(0.0, "filled", "120 L"),
        TankEvent(1.0, "fish in", "6 fish, 72 g"),
        TankEvent(4.3, "fish out", "1 dead"),
        TankEvent(5.0, "renewed", "40 %"),
        TankEvent(6.0, "treated", "copper"),
        TankEvent(7.5, "spiked", "200 µg"),
        *(TankEvent(1.0 + 0.5 * k, "fed", "2 g") for k in range(16)),
    ]
    samples = [
        TankSample("W01", 0.6, SOURCE_WATER, stated("absent")),
        TankSample("W02", 1.5, SAMPLE, stated("absent")),
        TankSample("W03", 2.5, SAMPLE, stated("quantified")),
        TankSample("W04", 2.5, SOURCE_WATER, stated("uncertain", size=0.1)),
        TankSample("W05", 2.5, "field", stated("absent")),
        TankSample("W06", 4.0, SAMPLE, stated("uncertain")),
        TankSample("W07", 6.0, SAMPLE, stated("high")),
        TankSample("W08", 7.0, SAMPLE, stated("silent")),
        TankSample("W09", 8.6, SAMPLE, None),
    ]
    start: dict[str, object] = {
        "tank": "T4",
        "unit": "ug/L",
        "start": START,
        "events": tuple(events),
        "samples": tuple(samples),
        "worlds": (world("released", 3.0), world("not released", 2e-3)),
        "minimum_detectable": 0.55,
        "capture_d": -3.4,
        "capture_u_d": 0.5,
    }
    return TankTimeline(**{**start, **changes})  # type: ignore[arg-type]


def bar(world: str, value: float | None, half: float = 0.4, cap: float | None = 1.0) -> WeightBar:
    if value is None:
        return WeightBar(world, None, reason="no source blank")
    counted = value if cap is None else max(min(value, cap), -cap)
    return WeightBar(world, value, value - half, value + half, counted, None if cap is None else -cap, cap)


def consignment(tanks: int = 6, worlds: tuple[str, ...] = WORLDS, **changes: object) -> ConsignmentPicture:
    kinds = ("quantified", "uncertain", "absent", "high", "silent", None)
    values = (0.8, 1.6, -0.3, 3.2, None, None)
    rows = []
    for k in range(tanks):
        kind, value = kinds[k % 6], values[k % 6]
        bars = tuple(bar(w, None if value is None else value / (1.0 + 9.0 * n)) for n, w in enumerate(worlds))
        rows.append(ConsignmentRow(f"T{k + 1:02d}", None if kind is None else stated(kind), bars))
    start: dict[str, object] = {
        "consignment": "K7",
        "unit": "ug/L",
        "worlds": worlds,
        "first": "exposed at capture",
        "second": "no exposure at capture",
        "rows": tuple(rows),
        "minimum_detectable": 0.55,
    }
    return ConsignmentPicture(**{**start, **changes})  # type: ignore[arg-type]


SCALE = VerbalScale(
    "a guideline of this trade, invented",
    True,
    tuple(
        VerbalBand(start, words)
        for start, words in (
            (2.0, "weak"),
            (10.0, "moderate"),
            (100.0, "moderately strong"),
            (1e3, "strong"),
            (1e4, "very strong"),
            (1e6, "extremely strong"),
        )
    ),
)


def weights(**changes: object) -> WeightsPicture:
    start: dict[str, object] = {
        "title": "Tank T4: weight of the readings in each world",
        "first": "exposed at capture",
        "second": "no exposure at capture",
        "bars": (bar("released", 1.6), bar("not released", 0.05), bar("own controls", None)),
        "scale": SCALE,
        "notes": ("Specificity unknown for wild fish: no such fish were among the controls.",),
    }
    return WeightsPicture(**{**start, **changes})  # type: ignore[arg-type]


def moves() -> tuple[WorldMoves, ...]:
    names = ("geometric sd of the background", "days since capture", "share that reaches the water", "fish mass")
    return tuple(
        WorldMoves(
            world,
            middle,
            tuple(
                AssumptionMove(name, middle - size * (k + 1) / 3.0, middle + size / (k + 1))
                for k, name in enumerate(names)
            ),
        )
        for world, middle, size in (("released", 1.6, 0.9), ("not released", 0.05, 0.08))
    )


def exposures(**changes: object) -> ExposuresPicture:
    dose, day = np.geomspace(0.01, 30.0, 40), np.linspace(1.0, 21.0, 41)
    expected = dose[:, None] * np.exp(-0.15 * day[None, :])
    sharp = -0.5 * ((np.log(expected) - np.log(0.4)) / 0.6) ** 2
    flat = np.where(dose[:, None] < 20.0, -0.4 + 0.0 * expected, -np.inf)
    panels = (
        ExposurePanel("released", sharp, sharp > -1.92),
        ExposurePanel("not released", flat, np.isfinite(flat)),
    )
    start: dict[str, object] = {
        "title": "Tank T4: exposures that agree with its readings",
        "dose": dose,
        "day": day,
        "panels": panels,
        "level": 0.95,
        "lethal": ((3.2, "lethal to half of rats"), (8.0, "lethal to half of another mammal")),
    }
    return ExposuresPicture(**{**start, **changes})  # type: ignore[arg-type]


def holds(days: int = 3, volumes: int = 3, **changes: object) -> HoldsPicture:
    day, volume = np.array([1.0, 7.0, 21.0, 42.0])[:days], np.geomspace(1.0, 100.0, volumes)
    hold = np.linspace(0, 4, 33)
    level = 8.0 * np.exp(-0.12 * day[:, None, None]) / volume[:, None]
    level = level * (1.0 - np.exp(-2.0 * hold)) * np.exp(-0.2 * hold)
    chance = 0.01 + 0.99 * level / (level + 0.6)
    best = hold[np.argmax(chance, axis=2)]
    none = np.full_like(chance, 0.01)
    panels = (
        HoldPanel("released", chance, best, 0.01),
        HoldPanel("not released", none, np.full_like(best, np.nan), 0.01),
    )
    start: dict[str, object] = {
        "fish": "3 fish of 12 g",
        "day": day,
        "volume_L": volume,
        "hold_d": hold,
        "panels": panels,
    }
    return HoldsPicture(**{**start, **changes})  # type: ignore[arg-type]


def rate(count: int, of: int, lower: float, upper: float) -> Rate:
    return Rate(count, of, count / of if of else None, lower, upper, 0.95, 2)


def trial(**changes: object) -> TrialResult:
    roc = Roc(
        np.array([np.inf, 2.0, 1.0, 0.3, -0.5, -2.0]),
        np.array([0.0, 0.0, 0.05, 0.1, 0.5, 1.0]),
        np.array([0.0, 0.4, 0.7, 0.85, 0.95, 1.0]),
        0.9212,
    )
    bins = (
        RatioBin(-np.inf, -2.0, 0, 9, -np.inf, -np.inf, -0.6, True),
        RatioBin(-2.0, -1.0, 1, 14, -1.15, -2.6, -0.31, True),
        RatioBin(-1.0, 0.0, 4, 8, -0.3, -0.95, 0.27, True),
        RatioBin(0.0, 1.0, 3, 4, -0.12, -0.93, -0.05, False),
        RatioBin(1.0, 2.0, 0, 0, np.nan, -np.inf, np.inf, True),
        RatioBin(2.0, np.inf, 12, 0, np.inf, 0.7, np.inf, True),
    )
    start: dict[str, object] = {
        "population": "captive-bred fish of one hall",
        "exposed": 20,
        "unexposed": 40,
        "roc": roc,
        "threshold": 0.3,
        "sensitivity": rate(17, 20, 0.621, 0.968),
        "specificity": rate(36, 40, 0.763, 0.972),
        "bins": bins,
        "cost": 0.412,
        "least_cost": 0.331,
        "misleading": (),
    }
    return TrialResult(**{**start, **changes})  # type: ignore[arg-type]


def funnel(count: int = 30) -> Funnel:
    rng = np.random.default_rng(8)
    points = []
    for k in range(count):
        tested = int(rng.integers(3, 61))
        share = int(rng.binomial(tested, 0.9 if k == 2 else 0.2)) / tested
        points.append(FunnelPoint(f"K{k + 1:02d}", tested, share, 0.2, 0.0004 if k == 2 else 0.03 if k == 5 else 0.4))
    limits = tuple(
        FunnelLimits(n, Interval(*_about(n, 2.0)), Interval(*_about(n, 3.1)))
        for n in range(1, max(p.tested for p in points) + 1)
    )
    return Funnel(0.22, tuple(points), limits)


def _about(tested: int, times: float) -> tuple[float, float]:
    half = times * (0.22 * 0.78 / tested) ** 0.5
    return max(0.0, round((0.22 - half) * tested) / tested), min(1.0, round((0.22 + half) * tested) / tested)


def over_time(origins: int = 3, seasons: int = 4) -> tuple[TimePoint, ...]:
    points = []
    for o in range(origins):
        for k in range(seasons):
            silent = (o + k) % 4 == 3
            told = PrevalenceStatement(
                f"bay {o + 1}",
                f"2031 {'abcdefghijkl'[k]}",
                4,
                40,
                6 + k,
                None if silent else 0.1 + 0.05 * k,
                None if silent else Interval(0.02, 0.3 + 0.05 * k),
                None,
                0.6,
                Interval(0.4, 0.7),
                None if silent else 0.1,
                None,
                ("no wild fish without cyanide were tested",),
                "the test finds exposed fish no more often than others" if silent else None,
            )
            share = (6 + k) / 40
            exact = Interval(0.5 * share, 1.7 * share)
            points.append(TimePoint(told.origin, told.season, 40, 6 + k, share, exact, told))
    return tuple(points)


def pairs(**changes: object) -> PairsPicture:
    values = (0.9, 1.4, 2.2, 3.7, 5.2, 8.0, 12.0, 18.0)
    both = [
        SplitPair(f"S{k:02d}", PairedValue(v, 0.7 * v, 1.4 * v), PairedValue(1.1 * v, v, 1.25 * v))
        for k, v in enumerate(values)
    ]
    limits = [
        SplitPair("S20", PairedValue(None, upper=0.62), PairedValue(None, upper=1.0)),
        SplitPair("S21", PairedValue(None, upper=0.62), PairedValue(1.3, 1.0, 1.6)),
        SplitPair("S22", PairedValue(1.9, 1.2, 3.0), PairedValue(None, upper=1.0)),
        SplitPair("S23", PairedValue(None, lower=6.4), PairedValue(15.0, 13.0, 17.0)),
        SplitPair("S24", PairedValue(None), PairedValue(2.0)),
    ]
    start: dict[str, object] = {
        "first": "one-use electrode",
        "second": "chromatography",
        "unit": "ug/L",
        "pairs": (*both, *limits),
        "line": FittedLine(0.12, 1.07, Interval(-0.2, 0.5), Interval(0.93, 1.2)),
    }
    return PairsPicture(**{**start, **changes})  # type: ignore[arg-type]

"""Invented records for the charts of tanks, consignments and evidence."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np

from brinemark.outputs.charts.levels import stated_level
from brinemark.terms.fish_pictures import (
    SAMPLE,
    SOURCE_WATER,
    StatedLevel,
    TankEvent,
    TankSample,
    TankTimeline,
    WorldBand,
)

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
        "silent": StatedLevel(
            "cannot say", "cannot say (thiocyanate)", reason="the run control failed: recovery 41 %"
        ),
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


__all__ = ["stated", "stated_level", "timeline", "world"]

"""Invented records for the chart tests."""

from __future__ import annotations

import math

import numpy as np

from brinemark.terms.amounts import ConfidenceCurve, Detection, Estimate, LimitValue, Reading
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Dissection, Flag, Signal, Trace
from brinemark.terms.pictures import DipPicture, FanPanel, LifePicture


def fan_panels(batches: int = 6, instruments: int = 1, factor: float = 1e-7) -> list[FanPanel]:
    rng = np.random.default_rng(17)
    grid = np.concatenate([[0.0], np.geomspace(0.02, 40.0, 80)])
    panels = []
    for b in range(batches):
        gain = factor * math.exp(0.25 * rng.normal())
        level = np.array([0.0, 0.25, 1.0, 4.0, 20.0, 0.0])[: 4 + b % 3]
        signal = gain * answer(level) * np.exp(0.08 * rng.normal(size=level.size))
        middle = gain * answer(grid)
        panels.append(
            FanPanel(
                batch=f"B{b + 1:02d}",
                instrument=("bench", "field")[b % instruments],
                level=level,
                signal=signal,
                u=0.02 * factor + 0.03 * signal,
                curve_level=grid,
                curve_median=middle,
                curve_lower=middle * 0.75,
                curve_upper=middle * 1.3,
                population_lower=factor * answer(grid) * 0.5,
                population_upper=factor * answer(grid) * 1.9,
            )
        )
    return panels


def answer(level: FloatArray) -> FloatArray:
    return np.asarray(0.3 + level / (2.5 + level))


def voltammogram(n: int = 500) -> Trace:
    rng = np.random.default_rng(5)
    up = np.linspace(-0.4, 0.9, n)
    potential = np.concatenate([up, up[::-1]])
    wave = 3.1e-7 / np.cosh((potential - 0.58) / 0.052) ** 2
    film = 9e-7 / np.cosh((potential + 0.18) / 0.06) ** 2
    tail = 3e-8 * np.exp((potential - 0.8) / 0.06)
    way = np.concatenate([np.ones(n), -np.ones(n)])
    current = way * (film + 2.5e-7 + 0.3 * wave) + 0.7 * wave + tail + 2e-7 * potential
    return Trace(potential, current + 4e-9 * rng.normal(size=2 * n))


def dissected(trace: Trace, n: int = 500, unit: str = "A") -> Dissection:
    inside = np.flatnonzero((trace.potential_V[:n] >= 0.40) & (trace.potential_V[:n] <= 0.76))
    potential, current = trace.potential_V[inside], trace.current_A[inside]
    baseline = np.interp(potential, potential[[0, -1]], [current[:5].mean(), current[-5:].mean()])
    shape = 1.0 / np.cosh((potential - 0.58) / 0.052) ** 2
    shape = shape - np.interp(potential, potential[[0, -1]], shape[[0, -1]])
    height = float(shape @ (current - baseline) / (shape @ shape))
    wave = height * shape
    flag = Flag("noise", 4.1e-9, 3.0e-9, "the trace is noisier than usual")
    signal = Signal(height, 2.6e-9, unit, (flag,), 1.1e-9, 2.3e-9)
    return Dissection(potential, current, baseline, wave, current - baseline - wave, signal)


def curve(center: float, width: float, floor: float = 0.0) -> ConfidenceCurve:
    level = np.concatenate([[0.0], np.geomspace(0.01, 500.0, 400)])
    x = (np.log(level[1:]) - math.log(center)) / width
    falling = 1.0 / (1.0 + np.exp(1.7 * x))
    probability = np.concatenate([[0.9995], falling]) * (1.0 - floor) + floor
    return ConfidenceCurve(level, np.minimum(probability, 0.9995), floor)


def reading(statement: str, **changes: object) -> Reading:
    start: dict[str, object] = {
        "statement": statement,
        "reason": None,
        "detection": Detection(True, 0.0004, 0.05),
        "estimate": None,
        "lower_limit": None,
        "upper_limit": None,
        "working_range": (0.5, 5.2),
        "shares": (1.0,),
        "warnings": (),
        "curve": curve(2.1, 0.22),
        "two_sided": None,
    }
    return Reading(**{**start, **changes})  # type: ignore[arg-type]


def all_five() -> list[tuple[str, Reading]]:
    quantified = reading("quantified", estimate=Estimate(2.1, 1.37, 3.22, 0.95, 2))
    uncertain = reading("detected, amount uncertain", estimate=Estimate(0.9, 0.0, 4.1, 0.95, 2), curve=curve(0.9, 0.7))
    wide = reading("detected, amount uncertain", estimate=Estimate(4.0, 1.1, 21.0, 0.95, 2), curve=curve(4.0, 0.7))
    absent = reading(
        "not detected",
        detection=Detection(False, 0.41, 0.05),
        estimate=Estimate(0.0, 0.0, 0.62, 0.95, 1),
        upper_limit=LimitValue(0.62, 0.95),
        curve=curve(0.2, 0.65),
    )
    high = reading(
        "at or above",
        estimate=Estimate(None, 6.4, None, 0.95, 1),
        lower_limit=LimitValue(6.4, 0.95),
        curve=curve(14.0, 0.45, floor=0.2),
        two_sided=Estimate(14.0, 5.2, None, 0.95, 2),
    )
    silent = reading(
        "cannot say",
        reason="the pre-scan of electrode B04-2 failed (charge 3.1 times the batch's); use another one",
        detection=None,
        working_range=None,
        curve=None,
    )
    return [
        ("S001", quantified),
        ("S002", uncertain),
        ("S003", wide),
        ("S004", absent),
        ("S005", high),
        ("S006", silent),
    ]


def spiked_life(statement: str | None = "S001: thiocyanate 2.1 µg/L (95 % interval 1.4 to 3.2)") -> LifePicture:
    held = ("clean seawater", "sample, diluted 4 times", "+ 2 µg/L", "closing spike + 100 µg/L")
    gains = (0.1, 0.42, 0.60, 1.05)
    at = np.linspace(0.40, 0.76, 900)
    rng = np.random.default_rng(23)
    dips = []
    for words, gain in zip(held, gains, strict=True):
        shape = 1.0 / np.cosh((at - 0.58) / 0.052) ** 2
        current = 2.1e-6 + 4e-7 * at + 3.1e-6 * gain * shape + 1.5e-8 * rng.normal(size=at.size)
        dips.append(DipPicture(words, 3.1e-6 * gain, 6e-8, at, current))
    across = "potential, V against Ag/AgCl"
    return LifePicture("B09-3", "B09", "A", "height", across, False, tuple(dips), statement)

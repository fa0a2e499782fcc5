"""What a better batch would buy: a plan's figures if a scatter, noise, the floor, drift or defects fell by a factor.

The stored draws of the population are scaled and everything else stays, random numbers included, so that what differs
is what was scaled. A part that the calibration has not measured is not scaled.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from brinemark.science.amount.response import KINDS
from brinemark.science.planning.allocation import Planner
from brinemark.science.planning.figures import Bench, Figure, Measured, PlanFigures
from brinemark.science.planning.new_batches import NewBatches
from brinemark.science.planning.plans import BatchPlan
from brinemark.terms.amounts import Calibration
from brinemark.terms.arrays import FloatArray

TODAY, MORE_ELECTRODES, MORE = "as it is", "more electrodes", 2
Columns: TypeAlias = Mapping[str, FloatArray]


def _less(*names: str) -> Callable[[Columns, float], dict[str, FloatArray]]:
    """Parameters that are logs."""
    return lambda old, factor: {name: old[name] - np.log(factor) for name in names if name in old}


def _electrode(old: Columns, factor: float) -> dict[str, FloatArray]:
    """Scatter of gain, floor and K between a batch's electrodes; the noise that grows with the signal stays."""
    share, tau = 1.0 / (1.0 + np.exp(-old["logit_share"])), np.exp(old["ln_electrode_sd"])
    scatter, relative = tau**2 * (1.0 - share) / factor**2, tau**2 * share
    changed = {
        "ln_electrode_sd": 0.5 * np.log(scatter + relative),
        "logit_share": np.log(relative / scatter),
    }
    return changed | _less("ln_floor_sd", "ln_own_K_sd")(old, factor)


def _noise(old: Columns, factor: float) -> dict[str, FloatArray]:
    """Additive noise, and the noise that grows with the signal."""
    share, tau = 1.0 / (1.0 + np.exp(-old["logit_share"])), np.exp(old["ln_electrode_sd"])
    scatter, relative = tau**2 * (1.0 - share), tau**2 * share / factor**2
    changed = {
        "ln_electrode_sd": 0.5 * np.log(scatter + relative),
        "logit_share": np.log(relative / scatter),
    }
    return changed | _less(*(name for name in old if name.startswith("ln_noise:")))(old, factor)


def _drift(old: Columns, factor: float) -> dict[str, FloatArray]:
    shifts = ("prescan_shift", "dip_drift", "spike_shift")
    return {name: old[name] / factor for name in shifts if name in old} | _less("ln_drift_sd")(old, factor)


PARTS: Mapping[str, tuple[tuple[str, ...], Callable[[Columns, float], dict[str, FloatArray]]]] = {
    "batch scatter": (("ln_batch_sd",), _less("ln_batch_sd", "ln_K_sd", "ln_floor_batch_sd")),
    "electrode scatter": (("ln_electrode_sd",), _electrode),
    "noise": (("ln_electrode_sd",), _noise),
    "floor": (("ln_floor",), _less("ln_floor")),
    "drift between dips": (("ln_drift_sd",), _drift),
    "defective films": (tuple(kind.parameter for kind in KINDS), _less(*(kind.parameter for kind in KINDS))),
}
"""What may fall: the parameters that have to have been measured, and what a factor makes of the draws."""


@dataclass(frozen=True, slots=True)
class Gain:
    """part : what fell, TODAY for nothing; electrodes : of the batch; figures : of the plan then; gain : what the wish
    looks at, less today's (answers per electrode as ln of the ratio, the rest as it is)."""

    part: str
    electrodes: int
    figures: PlanFigures
    gain: Figure


def improved(calibration: Calibration, part: str, factor: float) -> Calibration | None:
    """The calibration as if a part had fallen by a factor; None where it knows nothing of that part."""
    needed, change = PARTS[part]
    if not set(needed) <= set(calibration.names):
        return None
    old = {name: calibration.draws[:, i] for i, name in enumerate(calibration.names)}
    new = old | change(old, factor)
    made = replace(calibration, draws=np.stack([new[name] for name in calibration.names], axis=1))
    if part != "noise":
        return made
    return replace(made, readings=replace(calibration.readings, u=calibration.readings.u / factor))


def gains(planner: Planner, plan: BatchPlan, factor: float) -> tuple[Gain, ...]:
    """Today's figures of a plan, then each part that is measured, the most first; for more electrodes, which a plan may
    not divide by, the plan is made anew."""
    calibration, today = planner.batches.calibration, planner.measure(plan)
    found = []
    for part in PARTS:
        better = improved(calibration, part, factor)
        if better is not None:
            found.append((part, plan, replace(planner, batches=_alike(better, planner)).measure(plan)))
    more = planner.allocation(plan.electrodes + MORE).plans[0].figures.plan
    found.append((MORE_ELECTRODES, more, planner.measure(more)))
    rows = [Gain(part, one.electrodes, seen.figures, gain_of(seen, today, planner.bench)) for part, one, seen in found]
    rows.sort(key=lambda one: one.gain.value, reverse=True)
    return (Gain(TODAY, plan.electrodes, today.figures, Figure(0.0, 0.0)), *rows)


def _alike(calibration: Calibration, planner: Planner) -> NewBatches:
    """New batches by a scaled calibration on the same random numbers."""
    return NewBatches.of(calibration, planner.batches.seed, planner.batches.instrument)


def gain_of(then: Measured, today: Measured, bench: Bench) -> Figure:
    """What the wish looks at, less today's, on common resamples."""
    if bench.wish.aim == "cost":
        one, other = then.figures.detectable, today.figures.detectable
        return Figure(other.value - one.value, float(np.hypot(one.error, other.error)))
    if bench.wish.aim == "answers":
        return _ratio(then, today)
    difference = then.resampled - today.resampled
    error = np.sqrt(np.var(difference) + then.limits_variance + today.limits_variance)
    return Figure(then.score - today.score, float(error))


def _ratio(then: Measured, today: Measured) -> Figure:
    """ln of the ratio of answers per electrode; inf where there are none today."""
    now, was = then.figures.per_electrode.value, today.figures.per_electrode.value
    if was <= 0.0 or now <= 0.0:
        return Figure(np.inf if now > was else 0.0, 0.0)
    size = then.figures.plan.electrodes / today.figures.plan.electrodes
    both = (then.resampled > 0) & (today.resampled > 0)
    spread = np.var(np.log(then.resampled[both] / today.resampled[both] / size)) if both.any() else 0.0
    limits = then.limits_variance / then.score**2 + today.limits_variance / today.score**2
    return Figure(float(np.log(now / was)), float(np.sqrt(spread + limits)))

"""Volumes into flasks: what a kit can deliver, round dilutions, and working solutions to start from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from brinemark.terms.dilutions import Flask, Kit, Pipette, Step, Wish

ROUND = (1.0, 2.0, 2.5, 5.0)  # first digits of volumes for solutions on the way
FARTHEST = 1e4  # how far above the highest level a working solution may lie
WORKING = 40  # working solutions that are tried


@dataclass(frozen=True, slots=True)
class Draw:
    """A volume into a flask; ratio = v / V; variance : relative, as if every error were its own."""

    pipette: Pipette
    volume: float
    flask: Flask

    @property
    def ratio(self) -> float:
        return self.volume / self.flask.volume_mL

    @property
    def variance(self) -> float:
        own = (self.pipette.u**2 + self.pipette.repeat_mL**2) / self.volume**2
        return own + (self.flask.u**2 + self.flask.repeat_mL**2) / self.flask.volume_mL**2


def draw_of(step: Step) -> Draw:
    """The draw that made a solution."""
    return Draw(step.pipette, step.volume_mL, step.flask)


def plain_draws(kit: Kit) -> tuple[Draw, ...]:
    """Round volumes into every flask; of draws with one ratio the least uncertain."""
    best: dict[float, Draw] = {}
    for pipette in kit.pipettes:
        for volume in _round_volumes(pipette, kit.smallest_mL):
            for flask in kit.flasks:
                draw = Draw(pipette, volume, flask)
                key = float(f"{draw.ratio:.10g}")
                if draw.ratio < 1.0 and (key not in best or draw.variance < best[key].variance):
                    best[key] = draw
    return tuple(best.values())


def working_solutions(kit: Kit, highest: float, wish: Wish) -> list[tuple[Draw, ...]]:
    """One or two round draws that lead to a solution above the highest level, the cheapest of each ratio.

    Half of the wanted variance is left for the draws that follow.
    """
    draws = plain_draws(kit)
    chains: list[tuple[Draw, ...]] = [(draw,) for draw in draws]
    chains += [(a, b) for a in draws for b in draws if b.volume <= a.flask.volume_mL] if wish.steps > 2 else []
    best: dict[float, tuple[Draw, ...]] = {}
    for chain in chains if wish.steps > 1 else []:
        ratio = math.prod(draw.ratio for draw in chain)
        key = float(f"{ratio:.4g}")
        if not highest < ratio < FARTHEST * highest or math.fsum(d.variance for d in chain) > 0.5 * wish.rel_u**2:
            continue
        if key not in best or cost_of(chain, wish) < cost_of(best[key], wish):
            best[key] = chain
    return sorted(best.values(), key=lambda chain: cost_of(chain, wish))[:WORKING]


def cost_of(draws: Sequence[Draw], wish: Wish) -> float:
    """Diluent [mL], each solution counted as some more."""
    return math.fsum(draw.flask.volume_mL - draw.volume + wish.work_mL for draw in draws)


def _round_volumes(pipette: Pipette, smallest_mL: float) -> list[float]:
    if pipette.smallest_mL is None:
        return [pipette.nominal_mL] if pipette.nominal_mL >= smallest_mL else []
    low = max(pipette.smallest_mL, smallest_mL) * (1.0 - 1e-9)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(pipette.nominal_mL)) + 1)
    values = {float(f"{digit * 10.0**decade:.6g}") for decade in decades for digit in ROUND} | {pipette.nominal_mL}
    return sorted(value for value in values if low <= value <= pipette.nominal_mL)


def settable(pipette: Pipette, volume: float, smallest_mL: float) -> float | None:
    """The nearest volume that the pipette can deliver, or None outside its range."""
    if pipette.smallest_mL is None:
        return pipette.nominal_mL if pipette.nominal_mL >= smallest_mL else None
    step = pipette.nominal_mL / 1000.0 if pipette.step_mL is None else pipette.step_mL
    nearest = float(f"{round(volume / step) * step:.9g}")
    low = max(pipette.smallest_mL, smallest_mL)
    return nearest if low * (1.0 - 1e-9) <= nearest <= pipette.nominal_mL * (1.0 + 1e-9) else None

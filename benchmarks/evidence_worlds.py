"""Invented fish, tanks and waters for evidence.py: one world as the model has it, others that it does not contain."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from brinemark.science.fish.kinetics import constants, follow
from brinemark.science.fish.tanks import Fish, History, Move
from brinemark.science.fish.tanks import Tank as WaterTank
from brinemark.science.fish.worlds import Drawing, draw_world, kinetics_of, published_worlds
from brinemark.terms.arrays import FloatArray
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, spread

CONTROLS, EACH = 20, 24
"""Control tanks of a system; further tanks of exposed and of unexposed fish, each."""
MEDIAN, GSD = 0.6, 1.8
Level = Callable[[np.random.Generator], float]


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank of truth: how it was kept, when it was sampled, and the signal of its water [ug/L]."""

    name: str
    exposed: bool
    count: int
    mass_g: float
    volume_L: float
    sea_d: float
    hold_d: float
    signal: float

    @property
    def fish(self) -> str:
        return f"fish of {self.name}"

    @property
    def sample(self) -> str:
        return f"water of {self.name}"


def usual_background(rng: np.random.Generator) -> float:
    return float(MEDIAN * GSD ** rng.normal())


def usual_release(tank: Tank, rng: np.random.Generator) -> float:
    """What the model's own kinetics add [ug/L], one draw of all its constants."""
    world = published_worlds()[0]
    drawn = draw_world(world, Drawing(1, int(rng.integers(2**31))))
    return float(
        follow(
            kinetics_of(drawn), _history(tank, drawn["absorbed_dose"]), np.array([tank.sea_d + tank.hold_d])
        ).water_ug_L[0, 0, 0]
    )


def _history(tank: Tank, dose: FloatArray) -> History:
    fish = Fish(tank.fish, tank.count, tank.mass_g / 1000.0, dose)
    return History((WaterTank("A", tank.volume_L, filled_d=tank.sea_d),), (fish,), (Move(tank.sea_d, tank.fish, "A"),))


def saturable(tank: Tank, rng: np.random.Generator) -> float:
    """Release at a constant rate until the body is empty, loss that saturates (half at 2 ug/L), stepped by 1/200 d: no
    linear compartment."""
    burden = 2232.0 * 0.5 * 2.5 ** rng.normal() * 0.7 * tank.mass_g / 1000.0 * tank.count  # [ug] of all fish
    rate, most, level, step = burden / rng.uniform(1.0, 6.0), rng.uniform(0.2, 2.0), 0.0, 0.005
    burden -= min(burden, rate * tank.sea_d)
    for _ in range(int(tank.hold_d / step)):
        out = min(burden, rate * step)
        burden -= out
        level = max(0.0, level + out / tank.volume_L - most * level / (2.0 + level) * step)
    return level


def fast(tank: Tank, rng: np.random.Generator) -> float:
    """Fish that lose all of it within hours, most of it before they came into the tank."""
    half_life = 0.05 * 1.5 ** rng.normal()
    kinetics = constants(
        converted=0.75, convert_per_d=20.0, out_per_d=math.log(2.0) / half_life, to_water=0.9, water_loss_per_d=0.02
    )
    dose = np.array([1.5 * 2.0 ** rng.normal()])
    return float(follow(kinetics, _history(tank, dose), np.array([tank.sea_d + tank.hold_d])).water_ug_L[0, 0, 0])


@dataclass(frozen=True)
class World:
    """What makes the data. background : of the tanks that are judged; of_controls : of the controls; touched : share of
    samples that a taker contaminates; recovery : signal over level."""

    name: str
    release: Callable[[Tank, np.random.Generator], float] = usual_release
    background: Level = usual_background
    of_controls: Level = usual_background
    touched: float = 0.0
    recovery: float = 1.0


OWN = World("the model's own world")
OTHERS = (
    World("constant release and a loss that saturates", release=saturable),
    World("fish that lose it within hours", release=fast),
    World("doses a third of what is supposed", release=lambda tank, rng: usual_release(tank, rng) / 3.0),
    World("one sample in fifteen with saliva", touched=1.0 / 15.0),
    World("wild tanks with twice the background", background=lambda rng: 2.0 * usual_background(rng)),
    World(
        "backgrounds in two groups", background=lambda rng: usual_background(rng) * (4.0 if rng.random() < 0.2 else 0.8)
    ),
    World("waters that read 1.4 times too high", recovery=1.4),
)


def _signal(level: float, world: World, rng: np.random.Generator) -> float:
    touched = 5.0 * 1.5 ** rng.normal() if rng.random() < world.touched else 0.0
    seen = world.recovery * (level + touched)
    return float(max(0.0, seen + spread(seen) * rng.normal()))


def controls_of(world: World, rng: np.random.Generator) -> tuple[Consignment, dict[str, float]]:
    """Control tanks of the system, nobody of whose samples is contaminated, and their signals."""
    known = controls("harbour", CONTROLS)
    clean = World(world.name, recovery=world.recovery)
    return known, {f"C-{n}": _signal(world.of_controls(rng), clean, rng) for n in range(1, CONTROLS + 1)}


def tanks_of(world: World, rng: np.random.Generator) -> list[Tank]:
    """EACH tanks of exposed and of unexposed fish, in turn: small tanks, sampled within days."""
    found = []
    for number in range(2 * EACH):
        exposed = number % 2 == 0
        plain = Tank(
            f"T{number}",
            exposed,
            int(rng.integers(1, 5)),
            float(np.round(15.0 * 1.6 ** rng.normal(), 1)),
            float(np.round(rng.uniform(1.0, 6.0), 1)),
            float(np.round(rng.uniform(0.2, 1.2), 2)),
            float(np.round(rng.uniform(0.3, 1.5), 2)),
            0.0,
        )
        level = world.background(rng) + (world.release(plain, rng) if exposed else 0.0)
        found.append(_with_signal(plain, _signal(level, world, rng)))
    return found


def _with_signal(tank: Tank, signal: float) -> Tank:
    from dataclasses import replace

    return replace(tank, signal=signal)


def tank_record(tanks: list[Tank]) -> Consignment:
    """The tanks as a consignment of fish of unknown history."""
    from datetime import UTC, datetime, timedelta

    start = datetime(2031, 7, 1, 8, tzinfo=UTC)
    lines = []
    for tank in tanks:
        came = start + timedelta(days=tank.sea_d)
        taken = came + timedelta(days=tank.hold_d)
        lines += [
            f'{start:%Y-%m-%dT%H:%M} catch "fish={tank.fish}" count={tank.count} mass_g={tank.mass_g}',
            f"{came:%Y-%m-%dT%H:%M} filled tank={tank.name} volume_L={tank.volume_L} system=harbour",
            f'{came:%Y-%m-%dT%H:%M} in tank={tank.name} "fish={tank.fish}"',
            f'{taken:%Y-%m-%dT%H:%M} sample tank={tank.name} "sample={tank.sample}"',
        ]
    return consignment("K", "\n".join(lines))

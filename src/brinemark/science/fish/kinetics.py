"""Thiocyanate between fish and water: linear compartments, solved exactly.

For fish of one history (together, n fish of mass m), in ug thiocyanate; A is cyanide not yet turned over, as
2.232 times its mass; B the fast pool that the plasma shows, S the slow pool; W = C V the water of their tank:

    dA/dt = - k_c A                                                       k_c = 0 until the lag has passed
    dB/dt = f k_c A - (k_out + k_slow) B + k_back S + u n m C
    dS/dt = k_slow B - k_back S
    dW/dt = sum over fish of (F_w k_out B - u n m C) + Q (C_source - C) - k_loss W + supplies

k_out = k_excrete + k_metabolise, and only the share F_w = k_excrete / k_out in [0, 1] reaches the water, so that a
fall in plasma says nothing about the water. The share 1 - f of A leaves in other forms. Between events the matrix M
is constant, and x(t + dt) = exp(M dt) x(t), where x carries a last element 1 whose column holds the constant terms
(Van Loan, IEEE Transactions on Automatic Control 23 (1978) 395, doi 10.1109/TAC.1978.1101743; from memory); a lag
that ends inside a step splits the step there, draw by draw. Units: d, ug, L, kg.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from brinemark.science.fish.exponential import exponential
from brinemark.science.fish.tanks import Add, Event, Fish, History, Leave, Move, Renew, Resize, check
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

SCN_PER_CN = 58.08 / 26.02  # ratio of the molar masses [g/mol]
SAME_STEP = 12  # decimals of a day to which two steps are one
UG_PER_MG = 1000.0
POOLS = 3
TURNING, FAST, SLOW = range(POOLS)


@dataclass(frozen=True, slots=True)
class Kinetics:
    """Constants of the compartments, each of shape (draws,).

    converted : share f of absorbed cyanide that becomes thiocyanate; convert_per_d : k_c [1/d]; lag_d [d];
    out_per_d : k_out [1/d]; to_water : share F_w; to_slow_per_d, from_slow_per_d : k_slow, k_back [1/d];
    uptake_L_kg_d : u [L/kg/d]; water_loss_per_d : k_loss [1/d]; plasma_volume_L_kg : volume of distribution of the
    fast pool [L/kg], which only turns B into a plasma level.
    """

    converted: FloatArray
    convert_per_d: FloatArray
    lag_d: FloatArray
    out_per_d: FloatArray
    to_water: FloatArray
    to_slow_per_d: FloatArray
    from_slow_per_d: FloatArray
    uptake_L_kg_d: FloatArray
    water_loss_per_d: FloatArray
    plasma_volume_L_kg: FloatArray

    @property
    def draws(self) -> int:
        return len(self.converted)


@dataclass(frozen=True, slots=True)
class Course:
    """What follow() found.

    times_d (times,) [d]; water_ug_L (draws, tanks, times) [ug/L], nan before the tank was filled; body_ug
    (draws, fish, pools, times) [ug]: turning, fast, slow, of all fish of that name that are left; plasma_ug_L
    (draws, fish, times) [ug/L], nan when none is left; total_ug (draws, times) [ug]: in all tanks and bodies.
    """

    times_d: FloatArray
    water_ug_L: FloatArray
    body_ug: FloatArray
    plasma_ug_L: FloatArray
    total_ug: FloatArray


def constants(draws: int = 1, **values: FloatArray | float) -> Kinetics:
    """Kinetics from plain numbers, each repeated for all draws; what is not named is 0 (the plasma volume 1 L/kg)."""
    names = [field.name for field in fields(Kinetics)]
    given: dict[str, FloatArray | float] = {**dict.fromkeys(names, 0.0), "plasma_volume_L_kg": 1.0, **values}
    return Kinetics(**{name: np.broadcast_to(np.asarray(given[name], dtype=float), (draws,)) for name in names})


def check_kinetics(kinetics: Kinetics) -> None:
    """Raises Refused for a share outside 0 to 1 or a negative constant."""
    for field in fields(Kinetics):
        values = getattr(kinetics, field.name)
        most = 1.0 if field.name in ("converted", "to_water") else np.inf
        if not np.all((values >= 0.0) & (values <= most) & np.isfinite(values)):
            bad = values[~((values >= 0.0) & (values <= most) & np.isfinite(values))][0]
            expected = "a share from 0 to 1" if most == 1.0 else "0 or more"
            raise Refused(f"{field.name} {bad:g}", expected, "correct the parameter")


def follow(kinetics: Kinetics, history: History, times_d: FloatArray) -> Course:
    """Levels at rising times_d (times,) [d], after every event of the same time; raises Refused for a bad history."""
    check_kinetics(kinetics)
    check(history)
    times = np.asarray(times_d, dtype=float)
    if times.ndim != 1 or times.size == 0 or not np.all(np.isfinite(times)) or np.any(np.diff(times) < 0.0):
        raise Refused("times that do not rise", "finite times in rising order [d]", "sort the times")
    run = _Run(kinetics, history)
    course = _empty(kinetics, history, times)
    run.now = min([times[0], *run.stops])
    for place, time in enumerate(times):
        run.go(float(time))
        run.put_into(course, place)
    return course


def _empty(kinetics: Kinetics, history: History, times: FloatArray) -> Course:
    draws, fish, count = kinetics.draws, len(history.fish), len(times)
    return Course(
        times,
        np.empty((draws, len(history.tanks), count)),
        np.empty((draws, fish, POOLS, count)),
        np.empty((draws, fish, count)),
        np.empty((draws, count)),
    )


class _Run:
    """The state of one history while it is followed: x (draws, pools of all fish, tanks, 1)."""

    def __init__(self, kinetics: Kinetics, history: History) -> None:
        self.kinetics, self.history = kinetics, history
        self.fish_at = {fish.name: POOLS * number for number, fish in enumerate(history.fish)}
        first = POOLS * len(history.fish)
        self.tank_at = {tank.name: first + number for number, tank in enumerate(history.tanks)}
        self.x = np.zeros((kinetics.draws, first + len(history.tanks) + 1))
        self.x[:, -1] = 1.0
        self.volume = {tank.name: tank.volume_L for tank in history.tanks}
        self.filled = {tank.name: False for tank in history.tanks}
        self.count = {fish.name: fish.count for fish in history.fish}
        self.where = {fish.name: fish.tank for fish in history.fish}
        self.lag_end = np.array([fish.exposed_d + kinetics.lag_d for fish in history.fish]).reshape(-1, kinetics.draws)
        self.waiting = sorted(history.events, key=lambda event: event.time_d)
        self.stops = sorted(self._stops())
        self.now = 0.0
        self._kept: dict[tuple[float, bytes], FloatArray] = {}

    def _stops(self) -> set[float]:
        """Every time at which the matrix or the state jumps."""
        stops = {event.time_d for event in self.history.events}
        stops |= {fish.exposed_d for fish in self.history.fish} | {tank.filled_d for tank in self.history.tanks}
        ends = {end for supply in self.history.supplies for end in (supply.start_d, supply.end_d)}
        return stops | {end for end in ends if np.isfinite(end)}

    def go(self, time: float) -> None:
        while self.stops and self.stops[0] <= time:
            stop = self.stops.pop(0)
            self._step(stop - self.now)
            self.now = stop
            self._jump(stop)
            self._kept.clear()
        self._step(time - self.now)
        self.now = time

    def _jump(self, time: float) -> None:
        for tank in self.history.tanks:
            if tank.filled_d == time:
                start = tank.source_ug_L if tank.start_ug_L is None else tank.start_ug_L
                self.x[:, self.tank_at[tank.name]] = start * tank.volume_L
                self.filled[tank.name] = True
        for fish in self.history.fish:
            if fish.exposed_d == time:
                dose = SCN_PER_CN * UG_PER_MG * np.asarray(fish.dose_mg_kg) * fish.mass_kg * self.count[fish.name]
                self.x[:, self.fish_at[fish.name] + TURNING] += dose
        while self.waiting and self.waiting[0].time_d == time:
            self._happen(self.waiting.pop(0))

    def _happen(self, event: Event) -> None:
        tank = None if isinstance(event, Leave) else event.tank
        if tank is not None and not self.filled[tank]:
            raise Refused(
                f"{type(event).__name__.lower()} at {event.time_d:g} d in tank {tank}",
                f"a time from its filling at {self.history.tank(tank).filled_d:g} d on",
                "correct one of the two times",
            )
        if isinstance(event, Move):
            self._move(event)
        elif isinstance(event, Leave):
            at, before = self.fish_at[event.fish], self.count[event.fish]
            self.x[:, at : at + POOLS] *= (before - event.count) / before
            self.count[event.fish] = before - event.count
        else:
            self._change_water(event)

    def _change_water(self, event: Renew | Resize | Add) -> None:
        at, volume, tank = self.tank_at[event.tank], self.volume[event.tank], self.history.tank(event.tank)
        if isinstance(event, Add):
            self.x[:, at] += event.amount_ug
        elif isinstance(event, Renew):
            level = tank.source_ug_L if event.level_ug_L is None else event.level_ug_L
            self.x[:, at] += event.share * (level * volume - self.x[:, at])
        else:
            if event.volume_L < volume:
                self.x[:, at] *= event.volume_L / volume
            else:
                self.x[:, at] += tank.source_ug_L * (event.volume_L - volume)
            self.volume[event.tank] = event.volume_L

    def _move(self, event: Move) -> None:
        old, new = self.where[event.fish], event.tank
        self.where[event.fish] = new
        if event.carried_L == 0.0 or old is None:
            return
        if event.carried_L >= self.volume[old]:
            raise Refused(
                f"{event.carried_L:g} L carried out of tank {old}",
                f"less than its {self.volume[old]:g} L",
                "correct it",
            )
        amount = self.x[:, self.tank_at[old]] * event.carried_L / self.volume[old]
        self.x[:, self.tank_at[old]] -= amount
        self.volume[old] -= event.carried_L
        if new is not None:
            self.x[:, self.tank_at[new]] += amount
            self.volume[new] += event.carried_L

    def _step(self, dt: float) -> None:
        if dt <= 0.0:
            return
        if not self._lagging(dt):
            turning = self.now >= self.lag_end
            key = (round(dt, SAME_STEP), turning.tobytes())
            if key not in self._kept:
                self._kept[key] = self._propagator(np.full(self.kinetics.draws, dt), turning)
            self._apply(self._kept[key])
            return
        cuts = np.sort(np.clip(self.lag_end - self.now, 0.0, dt), axis=0)
        edges = np.concatenate([np.zeros_like(cuts[:1]), cuts, np.full_like(cuts[:1], dt)])
        for low, high in pairwise(edges):
            if np.any(high > low):
                self._apply(self._propagator(high - low, self.now + 0.5 * (low + high) >= self.lag_end))

    def _lagging(self, dt: float) -> bool:
        return bool(np.any((self.lag_end > self.now) & (self.lag_end < self.now + dt)))

    def _apply(self, propagator: FloatArray) -> None:
        self.x = np.einsum("dij,dj->di", propagator, self.x)

    def _propagator(self, length: FloatArray, turning: BoolArray) -> FloatArray:
        """exp(M length); length (draws,) [d]; turning (fish, draws) : the lag has passed."""
        return exponential(self._matrix(turning) * length[:, None, None])

    def _matrix(self, turning: BoolArray) -> FloatArray:
        size = self.x.shape[1]
        M = np.zeros((self.kinetics.draws, size, size))
        for number, fish in enumerate(self.history.fish):
            self._write_fish(M, fish, turning[number])
        for tank in self.history.tanks:
            if not self.filled[tank.name]:
                continue
            at = self.tank_at[tank.name]
            M[:, at, at] -= tank.exchange_L_d / self.volume[tank.name] + self.kinetics.water_loss_per_d
            M[:, at, -1] += tank.exchange_L_d * tank.source_ug_L + self._supplied(tank.name)
        return M

    def _write_fish(self, M: FloatArray, fish: Fish, turning: BoolArray) -> None:
        k, at = self.kinetics, self.fish_at[fish.name]
        a, b, s = at + TURNING, at + FAST, at + SLOW
        rate = np.where(turning, k.convert_per_d, 0.0)
        M[:, a, a], M[:, b, a] = -rate, k.converted * rate
        M[:, b, b], M[:, b, s] = -(k.out_per_d + k.to_slow_per_d), k.from_slow_per_d
        M[:, s, b], M[:, s, s] = k.to_slow_per_d, -k.from_slow_per_d
        tank = self.where[fish.name]
        if tank is not None and self.filled[tank]:
            water = self.tank_at[tank]
            taken = k.uptake_L_kg_d * fish.mass_kg * self.count[fish.name] / self.volume[tank]
            M[:, water, b] = k.to_water * k.out_per_d
            M[:, b, water] = taken
            M[:, water, water] -= taken

    def _supplied(self, tank: str) -> float:
        return sum(
            supply.rate_ug_d
            for supply in self.history.supplies
            if supply.tank == tank and supply.start_d <= self.now < supply.end_d
        )

    def put_into(self, course: Course, place: int) -> None:
        for number, tank in enumerate(self.history.tanks):
            level = self.x[:, self.tank_at[tank.name]] / self.volume[tank.name]
            course.water_ug_L[:, number, place] = level if self.filled[tank.name] else np.nan
        for number, fish in enumerate(self.history.fish):
            at, mass = self.fish_at[fish.name], fish.mass_kg * self.count[fish.name]
            course.body_ug[:, number, :, place] = self.x[:, at : at + POOLS]
            volume = self.kinetics.plasma_volume_L_kg * mass
            course.plasma_ug_L[:, number, place] = self.x[:, at + FAST] / volume if mass else np.nan
        course.total_ug[:, place] = self.x[:, :-1].sum(axis=1)

"""Cycles and sweeps of a trace from its potential, and the one stretch that a signal is read from."""

from __future__ import annotations

import itertools

import numpy as np

from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.curves import Segment, SignalDefinition, Sweep, Trace
from brinemark.terms.errors import Refused

REVERSAL_SHARE = 0.02
"""A change of direction counts once the potential has come back by this share of its range ..."""

REVERSAL_STEPS = 3.0
"""... and by this many typical steps, so that jitter and coarse grids make no sweeps."""

MIN_POINTS = 20
"""Fewest points in a window that a signal and its noise can be read from."""

FEWEST_TO_COMPARE = 3
"""Cycles that cover the window from which on the first, which often differs, is left out of a mean."""

EDGE_STEPS = 1.5
"""A sweep covers a window when it reaches to within this many steps of both ends."""

DIRECTIONS = {"anodic": 1, "cathodic": -1}


def find_sweeps(potential_V: FloatArray, cycle: IntArray | None = None) -> tuple[Sweep, ...]:
    """Split a trace into sweeps between turning points of the potential (n,) [V].

    Neighbouring sweeps share their turning point; points at rest on it belong to none. A new cycle begins
    when the direction of the first sweep comes back; so a first sweep that starts inside the range makes a
    cycle with the one after it. `complete` is False for a sweep that does not span the whole range. A cycle
    column (n,) is followed where it gives no cycle two sweeps of one direction.

    Raises
    ------
    Refused
        When fewer than 3 points came, a value is not finite, or the potential does not change.
    """
    _check_potential(potential_V)
    slack = _reversal(potential_V)
    turns = _turning_points(potential_V, slack)
    pieces = [(_last_at(potential_V, a, b), _first_at(potential_V, b, a)) for a, b in itertools.pairwise(turns)]
    directions = [1 if potential_V[stop] > potential_V[start] else -1 for start, stop in pieces]
    numbers = _numbers_from_column(pieces, directions, cycle) or _numbers_from_directions(directions)
    whole = float(np.ptp(potential_V)) - slack
    complete = [bool(abs(potential_V[stop] - potential_V[start]) >= whole) for start, stop in pieces]
    return tuple(
        Sweep(start, stop + 1, direction, number, whole_range)
        for (start, stop), direction, number, whole_range in zip(pieces, directions, numbers, complete, strict=True)
    )


def _check_potential(potential_V: FloatArray) -> None:
    if potential_V.size < 3:
        raise Refused(f"a trace of {potential_V.size} points", "a voltammogram", "check the file", column="potential")
    if not np.isfinite(potential_V).all():
        row = int(np.flatnonzero(~np.isfinite(potential_V))[0]) + 1
        raise Refused(
            f"a potential that is no number at point {row}", "finite numbers", "mend the file", column="potential"
        )
    if float(np.ptp(potential_V)) == 0.0:
        raise Refused(
            f"a constant potential of {potential_V[0]:g} V",
            "a potential that is swept",
            "check that the right column was taken as potential",
            column="potential",
        )


def _typical_step(potential_V: FloatArray) -> float:
    steps = np.abs(np.diff(potential_V))
    return float(np.median(steps[steps > 0]))


def _reversal(potential_V: FloatArray) -> float:
    span = float(np.ptp(potential_V))
    return min(max(REVERSAL_SHARE * span, REVERSAL_STEPS * _typical_step(potential_V)), 0.5 * span)


def _turning_points(potential_V: FloatArray, limit: float) -> list[int]:
    """First point, every point where the potential turns back by `limit` [V], last point.

    Walks over the local extremes only: an extreme is kept once the potential has come back from it far enough.
    """
    moving = np.flatnonzero(np.diff(potential_V) != 0.0)
    signs = np.sign(np.diff(potential_V)[moving])
    extremes = moving[1:][signs[1:] != signs[:-1]]
    candidates = [0, *(int(k) for k in extremes), potential_V.size - 1]
    turns, best, direction = [0], 0, 0
    for k in candidates[1:]:
        move = float(potential_V[k] - potential_V[best])
        if direction == 0 and abs(potential_V[k] - potential_V[0]) >= limit:
            direction, best = (1 if potential_V[k] > potential_V[0] else -1), k
        elif direction != 0 and move * direction >= 0:
            best = k
        elif direction != 0 and abs(move) >= limit:
            turns.append(best)
            direction, best = -direction, k
    return [*turns, best]


def _last_at(potential_V: FloatArray, start: int, stop: int) -> int:
    """Last point of a rest at the turning point `start`, seen on the way to `stop`."""
    rest = np.flatnonzero(potential_V[start:stop] == potential_V[start])
    return start + int(rest[-1])


def _first_at(potential_V: FloatArray, stop: int, start: int) -> int:
    """First point, on the way from `start`, at which the potential of the turning point `stop` is reached."""
    return start + int(np.flatnonzero(potential_V[start : stop + 1] == potential_V[stop])[0])


def _numbers_from_directions(directions: list[int]) -> list[int]:
    numbers, current = [], 0
    for direction in directions:
        current += direction == directions[0]
        numbers.append(current)
    return numbers


def _numbers_from_column(
    pieces: list[tuple[int, int]], directions: list[int], cycle: IntArray | None
) -> list[int] | None:
    """Number of each sweep by most of its points, or None when two alike sweeps would share a number."""
    if cycle is None:
        return None
    numbers = []
    for start, stop in pieces:
        values, counts = np.unique(cycle[start : stop + 1], return_counts=True)
        numbers.append(int(values[np.argmax(counts)]))
    named = list(zip(numbers, directions, strict=True))
    return numbers if len(set(named)) == len(named) and numbers == sorted(numbers) else None


def take_segment(trace: Trace, definition: SignalDefinition) -> Segment:
    """Cut the sweep and cycle of the definition to its window.

    cycle "last" is the last one whose sweep covers the window; "mean" is the mean over all cycles whose sweep
    covers it, without the first when there are three or more, interpolated on the potentials of the last; a
    number is that cycle.

    Raises
    ------
    Refused
        No sweep of that direction, no such cycle, the window reaches beyond the sweep, fewer than
        MIN_POINTS points inside it, a current that is no number there, or a potential that does not change.
    """
    return take_cycles(trace, definition)[0]


def take_cycles(trace: Trace, definition: SignalDefinition) -> tuple[Segment, FloatArray]:
    """The segment as `take_segment`, and the currents (k, m) [A] of all cycles to compare, on its potentials.

    Those are the cycles that a mean takes, when three or more cover the window; else none, k = 0.
    """
    direction = DIRECTIONS.get(definition.sweep)
    if direction is None:
        raise Refused(f"sweep {definition.sweep!r}", '"anodic" or "cathodic"', "change the signal's sweep")
    sweeps = [s for s in find_sweeps(trace.potential_V, trace.cycle) if s.direction == direction]
    if not sweeps:
        raise Refused(
            f"a trace without {definition.sweep} sweep", f"one {definition.sweep} sweep", "record it, or change sweep"
        )
    covering = [s for s in sweeps if _covers(trace.potential_V, s, definition.window_V)]
    chosen = _choose(sweeps, covering, definition)
    pieces = [_cut(trace, sweep, definition) for sweep in chosen]
    segment = pieces[0] if len(pieces) == 1 else _mean(pieces)
    if len(covering) < FEWEST_TO_COMPARE:
        return segment, np.empty((0, segment.potential_V.size))
    others = pieces if chosen == covering[1:] else [_cut(trace, sweep, definition) for sweep in covering[1:]]
    return segment, np.stack([_onto(segment.potential_V, piece) for piece in others])


def _covers(potential_V: FloatArray, sweep: Sweep, window_V: tuple[float, float]) -> bool:
    part = potential_V[sweep.start : sweep.stop]
    slack = EDGE_STEPS * _typical_step(part)
    return bool(part.min() <= window_V[0] + slack and part.max() >= window_V[1] - slack)


def _choose(sweeps: list[Sweep], covering: list[Sweep], definition: SignalDefinition) -> list[Sweep]:
    if definition.cycle not in ("last", "mean"):
        covering = [s for s in covering if s.cycle == _cycle_number(sweeps, definition)]
    if not covering:
        raise Refused(
            f"no {definition.sweep} sweep from {definition.window_V[0]:g} to {definition.window_V[1]:g} V"
            f" in cycle {definition.cycle!r}",
            "a sweep that covers the window",
            "change window_V or cycle, or record the whole sweep",
        )
    if definition.cycle != "mean":
        return covering[-1:]
    return covering[1:] if len(covering) >= FEWEST_TO_COMPARE else covering


def _cycle_number(sweeps: list[Sweep], definition: SignalDefinition) -> int:
    present = sorted({s.cycle for s in sweeps})
    text = definition.cycle.strip()
    if not text.isdecimal() or int(text) not in present:
        raise Refused(
            f"cycle {definition.cycle!r}",
            f'"last", "mean" or one of {", ".join(map(str, present))}',
            f"change cycle: the trace has {len(present)} with a {definition.sweep} sweep",
        )
    return int(text)


def _cut(trace: Trace, sweep: Sweep, definition: SignalDefinition) -> Segment:
    part = slice(sweep.start, sweep.stop)
    potential, current = trace.potential_V[part], trace.current_A[part]
    # A grid written as text can miss the window's end by rounding.
    slack = 1e-9 + 1e-6 * _typical_step(potential)
    low, high = definition.window_V
    inside = np.flatnonzero((potential >= low - slack) & (potential <= high + slack))
    if inside.size < MIN_POINTS:
        raise Refused(
            f"{inside.size} points between {low:g} and {high:g} V",
            f"at least {MIN_POINTS}",
            "widen window_V or record smaller steps",
        )
    if not np.isfinite(current[inside]).all():
        raise Refused("a current that is no number", "finite numbers", "mend the file", column="current")
    order = inside[np.argsort(potential[inside], kind="stable")]
    time = None if trace.time_s is None else trace.time_s[part][order]
    return Segment(potential[order], current[order], time, (sweep.cycle,))


def _mean(pieces: list[Segment]) -> Segment:
    grid = pieces[-1].potential_V
    currents = [_onto(grid, piece) for piece in pieces]
    cycles = tuple(number for piece in pieces for number in piece.cycles)
    return Segment(grid, np.asarray(np.mean(currents, axis=0), dtype=np.float64), pieces[-1].time_s, cycles)


def _onto(grid: FloatArray, piece: Segment) -> FloatArray:
    return np.interp(grid, piece.potential_V, piece.current_A)

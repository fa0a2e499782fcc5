"""Records of the curve stage: Trace, Sweep, SignalDefinition, Wave, Flag, Signal, Dissection."""

from __future__ import annotations

from dataclasses import dataclass

from brinemark.terms.arrays import FloatArray, IntArray

THEORETICAL = "theoretical"
LEARNED = "learned"


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One voltammogram as read from an original, in file order.

    potential_V : (n,) [V]; current_A : (n,) [A], anodic positive; time_s : (n,) [s] or None;
    cycle : (n,) number written in the file, or None when the file has no such column.
    """

    potential_V: FloatArray
    current_A: FloatArray
    time_s: FloatArray | None = None
    cycle: IntArray | None = None


@dataclass(frozen=True, slots=True)
class Sweep:
    """One monotonic stretch of a trace: points start..stop-1, direction +1 (anodic) or -1 (cathodic)."""

    start: int
    stop: int
    direction: int
    cycle: int
    complete: bool


@dataclass(frozen=True, slots=True, eq=False)
class Segment:
    """One sweep of the defined direction, cut to the window and put in rising order of potential.

    potential_V : (m,) rising [V]; current_A : (m,) [A], anodic positive; time_s : (m,) [s] or None;
    cycles : numbers of the cycles it came from (several when it is their mean).
    """

    potential_V: FloatArray
    current_A: FloatArray
    time_s: FloatArray | None
    cycles: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SignalDefinition:
    """How one number is read from a trace; everything in it changes the number.

    quantity : "height" [A], "charge" [C] or "potential" [V]; sweep : "anodic" or "cathodic";
    cycle : "last", "mean" or a number written as text; window_V : (low, high) [V]; baseline : "chord",
    "polynomial" or "whittaker".
    """

    quantity: str
    sweep: str
    cycle: str
    window_V: tuple[float, float]
    baseline: str = "chord"

    @property
    def unit(self) -> str:
        return {"height": "A", "charge": "C", "potential": "V"}[self.quantity]


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """Place and shape of the analyte's wave on the definition's sweep.

    potential_V : (n,) rising grid over the window [V]; shape : (n,) height 1 at place_V, before any
    baseline is taken off; source : "theoretical" or "learned"; traces : how many traces taught it.
    """

    potential_V: FloatArray
    shape: FloatArray
    place_V: float
    source: str
    traces: int


@dataclass(frozen=True, slots=True)
class Flag:
    """One remark on a signal, with the number behind it. severe: the signal should not be trusted alone."""

    name: str
    value: float
    limit: float
    meaning: str
    severe: bool = False


@dataclass(frozen=True, slots=True)
class Signal:
    """One number read from a trace: value and standard uncertainty u in unit, with flags.

    u_noise and u_baseline are the two parts of u (u^2 = u_noise^2 + u_baseline^2).
    """

    value: float
    u: float
    unit: str
    flags: tuple[Flag, ...] = ()
    u_noise: float = 0.0
    u_baseline: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Dissection:
    """A signal taken apart for the eye: all arrays (n,) over the window, rising potential.

    current_A = baseline_A + wave_A + residual_A.
    """

    potential_V: FloatArray
    current_A: FloatArray
    baseline_A: FloatArray
    wave_A: FloatArray
    residual_A: FloatArray
    signal: Signal

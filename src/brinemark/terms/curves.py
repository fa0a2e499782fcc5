"""Records of the curve stage: Trace, Sweep, SignalDefinition, Wave, Flag, Signal, Dissection; and those of spectra."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from brinemark.terms.arrays import FloatArray, IntArray

THEORETICAL = "theoretical"
LEARNED = "learned"
STATED = "stated"
BAND, DIFFERENCE = "band", "difference"
CHARGING = "charging"
NOTHING, PRESCAN_SPECTRUM = "nothing", "prescan"


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

    quantity : "height" [A], "charge" [C], "potential" [V] or "width" [V] of a wave, or "charging" [A], the charging
    current of both sweeps; sweep : "anodic" or "cathodic";
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
        return {"height": "A", "charge": "C", "potential": "V", "width": "V", CHARGING: "A"}[self.quantity]


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

    current_A = baseline_A + wave_A + residual_A. charging : the wave is the charging current, the baseline the middle
    between the anodic and the cathodic sweep.
    """

    potential_V: FloatArray
    current_A: FloatArray
    baseline_A: FloatArray
    wave_A: FloatArray
    residual_A: FloatArray
    signal: Signal
    charging: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """One absorbance spectrum. wavelength_nm : (n,) rising [nm]; absorbance : (n,) decadic, -log10 T [1]."""

    wavelength_nm: FloatArray
    absorbance: FloatArray


@dataclass(frozen=True, slots=True)
class SpectrumDefinition:
    """How one number is read from a spectrum; everything in it changes the number.

    quantity : "band", the height of a band above its baseline in window_nm (low, high) [nm], or "difference",
    A(first) - A(second) of wavelengths_nm [nm]; baseline : of a band, as in SignalDefinition; against : "nothing",
    or "prescan" when the electrode's own spectrum from before is taken off first. The other pair is None.
    """

    quantity: str
    window_nm: tuple[float, float] | None = None
    wavelengths_nm: tuple[float, float] | None = None
    baseline: str = "chord"
    against: str = NOTHING

    @property
    def unit(self) -> str:
        return "1"


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Place and shape of what the analyte does to the spectrum.

    wavelength_nm : (n,) rising [nm]; shape : (n,) height 1 at place_nm, before any baseline is taken off, or for
    a difference +1 and -1 at its two wavelengths; source : "theoretical", "learned" or "stated" (a difference);
    spectra : how many taught it.
    """

    wavelength_nm: FloatArray
    shape: FloatArray
    place_nm: float
    source: str
    spectra: int


@dataclass(frozen=True, slots=True)
class Spectrometer:
    """What is known of a spectrometer's range: the largest absorbance it is believed at [1], and its stray light as a
    share of the light that comes through without absorption [1]."""

    max_absorbance: float = 3.0
    stray_light: float = 5e-4


@dataclass(frozen=True, slots=True, eq=False)
class SpectrumDissection:
    """A signal of a spectrum taken apart for the eye: all arrays (n,) over the part that was read, rising wavelength.

    absorbance = baseline + band + residual; read_nm : where the value stands; gained : whether the pre-scan is off.
    """

    wavelength_nm: FloatArray
    absorbance: FloatArray
    baseline: FloatArray
    band: FloatArray
    residual: FloatArray
    read_nm: float
    signal: Signal
    gained: bool = False


Curve: TypeAlias = Trace | Spectrum
CurveDefinition: TypeAlias = SignalDefinition | SpectrumDefinition
Shape: TypeAlias = Wave | Band
CurveDissection: TypeAlias = Dissection | SpectrumDissection

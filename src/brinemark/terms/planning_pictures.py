"""What pictures of plans show."""

from __future__ import annotations

from dataclasses import dataclass

from brinemark.terms.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class TradeLine:
    """One figure against the electrodes burned. value, error : (numbers burned,), the Monte Carlo standard error,
    inf = open; known : with full knowledge of the batch, None = not told."""

    name: str
    value: FloatArray
    error: FloatArray
    known: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TradePanel:
    """Lines on one axis. what : in words with its unit; log : whether its steps are factors."""

    what: str
    lines: tuple[TradeLine, ...]
    log: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class TradePicture:
    """The best plan for each number of burned electrodes. burned : (numbers,) rising; chosen : of the best plan."""

    title: str
    electrodes: int
    burned: IntArray
    chosen: int
    panels: tuple[TradePanel, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HelpsBar:
    """What one part, made better, buys. value : on the picture's axis, None = beyond any axis; lower, upper : two Monte
    Carlo standard errors beside it; sure : whether that interval leaves today's value out."""

    part: str
    value: float | None
    lower: float
    upper: float
    sure: bool


@dataclass(frozen=True, slots=True)
class HelpsPicture:
    """what : the axis in words; today : where nothing is gained; bars : the most first."""

    title: str
    what: str
    today: float
    bars: tuple[HelpsBar, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class StudyPicture:
    """What a simulated plan states at true levels. level : (levels,) rising; kinds : of statements; shares : (levels,
    kinds), of the samples at a level; holds : share of two-sided intervals that hold the truth, of which the settings
    promise `promised`; fold : median upper over lower end, of which max_fold counts as an answer; both with their Monte
    Carlo standard errors, nan = none or open."""

    title: str
    unit: str
    level: FloatArray
    kinds: tuple[str, ...]
    shares: FloatArray
    holds: tuple[FloatArray, FloatArray]
    promised: float
    fold: tuple[FloatArray, FloatArray]
    max_fold: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class DilutionLine:
    """One way of reading at every dilution. narrower, error, chance : (dilutions,), how many times what is known
    narrows on average with its Monte Carlo standard error, and the chance of an interval as narrow as wanted; nan = not
    possible; chosen : places of the dilutions that the plan names."""

    name: str
    narrower: FloatArray
    error: FloatArray
    chance: FloatArray
    chosen: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class DilutionsPicture:
    """What one electrode is expected to tell of a sample. dilutions : rising; max_fold : that is wanted."""

    title: str
    dilutions: tuple[float, ...]
    max_fold: float
    lines: tuple[DilutionLine, ...]
    notes: tuple[str, ...] = ()

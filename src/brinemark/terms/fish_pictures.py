"""Plain records that the charts of tanks, consignments and evidence are drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.evidence import AssumptionMove, VerbalScale
from brinemark.terms.surveillance import FittedLine

SAMPLE, SOURCE_WATER = "sample", "source water"
"""What a water sample can be; any other word is another blank."""


@dataclass(frozen=True, slots=True)
class StatedLevel:
    """What a reading states, on a level axis.

    statement : one of the five; words : the statement as a sentence; lower, upper, median [level unit] : what is
    stated, None = open on that side or not stated; reason : why nothing can be said, None otherwise.
    """

    statement: str
    words: str
    lower: float | None = None
    upper: float | None = None
    median: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class TankEvent:
    """day : [d] after the picture's start; kind : as a row is headed, "fish in", "renewed", ...; words : beside it."""

    day: float
    kind: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class TankSample:
    """day : [d] after the start; what : SAMPLE, SOURCE_WATER or the name of another blank; stated : None = not read."""

    name: str
    day: float
    what: str
    stated: StatedLevel | None


@dataclass(frozen=True, slots=True, eq=False)
class WorldBand:
    """Level in a tank that a world expects if the fish had been exposed at capture.

    day : (n,) [d] after the start, rising; median, inner_lower, inner_upper (central 50 %), outer_lower, outer_upper
    (central 95 %) : (n,) [level unit], nan where the tank held no water.
    """

    world: str
    day: FloatArray
    median: FloatArray
    inner_lower: FloatArray
    inner_upper: FloatArray
    outer_lower: FloatArray
    outer_upper: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class TankTimeline:
    """One tank against time.

    start : day 0 of all days, with zone (moments are shown in it); worlds : none, two or three, shown side by side;
    minimum_detectable [level unit], of a sample; capture_d, capture_u_d [d] : moment of capture and its standard
    uncertainty, None = unknown; notes : sentences that belong beside the picture, such as which blank is missing.
    """

    tank: str
    unit: str
    start: datetime
    events: tuple[TankEvent, ...]
    samples: tuple[TankSample, ...]
    worlds: tuple[WorldBand, ...] = ()
    minimum_detectable: float | None = None
    capture_d: float | None = None
    capture_u_d: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WeightBar:
    """log10 likelihood ratio of one world.

    lower, upper : its interval, +-inf = open; counted : what is left of it within the cap; least, largest : log10 of
    the smallest and the largest ratio that held-out samples support, None without a cap. All None with a reason where
    there is no ratio.
    """

    world: str
    log10_ratio: float | None
    lower: float | None = None
    upper: float | None = None
    counted: float | None = None
    least: float | None = None
    largest: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class ConsignmentRow:
    """One tank of a consignment. stated : None = not read; weights : one for each world, in the picture's order."""

    tank: str
    stated: StatedLevel | None
    weights: tuple[WeightBar, ...] = ()


@dataclass(frozen=True, slots=True)
class ConsignmentPicture:
    """All tanks of a consignment. first, second : the propositions; notes : sentences beside the picture."""

    consignment: str
    unit: str
    worlds: tuple[str, ...]
    first: str
    second: str
    rows: tuple[ConsignmentRow, ...]
    minimum_detectable: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WeightsPicture:
    """Weights of one sample or tank in its worlds. title : of whom; scale : verbal; notes : sentences beside it."""

    title: str
    first: str
    second: str
    bars: tuple[WeightBar, ...]
    scale: VerbalScale | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WorldMoves:
    """How far each assumption moves the log10 likelihood ratio of one world. log10_ratio : with none moved."""

    world: str
    log10_ratio: float
    moves: tuple[AssumptionMove, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ExposurePanel:
    """How well exposures agree with the readings in one world.

    log_likelihood : (doses, days), natural logarithm, up to a constant, -inf where impossible; inside : (doses, days)
    bool, the region that agrees at the picture's level.
    """

    world: str
    log_likelihood: FloatArray
    inside: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class ExposuresPicture:
    """Doses and days since exposure that agree with the readings of one tank.

    dose : (doses,) [mg CN per kg fish], rising from above 0; day : (days,) [d] between exposure and sample, rising;
    level : of the region, such as 0.95; lethal : doses to compare with [mg/kg] and what each is, in words.
    """

    title: str
    dose: FloatArray
    day: FloatArray
    panels: tuple[ExposurePanel, ...]
    level: float
    lethal: tuple[tuple[float, str], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class HoldPanel:
    """One world. probability : (days, volumes, holds); best_hold_d : (days, volumes) [d], nan = none is better."""

    world: str
    probability: FloatArray
    best_hold_d: FloatArray
    false_alarm: float


@dataclass(frozen=True, slots=True, eq=False)
class HoldsPicture:
    """Chance to find thiocyanate of exposed fish by how long they are held.

    fish : how many of what mass, in words; day : (days,) [d] between capture and hold; volume_L : (volumes,) [L];
    hold_d : (holds,) [d], rising.
    """

    fish: str
    day: FloatArray
    volume_L: FloatArray
    hold_d: FloatArray
    panels: tuple[HoldPanel, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PairedValue:
    """One method's result. value None = only a limit is known: below upper, or at or above lower [unit]."""

    value: float | None
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True, slots=True)
class SplitPair:
    """A sample read by both methods."""

    sample: str
    first: PairedValue
    second: PairedValue


@dataclass(frozen=True, slots=True)
class PairsPicture:
    """Two methods on split samples in one unit. line : fitted, second against first, None = not drawn."""

    first: str
    second: str
    unit: str
    pairs: tuple[SplitPair, ...]
    line: FittedLine | None = None
    notes: tuple[str, ...] = ()

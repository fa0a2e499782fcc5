"""What the interpretation of a consignment answers: plain records that give themselves as JSON, without infinities."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from brinemark.science.fish.mass_balance import Dilution, FishIn, MassBalance
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.terms.amounts import Reading
from brinemark.terms.evidence import AssumptionMove, BackgroundTable, Cap, PosteriorRow, Weight


def finite(value: Any) -> Any:
    """The value as JSON takes it: numbers without end and numbers that are none become None, tuples lists."""
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: finite(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [finite(part) for part in value]
    if isinstance(value, datetime):
        return value.isoformat()
    return value


@dataclass(frozen=True, slots=True, eq=False)
class WaterAnswer:
    """One water that was taken: a sample of a tank, or a blank.

    kind : "sample", or the kind of blank; reading : what was read, levels in ug/L, None = not read yet, with its
    reading_id; sentence : the statement in words; found : whether p is at most the alpha of consignments, None = cannot
    be said; hours : from taking to reading; late : whether that is longer than the water keeps, so that the reading is
    a lower limit only; remarks : on its handling.
    """

    sample: str
    kind: str
    tank: str | None
    at: datetime
    sentence: str
    reading: Reading | None = None
    reading_id: str | None = None
    found: bool | None = None
    hours: float | None = None
    late: bool = False
    remarks: tuple[str, ...] = ()

    @property
    def lower(self) -> float | None:
        """Lower end of what is stated [ug/L], None where there is none above 0."""
        one = self.reading
        if one is None or one.estimate is None:
            return None
        return one.estimate.lower or None

    @property
    def upper(self) -> float | None:
        """Upper end of what is stated [ug/L], None where there is none."""
        return None if self.reading is None or self.reading.estimate is None else self.reading.estimate.upper

    def to_dict(self) -> dict[str, Any]:
        one = self.reading
        return finite(  # type: ignore[no-any-return]
            {
                "sample": self.sample,
                "kind": self.kind,
                "tank": self.tank,
                "at": self.at,
                "statement": None if one is None else one.statement,
                "sentence": self.sentence,
                "estimate": None if one is None or one.estimate is None else asdict(one.estimate),
                "p_value": None if one is None or one.detection is None else one.detection.p_value,
                "found": self.found,
                "reading": self.reading_id,
                "hours": self.hours,
                "late": self.late,
                "remarks": list(self.remarks),
            }
        )


def most_telling(waters: Sequence[WaterAnswer]) -> int:
    """Place of the water with the highest lower end, else of the last."""
    return max(range(len(waters)), key=lambda place: (waters[place].lower or 0.0, place))


@dataclass(frozen=True, slots=True)
class Expected:
    """Level that a world expects of exposed fish at the time of a sample [ug/L]: median and central 95 %."""

    sample: str
    lower: float
    median: float
    upper: float


@dataclass(frozen=True, slots=True, eq=False)
class WorldAnswer:
    """What the readings of a tank say in one world.

    world, holds : its name and what it holds; weight : of exposure against none, None with a table over supposed
    backgrounds, or with a reason; against : of exposure against each other account that is open here; told : sentences;
    least : log10 ratio against the account that explains the readings best, which is what words are for; moves : what
    each assumption changes; posterior : for priors that are not ours; expected : levels if the fish were exposed;
    recalibrated : the weight as a trial on fish of known history has it, None without one; cap : what it may count for.
    """

    world: str
    holds: str
    weight: Weight | None
    table: BackgroundTable | None
    reason: str | None
    told: tuple[str, ...]
    against: tuple[Weight, ...] = ()
    least: float | None = None
    moves: tuple[AssumptionMove, ...] = ()
    posterior: tuple[PosteriorRow, ...] = ()
    expected: tuple[Expected, ...] = ()
    recalibrated: Weight | None = None
    cap: Cap | None = None

    @property
    def judged(self) -> Weight | None:
        """The weight that words are for: as a trial has it, where there is one."""
        return self.weight if self.recalibrated is None else self.recalibrated

    def to_dict(self) -> dict[str, Any]:
        plain: dict[str, Any] = asdict(self)
        for moved, one in zip(plain["moves"], self.moves, strict=True):
            moved["move"] = one.move
        return finite(plain)  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True, eq=False)
class TankAnswer:
    """One tank: what was in it, what its waters read, what that asks of its fish, and what it weighs in each world.

    kind : "unknown", or "unexposed" and "exposed" of fish of known history; open : other accounts that the record does
    not exclude, with the reason; balanced : the sample of the mass balance; headline, words : for an inspector.
    """

    tank: str
    system: str
    kind: str
    filled: datetime
    volume_L: float
    fish: tuple[FishIn, ...]
    dilution: tuple[Dilution, ...]
    samples: tuple[WaterAnswer, ...]
    blanks: tuple[WaterAnswer, ...]
    balanced: str | None
    balance: MassBalance | None
    worlds: tuple[WorldAnswer, ...]
    open: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]
    headline: str
    words: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        plain = {
            "tank": self.tank,
            "system": self.system,
            "kind": self.kind,
            "filled": self.filled,
            "volume_L": self.volume_L,
            "fish": [asdict(one) for one in self.fish],
            "dilution": [asdict(one) for one in self.dilution],
            "samples": [one.to_dict() for one in self.samples],
            "blanks": [one.to_dict() for one in self.blanks],
            "balanced": self.balanced,
            "balance": None if self.balance is None else asdict(self.balance),
            "worlds": [one.to_dict() for one in self.worlds],
            "open": [{"account": name, "why": why} for name, why in self.open],
            "missing": list(self.missing),
            "remarks": list(self.remarks),
            "headline": self.headline,
            "words": list(self.words),
        }
        return finite(plain)  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True)
class FishLot:
    """Fish of one name and history: what the record says of them, and how many died or were taken out since."""

    fish: str
    species: str | None
    count: int
    mass_g: float
    origin: str | None
    history: str
    at: datetime
    at_u_d: float | None
    near: str | None
    dead: int
    removed: int


@dataclass(frozen=True, slots=True)
class FalseAlarms:
    """Samples that the method calls found with no thiocyanate in them: how many to expect of those tested."""

    tested: int
    found: int
    alpha: float
    mean: float
    at_least_one: float


@dataclass(frozen=True, slots=True, eq=False)
class SystemAnswer:
    """The water of one system: waters that its background comes from, its median and spread, or why it has none."""

    system: str
    waters: int
    median: tuple[float, float, float] | None
    gsd: tuple[float, float, float] | None
    reason: str | None


@dataclass(frozen=True, slots=True, eq=False)
class ConsignmentAnswer:
    """The interpretation of one consignment.

    id : of its record, "" while it is not kept; record : id of the tank record; scale : source of the words for
    ratios; own : why there is no third world of the user's own experiments, None when there is one.
    """

    name: str
    id: str
    record: str
    analyte: str
    alpha: float
    lots: tuple[FishLot, ...]
    tanks: tuple[TankAnswer, ...]
    blanks: tuple[WaterAnswer, ...]
    systems: tuple[SystemAnswer, ...]
    cap: Cap
    false_alarms: FalseAlarms
    scale: str
    own: str | None
    cautions: tuple[str, ...]
    unit: str = field(default="ug/L")

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `consignment --json`."""
        plain = {
            "schema": ANSWER_SCHEMA,
            "consignment": self.name,
            "interpretation": self.id,
            "record": self.record,
            "analyte": self.analyte,
            "unit": self.unit,
            "alpha": self.alpha,
            "fish": [asdict(one) for one in self.lots],
            "tanks": [one.to_dict() for one in self.tanks],
            "blanks": [one.to_dict() for one in self.blanks],
            "systems": [asdict(one) for one in self.systems],
            "cap": {**asdict(self.cap), "caution": self.cap.caution},
            "false_alarms": asdict(self.false_alarms),
            "scale": self.scale,
            "own_world": self.own,
            "cautions": list(self.cautions),
        }
        return finite(plain)  # type: ignore[no-any-return]

    def tank(self, name: str) -> TankAnswer | None:
        """The answer about one tank, None when there is none of this name."""
        return next((one for one in self.tanks if one.tank == name), None)

    def __str__(self) -> str:
        return "\n".join([f"consignment {self.name}", *(f"{one.tank}: {one.headline}" for one in self.tanks)])

    def __repr__(self) -> str:
        return f"<consignment {self.name}: {len(self.tanks)} tanks>"

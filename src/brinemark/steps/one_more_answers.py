"""What one more electrode would change, as people and programs get it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA, range_dict
from brinemark.terms.amounts import Reading
from brinemark.terms.wording import amount, statement_words

SUPPOSITION = (
    "a supposition: what a typical signal would do. A real electrode's signal lies above or below it, and the interval "
    "with it; nothing is promised and nothing was stored"
)


@dataclass(frozen=True, slots=True)
class Stated:
    """A statement with its ends (None = open or none) and upper over lower; words : in short."""

    statement: str
    words: str
    lower: float | None
    upper: float | None
    fold: float | None

    @classmethod
    def of(cls, reading: Reading, unit: str) -> Stated:
        ends = reading.estimate
        lower, upper = (None, None) if ends is None else (ends.lower, ends.upper)
        fold = upper / lower if lower and upper is not None else None
        words = statement_words(reading, unit, "").strip()
        if reading.statement == "cannot say":
            words = f"cannot say: {reading.reason}"
        return cls(reading.statement, words, lower, upper, fold)


@dataclass(frozen=True, slots=True)
class Supposed:
    """What one dilution would lead to at one supposed sample level. again : the dilution that was used last; cell_level,
    place : of the main reading, and where that lies; best : whether this dilution leaves the narrowest interval."""

    dilution: float
    again: bool
    level: float
    cell_level: float
    place: str
    would: Stated
    best: bool

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)

    @property
    def diluted(self) -> str:
        return diluted_words(self.dilution)


@dataclass(frozen=True, slots=True)
class OneMore:
    """What one more fresh electrode would change about a sample.

    reading, calibration : ids of what there is now; batch, ready : of the supposed electrode, and how many of that batch
    are ready; like, protocol : the electrode of the sample that it is used like, and what is read on that beside the
    sample; working_range : of such an electrode [cell level], None = none is known; now : the present statement; rows :
    by dilution, then level; best, alike : the dilution that leaves the narrowest interval, None = none does, and those
    within Monte Carlo error of it; reason : why nothing can be supposed, else None.
    """

    sample: str
    analyte: str
    unit: str
    reading: str
    calibration: str
    batch: str
    ready: int
    like: str
    instrument: str
    protocol: str
    working_range: tuple[float, float] | None
    now: Stated
    rows: tuple[Supposed, ...]
    best: float | None
    alike: tuple[float, ...]
    reason: str | None

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if self.reason is not None:
            return f"cannot say what one more electrode would change: {self.reason}"
        if self.best is None:
            return (
                f"none of these dilutions of one more electrode of batch {self.batch} would narrow "
                f"{_of_now(self.now, self.unit)}, if its signal is the typical one at {_levels(self.rows, self.unit)}"
            )
        return f"one more electrode of batch {self.batch}, {diluted_words(self.best)}, would {self._change()}"

    def _change(self) -> str:
        rows = [row for row in self.rows if row.best]
        if self.now.fold is not None and len(rows) == 1:
            ends = f"to about {_ends(rows[0].would, self.unit)}"
            return f"narrow the interval from {_ends(self.now)} {ends}, if {_typical(rows[0].level, self.unit)}"
        outcomes = "; ".join(f"{row.would.words}, if {_typical(row.level, self.unit)}" for row in rows)
        return f"narrow {_of_now(self.now, self.unit)}: {outcomes}"

    def remarks(self) -> Iterator[str]:
        """What has to be said beside it."""
        if self.reason is not None:
            return
        yield SUPPOSITION
        if self.alike:
            yield f"within the error of the computation as good: {', '.join(map(diluted_words, self.alike))}"
        ready = f"{self.ready} of its electrodes are ready" if self.ready else "no electrode of it is recorded as ready"
        yield f"the electrode is supposed to be used like {self.like} ({self.protocol}) on {self.instrument}; {ready}"

    def to_dict(self) -> dict[str, Any]:
        """The JSON contract of `one-more --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            **asdict(self),
            "working_range": range_dict(self.working_range),
            "rows": [row.to_dict() for row in self.rows],
            "alike": list(self.alike),
            "sentence": self.sentence,
            "remarks": list(self.remarks()),
        }

    def __str__(self) -> str:
        return f"{self.sample}: {self.sentence}"

    def __repr__(self) -> str:
        return f"<{self}>"


def diluted_words(dilution: float) -> str:
    return "undiluted" if dilution == 1.0 else f"diluted {dilution:g} times"


def _typical(level: float, unit: str) -> str:
    return f"its signal is the typical one at {amount(level)} {unit}"


def _levels(rows: tuple[Supposed, ...], unit: str) -> str:
    return " or ".join(amount(level) for level in dict.fromkeys(row.level for row in rows)) + f" {unit}"


def _ends(one: Stated, unit: str = "") -> str:
    lower = "0" if not one.lower else amount(one.lower)
    upper = "no upper end" if one.upper is None else amount(one.upper)
    return f"{lower} to {upper} {unit}".strip()


def _of_now(now: Stated, unit: str) -> str:
    if now.statement == "not detected" and now.upper is not None:
        return f"the upper limit of {amount(now.upper)} {unit}"
    if now.statement == "at or above" and now.lower:
        return f"what is known, at or above {amount(now.lower)} {unit}"
    return f"the interval of {_ends(now, unit)}"

"""What one more electrode would change, as people and programs get it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA, range_dict
from brinemark.terms.amounts import Reading
from brinemark.terms.wording import amount, statement_words

SUPPOSITION = (
    "a supposition: what a typical signal would do. A real electrode's signal lies above or below it, and the interval "
    "with it; nothing is promised and nothing was stored"
)
LEAST = "5 %"


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

    @property
    def ends(self) -> str:
        lower = amount(self.lower) if self.lower else "0"
        return f"{lower} to {'no upper end' if self.upper is None else amount(self.upper)}"

    def short(self, unit: str) -> str:
        """The ends alone where there are two, else the statement."""
        return self.words if self.fold is None else f"about {self.ends} {unit}"


@dataclass(frozen=True, slots=True)
class Supposed:
    """What one dilution would lead to at one supposed sample level.

    again : the dilution that was used last; cell_level, place : of the main reading, and where that lies; best :
    whether this dilution leaves the narrowest interval.
    """

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

    reading, calibration : ids of what there is now; batch, ready : of the supposed electrode, and how many of that
    batch are ready; like, protocol : the electrode of the sample that it is used like, and what is read on that beside
    the sample; working_range : of such an electrode [cell level], None = it has none; now : the present statement;
    rows : by dilution, then level; best, alike : the dilution that leaves the narrowest interval, None = none narrows
    it, and those within Monte Carlo error of it; reason : why nothing can be supposed, else None.
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
    rows: tuple[Supposed, ...] = ()
    best: float | None = None
    alike: tuple[float, ...] = ()
    reason: str | None = None

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if self.reason is not None:
            return f"cannot say what one more electrode would change: {self.reason}"
        said = f"one more electrode of batch {self.batch}"
        if self.best is None:
            return f"{said} would {self._little()} at each of these dilutions, if {self._typical(self.rows)}"
        rows = [row for row in self.rows if row.best]
        said = f"{said}, {diluted_words(self.best)}, would"
        first, *others = (f"{row.would.short(self.unit)}, if {self._typical([row])}" for row in rows)
        if self.now.fold is not None and not others:
            return f"{said} narrow the interval from {self.now.ends} to {first}"
        return f"{said} {self._more()}: {'; '.join([first, *others])}"

    def _more(self) -> str:
        if self.now.statement == "not detected":
            return f"lower the upper end of {amount(self.now.upper or 0.0)} {self.unit}"
        return f'say more than "{self.now.words}"'

    def _little(self) -> str:
        if self.now.fold is not None:
            return f"narrow the interval of {self.now.ends} {self.unit} by less than {LEAST}"
        if self.now.statement == "not detected":
            return f"lower the upper end of {amount(self.now.upper or 0.0)} {self.unit} by less than {LEAST}"
        return "leave the interval open"

    def _typical(self, rows: Sequence[Supposed]) -> str:
        levels = " or ".join(amount(level) for level in dict.fromkeys(row.level for row in rows))
        return f"its signal is the typical one at {levels} {self.unit}"

    def remarks(self) -> Iterator[str]:
        """What has to be said beside it."""
        if self.reason is not None:
            return
        yield SUPPOSITION
        if self.alike:
            yield f"within the error of the computation as good: {', '.join(map(diluted_words, self.alike))}"
        ready = f"{self.ready} of its electrodes are ready" if self.ready else "no electrode of it is recorded as ready"
        yield f"the electrode is supposed to be used like {self.like} ({self.protocol}) on {self.instrument}; {ready}"
        if self.working_range is None:
            yield "by itself such an electrode has no working range: at no level is its own interval narrow enough"
        else:
            low, high = map(amount, self.working_range)
            yield f"by itself such an electrode works from {low} to {high} {self.unit} in the cell"

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

"""What the next electrode of a sample is best used for, as people and programs get it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

from brinemark.science.planning.outlook import Outlook
from brinemark.science.planning.practical import Portion
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.one_more_answers import Stated, diluted_words
from brinemark.terms.dilutions import Step
from brinemark.terms.sample_plans import PlannedAddition
from brinemark.terms.wording import amount

EXPECTED = (
    "an expectation over the levels that the sample may have and over what an electrode may give; a single electrode "
    "does better or worse. Nothing was stored"
)


@dataclass(frozen=True, slots=True)
class Told:
    """What is expected of electrodes. information : [nat], with its Monte Carlo error; narrower : how many times the
    interval narrows, exp(information); fold : upper over lower end that half of the outcomes stay within, None = open;
    chance : that the interval spans at most max_fold."""

    information: float
    information_error: float
    narrower: float
    fold: float | None
    chance: float

    @classmethod
    def of(cls, outlook: Outlook) -> Told:
        fold = outlook.typical_fold
        information = outlook.information
        found = information, outlook.error, math.exp(information)
        return cls(*found, fold if math.isfinite(fold) else None, outlook.within)


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One choice. way : what is read after the main reading, additions : the same in numbers; sample_mL, diluent_mL,
    rel_u : of the dilution; best, alike : whether it tells most, or as much within the Monte Carlo error."""

    dilution: float
    way: str
    sample_mL: float
    diluent_mL: float
    rel_u: float
    told: Told
    best: bool = False
    alike: bool = False
    additions: tuple[PlannedAddition, ...] = ()

    @property
    def words(self) -> str:
        return f"{diluted_words(self.dilution)}, {self.way}"


@dataclass(frozen=True, slots=True)
class Prepared:
    """How a dilution is made: volumes into flasks, in order, each filled up with seawater."""

    dilution: float
    steps: tuple[Step, ...]

    @classmethod
    def of(cls, portion: Portion) -> Prepared:
        return cls(portion.dilution, () if portion.way is None else portion.way.steps)

    @property
    def words(self) -> str:
        if not self.steps:
            return "the sample as it is"
        made = (f"{one.volume_mL:g} mL of {one.source} into a {one.flask.volume_mL:g} mL flask" for one in self.steps)
        return f"{', then '.join(made)}, filled up with seawater of the sample's salinity"

    def to_dict(self) -> dict[str, Any]:
        steps = [
            {
                "name": one.name,
                "source": one.source,
                "pipette": one.pipette.name,
                "volume_mL": one.volume_mL,
                "flask": one.flask.name,
                "flask_mL": one.flask.volume_mL,
                "share": one.level,
            }
            for one in self.steps
        ]
        return {"dilution": self.dilution, "solutions": steps}


@dataclass(frozen=True, slots=True)
class ReadTogether:
    """Electrodes to read together: dilutions and ways, the water that they take, and what all of them tell."""

    dilutions: tuple[float, ...]
    ways: tuple[str, ...]
    sample_mL: float
    told: Told

    @property
    def words(self) -> str:
        pairs = [f"{diluted_words(d)}, {way}" for d, way in zip(self.dilutions, self.ways, strict=True)]
        return "; ".join(pairs)

    def to_dict(self) -> dict[str, Any]:
        return {**asdict(self), "dilutions": list(self.dilutions), "ways": list(self.ways)}


@dataclass(frozen=True, slots=True)
class NotPossible:
    """A dilution that cannot be had, and why."""

    dilution: float
    reason: str


@dataclass(frozen=True, slots=True)
class PlannedSample:
    """What to read next of a sample.

    reading : id of what there is, None = nothing has been read; now : its statement; batch, ready, instrument : of the
    new electrode; prescan : whether it is read in clean seawater first; lot : of the seawater to dilute with, None =
    not named; cell_mL : what it is dipped into; water_mL : of the sample that is left, None = not said; highest : level
    up to which the sample is supposed to lie [unit]; present_fold : of what was read, reckoned as those of the
    rows are, None = open; max_fold : that is wanted; rows : by dilution, then way; stop : why no further electrode is
    needed, else None; together : for several electrodes at once, None = one was
    asked for; prepare : how the dilutions that are named are made; cautions : what has to be said beside it.
    """

    sample: str
    analyte: str
    unit: str
    calibration: str
    reading: str | None
    now: Stated | None
    batch: str
    ready: int
    instrument: str
    prescan: bool
    lot: str | None
    cell_mL: float
    water_mL: float | None
    highest: float
    present_fold: float | None
    max_fold: float
    rows: tuple[PlannedRow, ...]
    not_possible: tuple[NotPossible, ...] = ()
    stop: str | None = None
    together: ReadTogether | None = None
    prepare: tuple[Prepared, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def best(self) -> PlannedRow:
        return next(row for row in self.rows if row.best)

    @property
    def chosen(self) -> tuple[PlannedRow, ...]:
        """The electrodes that it names: the next one, or those to be read together, one that is named twice twice."""
        if self.together is None:
            return (self.best,)
        of = {(row.dilution, row.way): row for row in self.rows}
        return tuple(of[pair] for pair in zip(self.together.dilutions, self.together.ways, strict=True))

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if self.stop is not None:
            return f"no further electrode is needed: {self.stop}; one more, {self.best.words}, {self._would()}"
        if self.together is not None:
            number = len(self.together.dilutions)
            told = self._expected(self.together.told)
            return f"read {number} electrodes together: {self.together.words}; all together they would {told}"
        return f"next, one electrode {self.best.words}; it {self._would()}"

    def _would(self) -> str:
        return f"would {self._expected(self.best.told)}"

    def _expected(self, told: Told) -> str:
        half = "leave an end open in half of the cases or more"
        if told.fold is not None:
            half = f"leave a factor of at most {amount(told.fold)} from end to end in half of the cases"
        chance = f"{100.0 * told.chance:.0f} % that it is at most {self.max_fold:g}"
        return f"narrow what is known {amount(told.narrower)} times on average, and {half} ({chance})"

    def remarks(self) -> Iterator[str]:
        """What has to be said beside it."""
        yield EXPECTED
        if self.present_fold is not None:
            yield f"reckoned as the folds here are, the present interval spans a factor of {amount(self.present_fold)}"
        alike = [row.words for row in self.rows if row.alike]
        if alike and self.together is None:
            yield f"within the error of the computation as good: {'; '.join(alike)}"
        yield from self.made()
        yield (
            f"the level is supposed to lie between 0 and {amount(self.highest)} {self.unit}; that decides what to read "
            "next and never what is stated"
        )
        ready = f"{self.ready} of its electrodes are ready" if self.ready else "no electrode of it is recorded as ready"
        yield f"the electrode is of batch {self.batch} on {self.instrument}; {ready}; a cell takes {self.cell_mL:g} mL"
        for lost in self.not_possible:
            yield f"not possible {diluted_words(lost.dilution)}: {lost.reason}"
        yield from self.cautions

    def made(self) -> Iterator[str]:
        """How each dilution that is named is made."""
        for one in self.prepare:
            yield f"{diluted_words(one.dilution)}: {one.words}"

    def to_dict(self) -> dict[str, Any]:
        """The JSON contract of `plan-sample --json`."""
        plain = replace(self, prepare=(), together=None)
        return {
            "schema": ANSWER_SCHEMA,
            **asdict(plain),
            "rows": [{**asdict(row), "additions": [asdict(one) for one in row.additions]} for row in self.rows],
            "not_possible": [asdict(one) for one in self.not_possible],
            "together": None if self.together is None else self.together.to_dict(),
            "prepare": [one.to_dict() for one in self.prepare],
            "cautions": list(self.cautions),
            "sentence": self.sentence,
            "remarks": list(self.remarks()),
        }

    def __str__(self) -> str:
        return f"{self.sample}: {self.sentence}"

    def __repr__(self) -> str:
        return f"<{self}>"

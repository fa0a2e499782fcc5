"""What the steps answer: plain records that a person can read and that give themselves as JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass, replace
from html import escape
from typing import Any

from brinemark.terms.amounts import Calibration, FilmFinding, Limits, Reading
from brinemark.terms.curves import Flag, Signal
from brinemark.terms.surveillance import Interval
from brinemark.terms.wording import amount, film_words, statement_words

ANSWER_SCHEMA = 1


def flag_dict(flag: Flag) -> dict[str, Any]:
    return asdict(flag)


def film_dict(film: FilmFinding) -> dict[str, Any]:
    return asdict(film) | {"looked_at": list(film.looked_at), "cleared_by": list(film.cleared_by)}


def range_dict(ends: tuple[float, float] | None) -> dict[str, float] | None:
    return None if ends is None else {"lower": ends[0], "upper": ends[1]}


def plain(value: Any) -> Any:
    """Records of the terms as JSON: fields by name, an interval as its two ends; a number without end is None."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Interval):
        return {"lower": plain(value.lower), "upper": plain(value.upper)}
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    return [plain(one) for one in value] if isinstance(value, tuple) else value


@dataclass(frozen=True, slots=True, eq=False)
class ReadingLine:
    """One reading of one electrode: sheet row, role, cell level when known, and its signal."""

    row: int
    role: str
    cell_level: float | None
    signal: Signal

    def to_dict(self) -> dict[str, Any]:
        signal = self.signal
        return {
            "row": self.row,
            "role": self.role,
            "cell_level": self.cell_level,
            "signal": signal.value,
            "u": signal.u,
            "unit": signal.unit,
            "flags": [flag_dict(flag) for flag in signal.flags],
        }


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeUse:
    """One electrode behind a sample's reading, with its share of the information."""

    electrode: str
    batch: str
    instrument: str
    dilution: float
    share: float
    readings: tuple[ReadingLine, ...]

    def to_dict(self) -> dict[str, Any]:
        return {
            "electrode": self.electrode,
            "batch": self.batch,
            "instrument": self.instrument,
            "dilution": self.dilution,
            "share": self.share,
            "readings": [line.to_dict() for line in self.readings],
        }


@dataclass(frozen=True, slots=True)
class AdditionLine:
    """What a straight line through the additions gives, for comparison only.

    electrodes : those of the line; across : whether they are siblings with one reading each; level, lower, upper :
    of the sample [level unit], None = cannot be said, with the reason; if_bent : where the bend that the points allow
    would lead; points : how many readings.
    """

    electrodes: tuple[str, ...]
    across: bool
    points: int
    level: float | None
    lower: float | None
    upper: float | None
    if_bent: float | None
    reason: str | None

    @property
    def what(self) -> str:
        who = f"across {len(self.electrodes)} siblings" if self.across else f"on electrode {self.electrodes[0]}"
        return f"standard addition {who} by a straight line, for comparison"

    def to_dict(self) -> dict[str, Any]:
        return asdict(self) | {"electrodes": list(self.electrodes)}

    def words(self, unit: str) -> str:
        """In one sentence."""
        if self.level is None:
            return f"{self.what}: cannot say: {self.reason}"
        lower = "no lower end" if self.lower is None else amount(self.lower)
        upper = "no upper end" if self.upper is None else amount(self.upper)
        said = f"{self.what}: {amount(self.level)} {unit} ({lower} to {upper})"
        if self.if_bent is None:
            return said
        return f"{said}; a bend that these points do not exclude would lead to {amount(self.if_bent)}"

    def restated(self, factor: float) -> AdditionLine:
        """With every level times a factor."""
        ends = (None if one is None else factor * one for one in (self.level, self.lower, self.upper, self.if_bent))
        level, lower, upper, if_bent = ends
        return replace(self, level=level, lower=lower, upper=upper, if_bent=if_bent)

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> AdditionLine:
        return cls(**{**plain, "electrodes": tuple(plain["electrodes"])})


@dataclass(frozen=True, slots=True, eq=False)
class SampleReading:
    """One of the five statements about one sample.

    id : the reading's record; reading : the science behind it; calibration : id of the calibration; choice : how its
    definition was chosen (definition_lock.py), None for a control.
    """

    id: str
    sample: str
    analyte: str
    unit: str
    reading: Reading
    electrodes: tuple[ElectrodeUse, ...]
    calibration: str
    warnings: tuple[str, ...]
    straight_lines: tuple[AdditionLine, ...] = ()
    choice: Mapping[str, Any] | None = None

    @property
    def statement(self) -> str:
        return self.reading.statement

    @property
    def sentence(self) -> str:
        """The statement as one sentence that names the analyte."""
        return reading_sentence(self)

    def to_dict(self) -> dict[str, Any]:
        """The JSON contract of `read --json`."""
        one = self.reading
        return {
            "schema": ANSWER_SCHEMA,
            "sample": self.sample,
            "statement": one.statement,
            "reason": one.reason,
            "unit": self.unit,
            "detection": one.detection and asdict(one.detection),
            "estimate": one.estimate and asdict(one.estimate),
            "lower_limit": one.lower_limit and asdict(one.lower_limit),
            "upper_limit": one.upper_limit and asdict(one.upper_limit),
            "working_range": range_dict(one.working_range),
            "electrodes": [use.to_dict() for use in self.electrodes],
            "calibration": self.calibration,
            "films": [film_dict(film) for film in one.films],
            "warnings": list(self.warnings),
            "straight_lines": [line.to_dict() for line in self.straight_lines],
            "choice": None if self.choice is None else dict(self.choice),
        }

    def __str__(self) -> str:
        return self.sentence

    def __repr__(self) -> str:
        return f"<{self.sentence}>"

    def _repr_html_(self) -> str:
        remarks = "".join(f"<li>{escape(text)}</li>" for text in (*map(film_words, self.reading.films), *self.warnings))
        return f"<p>{escape(self.sentence)}</p>" + (f"<ul>{remarks}</ul>" if remarks else "")


def reading_sentence(answer: SampleReading) -> str:
    """The statement about a sample in one sentence, with the reason where there is no statement."""
    if answer.statement == "cannot say":
        return f"{answer.sample}: cannot say: {answer.reading.reason}"
    return f"{answer.sample}: {statement_words(answer.reading, answer.unit, answer.analyte)}"


@dataclass(frozen=True, slots=True, eq=False)
class WaveNote:
    """One wave or band behind a calibration; its place is given in V or in nm, and the other is None."""

    id: str
    role: str
    source: str
    traces: int
    place_V: float | None
    place_nm: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """As JSON, with the one place that there is."""
        return {key: value for key, value in asdict(self).items() if value is not None}


@dataclass(frozen=True, slots=True, eq=False)
class CalibrationReport:
    """A calibration with what it can do; new is False when the same one was there already."""

    id: str
    new: bool
    analyte: str
    unit: str
    signal_unit: str
    calibration: Calibration
    limits: tuple[Limits, ...]
    waves: tuple[WaveNote, ...]
    left_out: tuple[dict[str, str], ...]
    warnings: tuple[str, ...]
    interval: float = 0.95

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `calibrate --json`."""
        one = self.calibration
        return {
            "schema": ANSWER_SCHEMA,
            "calibration": self.id,
            "new": self.new,
            "analyte": self.analyte,
            "unit": self.unit,
            "signal_unit": self.signal_unit,
            "interval": self.interval,
            "population": [self._population(summary) for summary in one.summaries],
            "limits": [limits_dict(limits) for limits in self.limits],
            "electrodes": {
                "count": len(one.readings.electrode),
                "batches": sorted(set(one.readings.batch)),
                "instruments": list(one.instruments),
                "left_out": list(self.left_out),
            },
            "waves": [wave.to_dict() for wave in self.waves],
            "diagnostics": {
                "gates": [{**asdict(gate), "passed": gate.passed} for gate in one.gates],
                "rounds": one.rounds,
                "total_draws": one.total_draws,
                "kept_draws": int(one.draws.shape[0]),
                "seed": one.seed,
            },
            "films": [asdict(film) for film in one.films],
            "fit": [{**asdict(check), "speaks": check.speaks} for check in one.fit],
            "weaknesses": list(one.weaknesses),
            "warnings": list(self.warnings),
        }

    def _population(self, summary: Any) -> dict[str, Any]:
        units = {"signal": self.signal_unit, "level": self.unit}
        return {**asdict(summary), "unit": units.get(summary.unit, summary.unit)}

    def __str__(self) -> str:
        one = self.calibration
        return (
            f"calibration {self.id[:12]}: {len(one.readings.electrode)} electrodes of "
            f"{len(set(one.readings.batch))} batches, {one.rounds} rounds"
        )

    def __repr__(self) -> str:
        return f"<{self}>"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{escape(entry['name'])}</td><td>{amount(entry['median'])}</td>"
            f"<td>{amount(entry['lower'])} to {amount(entry['upper'])}</td><td>{escape(entry['unit'])}</td></tr>"
            for entry in (self._population(summary) for summary in self.calibration.summaries)
        )
        head = "<tr><th>quantity</th><th>median</th><th>interval</th><th>unit</th></tr>"
        return f"<p>{escape(str(self))}</p><table>{head}{rows}</table>"


def limits_dict(limits: Limits) -> dict[str, Any]:
    """Limits of one batch as JSON."""
    plain = asdict(limits)
    lower, upper = plain.pop("working_lower"), plain.pop("working_upper")
    ends = None if lower is None or upper is None else (lower, upper)
    return {**plain, "working_range": range_dict(ends)}


@dataclass(frozen=True, slots=True, eq=False)
class AddedSignal:
    """A provisional signal of a row that was just added."""

    electrode: str
    line: ReadingLine

    def to_dict(self) -> dict[str, Any]:
        return {"electrode": self.electrode, **self.line.to_dict(), "provisional": True}


@dataclass(frozen=True, slots=True, eq=False)
class Added:
    """What adding a sheet did; new is False when the same content was there already."""

    sheet: str
    title: str
    new: bool
    supersedes: str | None
    rows: int
    electrodes: int
    batches: tuple[str, ...]
    originals: int
    signals: tuple[AddedSignal, ...] = ()
    swept: int = 0
    wave: str = ""
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `add --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "sheet": self.sheet,
            "title": self.title,
            "new": self.new,
            "supersedes": self.supersedes,
            "rows": self.rows,
            "electrodes": self.electrodes,
            "batches": list(self.batches),
            "originals": self.originals,
            "signals": [signal.to_dict() for signal in self.signals],
            "swept": self.swept,
            "wave": self.wave,
            "warnings": list(self.warnings),
        }

    def __str__(self) -> str:
        if not self.new:
            return f"{self.title}: nothing new, the logbook has this content already (sheet {self.sheet[:12]})"
        return (
            f"{self.title}: {self.rows} rows, {self.electrodes} electrodes of {len(self.batches)} batches, "
            f"{self.originals} new originals (sheet {self.sheet[:12]})"
        )

    def __repr__(self) -> str:
        return f"<{self}>"

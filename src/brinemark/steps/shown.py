"""What `show` answers: rows with their way back to sheets, files, signals and readings."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from html import escape
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA, flag_dict, limits_dict
from brinemark.terms.amounts import Limits
from brinemark.terms.curves import Signal


@dataclass(frozen=True, slots=True, eq=False)
class ShownFile:
    """A kept file: what it was called, its sha256, and where it lies inside the logbook."""

    role: str
    name: str
    sha256: str
    path: str
    size: int


@dataclass(frozen=True, slots=True, eq=False)
class ShownSignal:
    """A signal with the wave that read it; current says whether the newest calibration uses it."""

    id: str
    role: str
    signal: Signal
    wave: str
    made_at: str
    current: bool

    def to_dict(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "role": self.role,
            "signal": self.signal.value,
            "u": self.signal.u,
            "unit": self.signal.unit,
            "flags": [flag_dict(flag) for flag in self.signal.flags],
            "wave": self.wave,
            "made_at": self.made_at,
            "current": self.current,
        }


@dataclass(frozen=True, slots=True, eq=False)
class ShownRow:
    """A row with its way back: sheet, files and signals."""

    id: str
    number: int
    sheet: str
    sheet_title: str
    superseded: bool
    electrode: str
    batch: str
    instrument: str
    measured_at: str
    role: str
    level: float | None
    sample: str | None
    dilution: float
    conditions: dict[str, float | str]
    note: str | None
    files: tuple[ShownFile, ...]
    signals: tuple[ShownSignal, ...]

    def to_dict(self) -> dict[str, Any]:
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        plain["files"] = [asdict(file) for file in self.files]
        plain["signals"] = [signal.to_dict() for signal in self.signals]
        return plain


@dataclass(frozen=True, slots=True, eq=False)
class ShownReading:
    """A reading once shown: its sentence, when it was made and from which calibration."""

    id: str
    made_at: str
    calibration: str
    statement: str
    sentence: str


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """A batch, electrode or sample with its way back to the files."""

    kind: str
    name: str
    unit: str
    rows: tuple[ShownRow, ...]
    readings: tuple[ShownReading, ...] = ()
    limits: tuple[Limits, ...] = ()
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `show --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "kind": self.kind,
            "name": self.name,
            "unit": self.unit,
            "rows": [row.to_dict() for row in self.rows],
            "readings": [asdict(reading) for reading in self.readings],
            "limits": [limits_dict(limits) for limits in self.limits],
            "warnings": list(self.warnings),
        }

    def __str__(self) -> str:
        lines = [f"{self.kind} {self.name}"]
        for row in self.rows:
            old = ", corrected since" if row.superseded else ""
            lines.append(f"  {row.electrode} {row.role} ({row.sheet_title}, row {row.number}{old})")
            lines += [f"    {file.role} {file.name}: {file.path}" for file in row.files]
        lines += [f"  {reading.made_at}: {reading.sentence}" for reading in self.readings]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<{self.kind} {self.name}: {len(self.rows)} rows>"

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"

"""Runs with their blanks and controls: whether each counts, and what that means for the samples in it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from brinemark.science.amount.run_control import (
    BLANK,
    CHECK,
    SPIKED,
    ControlFinding,
    ControlLimits,
    Expected,
    RunDecision,
    control_limits,
    decide,
    level_zero_finding,
    recovery_finding,
    recovery_of,
    sittings,
)
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.packing import unpack_reading
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import LotSection, RunSection
from brinemark.terms.stored import Record

HISTORY_MOST = 40
ReadRows = Callable[[str, Sequence[StoredRow]], Record]


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One sitting: what one instrument measured in one sheet within max_gap_h of its first row.

    rows : all rows of the electrodes whose first row lies in it, in order of time.
    """

    sheet: str
    instrument: str
    begin: datetime
    rows: tuple[StoredRow, ...]

    @property
    def name(self) -> str:
        return f"{self.instrument} {self.begin.isoformat(timespec='minutes')}"

    def controls(self) -> dict[str, tuple[StoredRow, ...]]:
        """Rows of each control by its id."""
        found: dict[str, tuple[StoredRow, ...]] = {}
        for row in self.rows:
            if row.row.role == "control" and row.row.sample is not None:
                found[row.row.sample] = (*found.get(row.row.sample, ()), row)
        return found

    def blanks(self) -> tuple[StoredRow, ...]:
        """The first row of every electrode that began as a blank."""
        first: dict[str, StoredRow] = {}
        for row in self.rows:
            first.setdefault(row.row.electrode, row)
        return tuple(row for row in first.values() if row.row.role == "blank")


def runs_of(rows: Sequence[StoredRow], max_gap_h: float) -> tuple[Run, ...]:
    """All runs, in order of time."""
    lives: dict[str, list[StoredRow]] = {}
    for row in sorted(rows, key=_moment):
        lives.setdefault(row.row.electrode, []).append(row)
    places: dict[tuple[str, str], list[list[StoredRow]]] = {}
    for life in lives.values():
        places.setdefault((life[0].sheet_id, life[0].row.instrument), []).append(life)
    found: list[Run] = []
    for (sheet, instrument), here in places.items():
        number = sittings([life[0].row.measured_at.timestamp() / 3600 for life in here], max_gap_h)
        for one in range(max(number) + 1):
            mine = [row for life, at in zip(here, number, strict=True) if at == one for row in life]
            mine.sort(key=_moment)
            found.append(Run(sheet, instrument, mine[0].row.measured_at, tuple(mine)))
    return tuple(sorted(found, key=lambda run: (run.begin, run.sheet, run.instrument)))


def _moment(stored: StoredRow) -> tuple[datetime, int]:
    return stored.row.measured_at, stored.row.number


@dataclass(frozen=True, slots=True, eq=False)
class RunReport:
    """A run with what its blanks and controls say; parents : the records behind it, role and id."""

    run: Run
    decision: RunDecision
    findings: tuple[ControlFinding, ...]
    parents: tuple[tuple[str, str], ...]
    unit: str

    def to_dict(self) -> dict[str, Any]:
        """One run in the JSON of `controls --json`."""
        samples = [row.row.sample for row in self.run.rows if row.row.role == "sample"]
        return {
            "schema": ANSWER_SCHEMA,
            "instrument": self.run.instrument,
            "begin": self.run.begin.isoformat(),
            "sheet": self.run.sheet,
            "unit": self.unit,
            "electrodes": len({row.row.electrode for row in self.run.rows}),
            "samples": list(dict.fromkeys(samples)),
            "accepted": self.decision.accepted,
            "reason": self.decision.reason,
            "findings": [asdict(one) for one in self.findings],
        }


@dataclass(slots=True, eq=False)
class RunDesk:
    """Judges runs, each once. read_rows : reads one blank or control as a record, given a name for it and its rows;
    contents : [lot.ID] of the settings; instruments : those that the calibration knows."""

    runs: tuple[Run, ...]
    unit: str
    section: RunSection
    contents: Mapping[str, LotSection]
    instruments: frozenset[str]
    read_rows: ReadRows
    _judged: dict[str, RunReport] = field(default_factory=dict)

    def findings(
        self, rows: Sequence[StoredRow]
    ) -> tuple[dict[str, str], tuple[str, ...], tuple[tuple[str, str], ...]]:
        """What run control means for a sample: failures by electrode, warnings, and the records they rest on."""
        wanted = {row.row.electrode for row in rows}
        failures: dict[str, str] = {}
        warnings: list[str] = []
        parents: list[tuple[str, str]] = []
        for run in self.runs:
            mine = [row.row.electrode for row in run.rows if row.row.electrode in wanted]
            if not mine or run.instrument not in self.instruments:
                continue
            report = self.judge(run)
            parents += report.parents
            if report.decision.accepted is False:
                failures.update(dict.fromkeys(mine, f"run control failed: {report.decision.reason}"))
            elif report.decision.accepted is None:
                warnings.append(f"no run control in the run of {run.name}: {report.decision.reason}")
            warnings += _remarks(report.findings)
        return failures, tuple(warnings), tuple(dict.fromkeys(parents))

    def judge(self, run: Run) -> RunReport:
        """Blanks and controls of a run, and whether it counts."""
        key = f"{run.sheet} {run.name}"
        if key not in self._judged:
            parents: list[tuple[str, str]] = []
            found = [*self._blanks(run, parents), *self._controls(run, parents)]
            self._judged[key] = RunReport(run, decide(found), tuple(found), tuple(dict.fromkeys(parents)), self.unit)
        return self._judged[key]

    def _blanks(self, run: Run, parents: list[tuple[str, str]]) -> Iterator[ControlFinding]:
        for row in run.blanks():
            name = row.row.electrode
            record = self.read_rows(f"blank {name}", (row,))
            parents.append(("run blank", record.id))
            yield level_zero_finding(BLANK, name, unpack_reading(record), self.section.blank_probability)

    def _controls(self, run: Run, parents: list[tuple[str, str]]) -> Iterator[ControlFinding]:
        for name, rows in run.controls().items():
            record = self.control(run, name, rows)
            parents.append(("run control", record.id))
            kind, expected = self.kind(rows), self.expected(rows)
            reading = unpack_reading(record)
            if expected.level == 0.0:
                yield level_zero_finding(kind, name, reading, self.section.blank_probability)
            else:
                yield recovery_finding(kind, name, expected, reading, self._limits(run, kind, parents))

    def control(self, run: Run, name: str, rows: Sequence[StoredRow]) -> Record:
        """The record of a control's reading."""
        return self.read_rows(f"control {name} of {run.name}", rows)

    def kind(self, rows: Sequence[StoredRow]) -> str:
        """A control whose id is that of a [lot.ID] is that water, spiked."""
        return SPIKED if rows[0].row.sample in self.contents else CHECK

    def expected(self, rows: Sequence[StoredRow]) -> Expected:
        """What the control holds, and of that what a spiked water held by itself, by the section of its lot."""
        row = rows[0].row
        lot = self.contents.get(row.sample or "")
        return Expected(row.expected_level or 0.0, 0.0 if lot is None else lot.content)

    def _limits(self, run: Run, kind: str, parents: list[tuple[str, str]]) -> ControlLimits:
        """Limits from the newest earlier controls of this kind on this instrument, once there are enough of them."""
        earlier = [
            (before, name, rows)
            for before in self.runs
            if before.begin < run.begin and before.instrument == run.instrument
            for name, rows in before.controls().items()
            if rows[0].row.expected_level and self.kind(rows) == kind
        ][-max(HISTORY_MOST, self.section.control_history) :]
        recoveries = []
        if len(earlier) >= self.section.control_history:
            records = [self.control(before, name, rows) for before, name, rows in earlier]
            parents += [("earlier control", record.id) for record in records]
            read = [
                recovery_of(unpack_reading(one), self.expected(rows))
                for one, (_, _, rows) in zip(records, earlier, strict=True)
            ]
            recoveries = [value for value in read if value is not None]
        return control_limits(recoveries, self.section.control_limits, self.section.control_history)


def _remarks(findings: Sequence[ControlFinding]) -> list[str]:
    said = [
        f"run control by the starting limits, since {one.limits.remark}"
        for one in findings
        if one.limits and one.limits.remark
    ]
    return list(dict.fromkeys(said))

"""Run plans as they stand now: open, taken in or withdrawn. What a sheet has taken in is derived, never stored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.records.reader import Reader
from brinemark.records.run_request import request_from_json, request_to_json
from brinemark.records.sheet_text import filled_text, sheet_text
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.makings import Known, known_electrodes
from brinemark.steps.plan_comparison import Comparison, SheetRows, compare
from brinemark.terms.run_plans import OPEN, TAKEN_IN, WITHDRAWN, Departure, PlannedRow, RunRequest
from brinemark.terms.runs import RowUse, StoredRow
from brinemark.terms.stored import Record, StoredSheet

PLAN, GONE = "run plan", "plan withdrawn"
BATCH_PLAN = "batch plan"


@dataclass(frozen=True, slots=True)
class ToFill:
    """A sample or control in one dilution: its label on the sheet, its own name, and for how many electrodes."""

    label: str
    name: str
    dilution: float
    electrodes: int


@dataclass(frozen=True, slots=True)
class RunPlan:
    """A run laid out, and what became of it.

    rows : of its sheet, in order; key : code to the sample's name, for whoever fills the cells and for afterwards;
    left : electrodes for which there was nothing to do; filled : rows that a sheet has; sheets, taken_at : titles of
    the sheets that hold its electrodes, and when the newest of them came; reason : why it was withdrawn; remarks :
    what was odd when it was laid out.
    """

    id: str
    made_at: str
    seed: int
    request: RunRequest
    rows: tuple[PlannedRow, ...]
    key: Mapping[str, str]
    left: tuple[str, ...]
    unit: str
    state: str = OPEN
    filled: int = 0
    departures: tuple[Departure, ...] = ()
    sheets: tuple[str, ...] = ()
    taken_at: str | None = None
    reason: str | None = None
    remarks: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        return self.request.title or self.id[:12]

    @property
    def empty(self) -> int:
        """Rows that no sheet has yet."""
        return len(self.rows) - self.filled

    @property
    def electrodes(self) -> tuple[str, ...]:
        """In the order in which they are to be read."""
        return tuple(dict.fromkeys(row.electrode for row in self.rows))

    def to_fill(self) -> tuple[ToFill, ...]:
        """What has to be made ready for the run, sample by sample, for whoever fills the cells."""
        counts: dict[tuple[str, float], int] = {}
        for row in self.rows:
            if row.role in ("sample", "control") and row.sample is not None:
                key = row.sample, row.dilution or 1.0
                counts[key] = counts.get(key, 0) + 1
        return tuple(
            ToFill(label, self.key.get(label, label), dilution, count)
            for (label, dilution), count in sorted(counts.items())
        )

    def sheet(self, *, comma: bool = False) -> str:
        """The run sheet as text, ready to be filled in; comma : with decimal comma and semicolons."""
        return sheet_text(self.rows, comma=comma)

    def filled_sheet(self, cells: Mapping[int, Mapping[str, str]]) -> str:
        """The run sheet of the rows that were filled in, by their place in the plan from 0, as text."""
        return filled_text(self.rows, cells)

    def sheet_bytes(self, *, comma: bool = False) -> bytes:
        """The same as a file: UTF-8, with a byte order mark where a spreadsheet would misread a letter without one."""
        text = self.sheet(comma=comma)
        return text.encode("utf-8" if text.isascii() else "utf-8-sig")

    def to_dict(self, *, with_key: bool = False) -> dict[str, Any]:
        """The JSON of `lay-out --json`, and one plan of `plans --json`; the key is left out unless asked for."""
        return {
            "schema": ANSWER_SCHEMA,
            "plan": self.id,
            "title": self.title,
            "laid_out_at": self.made_at,
            "state": self.state,
            "seed": self.seed,
            "unit": self.unit,
            "request": request_to_json(self.request),
            "rows": [asdict(row) for row in self.rows],
            "filled": self.filled,
            "left": list(self.left),
            "key": dict(self.key) if with_key else None,
            "sheets": list(self.sheets),
            "taken_at": self.taken_at,
            "departures": [asdict(one) for one in self.departures],
            "reason": self.reason,
            "remarks": list(self.remarks),
        }


def row_to_json(row: PlannedRow) -> dict[str, Any]:
    """A planned row, empty cells left out."""
    return {key: value for key, value in asdict(row).items() if value not in (None, "")}


def plans_of(
    reader: Reader, uses: Sequence[RowUse], extra: Sequence[StoredRow] = (), without: str | None = None
) -> list[RunPlan]:
    """Every run plan, oldest first, with what became of it.

    uses : of all current sheets; extra : rows that are about to come; without : id of a sheet that is about to go.
    """
    records = list(reader.newest_first(PLAN))[::-1]
    if not records:
        return []
    gone = {parent: record for record in reader.newest_first(GONE) for _, parent in record.parents}
    known = {sheet.id: sheet for sheet in reader.sheets()}
    planned = {name for record in records if record.id not in gone for name in _electrodes(record)}
    sheets = {row.sheet_id for row in uses if row.electrode in planned} - {without}
    there = reader.rows(sheets=sorted(filter(None, sheets))) if sheets else ()
    rows = SheetRows.of([*there, *extra])
    return [_plan(record, gone.get(record.id), rows, known) for record in records]


def _electrodes(record: Record) -> list[str]:
    results: Any = record.results
    return [row["electrode"] for row in results["rows"]]


def _plan(record: Record, gone: Record | None, rows: SheetRows, known: Mapping[str, StoredSheet]) -> RunPlan:
    results: Any = record.results
    settings: Any = record.settings
    planned = tuple(PlannedRow(**row) for row in results["rows"])
    seen = compare(planned, rows) if gone is None else Comparison(0, False, (), ())
    reason: Any = None if gone is None else gone.settings
    sheets = [known[sheet] for sheet in seen.sheets if sheet in known]  # else one that is about to come
    return RunPlan(
        id=record.id,
        made_at=record.made_at,
        seed=record.seed or 0,
        request=request_from_json(settings["request"]),
        rows=planned,
        key=results["key"],
        left=tuple(results["left"]),
        unit=settings["unit"],
        state=WITHDRAWN if gone is not None else TAKEN_IN if seen.taken_in else OPEN,
        filled=seen.filled,
        departures=seen.departures,
        sheets=tuple(one.title for one in sheets),
        taken_at=max((one.added_at for one in sheets), default=None),
        reason=None if reason is None else str(reason["reason"]),
        remarks=tuple(results["remarks"]),
    )


def laid_out(plans: Iterable[RunPlan], uses: Sequence[RowUse]) -> dict[str, str]:
    """Electrode to the open plan that counts on it; what has been read is spent and no longer laid out."""
    read = {row.electrode for row in uses}
    open_plans = [plan for plan in plans if plan.state == OPEN]
    return {name: plan.id for plan in open_plans for name in plan.electrodes if name not in read}


def all_electrodes(reader: Reader) -> Known:
    """All that the logbook knows of its electrodes, open run plans included."""
    return with_plans(reader)[0]


def with_plans(reader: Reader, uses: Sequence[RowUse] | None = None) -> tuple[Known, list[RunPlan]]:
    """The same, with every run plan; uses : of all current sheets, when they are at hand."""
    uses = reader.uses() if uses is None else uses
    plans = plans_of(reader, uses)
    return known_electrodes(reader, uses, laid_out(plans, uses)), plans


def sample_names(plans: Iterable[RunPlan]) -> dict[str, str]:
    """Code on the sheet to the sample's own name, of every plan."""
    return {code: name for plan in plans for code, name in plan.key.items()}

"""A run laid out before it is measured: what was asked for, its planned rows, and how a sheet departs from them."""

from __future__ import annotations

from dataclasses import dataclass

OPEN, TAKEN_IN, WITHDRAWN = "open", "taken in", "withdrawn"
PLAN_STATES = (OPEN, TAKEN_IN, WITHDRAWN)


@dataclass(frozen=True, slots=True)
class WantedPortion:
    """A sample or control to be read in one dilution on so many electrodes; expected_level : of a control."""

    name: str
    role: str
    electrodes: int = 1
    dilution: float = 1.0
    expected_level: float | None = None


@dataclass(frozen=True, slots=True)
class WantedAddition:
    """What goes into the cell after the main reading: a volume of a stock, or a rise of the level.

    rise, stock_level : [level unit]; stock_level may be left to the settings; volume_mL : of the stock; spike :
    whether it is the closing spike, after which nothing is read.
    """

    stock: str | None = None
    stock_level: float | None = None
    volume_mL: float | None = None
    rise: float | None = None
    spike: bool = False


@dataclass(frozen=True, slots=True)
class RunRequest:
    """What is asked of a run, checked by records.run_request.

    electrodes, batches : those to use, and batches of which every ready one is used; blanks, standards : electrodes of
    each batch; levels : of the standards [level unit]; levels_per_electrode : how many one electrode reads, rising;
    stock, level_rel_u, matrix_lot : of standards and seawater; prescan : whether every electrode is scanned before;
    additions : after the main reading of electrodes with a role in add_to; volume_mL : of the cell before them;
    bracket, blank_every : blanks first, last and between; coded : whether samples go by codes; start : planned
    beginning, ISO 8601 with zone, None leaves the times empty; minutes : between two readings; plan : id of the kept
    plan for a batch that it carries out.
    """

    instrument: str
    electrodes: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    title: str | None = None
    blanks: int = 1
    standards: int = 0
    levels: tuple[float, ...] = ()
    levels_per_electrode: int = 1
    stock: str | None = None
    level_rel_u: float | None = None
    matrix_lot: str | None = None
    portions: tuple[WantedPortion, ...] = ()
    prescan: bool = True
    additions: tuple[WantedAddition, ...] = ()
    add_to: tuple[str, ...] = ()
    volume_mL: float | None = None
    bracket: bool = True
    blank_every: int | None = None
    coded: bool = True
    start: str | None = None
    minutes: float = 10.0
    operator: str | None = None
    plan: str | None = None


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """One row of the run sheet as planned; fields as in terms.runs.SheetRow, measured_at as text or empty.

    place : of the electrode in the order, from 1; sample : the code or name that stands on the sheet.
    """

    place: int
    electrode: str
    batch: str
    instrument: str
    role: str
    measured_at: str = ""
    level: float | None = None
    level_rel_u: float | None = None
    stock: str | None = None
    matrix_lot: str | None = None
    stock_level: float | None = None
    added_volume_mL: float | None = None
    volume_mL: float | None = None
    sample: str | None = None
    dilution: float | None = None
    expected_level: float | None = None
    trace: str = ""
    prescan: str | None = None
    position: str | None = None
    operator: str | None = None


@dataclass(frozen=True, slots=True)
class Departure:
    """One way in which what was measured departs from the plan, as a sentence.

    kind : "order", "other electrode", "other instrument", "other reading", "row missing" or "row added".
    """

    kind: str
    electrode: str
    sentence: str

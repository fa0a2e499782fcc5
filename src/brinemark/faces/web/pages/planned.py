"""What the pages of plans ask for, read from an address or a form, and how a plan is laid out for the bench."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Page
from brinemark.faces.web.looks import calibration_of
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.visit import Visit
from brinemark.steps.planned_run import rises_of, run_of
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.science.amount.simulate import Protocol
    from brinemark.steps.plan_batch_answers import BatchPlanned, PlannedBatch
    from brinemark.steps.what_helps_answers import Helps

WISHES = (
    ("answers", "most samples answered"),
    ("narrow", "narrowest intervals"),
    ("power", "best chance to find a level"),
    ("cost", "least cost for a minimum detectable value"),
)
BATCH_FIELDS = ("electrodes", "wish", "levels", "samples", "detectable", "instrument")
STUDIES, NO_LEVEL = "/plan/studies", "none"
HELPS_FIELDS = ("electrodes", "factor", "wish", "levels")
MOST_LETTERS, MOST_COUNTED = 60, 2**31


@dataclass(frozen=True, slots=True)
class Asked:
    """A plan as it was asked for."""

    electrodes: int
    wish: str
    levels: tuple[float, ...] | None
    samples: int
    detectable: float | None
    instrument: str | None
    factor: float

    @classmethod
    def of(cls, read: Callable[[str], str]) -> Asked:
        """What the fields say. Raises Refused."""
        return cls(
            electrodes=whole_in(read, "electrodes", None),
            wish=read("wish") or "answers",
            levels=numbers_in(read, "levels"),
            samples=whole_in(read, "samples", 1),
            detectable=number_in(read, "detectable"),
            instrument=read("instrument") or None,
            factor=number_in(read, "factor") or 2.0,
        )

    @property
    def is_long(self) -> bool:
        """Whether it takes longer than a browser should wait: what would reach a value is looked for part by part."""
        return self.wish == "cost"

    def plan(self, book: Logbook) -> BatchPlanned:
        """The plan of a batch. Raises Refused."""
        return book.plan_batch(
            self.electrodes,
            self.wish,
            self.levels,
            samples=self.samples,
            detectable=self.detectable,
            instrument=self.instrument,
        )

    def helps(self, book: Logbook) -> Helps:
        """What would help. Raises Refused."""
        return book.what_helps(self.electrodes, self.factor, self.wish, self.levels)


def number_in(read: Callable[[str], str], name: str) -> float | None:
    """A number, None for an empty field. Raises Refused."""
    text = read(name)
    try:
        return number_from(text) if text else None
    except ValueError:
        raise Refused(f"{text[:MOST_LETTERS]!r}", "a number", "write it with digits", column=name) from None


def whole_in(read: Callable[[str], str], name: str, otherwise: int | None) -> int:
    """A whole number; of an empty field `otherwise`, None = it has to be filled in. Raises Refused."""
    value, what = number_in(read, name), name.rpartition(".")[2]
    if value is None:
        if otherwise is None:
            raise Refused(f"no {what}", "how many there are", "fill in the field", column=name)
        return otherwise
    if value != int(value) or abs(value) > MOST_COUNTED:
        raise Refused(f"{value:g} {what}", "a whole number", "count them", column=name)
    return int(value)


def numbers_in(read: Callable[[str], str], name: str) -> tuple[float, ...] | None:
    """Numbers with spaces or semicolons between them, with point or comma; None for an empty field. Refused."""
    try:
        return tuple(number_from(word) for word in read(name).replace(";", " ").split()) or None
    except ValueError:
        expected = "numbers with spaces between them"
        raise Refused(f"{read(name)[:MOST_LETTERS]!r}", expected, "write them with digits", column=name) from None


def given(visit: Visit, names: tuple[str, ...]) -> dict[str, str]:
    """What the address says of these fields, as it was written."""
    return {name: visit.ask(name) for name in names}


def address_of(page: str, fields: Mapping[str, str]) -> str:
    """A page with what was asked behind it."""
    asked = urlencode([(name, text) for name, text in fields.items() if text])
    return f"{page}?{asked}" if asked else page


def choices(visit: Visit) -> dict[str, Any]:
    """What the forms offer: whether there is a calibration, its instruments and unit, and electrodes that are ready."""
    report, why = calibration_of(visit.desk)
    return {
        "calibrated": report is not None,
        "calibration": "" if report is None else report.id,
        "why": why,
        "instruments": [] if report is None else list(report.calibration.instruments),
        "unit": visit.settings.analyte.level_unit,
        "wishes": [list(one) for one in WISHES],
        "usual": _usual(visit),
    }


def _usual(visit: Visit) -> int:
    """Electrodes of a batch to begin with: those that are ready of the newest, else as many as it had; 0 for none."""
    known = visit.desk.kept("batches in order", visit.book.batches)
    return newest_ready(visit)[1] or (len(known[-1].electrodes) if known else 0)


def newest_ready(visit: Visit) -> tuple[str, int]:
    """The newest batch with electrodes that are ready, and how many; ("", 0) for none."""
    known = visit.desk.kept("batches in order", visit.book.batches)
    return next(((one.name, one.count(READY)) for one in reversed(known) if one.count(READY)), ("", 0))


def lay_out_address(visit: Visit, answer: BatchPlanned, kept: str = "") -> str:
    """The form of a run with what the plan says filled in, and fields for the names of its samples.

    kept : id of the plan where it is kept, so that the run names it.
    """
    best = answer.plans[0]
    batch, ready = newest_ready(visit)
    run = {**run_of(best), "instrument": answer.instrument, "batches": [batch] if ready == answer.electrodes else []}
    named = [("samples", str(best.plan.samples)), ("dilutions", joined(best.plan.use.dilutions)), ("plan", kept)]
    return run_address(run, named)


def run_address(run: Mapping[str, Any], more: Iterable[tuple[str, str]] = ()) -> str:
    """The form of a run with what a plan asks of it filled in; more : further fields.

    The form has one stock for all that is added: it stays open where a plan takes several.
    """
    added = [*run.get("addition", ()), *([run["closing_spike"]] if "closing_spike" in run else ())]
    stocks = {one.get("stock", "") for one in added}
    fields = [
        *(("batch", name) for name in run.get("batches", ())),
        *((name, str(run.get(name, ""))) for name in ("instrument", "blanks", "standards", "matrix_lot")),
        ("levels", joined(run.get("levels", ()))),
        *((name, "yes" if run[name] else "no") for name in ("bracket", "prescan") if name in run),
        ("volume_mL", f"{run['volume_mL']:g}" if "volume_mL" in run else ""),
        *(("sample", f"{one['name']}; {one['dilution']:g}; {one['electrodes']}") for one in run.get("sample", ())),
        ("addition", joined(one["rise"] for one in run.get("addition", ()))),
        ("closing_spike", f"{run['closing_spike']['rise']:g}" if "closing_spike" in run else ""),
        ("addition_stock", stocks.pop() if len(stocks) == 1 else ""),
        *(("add_to", role) for role in run.get("add_to", ())),
        *more,
    ]
    return f"/lay-out?{urlencode([(name, text) for name, text in fields if text])}"


def study_address(answer: BatchPlanned) -> str:
    """The form of a study with what the plan says filled in; samples without the analyte beside those it is for."""
    plan = answer.plans[0].plan
    rises, spike = rises_of(plan.use.protocol)
    once = bool(plan.burned) and all(one.protocol.dips.size == 1 for one in plan.burned)
    return address_of(
        STUDIES,
        {
            "batch.electrodes": str(answer.electrodes),
            "batch.burned": " ".join(f"{one.level:g}" for one in plan.burned) or NO_LEVEL,
            "burned_read": "once" if once and plan.use.protocol.dips.size > 1 else "as samples",
            "samples.levels": " ".join(f"{level:g}" for level in sorted({0.0, *answer.wish.levels})),
            "samples.dilutions": " ".join(f"{one:g}" for one in plan.use.dilutions),
            "read": answer.plans[0].protocol,
            "samples.additions": " ".join(f"{rise:.3g}" for rise in rises),
            "samples.closing_spike": f"{spike:.3g}" if spike else "",
        },
    )


def joined(numbers: Iterable[float]) -> str:
    """Numbers as a field of a form takes them."""
    return " ".join(f"{one:g}" for one in numbers)


def answer_data(visit: Visit, answer: BatchPlanned, picture: str, printed: str, kept: str = "") -> dict[str, Any]:
    """What a page says of a plan. picture, printed : addresses; kept : id of the plan, where it is kept."""
    data: dict[str, Any] = {"answer": answer.to_dict(), "rows": [], "by_burned": []}
    if answer.plans:
        best = answer.plans[0]
        data |= {
            "rows": [_row(one, one is best) for one in answer.plans],
            "by_burned": [_row(one, one.plan == best.plan) for one in answer.by_burned],
            "picture": picture,
            "print": printed,
            "lay_out": lay_out_address(visit, answer, kept),
            "study": study_address(answer),
            "bench": bench_rows(best),
            "otherwise": not best.burned_alike,
        }
    return data


def _row(one: PlannedBatch, chosen: bool) -> dict[str, Any]:
    """A line of the tables."""
    mark = "does not meet the wish" if not one.meets else "chosen" if chosen else "tie" if one.tie else ""
    return {"burned_words": one.burned, "seen": one.dilutions, "mark": mark, **one.to_dict()}


def bench_page(answer: BatchPlanned, back: str) -> Page:
    """A plan for the bench, with boxes to tick; back : address of its page."""
    data = {"answer": answer.to_dict(), "rows": bench_rows(answer.plans[0]), "back": back}
    return Page("planning_batch_print.html", "Plan of a batch, for the bench", data)


def bench_rows(one: PlannedBatch) -> list[dict[str, Any]]:
    """What each electrode of the batch does; which one it is, is drawn by lot when the run is laid out."""
    plan, rows = one.plan, []
    for burned in plan.burned:
        rows.append({"role": "standard" if burned.level else "blank", "level": burned.level, **_dips(burned.protocol)})
    for number in range(1, plan.samples + 1):
        for dilution in plan.use.dilutions:
            rows.append({"role": "sample", "sample": number, "dilution": dilution, **_dips(plan.use.protocol)})
    spare = plan.left - plan.samples * plan.use.electrodes
    rows += [{"role": "spare", "prescan": False, "additions": [], "spike": None} for _ in range(spare)]
    return [{"number": number, **row} for number, row in enumerate(rows, start=1)]


def _dips(protocol: Protocol) -> dict[str, Any]:
    rises, spike = rises_of(protocol)
    return {"prescan": protocol.prescan, "additions": list(rises), "spike": spike}

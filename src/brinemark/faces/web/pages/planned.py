"""What the pages of plans ask for, read from an address or a form, and how a plan is laid out for the bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.looks import calibration_of
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.science.amount.simulate import Protocol
    from brinemark.science.planning.plans import BatchPlan
    from brinemark.steps.plan_batch_answers import BatchPlanned, PlannedBatch
    from brinemark.steps.what_helps_answers import Helps

WISHES = (
    ("answers", "most samples answered"),
    ("narrow", "narrowest intervals"),
    ("power", "best chance to find a level"),
    ("cost", "least cost for a minimum detectable value"),
)
BATCH_FIELDS = ("electrodes", "wish", "levels", "samples", "detectable", "instrument")
HELPS_FIELDS = ("electrodes", "factor", "wish", "levels")
MOST_LETTERS = 60


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
            electrodes=_whole(read, "electrodes", None),
            wish=read("wish") or "answers",
            levels=_numbers(read, "levels"),
            samples=_whole(read, "samples", 1),
            detectable=_number(read, "detectable"),
            instrument=read("instrument") or None,
            factor=_number(read, "factor") or 2.0,
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


def _number(read: Callable[[str], str], name: str) -> float | None:
    text = read(name)
    try:
        return number_from(text) if text else None
    except ValueError:
        raise Refused(f"{text[:MOST_LETTERS]!r}", "a number", "write it with digits", column=name) from None


def _whole(read: Callable[[str], str], name: str, otherwise: int | None) -> int:
    value = _number(read, name)
    if value is None:
        if otherwise is None:
            raise Refused(f"no {name}", "how many there are", "fill in the field", column=name)
        return otherwise
    if value != int(value) or abs(value) > 1e6:
        raise Refused(f"{value:g} {name}", "a whole number", "count them", column=name)
    return int(value)


def _numbers(read: Callable[[str], str], name: str) -> tuple[float, ...] | None:
    """Numbers with spaces or semicolons between them, with point or comma; None for an empty field."""
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


def lay_out_address(visit: Visit, answer: BatchPlanned) -> str:
    """The form of a run with what the plan says filled in; a run gives all electrodes of a role the same additions."""
    plan = answer.plans[0].plan
    protocols = [plan.use.protocol, *(one.protocol for one in plan.burned)]
    levels = [one.level for one in plan.burned]
    above = sorted({level for level in levels if level > 0})
    batch, ready = newest_ready(visit)
    fields = [("batch", batch)] if ready == answer.electrodes else []
    fields += [
        ("blanks", str(levels.count(0.0))),
        ("standards", str(len(levels) - levels.count(0.0))),
        ("levels", " ".join(f"{level:g}" for level in above)),
        ("bracket", "yes" if levels.count(0.0) > 1 else "no"),
        ("prescan", "yes" if any(one.prescan for one in protocols) else "no"),
    ]
    rises, spike = rises_of(next((one for one in protocols if one.additions), plan.use.protocol))
    fields += [
        ("addition", " ".join(f"{rise:.3g}" for rise in rises)),
        ("closing_spike", f"{spike:.3g}" if spike else ""),
    ]
    fields += [("add_to", role) for role in _added_to(plan)]
    return f"/lay-out?{urlencode([(name, text) for name, text in fields if text])}"


def _added_to(plan: BatchPlan) -> list[str]:
    """Roles whose electrodes get additions; none where all get them, or nobody does."""
    of_samples = bool(plan.use.protocol.additions)
    if all(bool(one.protocol.additions) == of_samples for one in plan.burned):
        return []
    burned = {"standard" if one.level else "blank" for one in plan.burned if one.protocol.additions}
    return [*sorted(burned), *(("sample", "control") if of_samples else ())]


def rises_of(protocol: Protocol) -> tuple[tuple[float, ...], float | None]:
    """Additions of a protocol, and its closing spike apart from them."""
    if protocol.spiked:
        return protocol.additions[:-1], protocol.additions[-1]
    return protocol.additions, None


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

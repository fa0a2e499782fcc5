"""Runs laid out before they are measured: drawn by lot, printed for the bench, filled in, compared afterwards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.looks import rows_of
from brinemark.faces.web.numbers import COMMA, number_from
from brinemark.faces.web.pages.runs import began_taking_in
from brinemark.faces.web.visit import Faulty, Visit
from brinemark.steps.planned_run import portions_of
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.run_plans import OPEN
from brinemark.terms.tanks import BLANK, SAMPLE
from brinemark.terms.wording import counted

FILLED = {"measured_at": "Measured at", "salinity": "Salinity", "temperature_C": "Temperature, °C", "note": "Note"}
FILLED_IN = (
    *("title", "instrument", "plan", "blanks", "standards", "levels", "stock", "matrix_lot", "bracket"),
    *("prescan", "addition", "closing_spike", "addition_stock", "volume_mL"),
)
ROLES = ("blank", "standard", "sample", "control")
NUMBERS = ("blanks", "standards", "levels_per_electrode", "volume_mL", "blank_every", "minutes", "level_rel_u")
TEXTS = ("title", "instrument", "operator", "stock", "matrix_lot", "start", "levels", "plan")
MOST_PLANNED = 24


def form(visit: Visit) -> Answer:
    """What is wanted of a run, with the electrodes that are ready."""
    ready = [
        {"batch": one.name, "electrodes": [e.electrode for e in one.electrodes if e.state == READY]}
        for one in reversed(visit.book.batches())
        if one.count(READY)
    ]
    rows = [row.row for row in rows_of(visit.desk)]
    chosen = set(visit.asked.get("batch", ()))
    settings = visit.settings
    data = {
        "ready": ready,
        "chosen": [name for one in ready if one["batch"] in chosen for name in one["electrodes"]],
        "instruments": sorted({*settings.instrument, *(row.instrument for row in rows)}),
        "stocks": sorted({*settings.stock, *(row.stock for row in rows if row.stock)}),
        "lots": sorted({*settings.lot, *(row.matrix_lot for row in rows if row.matrix_lot)}),
        "unit": settings.analyte.level_unit,
        "samples": list(visit.asked.get("sample", ())),
        "planned": planned_samples(visit),
        "waters": _waters(visit, {row.sample for row in rows}),
        "here": visit.with_asked(),
        "fields": {name: visit.ask(name) for name in FILLED_IN if visit.ask(name)},
        "add_to": [role for role in ROLES if role in visit.asked.get("add_to", ROLES)],
    }
    return Page("lay_out.html", "Lay out a run", data)


def planned_samples(visit: Visit) -> dict[str, Any]:
    """Fields for the names of the samples that a plan reads, and how it reads each; none where no plan led here.

    Raises Refused for an address that no plan wrote.
    """
    count, dilutions = visit.ask("samples"), [_number(word, "dilutions") for word in visit.ask("dilutions").split()]
    if not count:
        return {"fields": [], "dilutions": [], "words": ""}
    if not count.isdecimal() or not 1 <= int(count) <= MOST_PLANNED or not dilutions:
        raise Refused(f"{count[:20]!r} samples", f"1 to {MOST_PLANNED}, with dilutions", "come here from a plan")
    words = [
        f"{counted(number, 'electrode')} {'as it is' if one == 1 else f'{one:g} times diluted'}"
        for one, number in Counter(dilutions).items()
    ]
    fields = [f"name.{number}" for number in range(1, int(count) + 1)]
    return {"fields": fields, "dilutions": dilutions, "words": ", ".join(words)}


def _waters(visit: Visit, labels: Collection[str | None]) -> list[str]:
    """Waters of consignments that stand in no run sheet, by their own names or by codes."""
    names = visit.desk.kept("sample names", visit.book.sample_names)
    known = {names.get(label, label) for label in labels if label}
    consignments = visit.desk.kept("consignments of runs", visit.book.consignments)
    waters = [row.sample for one in consignments for row in one.of(SAMPLE, BLANK) if row.sample]
    return [one for one in dict.fromkeys(waters) if one not in known]


def lay_out(visit: Visit) -> Answer:
    """Draw the run and keep it as a plan."""
    values = dict(_values(visit))
    findings = visit.book.run_findings(values)
    if findings:
        raise Faulty(findings)
    seed = visit.number("seed", "seed")
    plan = visit.book.lay_out(values, None if seed is None else round(seed))
    return GoTo(f"/plans/{plan.id}", f"Laid out {plan.title}.")


def table(visit: Visit) -> Answer:
    """All plans, newest first."""
    plans = visit.desk.kept("plans", lambda: [_short(one.to_dict()) for one in reversed(visit.book.run_plans())])
    return Page("plans.html", "Runs laid out", {"plans": plans})


def one(visit: Visit) -> Answer:
    """One plan in the order of the bench; the key of the codes is asked for."""
    plan = visit.book.run_plan(visit.path["id"])
    with_key = visit.ask("key") == "shown"
    data = {**plan.to_dict(with_key=with_key), "open": plan.state == OPEN, "coded": bool(plan.key), "empty": plan.empty}
    return Page("plan.html", f"Run {plan.title}", data)


def withdraw(visit: Visit) -> Answer:
    """Withdraw an open plan with a reason."""
    plan = visit.book.withdraw_plan(visit.path["id"], visit.need("reason", "reason"))
    return GoTo(f"/plans/{plan.id}", f"Withdrew {plan.title}; its electrodes are ready again.")


def sheet(visit: Visit) -> Answer:
    """The run sheet to fill in, in the decimal style of the reader or as asked for."""
    plan = visit.book.run_plan(visit.path["id"])
    style = visit.ask("decimal", visit.style)
    return File(plan.sheet_bytes(comma=style == COMMA), "text/csv; charset=utf-8", f"run-{plan.id[:8]}.csv")


def filling(visit: Visit) -> Answer:
    """The plan as a form: when each reading was made, and what was odd."""
    plan = visit.book.run_plan(visit.path["id"])
    if plan.state != OPEN:
        raise Refused(f"run {plan.title}, which is {plan.state}", "an open one", "see its page")
    data = {**plan.to_dict(), "columns": [{"name": name, "words": words} for name, words in FILLED.items()]}
    return Page("fill.html", f"Fill in run {plan.title}", data)


def fill(visit: Visit) -> Answer:
    """Take the filled rows in as a run sheet, with the curves that came along."""
    plan = visit.book.run_plan(visit.path["id"])
    cells: dict[int, dict[str, str]] = {}
    for n in range(len(plan.rows)):
        given = {name: visit.get(f"{name}.{n}") for name in FILLED}
        if given["measured_at"]:
            numbers = {name: given[name].replace(",", ".") for name in ("salinity", "temperature_C")}
            cells[n] = given | numbers
    if not cells:
        raise Refused("no row with its time", "the time of each reading that was made", "fill in when it was measured")
    name = f"{plan.title}.csv"
    return began_taking_in(visit, name, plan.filled_sheet(cells).encode("utf-8"))


def _short(plain: Mapping[str, Any]) -> dict[str, Any]:
    names = ("plan", "title", "laid_out_at", "state", "sheets", "reason")
    electrodes = {row["electrode"] for row in plain["rows"]}
    more = {"rows": len(plain["rows"]), "filled": plain["filled"], "electrodes": len(electrodes)}
    return {**{name: plain[name] for name in names}, **more, "departures": len(plain["departures"])}


def _values(visit: Visit) -> Iterator[tuple[str, object]]:
    """A form as a request file would say it."""
    yield "electrodes", visit.all("electrodes")
    yield from ((name, visit.get(name)) for name in TEXTS if visit.get(name))
    for name in NUMBERS:
        value = visit.number(name, name)
        if value is not None:
            yield name, int(value) if value == int(value) else value
    yield from ((name, visit.get(name) == "yes") for name in ("prescan", "bracket", "coded"))
    yield from (("sample", one) for one in [[*_named(visit), *_portions(visit, "sample")]] if one)
    yield from (("control", one) for one in [_portions(visit, "control")] if one)
    rises = [_number(part, "addition") for part in visit.get("addition").replace(";", " ").split()]
    yield from (("addition", one) for one in [[_stocked(visit, {"rise": rise}) for rise in rises]] if one)
    spike = visit.number("closing_spike", "closing_spike")
    if spike is not None:
        yield "closing_spike", _stocked(visit, {"rise": spike})
    if visit.all("add_to"):
        yield "add_to", visit.all("add_to")


def _stocked(visit: Visit, addition: dict[str, object]) -> dict[str, object]:
    stock = visit.get("addition_stock")
    return {**addition, "stock": stock} if stock else addition


def _named(visit: Visit) -> list[dict[str, object]]:
    """The samples of a plan that were named, as it reads them; one without a name is not read. Raises Refused."""
    planned = planned_samples(visit)
    names: dict[str, str] = {}
    for field in planned["fields"]:
        name = visit.get(field)
        if name and name in names.values():
            expected = "each sample once: its electrodes are planned already"
            raise Refused(f"the sample {name!r} twice", expected, "name another, or leave it empty", column=field)
        if name:
            names[field] = name
    return portions_of(planned["dilutions"], list(names.values()))


def _portions(visit: Visit, role: str) -> list[dict[str, object]]:
    """Lines "NAME; DILUTION; ELECTRODES" of samples, "NAME; LEVEL; ELECTRODES" of controls. Raises Refused."""
    second = "dilution" if role == "sample" else "expected_level"
    found = []
    for line in filter(None, (line.strip() for line in visit.get(role).splitlines())):
        name, *rest = [part.strip() for part in line.split(";")]
        one: dict[str, object] = {"name": name}
        for key, text in zip((second, "electrodes"), rest, strict=False):
            if text:
                one[key] = _number(text, role)
        if len(rest) > 2:
            raise Refused(f"the line {line!r}", f"NAME; {second.upper()}; ELECTRODES", "use semicolons", column=role)
        found.append(one)
    return found


def _number(text: str, column: str) -> float:
    try:
        value = number_from(text)
    except ValueError:
        raise Refused(f"{text!r}", "a number", "write it with digits", column=column) from None
    return int(value) if value == int(value) else value

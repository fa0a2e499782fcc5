"""The pages of a plan for a consignment: how many fish to test, which ones by lot, and what to expect."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.pages.planned import MOST_LETTERS
from brinemark.faces.web.visit import Faulty, Visit
from brinemark.steps.plan_fish import FISH_PLAN, SCREENING
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding

SHARES = (
    *("prevalence", "confidence", "test.sensitivity", "test.sensitivity_u", "test.false_rate"),
    *("second_test.sensitivity", "second_test.false_rate"),
)
"""Fields in percent."""
NUMBERS = (
    *("fish", "most_tests", "seed", "bags.count", "bags.tested_in_each", "bags.correlation"),
    *("pool.level", "pool.minimum", "pool.largest"),
    *("hold.minimum", "hold.fish", "hold.mass_g", "hold.days"),
)
LISTS = ("hold.volumes_L", "hold.holds_d")
LONGEST_TITLE = 80


def form(visit: Visit) -> Answer:
    """What is asked of a plan for a consignment."""
    costs = visit.settings.costs
    told = any((costs.electrode, costs.hour, costs.reference_analysis, costs.fish, costs.courier))
    data = {"unit": visit.settings.analyte.level_unit, "costs_set": told}
    return Page("planning_fish.html", "Plan the fish of a consignment", data)


def make(visit: Visit) -> Answer:
    """Work the plan out, draw its fish by lot, and keep it. Raises Refused."""
    title = visit.get("title") or "consignment"
    if len(title) > LONGEST_TITLE or not title.isprintable():
        raise Refused(
            f"a title of {len(title)} letters", f"one line of at most {LONGEST_TITLE}", "shorten it", column="title"
        )
    visit.need("prevalence", "prevalence")
    answer = visit.book.plan_fish((title, _values(visit)))
    return GoTo(f"/plan/fish/{answer.id}", "" if answer.new else "This plan was there already; nothing changed.")


def one(visit: Visit) -> Answer:
    """A kept plan. Raises Refused."""
    data = _kept(visit)
    return Page("planning_fish_plan.html", f"Fish to test: {data['called']}", data)


def printed(visit: Visit) -> Answer:
    """The same for the bench, with a box for each fish. Raises Refused."""
    data = _kept(visit)
    return Page("planning_fish_print.html", f"Fish to test: {data['called']}", data)


def _kept(visit: Visit) -> dict[str, Any]:
    record = visit.book.record(visit.path["id"])
    if record.kind != FISH_PLAN:
        raise Refused(f"record {record.id[:12]}, a {record.kind}", "a plan for a consignment", "see the page Audit")
    results: Any = record.results
    settings: Any = record.settings
    return {
        "id": record.id,
        "made_at": record.made_at,
        "called": results["title"],
        "plan": results["plan"],
        "unit": settings["unit"],
        "currency": visit.settings.costs.currency,
        "cautions": list(SCREENING if results["plan"]["holds"] else SCREENING[:1]),
    }


def _values(visit: Visit) -> Mapping[str, object]:
    """The form as a wish file would say it. Raises Faulty with everything that is no number."""
    found: dict[str, Any] = {}
    faults: list[Finding] = []
    for name, read in _readers(visit):
        try:
            value = read(name)
        except Refused as fault:
            faults.append(Finding.of(fault))
            continue
        if value is not None:
            section, _, key = name.rpartition(".")
            (found.setdefault(section, {}) if section else found)[key] = value
    if faults:
        raise Faulty(faults)
    names = [line.strip() for line in visit.get("names").splitlines() if line.strip()]
    return {**found, **({"names": names} if names else {})}


def _readers(visit: Visit) -> Iterator[tuple[str, Any]]:
    def share(name: str) -> float | None:
        value = visit.number(name, name)
        if value is not None and not 0 <= value <= 100:
            raise Refused(f"{value:g} %", "0 to 100 %", "give it in percent", column=name)
        return None if value is None else value / 100.0

    def number(name: str) -> float | int | None:
        value = visit.number(name, name)
        return int(value) if value is not None and value == int(value) else value

    def listed(name: str) -> list[float] | None:
        words = visit.get(name).replace(";", " ").split()
        try:
            return [number_from(word) for word in words] or None
        except ValueError:
            came, expected = f"{visit.get(name)[:MOST_LETTERS]!r}", "numbers with spaces between them"
            raise Refused(came, expected, "write them with digits", column=name) from None

    yield from ((name, share) for name in SHARES)
    yield from ((name, number) for name in NUMBERS)
    yield from ((name, listed) for name in LISTS)

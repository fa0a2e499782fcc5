"""A plan for a consignment of fish: worked out, drawn by lot, and kept as a record."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from brinemark.records.fish_request import checked_fish_wish, read_fish_wish
from brinemark.science.planning.fish_sampling import plan_fish
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.place import Place
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.fish_plans import FishCosts, FishPlan
from brinemark.terms.settings import CostsSection
from brinemark.terms.wording import opened

FISH_PLAN, ROLE = "fish plan", "consignment"
LARGEST_SEED = 2**53 - 1
SCREENING = (
    "a finding says that thiocyanate was found in the water; no finding is no proof that fish were not exposed",
    "the two worlds are published accounts that contradict each other; they are shown side by side",
)
_LINE = 96


@dataclass(frozen=True, slots=True, eq=False)
class FishPlanAnswer:
    """id : of its record, made_at : when it was kept; new : whether it was made now."""

    id: str
    new: bool
    title: str
    plan: FishPlan
    unit: str
    made_at: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `plan-fish --json`."""
        plain: dict[str, Any] = finite(asdict(self.plan))
        head = {"schema": ANSWER_SCHEMA, "fish_plan": self.id, "new": self.new, "title": self.title, "unit": self.unit}
        return {**head, **plain, "cautions": list(SCREENING)}

    def page(self) -> str:
        """The plan as plain text to print and take to the bench: one box for each fish."""
        return "\n".join([*_head(self), "", *_picks(self.plan), "", *_foot(self)]) + "\n"


def make_fish_plan(place: Place, wish: Path | tuple[str, bytes | Mapping[str, object]]) -> FishPlanAnswer:
    """Work a plan out, draw its fish, and keep it; wish : a file, or a name with bytes or values. Raises Refused."""
    name, data = wish if isinstance(wish, tuple) else _read(wish)
    asked, seed = read_fish_wish(data, name) if isinstance(data, bytes) else checked_fish_wish(data)
    asked = replace(asked, costs=costs_of(place.settings.costs, asked.costs))
    plan = plan_fish(asked, secrets.randbelow(LARGEST_SEED) if seed is None else seed)
    unit = place.settings.analyte.level_unit
    said: dict[str, JsonValue] = {"wish": finite(asdict(asked)), "unit": unit}
    recipe = Recipe(FISH_PLAN, ROLE, (), said, plan.seed)
    title = Path(name).stem if isinstance(data, bytes) else name
    results: Any = {"plan": finite(asdict(plan)), "title": title}
    with place.database.writing() as writer:
        new = bool(writer.add_records([recipe.record(Made(results, {}))]))
        if new:
            writer.seal("consignment planned", recipe.id[:12], {"fish plan": recipe.id, "tested": plan.tested})
    return FishPlanAnswer(recipe.id, new, title, plan, unit)


def costs_of(settings: CostsSection, told: FishCosts) -> FishCosts:
    """Unit costs of the wish, and of [costs] where the wish names none.

    A test is an electrode and the time of its reading, a second test a reference analysis.
    """
    return FishCosts(
        test=told.test or settings.electrode + settings.hour * settings.reading_h,
        second_test=told.second_test or settings.reference_analysis,
        fish=told.fish or settings.fish,
        courier=told.courier or settings.courier,
    )


def _read(path: Path) -> tuple[str, bytes]:
    try:
        return path.name, path.read_bytes()
    except OSError as error:
        raise Refused(f"{path.name} cannot be read ({error.strerror})", "a wish", "check the path") from None


def _head(answer: FishPlanAnswer) -> Iterator[str]:
    plan = answer.plan
    fish = "a consignment without a number" if plan.wish.fish is None else f"{plan.wish.fish} fish"
    yield f"FISH TO TEST: {answer.title}"
    yield f"plan {answer.id[:12]}, drawn by lot from seed {plan.seed}"
    yield ""
    yield f"Of {fish}, {plan.tested} are tested."
    share = f"{plan.wish.prevalence:.3g}"
    yield f"If a share of {share} is affected, one or more are found with probability {plan.reached:.3f}."
    if plan.needed:
        yield f"Not as wished: {plan.needed}."


def _picks(plan: FishPlan) -> Iterator[str]:
    for pick in plan.picks:
        yield "Fish:" if pick.bag is None else f"Bag {pick.bag}:"
        width = max(map(len, pick.fish)) + 6
        row = max(1, _LINE // width)
        for start in range(0, len(pick.fish), row):
            yield "".join(f"[ ] {name}".ljust(width) for name in pick.fish[start : start + row]).rstrip()


def _foot(answer: FishPlanAnswer) -> Iterator[str]:
    plan = answer.plan
    yield "Departures (fish that is not there, dead, or taken in another's place):"
    yield from ("_" * 60, "_" * 60)
    yield "Drawn by, date: ____________________    Tested by, date: ____________________"
    yield ""
    pool = plan.pool
    if pool is not None and pool.members > 1:
        yield f"Pour {pool.members} waters together in equal parts, and keep a sealed split of each."
        yield "A positive pool says that at least one of its waters is, not which: read its splits one by one."
    yield from (f"{opened(line)}." for line in (*SCREENING[:1], *plan.remarks))

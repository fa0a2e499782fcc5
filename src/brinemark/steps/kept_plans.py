"""Plans that are kept as records, listed and opened again: for batches of electrodes, and for fish of consignments."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol, TypeVar

from brinemark.records.text import nearest, shown
from brinemark.steps.chosen import FEWEST_DIGITS
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.place import Place
from brinemark.steps.plan_batch_answers import BatchPlanned
from brinemark.steps.plan_fish import FISH_PLAN, FishPlanAnswer
from brinemark.steps.revive import revive
from brinemark.steps.run_plans import BATCH_PLAN
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.fish_plans import FishPlan
from brinemark.terms.stored import Record

ROLE = "next batch"
LONGEST_TITLE = 80


class _Titled(Protocol):
    @property
    def id(self) -> str: ...

    @property
    def title(self) -> str: ...


Plan = TypeVar("Plan", bound=_Titled)


@dataclass(frozen=True, slots=True, eq=False)
class KeptBatchPlan:
    """A plan for a batch as it was kept. new : whether it was kept now."""

    id: str
    kept_at: str
    title: str
    answer: BatchPlanned
    new: bool = False

    def head(self) -> dict[str, Any]:
        """One line of `batch-plans --json`."""
        best = self.answer.plans[0]
        return {
            "batch_plan": self.id,
            "title": self.title,
            "kept_at": self.kept_at,
            "electrodes": self.answer.electrodes,
            "aim": self.answer.wish.aim,
            "levels": list(self.answer.wish.levels),
            "burned": len(best.plan.burned),
            "samples": best.plan.samples,
            "sentence": self.answer.sentence,
        }

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `batch-plans PLAN --json`: that of `plan-batch`, and what it was kept as."""
        return {**self.answer.to_dict(), "batch_plan": self.id, "title": self.title, "kept_at": self.kept_at}


def keep_batch_plan(place: Place, answer: BatchPlanned, title: str) -> KeptBatchPlan:
    """Keep a plan as a record made from its calibration; the same plan again changes nothing. Raises Refused."""
    if not answer.plans:
        raise Refused("a wish without a plan", "one with a plan", f"{answer.reason}")
    recipe = Recipe(BATCH_PLAN, ROLE, (("calibration", answer.calibration),), _wished(place, answer))
    results: Any = {"plan": finite(asdict(answer)), "title": _checked(title) or f"{answer.electrodes} electrodes"}
    with place.database.writing() as writer:
        new = bool(writer.add_records([recipe.record(Made(results, {}))]))
        if new:
            writer.seal("batch planned", recipe.id[:12], {"batch plan": recipe.id, "electrodes": answer.electrodes})
    return _batch_plan(place, recipe.id, new)


def _wished(place: Place, answer: BatchPlanned) -> dict[str, JsonValue]:
    """All that decides a plan beside its calibration: the wish, decisions and prices."""
    costs = place.settings.costs
    said: dict[str, Any] = {
        "electrodes": answer.electrodes,
        "instrument": answer.instrument,
        "wish": asdict(answer.wish),
        "max_fold": answer.max_fold,
        "beta": answer.beta,
        "unit": answer.unit,
        "costs": [costs.electrode, costs.hour, costs.reading_h],
    }
    found: dict[str, JsonValue] = finite(said)
    return found


def _checked(title: str) -> str:
    if len(title) > LONGEST_TITLE or not title.isprintable():
        came = f"a title of {len(title)} letters"
        raise Refused(came, f"one line of at most {LONGEST_TITLE}", "shorten it", column="title")
    return title.strip()


def _batch_plan(place: Place, name: str, new: bool) -> KeptBatchPlan:
    with place.database.reading() as reader:
        record = reader.records([name])[name]
    return _kept_batch(record, new)


def _kept_batch(record: Record, new: bool = False) -> KeptBatchPlan:
    results: Any = record.results
    return KeptBatchPlan(record.id, record.made_at, results["title"], revive(BatchPlanned, results["plan"]), new)


def batch_plans(place: Place) -> list[KeptBatchPlan]:
    """Every plan for a batch that was kept, oldest first."""
    with place.database.reading() as reader:
        return [_kept_batch(record) for record in reader.newest_first(BATCH_PLAN)][::-1]


def batch_plan_named(place: Place, name: str) -> KeptBatchPlan:
    """The plan for a batch of this title, or whose id begins so. Raises Refused when there is none, or several."""
    return _named(batch_plans(place), name, "plans for a batch", "batch-plans")


def fish_plans(place: Place) -> list[FishPlanAnswer]:
    """Every plan for a consignment, oldest first."""
    with place.database.reading() as reader:
        return [_kept_fish(record) for record in reader.newest_first(FISH_PLAN)][::-1]


def fish_plan_named(place: Place, name: str) -> FishPlanAnswer:
    """The plan for a consignment of this title, or whose id begins so. Raises Refused."""
    return _named(fish_plans(place), name, "plans for a consignment", "fish-plans")


def _kept_fish(record: Record) -> FishPlanAnswer:
    results: Any = record.results
    settings: Any = record.settings
    plan = revive(FishPlan, results["plan"])
    return FishPlanAnswer(record.id, False, results["title"], plan, settings["unit"], record.made_at)


def fish_plan_head(one: FishPlanAnswer) -> dict[str, Any]:
    """One line of `fish-plans --json`."""
    return {
        "fish_plan": one.id,
        "title": one.title,
        "kept_at": one.made_at,
        "fish": one.plan.wish.fish,
        "prevalence": one.plan.wish.prevalence,
        "confidence": one.plan.wish.confidence,
        "tested": one.plan.tested,
        "reached": one.plan.reached,
        "seed": one.plan.seed,
    }


def _named(plans: Sequence[Plan], name: str, what: str, verb: str) -> Plan:
    found = [one for one in plans if one.title == name or (len(name) >= FEWEST_DIGITS and one.id.startswith(name))]
    if len(found) != 1:
        ids = ", ".join(one.id[:12] for one in found)
        alike = nearest(name, [one.title for one in plans])
        hint = f"name it by its id: {ids}" if found else f"did you mean {shown(alike)}?" if alike else f"see {verb}"
        raise Refused(f"{len(found)} {what} {shown(name)}", "one, by its title or the digits of its id", hint)
    return found[0]

"""The run that a plan for a batch or for a sample asks for: what `lay_out` takes, with the names of the samples."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from brinemark.records.text import shown
from brinemark.science.amount.simulate import Protocol
from brinemark.science.planning.plans import BatchPlan
from brinemark.steps.kept_plans import batch_plan_named
from brinemark.steps.place import Place
from brinemark.steps.plan_batch_answers import PlannedBatch
from brinemark.steps.plan_sample_answers import PlannedSample
from brinemark.terms.errors import Refused
from brinemark.terms.sample_plans import PlannedAddition


def rises_of(protocol: Protocol) -> tuple[tuple[float, ...], float | None]:
    """Additions of a protocol, and its closing spike apart from them."""
    if protocol.spiked:
        return protocol.additions[:-1], protocol.additions[-1]
    return protocol.additions, None


def run_of(one: PlannedBatch) -> dict[str, Any]:
    """What is asked of a run by a plan, as a file of lay-out says it; samples are yet to be named.

    A run gives all electrodes the pre-scan, and all of one role the same additions, also where a plan gives fewer.
    """
    plan = one.plan
    protocols = [plan.use.protocol, *(burned.protocol for burned in plan.burned)]
    levels = [burned.level for burned in plan.burned]
    blanks = levels.count(0.0)
    rises, spike = rises_of(next((way for way in protocols if way.additions), plan.use.protocol))
    found: dict[str, Any] = {
        "blanks": blanks,
        "standards": len(levels) - blanks,
        "levels": sorted(level for level in levels if level > 0),
        "bracket": blanks > 1,
        "prescan": any(way.prescan for way in protocols),
        "addition": [{"rise": _three(rise)} for rise in rises],
    }
    if spike:
        found["closing_spike"] = {"rise": _three(spike)}
    if roles := _added_to(plan):
        found["add_to"] = roles
    return found


def _added_to(plan: BatchPlan) -> list[str]:
    """Roles whose electrodes get additions; none where all get them, or nobody does."""
    of_samples = bool(plan.use.protocol.additions)
    if all(bool(one.protocol.additions) == of_samples for one in plan.burned):
        return []
    burned = {"standard" if one.level else "blank" for one in plan.burned if one.protocol.additions}
    return [*sorted(burned), *(("sample", "control") if of_samples else ())]


def portions_of(dilutions: Sequence[float], names: Sequence[str]) -> list[dict[str, object]]:
    """Each named sample in every dilution of the plan, on as many electrodes as see it."""
    seen = Counter(dilutions)
    return [
        {"name": name, "dilution": dilution, "electrodes": count} for name in names for dilution, count in seen.items()
    ]


def run_of_sample(planned: PlannedSample) -> dict[str, Any]:
    """What is asked of a run by the plan of a sample, as a file of lay-out says it, without blanks and standards.

    A run gives all electrodes of a sample the same additions, also where the plan gives fewer to some of them.
    """
    most = max((row.additions for row in planned.chosen), key=len)
    found: dict[str, Any] = {
        "batches": [planned.batch],
        "instrument": planned.instrument,
        "prescan": planned.prescan,
        "volume_mL": planned.cell_mL,
        "sample": portions_of([row.dilution for row in planned.chosen], [planned.sample]),
    }
    if planned.lot is not None:
        found["matrix_lot"] = planned.lot
    if rising := [_addition(one) for one in most if not one.spike]:
        found["addition"] = rising
    if spikes := [_addition(one) for one in most if one.spike]:
        found["closing_spike"] = spikes[0]
    if most:
        found["add_to"] = ["sample"]
    return found


def _addition(one: PlannedAddition) -> dict[str, Any]:
    rise = {"rise": _three(one.rise)}
    return rise if one.stock is None else {**rise, "stock": one.stock}


def planned_run(place: Place, values: Mapping[str, object]) -> dict[str, object]:
    """What a run is asked for, with what its kept plan says wherever the values themselves say nothing.

    values : as records.run_request takes them; `plan` is the title of a kept plan for a batch, or the first digits of
    its id. A sample with its name alone is read as the plan reads samples. Without `plan` nothing is added. Raises
    Refused.
    """
    name = values.get("plan")
    if name is None:
        return dict(values)
    if not isinstance(name, str):
        raise Refused(f"{shown(name)} as plan", "a plan for a batch that was kept", "see batch-plans", column="plan")
    kept = batch_plan_named(place, name)
    best = kept.answer.plans[0]
    found = {**run_of(best), "instrument": kept.answer.instrument, **values, "plan": kept.id}
    samples = values.get("sample")
    if isinstance(samples, Sequence) and not isinstance(samples, str):
        found["sample"] = list(_spread(samples, best.plan.use.dilutions))
    return found


def _spread(samples: Sequence[object], dilutions: Sequence[float]) -> Iterator[object]:
    for one in samples:
        if isinstance(one, Mapping) and set(one) == {"name"}:
            yield from portions_of(dilutions, [one["name"]])
        else:
            yield one


def _three(value: float) -> float:
    return float(f"{value:.3g}")

"""Plans for the next batch from the logbook's own history; nothing is stored."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.amount.scale import drift_is_measured
from brinemark.science.amount.simulate import Protocol
from brinemark.science.planning.allocation import Allocation, Planner, Ranked
from brinemark.science.planning.candidates import protocols
from brinemark.science.planning.figures import AIMS, Aim, PlanFigures, Prices, Wish
from brinemark.science.planning.gains import gains
from brinemark.science.planning.plans import BatchPlan, Use
from brinemark.steps.chosen import Chosen, current
from brinemark.steps.packing import unpack_calibration
from brinemark.steps.place import Place
from brinemark.steps.plan_batch_answers import BatchPlanned, PlannedBatch
from brinemark.steps.what_helps_answers import Helps
from brinemark.terms.amounts import Calibration
from brinemark.terms.errors import Refused
from brinemark.terms.wording import amount

MOST, MOST_LEVELS = 24, 6
AROUND_K = (0.5, 1.0, 2.0)
LEAST_FACTOR, MOST_FACTOR = 1.01, 100.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a plan is asked for. levels : None = half of K, K and twice K of the logbook; samples : at least so many;
    detectable : for the wish "cost"; instrument : None = that of most calibration electrodes."""

    electrodes: int
    wish: str = "answers"
    levels: tuple[float, ...] | None = None
    samples: int = 1
    detectable: float | None = None
    instrument: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """Who plans: the logbook's calibration, the wish, and the answer as far as it is known beforehand."""

    place: Place
    chosen: Chosen
    calibration: Calibration
    planner: Planner
    answer: BatchPlanned


def usual_ways(place: Place) -> dict[str, Protocol]:
    """Ways of reading an electrode by name, with additions as this logbook makes them. Raises Refused without a
    calibration."""
    with place.database.reading() as reader:
        chosen = current(place, reader)
        return protocols(unpack_calibration(reader.record(chosen.record.id) or chosen.record))


def plan_batch(place: Place, wanted: Wanted) -> BatchPlanned:
    """The best use of the electrodes of a new batch, and those behind it.

    A wish that cannot be met is answered with what would be needed. Raises Refused for a wish that says nothing, and
    without a calibration.
    """
    with place.database.reading() as reader:
        bench = _bench(place, reader, wanted)
    reason = _impossible(bench, wanted)
    if reason is not None:
        return replace(bench.answer, reason=reason)
    allocation = bench.planner.allocation(wanted.electrodes)
    answer = _answered(bench, allocation)
    return answer if answer.plans[0].meets and _does(answer) else replace(answer, reason=_needed(bench, answer, wanted))


def what_helps(place: Place, wanted: Wanted, factor: float = 2.0) -> Helps:
    """The best plan's figures if one part of the electrodes' making or reading were better by a factor.

    Raises Refused for a factor that is none, and as plan_batch.
    """
    if not LEAST_FACTOR <= factor <= MOST_FACTOR:
        expected = f"{LEAST_FACTOR:g} to {MOST_FACTOR:g}"
        raise Refused(f"factor {factor:g}", expected, "say by what scatters are to be divided, such as 2")
    with place.database.reading() as reader:
        bench = _bench(place, reader, wanted)
    reason = _impossible(bench, wanted)
    if reason is not None:
        return Helps(replace(bench.answer, reason=reason), factor)
    answer = _answered(bench, bench.planner.allocation(wanted.electrodes))
    return Helps(answer, factor, gains(bench.planner, answer.plans[0].plan, factor))


def _bench(place: Place, reader: Reader, wanted: Wanted) -> _Bench:
    chosen = current(place, reader)
    calibration = unpack_calibration(reader.record(chosen.record.id) or chosen.record)
    wish = _wish(wanted, calibration)
    if wanted.instrument is not None and wanted.instrument not in calibration.instruments:
        came, expected = f"instrument {wanted.instrument}", f"one of {', '.join(calibration.instruments)}"
        raise Refused(came, expected, "name one that the calibration knows")
    costs, decision = place.settings.costs, place.settings.decision
    prices = Prices(costs.electrode, costs.hour, costs.reading_h)
    planner = Planner.of(calibration, wish, decision, prices, wanted.instrument)
    answer = BatchPlanned(
        calibration=chosen.record.id,
        analyte=chosen.definition.analyte,
        unit=chosen.definition.level_unit,
        batches=len(set(calibration.readings.batch)),
        instrument=planner.batches.instrument,
        electrodes=wanted.electrodes,
        wish=wish,
        max_fold=decision.max_fold,
        beta=decision.beta,
        currency=costs.currency,
        costs_set=prices.known,
        drift_measured=drift_is_measured(calibration.readings),
    )
    return _Bench(place, chosen, calibration, planner, answer)


def _wish(wanted: Wanted, calibration: Calibration) -> Wish:
    """The wish as the planner takes it, checked."""
    aims: dict[str, Aim] = {one: one for one in AIMS}
    if wanted.wish not in aims:
        raise Refused(f"wish {wanted.wish}", f"one of {', '.join(AIMS)}", "name one of these")
    if wanted.electrodes > MOST:
        raise Refused(f"{wanted.electrodes} electrodes", f"0 to {MOST}", "plan one batch at a time")
    levels = _own_levels(calibration) if wanted.levels is None else wanted.levels
    if not 1 <= len(levels) <= MOST_LEVELS or not all(math.isfinite(one) and one > 0 for one in levels):
        came = f"levels {', '.join(f'{one:g}' for one in levels) or 'none'}"
        raise Refused(came, f"1 to {MOST_LEVELS} levels above 0", "give levels of samples at which the plan is judged")
    if wanted.samples < 1:
        raise Refused(f"{wanted.samples} samples", "1 or more", "say how many samples the batch has to serve at least")
    found = wanted.detectable
    if (wanted.wish == "cost") != (found is not None):
        came = 'the wish "cost" without a value' if found is None else f"a minimum detectable value and {wanted.wish}"
        raise Refused(came, "both or neither", 'give the minimum detectable value that is wanted with the wish "cost"')
    if found is not None and not (math.isfinite(found) and found > 0):
        raise Refused(f"minimum detectable value {found:g}", "a level above 0", "give the level that is to be found")
    return Wish(aims[wanted.wish], tuple(sorted(set(levels))), wanted.samples, found)


def _own_levels(calibration: Calibration) -> tuple[float, ...]:
    K = float(np.exp(np.median(calibration.draws[:, calibration.names.index("ln_K")])))
    return tuple(float(f"{factor * K:.2g}") for factor in AROUND_K)


def _impossible(bench: _Bench, wanted: Wanted) -> str | None:
    """What is needed for a wish that no plan can meet, without a look at plans."""
    if wanted.electrodes < 1:
        return "nothing is read without an electrode; it takes at least 1, and 2 or more for standards beside samples"
    if wanted.samples > wanted.electrodes:
        return f"{wanted.samples} samples need at least {wanted.samples} electrodes, since each answers once"
    highest, top = bench.calibration.highest_level, max(bench.answer.wish.levels)
    most = max(max(one.dilutions) for one in bench.planner.uses(wanted.electrodes))
    if top > highest * most and bench.answer.wish.aim in ("answers", "narrow"):
        times = math.ceil(top / highest)
        return (
            f"{amount(top)} {bench.answer.unit} lies above the highest standard, {amount(highest)}, even diluted "
            f"{most:g} times: dilute at least {times} times before, or add higher standards"
        )
    return None


def _answered(bench: _Bench, allocation: Allocation) -> BatchPlanned:
    names = {protocol: name for name, protocol in protocols(bench.calibration).items()}

    def planned(one: Ranked) -> PlannedBatch:
        plan = one.figures.plan
        ways = tuple(names[burned.protocol] for burned in plan.burned)
        return PlannedBatch(one.figures, names[plan.use.protocol], ways, one.tie, one.meets)

    return replace(
        bench.answer,
        plans=tuple(map(planned, allocation.plans)),
        by_burned=tuple(map(planned, allocation.by_burned)),
        limit=allocation.limit,
        tried=allocation.tried,
    )


def _does(answer: BatchPlanned) -> bool:
    """Whether the best plan does anything of what is wished."""
    best = answer.plans[0].figures
    if answer.wish.aim == "answers":
        return best.answers.value > 0
    return answer.wish.aim != "narrow" or any(math.isfinite(one.value) for one in best.fold)


def _needed(bench: _Bench, answer: BatchPlanned, wanted: Wanted) -> str:
    """Why no plan meets the wish, and what would be needed."""
    unit, best = answer.unit, answer.plans[0].figures
    if answer.wish.aim == "cost" and wanted.detectable is not None:
        least = min((one.figures.detectable.value for one in answer.plans), default=math.inf)
        said = f"the least minimum detectable value of these plans is {_level(least)} {unit}"
        known = _all_on_one(bench, wanted.electrodes)
        if known.detectable.value > wanted.detectable:
            helpful = _what_would(bench, best.plan, wanted.detectable)
            limit = f"with all {wanted.electrodes} on one sample and the batch known exactly it is still"
            return f"{said}; {limit} {_level(known.detectable.value)}, which floor, noise and scatter set{helpful}"
        return f"{said}; full knowledge of the batch would allow it, so more electrodes or batches are needed"
    if best.plan.samples < wanted.samples:
        return f"no plan here serves {wanted.samples} samples"
    most = answer.limit.answers.value if answer.limit is not None else 0.0
    helped = f"with full knowledge of the batch this use would answer {most:.2g} samples"
    levels = ", ".join(amount(one) for one in answer.wish.levels)
    return (
        f"hardly an interval at {levels} {unit} is within a fold of {answer.max_fold:g}; {helped}; "
        "what-helps says which part of the making or reading would change that"
    )


def _level(value: float) -> str:
    return amount(value) if math.isfinite(value) else "none within the ladder of levels"


def _all_on_one(bench: _Bench, electrodes: int) -> PlanFigures:
    """Every electrode on one sample, all known of the batch: no plan finds less."""
    found = []
    for protocol in protocols(bench.calibration).values():
        use = Use(protocol, (1.0,) * electrodes)
        found.append(bench.planner.measure(BatchPlan(electrodes, (), use), known=True).figures)
    return min(found, key=lambda one: one.detectable.value)


def _what_would(bench: _Bench, plan: BatchPlan, wanted: float) -> str:
    """What would reach it if it were halved."""
    able = [one.part for one in gains(bench.planner, plan, 2.0)[1:] if one.figures.detectable.value <= wanted]
    return f"; half the {' or half the '.join(able)} would reach it" if able else "; no part alone, halved, reaches it"

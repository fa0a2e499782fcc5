"""Trials on fish of known history: every tank judged as if its history were not known, then compared with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from brinemark.science.fish.rates import exact_rate
from brinemark.science.fish.trials import cost, fit_recalibration, judge_trial, with_recalibration
from brinemark.science.fish.wording import NOT_AN_ALL_CLEAR
from brinemark.science.fish.worlds import OWN, World
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.interpret import FishDesk, fish_desk, fish_identity
from brinemark.steps.known_waters import EXPOSED, UNEXPOSED, KnownTank, known_tanks, system_water
from brinemark.steps.place import Place
from brinemark.steps.tank_history import histories_in, story_of
from brinemark.steps.tank_words import SCREENING
from brinemark.steps.trial_lines import TRIAL
from brinemark.steps.weighing import Question, weighed
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import Cap, Rate, Recalibration, TrialResult
from brinemark.terms.tanks import HEAVY, LIGHT

FEWEST = 10
"""Tanks of each kind from which on a trial may recalibrate ratios."""
FEW = (
    "with so few tanks the rates say little: their exact intervals are what counts",
    "a trial holds for fish, waters and handling like its own; captive-bred fish are not wild ones caught with a net",
)


@dataclass(frozen=True, slots=True)
class JudgedTank:
    """One tank of known history: what was found in its newest water, and the log10 ratio in each world with all that is
    known of other tanks, None where there is none."""

    consignment: str
    tank: str
    kind: str
    history: str
    sample: str | None
    sentence: str
    found: bool | None
    ratios: tuple[tuple[str, float | None], ...]


@dataclass(frozen=True, slots=True, eq=False)
class WorldTrial:
    """One world's ratios against what is known. result None : reason says why; recalibration : the line through the
    ratios where both kinds are FEWEST or more; recalibrated_cost : Cllr after it."""

    world: str
    result: TrialResult | None
    reason: str | None
    recalibration: Recalibration | None
    recalibrated_cost: float | None


@dataclass(frozen=True, slots=True, eq=False)
class TrialAnswer:
    """id : of its record, "" while it is not kept; rates : shares of tanks with thiocyanate found, by history, with
    exact 95 % intervals; specificity : of the tanks of unexposed fish, shares without."""

    id: str
    alpha: float
    tanks: tuple[JudgedTank, ...]
    rates: tuple[tuple[str, Rate], ...]
    specificity: Rate
    worlds: tuple[WorldTrial, ...]
    cap: Cap
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `trials --json`."""
        plain = {
            "schema": ANSWER_SCHEMA,
            "trial": self.id,
            "alpha": self.alpha,
            "tanks": [{**asdict(one), "ratios": dict(one.ratios)} for one in self.tanks],
            "rates": [{"history": name, **asdict(rate)} for name, rate in self.rates],
            "specificity": asdict(self.specificity),
            "worlds": [_world_dict(one) for one in self.worlds],
            "cap": {**asdict(self.cap), "caution": self.cap.caution},
            "cautions": list(self.cautions),
        }
        return finite(plain)  # type: ignore[no-any-return]


def _world_dict(one: WorldTrial) -> dict[str, Any]:
    plain = asdict(one)
    if plain["result"] is not None:
        curve = plain["result"]["roc"]
        plain["result"]["roc"] = {
            name: values.tolist() if isinstance(values, np.ndarray) else values for name, values in curve.items()
        }
    return plain


def consider_trials(place: Place) -> TrialAnswer:
    """What the tanks of known history say of the method; nothing is stored. Raises Refused without any."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    return trial_of(desk)


def judge_trials(place: Place) -> TrialAnswer:
    """The same, kept as a record; interpretations then use what it says of ratios. Raises Refused."""
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
    answer = trial_of(desk)
    recipe = _recipe(desk)
    record = recipe.record(Made({**answer.to_dict(), "trial": None}, {}))
    with place.database.writing() as writer:
        if writer.add_records([record]):
            writer.seal("trial judged", record.id[:12], {"trial": record.id, "tanks": len(answer.tanks)})
    return replace(answer, id=record.id)


def kept_trial(place: Place) -> str | None:
    """Id of the record of the trial as it would be judged now, None when that is not kept."""
    with place.database.reading() as reader:
        name = _recipe(fish_desk(place, reader)).id
        return name if reader.known_record_ids([name]) else None


def _recipe(desk: FishDesk) -> Recipe:
    known = known_tanks(desk.consignments.values(), desk.waters)
    names = dict.fromkeys(one.consignment for one in known)
    parents = [("tank record", desk.consignments[name].id) for name in names]
    parents += [("reading", one.water.reading_id) for one in known if one.water and one.water.reading_id]
    seed = desk.scales.drawing.seed
    return Recipe(TRIAL, "known fish", tuple(dict.fromkeys(parents)), fish_identity(desk), seed)


def trial_of(desk: FishDesk) -> TrialAnswer:
    """What a desk that is there already says. Raises Refused without tanks of known history."""
    known = [one for one in known_tanks(desk.consignments.values(), desk.waters) if one.fish]
    if not known:
        came = "no tank of fish whose history is known"
        remedy = "record tanks of captive-bred fish, and of fish of a permitted trial, with their history"
        raise Refused(came, "tanks of unexposed and of exposed fish", remedy)
    judged = tuple(_judged(desk, one) for one in known)
    rates = tuple(
        (name, _found([one for one in judged if one.kind == EXPOSED and one.history in names]))
        for name, names in (("any exposure", (LIGHT, HEAVY, "mixed")), (LIGHT, (LIGHT,)), (HEAVY, (HEAVY,)))
    )
    clean = _found([one for one in judged if one.kind == UNEXPOSED])
    return TrialAnswer(
        "",
        desk.rule.alpha,
        judged,
        rates,
        exact_rate(clean.of - clean.count, clean.of),
        tuple(_world(world.name, judged, desk.scales.cap.population) for world in _worlds(desk)),
        desk.scales.cap,
        (*FEW, NOT_AN_ALL_CLEAR, SCREENING),
    )


def _worlds(desk: FishDesk) -> list[World]:
    """The published worlds; one's own was fitted to these very tanks, so that they cannot judge it."""
    return [one for one in desk.scales.worlds if one.name != OWN]


def _found(tanks: Sequence[JudgedTank]) -> Rate:
    told = [one for one in tanks if one.found is not None]
    return exact_rate(sum(bool(one.found) for one in told), len(told))


def _judged(desk: FishDesk, one: KnownTank) -> JudgedTank:
    """A tank of known history, weighed against a background that does not know it."""
    consignment = desk.consignments[one.consignment]
    histories = histories_in(consignment, one.tank)
    history = histories[0] if len(histories) == 1 else "mixed"
    plain = JudgedTank(one.consignment, one.tank, one.kind, history, None, "no reading", None, ())
    if one.water is None:
        return plain
    without = (one.consignment, one.tank) if one.kind == UNEXPOSED else None
    if without is None:
        known = desk.system(one.system)
    else:
        known = system_water(one.system, desk.consignments.values(), desk.waters, without)
    story = story_of(consignment, one.tank)
    question = Question(
        story,
        story.fish,
        (one.water,),
        known.background,
        (),
        False,
        None,
        moves=False,
    )
    ratios = tuple((world.name, _ratio(question, world, desk)) for world in _worlds(desk))
    return replace(plain, sample=one.water.sample, sentence=one.water.sentence, found=one.water.found, ratios=ratios)


def _ratio(question: Question, world: World, desk: FishDesk) -> float | None:
    weight = weighed(question, world, desk.scales).weight
    return None if weight is None else weight.log10_ratio


def _world(name: str, judged: Sequence[JudgedTank], population: str) -> WorldTrial:
    ratios = [(one.kind, ratio) for one in judged if (ratio := dict(one.ratios).get(name)) is not None]
    exposed = np.array([ratio for kind, ratio in ratios if kind == EXPOSED])
    unexposed = np.array([ratio for kind, ratio in ratios if kind == UNEXPOSED])
    if not (exposed.size and unexposed.size):
        reason = f"ratios of {exposed.size} tanks of exposed and {unexposed.size} of unexposed fish; both are needed"
        return WorldTrial(name, None, reason, None, None)
    result = judge_trial(exposed, unexposed, population)
    if min(exposed.size, unexposed.size) < FEWEST or not (exposed.any() or unexposed.any()):
        return WorldTrial(name, result, None, None, None)
    line = fit_recalibration(exposed, unexposed, population)
    after = cost(with_recalibration(exposed, line), with_recalibration(unexposed, line))
    return WorldTrial(name, result, None, line, after)

"""Waters that consignments name, as they were read: the newest reading of each, with levels in ug/L."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.fish.integration import likelihood_of_curve
from brinemark.science.fish.samples import TankSample
from brinemark.steps.answers import SampleReading
from brinemark.steps.fish_answers import WaterAnswer
from brinemark.steps.in_unit import restated, unit_factors
from brinemark.steps.place import Place
from brinemark.steps.read import answer_of
from brinemark.steps.run_plans import sample_names, with_plans
from brinemark.steps.tank_history import TankStory
from brinemark.terms.evidence import LevelLikelihood
from brinemark.terms.tanks import SAMPLE, Consignment, TankRow

UNIT = "ug/L"
NOT_READ = "not read yet"
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, eq=False)
class WaterReading:
    """The newest reading of a water: answer with its levels in ug/L; measured_at : when its first electrode was."""

    answer: SampleReading
    measured_at: datetime

    @property
    def sentence(self) -> str:
        """The statement without the name of the sample."""
        return self.answer.sentence.removeprefix(f"{self.answer.sample}: ")


def water_readings(place: Place, reader: Reader, names: Sequence[str]) -> dict[str, WaterReading]:
    """The newest reading of each of the waters that was read, by name; by its own where a run had a code for it.

    Raises Refused where the logbook's unit of levels cannot be turned into ug/L.
    """
    wanted, own = set(names), sample_names(with_plans(reader)[1])
    newest: dict[str, str] = {}
    for record in reader.newest_first("reading"):
        code = record.role.removeprefix("sample ")
        if own.get(code, code) in wanted:
            newest.setdefault(own.get(code, code), record.id)
    found = reader.records(list(newest.values()), arrays=True)
    answers = [answer_of(found[one]) for one in newest.values()]
    if answers and place.settings.analyte.level_unit != UNIT:
        factors = unit_factors(place, [answer.sample for answer in answers], UNIT)
        answers = restated(answers, factors, UNIT)
    when: dict[str, datetime] = {}
    for row in reader.rows(samples=sorted(answer.sample for answer in answers)):
        code, at = row.row.sample or "", row.row.measured_at
        when[code] = min(when.get(code, at), at)
    pairs = zip(newest, answers, strict=True)
    return {name: WaterReading(answer, when[answer.sample]) for name, answer in pairs if answer.sample in when}


@dataclass(frozen=True, slots=True)
class Rule:
    """alpha : error of the first kind from which thiocyanate counts as found in a consignment; hold_h : how long a
    water keeps what is in it [h], None = not measured."""

    alpha: float
    hold_h: float | None


def water_answer(row: TankRow, read: WaterReading | None, rule: Rule, remarks: tuple[str, ...] = ()) -> WaterAnswer:
    """A row of a tank record, sample or blank, with what was read of it."""
    kind = SAMPLE if row.what == SAMPLE else str(row.blank)
    plain = WaterAnswer(str(row.sample), kind, row.tank, row.at, NOT_READ, remarks=remarks)
    if read is None:
        return plain
    hours = (read.measured_at - row.at).total_seconds() / HOUR_S
    late = rule.hold_h is not None and hours > rule.hold_h
    one = read.answer.reading
    found = None if one.detection is None or one.statement == "cannot say" else one.detection.p_value <= rule.alpha
    if late and not found:
        found = None  # what was lost in the bottle cannot be told from what was never there
    return replace(
        plain,
        sentence=read.sentence,
        reading=one,
        reading_id=read.answer.id,
        found=found,
        hours=hours,
        late=late,
        remarks=(*remarks, *_time_remarks(hours, rule.hold_h)),
    )


def _time_remarks(hours: float, hold_h: float | None) -> tuple[str, ...]:
    if hours < 0.0:
        return (f"it was read {-hours:.1f} h before it was taken: one of the two times is wrong",)
    if hold_h is None:
        return (f"read {hours:.0f} h after it was taken; how long this water keeps its thiocyanate was not measured",)
    if hours > hold_h:
        return (
            f"read {hours:.0f} h after it was taken, longer than the {hold_h:g} h for which a stored water was seen to "
            "keep its thiocyanate: the reading is a lower limit",
        )
    return ()


def likelihood_of(water: WaterAnswer) -> LevelLikelihood | None:
    """How probable the reading is at each level in the water when it was taken; None where nothing was read.

    Of a water that was kept too long, each level is as probable as the likeliest one up to it, since any part of it may
    have been lost.
    """
    one = water.reading
    if one is None or one.curve is None or one.statement == "cannot say":
        return None
    found = likelihood_of_curve(one.curve)
    if not water.late:
        return found
    least = np.maximum.accumulate(found.log_likelihood)
    return LevelLikelihood(found.level, least, max(found.at_infinity, float(least[-1])))


def usable_samples(
    consignment: Consignment, story: TankStory, waters: Mapping[str, WaterAnswer]
) -> dict[str, TankSample]:
    """Samples of a tank with their likelihoods, by name: those that were read, and not "cannot say"."""
    found = {}
    for row in consignment.samples_of(story.tank):
        likelihood = likelihood_of(waters[str(row.sample)])
        if likelihood is not None:
            found[str(row.sample)] = TankSample(story.tank, story.day(row.at), likelihood)
    return found

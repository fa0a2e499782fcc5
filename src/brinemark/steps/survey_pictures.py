"""What the charts of surveys, holds and other methods are drawn from, and the charts themselves."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts import (
    Kind,
    detectability_chart,
    funnel_chart,
    method_pairs,
    prevalence_over_time,
    render,
)
from brinemark.science.fish.other_markers import pairs_by_sample
from brinemark.steps.compare_markers import compare_markers, own_side, sides_of
from brinemark.steps.holds import HOURS_PER_DAY, HeldWorld, HoldAnswer
from brinemark.steps.markers import marker_rows
from brinemark.steps.place import Place
from brinemark.steps.survey_answers import SurveyAnswer, SurveyedWorld
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.fish_pictures import HoldPanel, HoldsPicture, PairedValue, PairsPicture, SplitPair
from brinemark.terms.surveillance import MarkerResult
from brinemark.terms.wording import opened


def draw_funnel(answer: SurveyAnswer, world: str, kind: Kind) -> bytes:
    """The consignments of a survey beside one another, in one world. Raises Refused where there is none."""
    one = _world(answer, world)
    if not one.funnel.points:
        raise Refused("no tested consignment", "one at least", "read the waters of tanks first")
    return render(funnel_chart(one.funnel, f"Consignments beside one another, world: {world}"), kind)


def draw_seasons(answer: SurveyAnswer, world: str, kind: Kind) -> bytes:
    """Prevalence by origin over the seasons, in one world. Raises Refused where there is none."""
    one = _world(answer, world)
    if not one.chart:
        raise Refused("no season with tests", "one at least", "read the waters of tanks first")
    return render(prevalence_over_time(one.chart, f"Prevalence by origin and season, world: {world}"), kind)


def draw_holds(answer: HoldAnswer, kind: Kind) -> bytes:
    """The chance to find thiocyanate of exposed fish by how long they are held."""
    return render(detectability_chart(holds_picture(answer)), kind)


def draw_pairs(place: Place, first: str, second: str, kind: Kind) -> bytes:
    """Two methods on split samples. Raises Refused for names that are not compared, and without a sample of both."""
    return render(method_pairs(pairs_picture(place, first, second)), kind)


def holds_picture(answer: HoldAnswer) -> HoldsPicture:
    """The chances of an answer by day, volume and hold."""
    places = answer.worlds[0].places
    days = np.unique([one.days for one in places])
    volumes = np.unique([one.volume_L for one in places])
    hours = np.unique([one.hours for one in places])
    panels = tuple(_panel(one, (days, volumes, hours)) for one in answer.worlds)
    fish = f"{answer.count} fish of {answer.mass_g:g} g" if answer.count > 1 else f"one fish of {answer.mass_g:g} g"
    words = answer.power.words
    return HoldsPicture(fish, days, volumes, hours / HOURS_PER_DAY, panels, (f"{opened(words)}.",))


def _panel(world: HeldWorld, axes: tuple[FloatArray, FloatArray, FloatArray]) -> HoldPanel:
    days, volumes, hours = axes
    chance = {(one.days, one.volume_L, one.hours): one.probability for one in world.places}
    best = {(one.days, one.volume_L): one.hours for one in world.best}
    probability = np.array([[[chance[d, v, h] for h in hours] for v in volumes] for d in days])
    longest = np.array([[best[d, v] or np.nan for v in volumes] for d in days]) / HOURS_PER_DAY
    return HoldPanel(world.world, probability, longest, world.false_alarm)


def pairs_picture(place: Place, first: str, second: str) -> PairsPicture:
    """Both results of each sample. first, second : as compare_markers names them, "method, marker". Raises Refused."""
    analyte = place.settings.analyte
    with place.database.reading() as reader:
        rows = marker_rows(reader)
        sides = [own_side(reader, {row.sample for row in rows}, analyte), *sides_of(rows, analyte)]
    compared = next((c for c in compare_markers(place).comparisons if (c.first, c.second) == (first, second)), None)
    if compared is None or compared.comparison is None or not compared.same_quantity:
        came = f"{first[:60]!r} beside {second[:60]!r}"
        raise Refused(came, "two methods of one quantity with a sample of both", "see the page of other methods")
    named = {f"{side.name}, {side.marker}": side for side in sides}
    one, other = named[first], named[second]
    pairs = [SplitPair(a.sample, _value(a), _value(b)) for a, b in pairs_by_sample(one.results, other.results)]
    open_above = pairs_by_sample(one.above, other.results)
    pairs += [SplitPair(a.sample, PairedValue(None, a.value), _value(b)) for a, b in open_above]
    return PairsPicture(first, second, one.unit, tuple(pairs), compared.comparison.line, compared.comparison.remarks)


def _value(one: MarkerResult) -> PairedValue:
    return PairedValue(None, upper=one.limit_of_detection) if one.value is None else PairedValue(one.value)


def _world(answer: SurveyAnswer, name: str) -> SurveyedWorld:
    found = next((one for one in answer.worlds if one.world == name), None)
    if found is None:
        raise Refused(f"no survey in the world {name[:40]!r}", "one of the survey", "see its page")
    return found

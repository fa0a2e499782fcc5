"""Charts as files of their own, so that a page needs no time for them and a browser can enlarge and keep them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from brinemark.faces.web.answers import Answer, File
from brinemark.faces.web.looks import row_of
from brinemark.faces.web.pages import (
    considered,
    curve_choice,
    exposures,
    planning,
    planning_samples,
    studies,
    survey,
    trials,
    window,
)
from brinemark.faces.web.visit import Visit
from brinemark.outputs.codes import code_svg
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.draw_fish import TrialChart
    from brinemark.steps.fish_answers import ConsignmentAnswer
    from brinemark.steps.survey_answers import SurveyAnswer

MEDIA: Mapping[str, str] = {"svg": "image/svg+xml", "png": "image/png", "pdf": "application/pdf"}
KEPT_S = 600
LONGEST_CODE = 200


def _calibration(visit: Visit, kind: Kind) -> bytes:
    batches = list(visit.asked.get("batch", ())) or None
    return visit.book.draw_calibration(kind, visit.ask("calibration") or None, batches)


def _fit(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_fit(kind, visit.ask("calibration") or None)


def _residuals(visit: Visit, kind: Kind) -> bytes:
    batches = list(visit.asked.get("batch", ())) or None
    return visit.book.draw_residuals(kind, visit.ask("calibration") or None, batches)


def _readings(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_stored(*visit.asked.get("reading", ()), kind=kind)


def _life(visit: Visit, kind: Kind) -> bytes:
    """Without a statement about the sample: a picture never reads it."""
    return visit.book.draw_life(visit.ask("electrode"), kind, visit.ask("statement"))


def _trace(visit: Visit, kind: Kind) -> bytes:
    row = row_of(visit.desk, visit.ask("row"))
    return visit.book.draw_trace(row, kind, visit.ask("prescan") == "1", visit.ask("covariate"))


def _overlay(visit: Visit, kind: Kind) -> bytes:
    choice = curve_choice.choice_of(visit)
    rows, _ = curve_choice.part_of(visit, choice, curve_choice.rows_for(visit, choice))
    return visit.book.draw_overlay(rows, kind, choice.prescans, choice.above_baseline)


def _code(visit: Visit, _kind: Kind) -> bytes:
    return code_svg(visit.ask("text")[:LONGEST_CODE])


def _consignment(visit: Visit, kind: Kind) -> bytes:
    one = considered.consignment_of(visit, visit.ask("consignment"))
    answer = considered.considered(visit, one)
    if answer is None:
        raise Refused(f"consignment {one.name} that is not worked out", "one that is", "begin it on its page")
    return visit.book.draw_consignment(answer, kind)


def _tank(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_tank(visit.ask("consignment"), visit.ask("tank"), kind)


def _weights(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_weights(*_of_tank(visit), kind)


def _moves(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_moves(*_of_tank(visit), kind)


def _of_tank(visit: Visit) -> tuple[ConsignmentAnswer, str]:
    one = considered.consignment_of(visit, visit.ask("consignment"))
    tank = considered.tank_name_of(visit, one, visit.ask("tank"))
    return considered.considered_tank(visit, one, tank), tank


def _exposures(visit: Visit, kind: Kind) -> bytes:
    answer = exposures.exposures_of(visit, visit.ask("consignment"), visit.ask("tank"))
    return visit.book.draw_exposures(answer, kind)


def _calls(visit: Visit, kind: Kind) -> bytes:
    return _known_fish(visit, "calls", kind)


def _ratios(visit: Visit, kind: Kind) -> bytes:
    return _known_fish(visit, "ratios", kind)


def _known_fish(visit: Visit, of: TrialChart, kind: Kind) -> bytes:
    answer, why = trials.trial_of(visit)
    if answer is None:
        raise Refused("no trial", "tanks of fish of known history", why)
    return visit.book.draw_known_fish(answer, visit.ask("world"), of, kind)


def _funnel(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_funnel(_survey(visit), visit.ask("world"), kind)


def _seasons(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_seasons(_survey(visit), visit.ask("world"), kind)


def _survey(visit: Visit) -> SurveyAnswer:
    answer = survey.survey_of(visit)
    if answer is None:
        raise Refused("a survey that is not worked out", "one that is", "begin it on its page")
    return answer


def _holds(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_holds(survey.holds_of(visit), kind)


def _pairs(visit: Visit, kind: Kind) -> bytes:
    return visit.book.draw_pairs(visit.ask("first"), visit.ask("second"), kind)


DRAWN: Mapping[str, Callable[[Visit, Kind], bytes]] = {
    "calibration": _calibration,
    "fit": _fit,
    "residuals": _residuals,
    "readings": _readings,
    "life": _life,
    "trace": _trace,
    "code": _code,
    "overlay": _overlay,
    "definition": window.draw,
    "consignment": _consignment,
    "tank": _tank,
    "weights": _weights,
    "moves": _moves,
    "exposures": _exposures,
    "calls": _calls,
    "ratios": _ratios,
    "funnel": _funnel,
    "seasons": _seasons,
    "holds": _holds,
    "pairs": _pairs,
    "trade": planning.draw_batch,
    "helps": planning.draw_helps,
    "dilutions": planning_samples.draw,
    "study": studies.draw,
}


def picture(visit: Visit) -> Answer:
    """A chart as SVG, PNG or PDF; drawn once as long as the logbook does not change."""
    name, kind = visit.path["name"], visit.path["kind"]
    if name not in DRAWN or kind not in MEDIA:
        raise Refused(f"no picture {name}.{kind}", f"one of {', '.join(DRAWN)} as svg, png or pdf", "follow a link")
    asked = tuple(sorted((key, tuple(values)) for key, values in visit.asked.items()))
    body = visit.desk.kept(("picture", name, kind, asked), lambda: DRAWN[name](visit, kind))  # type: ignore[arg-type]
    return File(body, MEDIA[kind], None if kind == "svg" else f"{name}.{kind}", KEPT_S if "state" in visit.asked else 0)

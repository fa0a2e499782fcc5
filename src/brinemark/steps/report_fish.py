"""What reports of a consignment and of a trial say, gathered as plain data, with their records and the way back."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from brinemark.outputs.charts import (
    Spec,
    consignment_overview,
    moves_chart,
    ratio_calibration,
    roc_chart,
    tank_timeline,
    weights_chart,
)
from brinemark.records.reader import Reader
from brinemark.records.tank_json import tank_row_to_json
from brinemark.steps.consignments import CORRECTS, FOLLOWS, consignment_named, known_consignments
from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer
from brinemark.steps.fish_heads import words_of_worlds
from brinemark.steps.fish_pictures import (
    consignment_picture,
    minimum_detectable,
    moves_of,
    timeline_of,
    weights_picture,
)
from brinemark.steps.identity import ENGINE
from brinemark.steps.interpret import FishDesk, fish_desk, interpret
from brinemark.steps.kinetics_in_use import kinetics_in_use
from brinemark.steps.place import Place
from brinemark.steps.report_data import CONSIGNMENT, TRIALS, Gathered, youngest
from brinemark.steps.shown import ShownRow
from brinemark.steps.trace_back import way_back
from brinemark.steps.trials import TrialAnswer, consider_trials, kept_trial
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record
from brinemark.terms.tanks import Consignment

MOST_PICTURED = 12
"""With more tanks than that, a report shows their overview alone."""
OVERVIEW_ROWS = 24
LEAST_MOVE = 0.05
"""Of log10 of a ratio; where no assumption moves it by more, a sentence says so in place of a chart."""


def gather_consignment(place: Place, name: str) -> Gathered:
    """Of one consignment, as it is interpreted now; the interpretation is kept. Raises Refused for an unknown one."""
    answer = interpret(place, name)
    used = kinetics_in_use(place)
    with place.database.reading() as reader:
        consignment = consignment_named(known_consignments(reader), name)
        record = reader.records([answer.id])[answer.id]
        rows = _rows(place, reader, answer, record)
        behind = [("interpretation", answer.id), *record.parents, *(("row", row.id) for row in rows)]
        parents = tuple(dict.fromkeys(behind))
        data = {
            "kind": CONSIGNMENT,
            "names": [name],
            "logbook": place.settings.logbook.name,
            "analyte": answer.analyte,
            "unit": answer.unit,
            "youngest": youngest(reader, parents, rows),
            "engine": ENGINE,
            "decision": place.settings.decision.model_dump(mode="json"),
            "consignment": answer.to_dict(),
            "supports": _supports(place, answer),
            "happenings": [tank_row_to_json(row) for row in consignment.rows],
            "kinetics": used.to_dict(),
            "tables": _tables(reader, consignment),
            "rows": [row.to_dict() for row in rows],
            "records": [list(parent) for parent in parents],
        }
    return Gathered(data, parents, lambda: _pictures(place, answer))


def gather_trials(place: Place) -> Gathered:
    """Of the trial that is kept, when it says what would be judged now. Raises Refused without one."""
    considered, kept = consider_trials(place), kept_trial(place)
    if kept is None:
        came = "no trial that is kept of what is recorded now"
        raise Refused(came, "one that is kept", "keep it with 'trials --keep', then report it")
    answer = replace(considered, id=kept)
    with place.database.reading() as reader:
        record = reader.records([kept])[kept]
        parents = (("trial", kept), *record.parents)
        data = {
            "kind": TRIALS,
            "names": sorted({one.consignment for one in answer.tanks}),
            "logbook": place.settings.logbook.name,
            "analyte": place.settings.analyte.name,
            "unit": "ug/L",
            "youngest": youngest(reader, parents, ()),
            "engine": ENGINE,
            "decision": place.settings.decision.model_dump(mode="json"),
            "trial": answer.to_dict(),
            "rows": [],
            "records": [list(parent) for parent in parents],
        }
    return Gathered(data, parents, lambda: _trial_pictures(answer))


def _trial_pictures(answer: TrialAnswer) -> dict[str, Spec]:
    found: dict[str, Spec] = {}
    for number, one in enumerate(answer.worlds):
        if one.result is not None:
            found |= {f"roc {number}": roc_chart(one.result), f"bins {number}": ratio_calibration(one.result)}
    return found


def _rows(place: Place, reader: Reader, answer: ConsignmentAnswer, record: Record) -> list[ShownRow]:
    """Rows of the electrodes that read its own waters, with the signals behind all readings."""
    readings = reader.records([parent for role, parent in record.parents if role == "reading"])
    behind = frozenset(parent for one in readings.values() for _, parent in one.parents)
    waters = [water for tank in answer.tanks for water in tank.samples] + list(answer.blanks)
    own = [readings[water.reading_id] for water in waters if water.reading_id in readings]
    codes = sorted({one.role.removeprefix("sample ") for one in own})
    electrodes = sorted({row.row.electrode for row in reader.rows(samples=codes)}) if codes else []
    return way_back(place, reader, reader.rows(electrodes=electrodes), behind) if electrodes else []


def _supports(place: Place, answer: ConsignmentAnswer) -> list[dict[str, str]]:
    words = words_of_worlds(place, answer)
    pairs = [(tank, *pair) for tank, worlds in words.items() for pair in worlds.items()]
    return [{"tank": tank, "world": world, "words": said} for tank, world, said in pairs]


def _tables(reader: Reader, consignment: Consignment) -> list[dict[str, Any]]:
    """The tank records of the consignment, newest first: each with the file that it came in, where it did."""
    found = []
    name: str | None = consignment.id
    while name is not None:
        record = reader.records([name])[name]
        came = dict(record.parents)
        results: Any = record.results
        said = {"record": record.id, "title": results["title"], "made_at": record.made_at}
        found.append({**said, "sha256": came.get("original")})
        name = came.get(FOLLOWS) or came.get(CORRECTS)
    return found


def _pictures(place: Place, answer: ConsignmentAnswer) -> dict[str, Spec]:
    """All tanks on one picture, in parts of OVERVIEW_ROWS; of few tanks each by itself: timeline, weights, moves."""
    with place.database.reading() as reader:
        desk, least = fish_desk(place, reader), minimum_detectable(place, reader)
    found: dict[str, Spec] = {}
    for start in range(0, len(answer.tanks), OVERVIEW_ROWS):
        part = _part(answer, start)
        found[f"tanks {start // OVERVIEW_ROWS}"] = consignment_overview(consignment_picture(part, least))
    if len(answer.tanks) <= MOST_PICTURED:
        for number, tank in enumerate(answer.tanks):
            found |= _of_tank(desk, answer, (number, tank), least)
    return found


def _part(answer: ConsignmentAnswer, start: int) -> ConsignmentAnswer:
    return replace(answer, tanks=answer.tanks[start : start + OVERVIEW_ROWS])


def _of_tank(
    desk: FishDesk, answer: ConsignmentAnswer, one: tuple[int, TankAnswer], least: float | None
) -> dict[str, Spec]:
    number, tank = one
    found = {}
    if tank.samples:
        found[f"timeline {number}"] = tank_timeline(timeline_of(desk, answer.name, tank, least))
    if any(world.weight is not None for world in tank.worlds):
        found[f"weights {number}"] = weights_chart(weights_picture(tank, answer.cap, desk.scales.scale))
    moves = moves_of(tank)
    if any(each.move >= LEAST_MOVE for world in moves for each in world.moves):
        found[f"moves {number}"] = moves_chart(moves)
    return found

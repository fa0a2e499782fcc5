"""The pictures of reports: the same specifications as on screen, by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from brinemark.outputs.charts import Spec, shown_unit
from brinemark.steps.answers import CalibrationReport, SampleReading
from brinemark.steps.draw import (
    calibration_picture,
    fit_picture,
    kept_memory,
    life_spec,
    reading_picture,
    statements_picture,
)
from brinemark.steps.life_picture import life_of
from brinemark.steps.place import Place
from brinemark.terms.wording import opened, statement_words

MOST_SAMPLES = 12
"""With more samples than that, a report shows their statements alone."""
STRIP_ROWS = 24
FAN_PANELS = 16
MOST_FANS = 4


def sample_pictures(
    place: Place, answers: Sequence[SampleReading], report: CalibrationReport, *, of_now: bool
) -> dict[str, Spec]:
    """Statements on one axis, confidence curves, lives of electrodes with an addition, and the fan of their batches.

    of_now : whether the calibration is the newest; the signals in the picture of a life are always read by that.
    """
    found: dict[str, Spec] = {}
    if len(answers) > 1:
        for start in range(0, len(answers), STRIP_ROWS):
            found[f"statements {start // STRIP_ROWS}"] = statements_picture(answers[start : start + STRIP_ROWS])
    if len(answers) <= MOST_SAMPLES:
        for number, answer in enumerate(answers):
            if answer.reading.curve is not None:
                found[f"reading {number}"] = _reading(answer, report)
            if of_now:
                found |= _lives(place, answer, number)
    batches = {use.batch for answer in answers for use in answer.electrodes}
    known = sorted(batches & set(report.calibration.readings.batch))
    return found | (_fans(place, report, known) if known else {})


def _reading(answer: SampleReading, report: CalibrationReport) -> Spec:
    """The chart of a reading without its name, which stands above it, and without the remarks, which stand below."""
    spec = reading_picture(replace(answer, reading=replace(answer.reading, warnings=(), films=())), report)
    words = statement_words(answer.reading, shown_unit(answer.unit), answer.analyte)
    return {**spec, "title": {**spec["title"], "text": f"{opened(words)}"}}


def batch_pictures(place: Place, report: CalibrationReport, batch: str) -> dict[str, Spec]:
    """The fan of one batch."""
    return _fans(place, report, [batch])


def calibration_pictures(place: Place, report: CalibrationReport) -> dict[str, Spec]:
    """The fan of every batch, up to MOST_FANS pictures, and how the model fits."""
    found = _fans(place, report, sorted(set(report.calibration.readings.batch)))
    return found | ({"fit": fit_picture(report)} if report.calibration.fit else {})


def _fans(place: Place, report: CalibrationReport, batches: Sequence[str]) -> dict[str, Spec]:
    memory = kept_memory(place, report.id)
    parts = [batches[start : start + FAN_PANELS] for start in range(0, len(batches), FAN_PANELS)]
    return {f"fan {number}": calibration_picture(report, part, memory) for number, part in enumerate(parts[:MOST_FANS])}


def _lives(place: Place, answer: SampleReading, number: int) -> dict[str, Spec]:
    found = {}
    for use in answer.electrodes:
        if any(line.role == "addition" for line in use.readings):
            with place.database.reading() as reader:
                main = life_of(place, reader, use.electrode).main.row
            found[f"life {number} {use.electrode}"] = life_spec(place, use.electrode, main, answer.sentence)
    return found

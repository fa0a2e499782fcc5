"""Pictures of what a logbook holds: a calibration, a curve, a life, a reading, all statements on one axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts import (
    Kind,
    Spec,
    calibration_fan,
    fit_chart,
    life_chart,
    reading_chart,
    render,
    residuals_chart,
    shown_unit,
    statement_strip,
    trace_chart,
)
from brinemark.records.reader import Reader
from brinemark.science.amount.limits import response_band
from brinemark.science.amount.predictive import BatchPart, DrawMemory, of_batch
from brinemark.science.amount.residuals import residuals
from brinemark.steps.answers import CalibrationReport, ElectrodeUse, SampleReading
from brinemark.steps.chosen import current
from brinemark.steps.kept_draws import kept_draws
from brinemark.steps.life_picture import life_of, life_picture
from brinemark.steps.look import dissection_of, readings_by_id, stored_calibration, trace_of
from brinemark.steps.place import Place
from brinemark.steps.read import read_samples
from brinemark.terms.amounts import Calibration
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Spectrum
from brinemark.terms.errors import Refused
from brinemark.terms.pictures import FanPanel
from brinemark.terms.runs import StoredRow

CURVE_POINTS = 36
NEW_BATCH = ""


def draw_calibration(
    place: Place, kind: Kind, calibration: str | None = None, batches: Sequence[str] | None = None
) -> bytes:
    """The fan of a calibration (the newest, or the named one): every batch, or those named. Raises Refused."""
    report = stored_calibration(place, calibration)
    return render(calibration_picture(report, batches, kept_memory(place, report.id)), kind)


def kept_memory(place: Place, calibration: str) -> DrawMemory:
    """Draws of batches as they were kept when the calibration, by its whole id, was made."""

    def lookup(key: str) -> BatchPart | None:
        with place.database.reading() as reader:
            return kept_draws(reader, calibration, key)

    return DrawMemory(lookup)


def draw_trace(place: Place, row: StoredRow, kind: Kind, prescan: bool = False, covariate: str = "") -> bytes:
    """The curve of a row, or of its pre-scan, with baseline and wave. Raises Refused as dissection_of."""
    taken_apart, whole = dissection_of(place, row, prescan, covariate), trace_of(place, row, prescan)
    title = _row_title(row, place.settings.analyte.level_unit) + (", pre-scan" if prescan else "")
    title += f", {covariate}" if covariate else ""
    reference = None if isinstance(whole, Spectrum) else reference_of(place, row)
    across = f"potential, V against {reference}" if reference else None
    return render(trace_chart(taken_apart, whole, title, across), kind)


def draw_life(place: Place, electrode: str, kind: Kind, statement: str | None = None) -> bytes:
    """All readings of one electrode in order of time, with their curves.

    statement : about the sample that it read; None reads the sample now, when there is a calibration. Raises Refused
    for an electrode that no current sheet has.
    """
    with place.database.reading() as reader:
        main = life_of(place, reader, electrode).main.row
        calibrated = _is_calibrated(place, reader)
    sample = main.row.sample
    if statement is None and sample is not None and calibrated:
        statement = read_samples(place, [sample])[0].sentence
    return render(life_spec(place, electrode, main, statement), kind)


def life_spec(place: Place, electrode: str, main: StoredRow, statement: str | None) -> Spec:
    """The chart of a life; main : the row of its main reading; statement : about the sample, None without one."""
    if statement is not None:
        unit = place.settings.analyte.level_unit
        statement = statement.replace(unit, shown_unit(unit))
    reference = None if place.settings.of_spectra else reference_of(place, main)
    name = "wavelength, nm" if place.settings.of_spectra else "potential, V"
    across = f"{name} against {reference}" if reference else name
    return life_chart(life_picture(place, electrode, across, statement))


def _is_calibrated(place: Place, reader: Reader) -> bool:
    try:
        current(place, reader)
    except Refused:
        return False
    return True


def draw_reading(place: Place, sample: str, kind: Kind, calibration: str | None = None) -> bytes:
    """The confidence curve and the statement of one sample or control, read now. Raises Refused."""
    answer = read_samples(place, [sample], calibration)[0]
    return render(reading_picture(answer, stored_calibration(place, answer.calibration)), kind)


def draw_stored(place: Place, reading: str, kind: Kind) -> bytes:
    """The confidence curve of a reading as it was answered, by its id. Raises Refused.

    Without the critical value where its calibration was made by an earlier version of the program.
    """
    answer = readings_by_id(place, [reading])[0]
    try:
        report = stored_calibration(place, answer.calibration)
    except Refused:
        report = None
    return render(reading_picture(answer, report), kind)


def draw_stored_statements(place: Place, readings: Sequence[str], kind: Kind) -> bytes:
    """The statements of readings as they were answered, by their ids, on one axis. Raises Refused."""
    answers = readings_by_id(place, readings)
    if not answers:
        raise Refused("no reading", "at least one", "read a sample")
    pairs = [(answer.sample, answer.reading) for answer in answers]
    return render(statement_strip(pairs, answers[0].unit, answers[0].analyte), kind)


def draw_fit(place: Place, kind: Kind, calibration: str | None = None) -> bytes:
    """What groups of standards and batches would have beyond the model. Raises Refused when none tells anything."""
    report = stored_calibration(place, calibration)
    if not report.calibration.fit:
        came = f"calibration {report.id[:12]}, whose groups of electrodes are too small to tell how well the model fits"
        raise Refused(came, "4 electrodes near K, 4 at high levels, or a batch of many", "add electrodes")
    return render(fit_picture(report), kind)


def fit_picture(report: CalibrationReport) -> Spec:
    """The chart of how the model of a calibration fits, which has checks to show."""
    return fit_chart(report.calibration.fit, f"Calibration {report.id[:12]}: how the model fits")


def draw_residuals(
    place: Place, kind: Kind, calibration: str | None = None, batches: Sequence[str] | None = None
) -> bytes:
    """How far each calibration electrode lies from what its batch lets expect: all, or named batches. Refused."""
    return render(residuals_picture(stored_calibration(place, calibration), batches), kind)


def residuals_picture(report: CalibrationReport, batches: Sequence[str] | None = None) -> Spec:
    """The chart of the residuals of a calibration; batches : None = all. Raises Refused for one that it has not."""
    _known_batches(report, batches)
    found = residuals(report.calibration, batches)
    return residuals_chart(found, report.unit, f"Calibration {report.id[:12]}: residuals of {len(found)} electrodes")


def draw_statements(place: Place, samples: Sequence[str], kind: Kind, calibration: str | None = None) -> bytes:
    """The statements about the named samples, or about every sample, on one axis. Raises Refused."""
    answers = read_samples(place, samples, calibration)
    if not answers:
        raise Refused("no sample in this logbook", "at least one", "add a run sheet with samples")
    return render(statements_picture(answers), kind)


def statements_picture(answers: Sequence[SampleReading]) -> Spec:
    """The chart of one statement or more, on one axis."""
    pairs = [(answer.sample, answer.reading) for answer in answers]
    return statement_strip(pairs, answers[0].unit, answers[0].analyte)


def calibration_picture(
    report: CalibrationReport, batches: Sequence[str] | None = None, memory: DrawMemory | None = None
) -> Spec:
    """The chart of a calibration; batches : None = all. Raises Refused for a batch that it does not have.

    memory : of the draws of its batches, which are made anew without it.
    """
    readings = report.calibration.readings
    pairs = sorted(set(zip(readings.batch, readings.instrument, strict=True)))
    _known_batches(report, batches)
    wanted = [pair for pair in pairs if batches is None or pair[0] in batches]
    count = len({batch for batch, _ in wanted})
    title = f"Calibration {report.id[:12]}: {report.analyte}, {count} {'batch' if count == 1 else 'batches'}"
    panels = fan_panels(report.calibration, wanted, memory)
    return calibration_fan(panels, report.unit, report.signal_unit, title)


def _known_batches(report: CalibrationReport, batches: Sequence[str] | None) -> None:
    """Raises Refused for a batch that a calibration does not have."""
    known = set(report.calibration.readings.batch)
    missing = sorted(set(batches or ()) - known)
    if missing:
        there = ", ".join(sorted(known))
        raise Refused(f"no batch {missing[0]!r} in this calibration", f"one of {there}", "name one of them")


def reading_picture(answer: SampleReading, report: CalibrationReport | None) -> Spec:
    """The chart of one reading, with the critical value of its electrode when there is a single one."""
    critical = None
    if report is not None and len(answer.electrodes) == 1:
        use = answer.electrodes[0]
        place = (use.batch, use.instrument, _protocol(use))
        found = [one for one in report.limits if (one.batch, one.instrument, one.protocol) == place]
        value = found[0].critical_value if found else None
        critical = None if value is None else value * use.dilution
    title = None if answer.statement == "cannot say" else answer.sentence
    return reading_chart(answer.reading, answer.sample, answer.unit, answer.analyte, critical, title)


def _protocol(use: ElectrodeUse) -> str:
    """The protocol whose limits an electrode's readings call for."""
    there = {line.role for line in use.readings}
    parts = [word for role, word in (("prescan", "pre-scan"), ("addition", "spike")) if role in there]
    return f"with {' and '.join(parts)}" if parts else "single"


def fan_panels(
    calibration: Calibration, pairs: Sequence[tuple[str, str]], memory: DrawMemory | None = None
) -> list[FanPanel]:
    """A panel for each (batch, instrument) of a calibration."""
    level, known, memory = _levels(calibration), calibration.readings, memory or DrawMemory()

    def band(batch: str, instrument: str) -> tuple[FloatArray, FloatArray, FloatArray]:
        draws = memory.draws(calibration, known, [batch], calibration.seed)
        return response_band(calibration, known, batch, instrument, level, draws)

    population = {name: band(NEW_BATCH, name) for name in {instrument for _, instrument in pairs}}
    panels = []
    for batch, instrument in pairs:
        mine = of_batch(known, batch)
        here = np.array([mine.instrument[unit] == instrument for unit in mine.unit], dtype=bool)
        here &= mine.dip == 0
        median, lower, upper = band(batch, instrument)
        points = (mine.level[here], mine.signal[here], mine.u[here])
        wide = population[instrument]
        panels.append(FanPanel(batch, instrument, *points, level, median, lower, upper, wide[1], wide[2]))
    return panels


def _levels(calibration: Calibration) -> FloatArray:
    """0 and a rising ladder from a tenth of the lowest standard to a little above the highest."""
    known = calibration.readings.level[calibration.readings.level > 0.0]
    return np.concatenate([[0.0], np.geomspace(known.min() / 10.0, 1.3 * known.max(), CURVE_POINTS)])


def _row_title(row: StoredRow, unit: str) -> str:
    given = row.row
    what = f"{given.role} {given.sample}" if given.sample else given.role
    level = "" if given.role != "standard" or given.level is None else f" {given.level:g} {shown_unit(unit)}"
    return f"Electrode {given.electrode}, {what}{level}"


def reference_of(place: Place, row: StoredRow) -> str | None:
    """The reference electrode as the row says, else its instrument, else the general conditions."""
    section = place.settings.instrument.get(row.row.instrument)
    written = dict(row.row.conditions).get("reference")
    named = section.reference if section is not None else None
    return str(written) if written else named or place.settings.conditions.reference

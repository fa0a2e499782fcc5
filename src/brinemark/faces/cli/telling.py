"""Calibrations, readings and their way back to the files, told to a chemist."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import amount, say, say_table, scale, span, with_u
from brinemark.terms.wording import DOUBTFUL, MEANINGS, counted, probability, signal_of

if TYPE_CHECKING:
    from brinemark.steps.answers import CalibrationReport, ElectrodeUse, ReadingLine, SampleReading
    from brinemark.steps.shown import Shown, ShownRow
    from brinemark.terms.amounts import Limits
    from brinemark.terms.curves import Flag
    from brinemark.terms.settings import DecisionSection


def tell_calibration(report: CalibrationReport, decision: DecisionSection) -> None:
    """Population, what each batch can do, and where the calibration is weak."""
    one = report.calibration
    made = "" if report.new else " It was there already; nothing changed."
    say(
        f"Calibration {report.id[:12]}: {counted(len(one.readings.electrode), 'electrode')} of "
        f"{counted(len(set(one.readings.batch)), 'batch')}, instruments {', '.join(one.instruments)}.{made}"
    )
    click.echo()
    _tell_population(report)
    click.echo()
    say(f"What one electrode of each batch can do ({report.unit}):")
    tell_limits(report.limits)
    say(
        f"Critical value: a blank exceeds its signal with probability {decision.alpha:g}. Minimum detectable: detected "
        f"with probability {1 - decision.beta:g}. Working range: the interval's ends lie at most a factor of "
        f"{decision.max_fold:g} apart; several electrodes widen it.",
        2,
    )
    click.echo()
    say(f"Numerical checks passed after {counted(one.rounds, 'round')} ({one.total_draws} draws, seed {one.seed}).")
    for film in one.films:
        if film.low + film.high >= DOUBTFUL:
            said = f"low gain with probability {film.low:.2g}, high gain {film.high:.2g}"
            say(f"film of electrode {film.electrode}: {said}", 2)
    for text in one.weaknesses:
        say(f"weakness: {text}", 2)
    for text in report.warnings:
        say(f"warning: {text}", 2)


def _tell_population(report: CalibrationReport) -> None:
    entries = report.to_dict()["population"]
    rows = []
    for entry in entries:
        ends = [entry[name] for name in ("median", "lower", "upper")]
        factor, unit = scale(entry["unit"], ends)
        median, lower, upper = (amount(end * factor) for end in ends)
        rows.append(
            (MEANINGS.get(entry["name"], entry["name"]), median, f"{lower} to {upper}", "" if unit == "1" else unit)
        )
    say_table(("quantity", "median", f"{report.interval:.0%} interval", "unit"), rows, right=(1,))


def tell_limits(limits: Sequence[Limits]) -> None:
    """Critical value, minimum detectable value and working range of each batch, a table for each protocol."""
    for protocol in dict.fromkeys(one.protocol for one in limits):
        rows = [
            (
                one.batch,
                one.instrument,
                str(one.electrodes),
                amount(one.critical_value),
                amount(one.minimum_detectable),
                span(one.working_lower, one.working_upper),
            )
            for one in limits
            if one.protocol == protocol
        ]
        say("single reading:" if protocol == "single" else f"{protocol}:", 2)
        head = ("batch", "instrument", "electrodes", "critical value", "min. detectable", "working range")
        say_table(head, rows, right=(2, 3, 4))


READINGS = {"prescan": "pre-scan", "addition": "addition"}


def tell_reading(answer: SampleReading) -> None:
    """The statement, then what it rests on."""
    from brinemark.terms.wording import film_words

    say(f"{answer.sentence}.")
    if answer.reading.detection is not None:
        found = answer.reading.detection
        verdict = "detected" if found.detected else "not detected"
        sign = "at most" if found.detected else "above"
        simulated = sum(len(_seen(use)) for use in answer.electrodes if use.share > 0) > 1
        say(
            f"{probability(found.p_value, simulated)} that a blank gives such a signal or a higher one: {verdict}, "
            f"since p is {sign} {found.alpha:g}.",
            2,
        )
    _tell_electrodes(answer.electrodes)
    for use in answer.electrodes:
        for line in use.readings:
            what = READINGS.get(line.role, "curve")
            before = line.role == "prescan"  # where no wave is what one hopes for
            tell_flags(f"{use.electrode}, {what}", [flag for flag in line.signal.flags if flag.severe or not before])
    for one in answer.straight_lines:
        say(one.words(answer.unit), 2)
    if answer.choice is not None and answer.choice["tried"] > 1:
        say(f"{answer.choice['tried']} definitions of the signal tried before samples were read by this one.", 2)
    for film in answer.reading.films:
        say(f"film: {film_words(film)}", 2)
    for text in answer.warnings:
        say(text if text.startswith("control: ") else f"warning: {text}", 2)


def _seen(use: ElectrodeUse) -> list[ReadingLine]:
    """The readings of the analyte's own signal: all but a pre-scan that gave its covariate only."""
    unit = next(line.signal.unit for line in use.readings if line.role != "prescan")
    return [line for line in use.readings if line.signal.unit == unit]


def _tell_electrodes(uses: Sequence[ElectrodeUse]) -> None:
    """One line for each reading; the electrode is named once."""
    seen = [(use, n, line) for use in uses for n, line in enumerate(_seen(use))]
    signals = [line.signal for _, _, line in seen]
    units = {signal.unit for signal in signals}
    factor, unit = scale(signals[0].unit, [signal.value for signal in signals]) if len(units) == 1 else (1.0, "")
    rows = []
    for use, n, line in seen:
        value = with_u(line.signal.value * factor, line.signal.u * factor) + ("" if unit else f" {line.signal.unit}")
        named = (use.electrode, use.batch, use.instrument, f"{use.dilution:g}")
        share = f"{use.share:.0%}" if n == 0 else ""
        rows.append((*(named if n == 0 else ("",) * 4), READINGS.get(line.role, line.role), value, share))
    head = ("electrode", "batch", "instrument", "dilution", "reading", f"signal, {unit}" if unit else "signal", "share")
    say_table(head, rows, right=(3, 6))


def tell_flags(where: str, flags: Iterable[Flag]) -> None:
    """Each flag as a sentence."""
    for flag in flags:
        weight = ", severe" if flag.severe else ""
        say(f"flag on {where}: {flag.name} ({flag.meaning}; {flag.value:.3g}, limit {flag.limit:.3g}{weight})", 2)


def tell_shown(shown: Shown) -> None:
    """A batch, electrode or sample: every row with its files, signals and readings."""
    current = [row for row in shown.rows if not row.superseded]
    old = len(shown.rows) - len(current)
    corrected = f", and {old} corrected since" if old else ""
    say(f"{shown.kind} {shown.name}: {counted(len(current), 'row')}{corrected}")
    for row in shown.rows:
        click.echo()
        _tell_row(row, shown.unit)
    if shown.limits:
        click.echo()
        say(f"What one electrode of this batch can do ({shown.unit}):")
        tell_limits(shown.limits)
    if shown.readings:
        click.echo()
        say("Said about it, oldest first:")
    for reading in shown.readings:
        say(f"{_moment(reading.made_at)} (calibration {reading.calibration[:12]})", 2)
        say(f"{reading.sentence}.", 4)
    for text in shown.warnings:
        say(f"warning: {text}", 2)


def _tell_row(row: ShownRow, unit: str) -> None:
    held = {}
    if row.level is not None:
        held = {"blank": "blank"} | {role: f"{role} of {row.level:g} {unit}" for role in ("standard", "addition")}
    what = held.get(row.role, f"{row.role} {row.sample or ''}".strip())
    diluted = f", diluted {row.dilution:g}" if row.dilution != 1 else ""
    say(f"electrode {row.electrode} of batch {row.batch}: {what}{diluted}")
    mark = " (corrected since)" if row.superseded else ""
    say(f"{_moment(row.measured_at)}, instrument {row.instrument}; {row.sheet_title}, row {row.number}{mark}", 2)
    if row.conditions:
        say(", ".join(f"{name} = {value}" for name, value in row.conditions.items()), 2)
    if row.note:
        say(f"note: {row.note}", 2)
    _tell_signals(row)
    for file in row.files:
        click.echo(f"  {file.role} {file.name} ({file.size} bytes):")
        click.echo(f"    {file.path}")


def _tell_signals(row: ShownRow) -> None:
    if not row.signals:
        return
    rows = []
    for one in row.signals:
        factor, unit = scale(one.signal.unit, [one.signal.value])
        value = f"{with_u(one.signal.value * factor, one.signal.u * factor)} {unit}"
        flags = "; ".join(flag.name for flag in one.signal.flags)
        use = "now" if one.current else "earlier"
        rows.append((signal_of(one.role), value, one.wave, use, flags))
    say_table(("signal of", "value", "wave", "used", "flags"), rows)


def _moment(text: str) -> str:
    """A moment without parts of a second."""
    return re.sub(r"T(\d\d:\d\d:\d\d)(\.\d+)?", r" \1", text)

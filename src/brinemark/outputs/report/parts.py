"""The parts that all reports share: runs, calibration, definitions, the way back, and how to check them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from brinemark.outputs.charts.frame import shown_unit
from brinemark.outputs.report.blocks import Block, facts, files, heading, items, picture, prose, quiet, table
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.wording import counted, opened

Data: TypeAlias = Mapping[str, Any]
VERDICTS = {True: "passed", False: "failed", None: "tells nothing"}
COUNTS = {True: "counts", False: "does not count", None: "has no control that could be judged"}
MEANINGS = {
    "gain": "gain, full rise of the signal",
    "K": "K, level at half of the rise",
    "h": "h, exponent of the level",
    "floor": "floor, blank over full rise",
}
FILES = {"trace": "curve", "prescan": "pre-scan", "sheet": "sheet"}
SIGNALS = {"main": "signal", "prescan": "signal of the pre-scan", "zero": "pre-scan at the wave's place"}
MOST_SIGNALS = 60
"""With more rows than that, ids of signals stand in results.json alone."""
MOST_TOLD = 12


@dataclass(frozen=True, slots=True)
class Page:
    """A whole report before it is set. under : lines below the title."""

    title: str
    description: str
    under: tuple[str, ...]
    blocks: list[Block]


def moment(text: str) -> str:
    """A moment of ISO 8601 to the minute: 2031-05-05 09:03 UTC."""
    day, _, rest = text.partition("T")
    zone = "UTC" if rest.endswith(("Z", "+00:00")) else rest[5:].lstrip("0123456789:.")
    return f"{day} {rest[:5]} {zone}".rstrip()


def held(row: Mapping[str, Any], numbers: Numbers) -> str:
    """What a row's cell held, in words."""
    role, level = row["role"], row["level"]
    if row["sample"]:
        diluted = "" if row["dilution"] == 1 else f", diluted {numbers.number(row['dilution'], 'g')} times"
        return f"{role} {row['sample']}{diluted}"
    if role == "blank" or level is None:
        return str(role)
    return f"{role} {numbers.number(level, 'g')} {shown_unit(numbers.unit)}"


def under_title(data: Data) -> tuple[str, ...]:
    return (f"Logbook: {data['logbook']}", f"Made from records up to {moment(data['youngest'])}")


def plans_part(data: Data) -> list[Block]:
    """How the runs were laid out before they were measured, and what departed from that."""
    blocks: list[Block] = []
    for plan in data["plans"]:
        coded = "; samples were read under codes" if plan["key"] else ""
        said = (
            f"Run plan {plan['title']} drew by lot which electrode reads what and in which order (seed {plan['seed']})"
        )
        departures = [f"Departure: {one['sentence']}." for one in plan["departures"]]
        blocks.append(prose(f"{said}, {moment(plan['laid_out_at'])}{coded}."))
        blocks.append(items(departures) if departures else quiet("What was measured does not depart from it."))
    return [heading("How the runs were laid out"), *blocks] if blocks else []


def runs_part(data: Data, numbers: Numbers) -> list[Block]:
    """Every run with its blanks and controls."""
    if not data["runs"]:
        return []
    blocks = [heading("Run control"), quiet("A run counts if its blanks and controls pass.")]
    for run in data["runs"]:
        what = f"Run of {moment(run['begin'])}, instrument {run['instrument']}: {COUNTS[run['accepted']]}."
        blocks.append(prose(what if run["reason"] is None else f"{what} {numbers.words(opened(run['reason']))}."))
        rows = [_finding(one, numbers) for one in run["findings"]]
        if rows:
            head = ("what", "id", f"level, {shown_unit(run['unit'])}", "found", "limits", "")
            blocks.append(table(head, rows, right=(2,)))
    return blocks


def _finding(one: Mapping[str, Any], numbers: Numbers) -> tuple[str, ...]:
    named = (one["kind"], one["name"], numbers.amount(one["expected"]))
    if one["limits"] is None:
        found = "–" if one["value"] is None else f"p = {numbers.number(one['value'], '.2g')}"
        return *named, found, f"p at least {numbers.number(one['least'], 'g')}", VERDICTS[one["passed"]]
    found = "no amount" if one["value"] is None else f"recovery {100 * one['value']:.0f} %"
    limits = f"{100 * one['limits']['low']:.0f} % to {100 * one['limits']['high']:.0f} %"
    return *named, found, limits, VERDICTS[one["passed"]]


def calibration_part(data: Data, numbers: Numbers, pictures: frozenset[str]) -> list[Block]:
    """How it was calibrated: what is behind it, the fan of the batches where one is given, what is weak."""
    one = data["calibration"]
    behind = one["electrodes"]
    batches = sorted({line["batch"] for line in data["standards"]})
    said = (
        f"Calibration {one['calibration'][:12]} rests on {counted(behind['count'], 'electrode')} of "
        f"{counted(len(behind['batches']), 'batch')}, blanks and standards only; instruments "
        f"{joined(behind['instruments'])}. Its numerical checks passed after "
        f"{counted(one['diagnostics']['rounds'], 'round')} (seed {one['diagnostics']['seed']})."
    )
    blocks = [heading("How it was calibrated"), prose(said), population(one, numbers)]
    if batches:
        blocks += [heading(f"Electrodes of {joined(batches)} behind it", 2), standards(data["standards"], numbers)]
    return [*blocks, *fans(pictures), *left_out(one, numbers), *weak(one, numbers)]


def fans(pictures: frozenset[str]) -> list[Block]:
    """The fan of a calibration, in as many pictures as there are."""
    return [picture(name) for name in in_order(pictures, "fan")]


def in_order(pictures: frozenset[str], kind: str) -> list[str]:
    """Names of a kind of picture, by their number."""
    return sorted(
        (name for name in pictures if name.split(" ")[0] == kind), key=lambda name: (int(name.split(" ")[1]), name)
    )


def population(calibration: Mapping[str, Any], numbers: Numbers) -> Block:
    """What holds for electrodes of all batches together."""
    import numpy as np

    from brinemark.outputs.charts.frame import scaled_unit

    rows = []
    for one in calibration["population"]:
        factor, unit = scaled_unit(one["unit"], np.array([one["median"], one["lower"], one["upper"]]))
        ends = [one[name] * factor for name in ("median", "lower", "upper")]
        shown = "" if unit == "1" else unit
        rows.append((MEANINGS.get(one["name"], one["name"]), numbers.amount(ends[0]), numbers.span(*ends[1:]), shown))
    head = ("quantity", "median", f"{numbers.percent(calibration['interval'])} interval", "unit")
    return table(head, rows, right=(1,), widths=(3, 1, 2, 1))


def standards(lines: Sequence[Mapping[str, Any]], numbers: Numbers) -> Block:
    """Readings of calibration electrodes."""
    unit = shown_unit(numbers.unit)
    signals = numbers.signals([(one["signal"], one["u"], one["unit"]) for one in lines])
    rows = [
        (
            one["electrode"],
            one["batch"],
            one["instrument"],
            "pre-scan" if one["dip"] < 0 else "main" if one["dip"] == 0 else f"dip {one['dip']}",
            numbers.number(one["level"], ".4g"),
            signal,
        )
        for one, signal in zip(lines, signals, strict=True)
    ]
    return table(("electrode", "batch", "instrument", "reading", f"level, {unit}", "signal"), rows, right=(4, 5))


def limits_table(limits: Iterable[Mapping[str, Any]], numbers: Numbers) -> list[Block]:
    """Critical value, minimum detectable value and working range by batch, a table for each protocol."""
    found = list(limits)
    unit = shown_unit(numbers.unit)
    blocks: list[Block] = []
    for protocol in dict.fromkeys(one["protocol"] for one in found):
        rows = [
            (
                one["batch"],
                one["instrument"],
                str(one["electrodes"]),
                numbers.amount(one["critical_value"]),
                numbers.amount(one["minimum_detectable"]),
                _range(one["working_range"], numbers),
            )
            for one in found
            if one["protocol"] == protocol
        ]
        head = ("batch", "instrument", "electrodes", "critical value", "minimum detectable", "working range")
        what = "A single reading" if protocol == "single" else f"A reading {protocol}"
        caption = f"{what}, levels in {unit}"
        blocks.append(table(head, rows, right=(2, 3, 4, 5), widths=(3, 3, 2, 3, 4, 4), caption=caption))
    return blocks


def _range(ends: Mapping[str, float] | None, numbers: Numbers) -> str:
    return "none" if ends is None else numbers.span(ends["lower"], ends["upper"])


def meaning_of_limits(data: Data, numbers: Numbers) -> Block:
    decision = data["decision"]
    return quiet(
        f"Critical value: a blank exceeds its signal with probability {numbers.number(decision['alpha'], 'g')}. "
        f"Minimum detectable: detected with probability {numbers.number(1 - decision['beta'], 'g')}. Working range: "
        f"the ends of the interval lie at most a factor of {numbers.number(decision['max_fold'], 'g')} apart."
    )


def left_out(calibration: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """Calibration electrodes that were not used, and why."""
    out = calibration["electrodes"]["left_out"]
    if not out:
        return []
    rows = [(one["electrode"], one["batch"], numbers.words(one["reason"])) for one in out]
    return [heading("Electrodes left out", 2), table(("electrode", "batch", "why"), rows, widths=(1, 1, 4))]


def weak(calibration: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """What is weak, in the calibration's own words."""
    out = calibration["electrodes"]["left_out"]
    told = {f"electrode {one['electrode']} of batch {one['batch']} was left out: {one['reason']}" for one in out}
    said = [one for one in (*calibration["weaknesses"], *calibration["warnings"]) if one not in told]
    if not said:
        return [prose("No weakness of the calibration was found.")]
    return [heading("What is weak in it", 2), items(f"{numbers.words(opened(text))}." for text in said)]


def definition_part(data: Data, numbers: Numbers) -> list[Block]:
    """The signal that was read, how it was chosen, and every one that was tried."""
    one = data["definition"]
    said = f"Signal: {one['words']}."
    if one["choice"] is None:
        choice = "No sample has been read by this definition yet, so it is not locked."
    else:
        tried = counted(one["choice"]["tried"], "definition")
        blind = "the choice was blind: no sample had been read by another definition before"
        if not one["choice"]["blind"]:
            changed = joined(one["choice"]["changed"])
            blind = f"the choice was not blind: samples had been read by another definition, which differs in {changed}"
        choice = f"When the first sample was read by it, {tried} had been used or tried, itself included; {blind}."
    blocks = [heading("Definitions of the signal"), prose(numbers.words(f"{said} {choice}"))]
    if not data["tried"]:
        return [*blocks, prose("No study of definitions was made in this logbook.")]
    rows = [_tried(line, numbers) for line in data["tried"]]
    caption = "Every definition that was tried in a study, oldest first; error: of ln(amount) on known electrodes"
    head = ("definition", "electrodes", "error", "rank", "record")
    return [*blocks, table(head, rows, right=(1, 2, 3), widths=(5, 1, 1, 1, 2), caption=caption)]


def _tried(line: Mapping[str, Any], numbers: Numbers) -> tuple[str, ...]:
    rank = "–" if line["rank"] is None else f"{line['rank']} of {line['of']}"
    error = numbers.number(line["typical"], ".3f")
    return numbers.words(line["words"]), str(line["electrodes"]), error, rank, line["id"][:12]


def way_back_part(data: Data, numbers: Numbers) -> list[Block]:
    """From every signal to its row, its sheet and the bytes of the original."""
    rows = data["rows"]
    many = len(rows) > MOST_SIGNALS
    sheets = {row["sheet"]: (row, one) for row in rows for one in row["files"] if one["role"] == "sheet"}
    listed = [
        (row["sheet_title"], [("id", row["sheet"]), (f"sha256 of {one['name']}", one["sha256"])])
        for row, one in sheets.values()
    ]
    told = "The signals go back to these rows and files. Hashes are sha256 of the bytes as they came."
    if data["kind"] == "samples":
        told += " The calibration's electrodes go back to theirs in the report of the calibration."
    return [
        heading("The way back"),
        prose(told + (" Ids of single signals stand in results.json." if many else "")),
        files(listed, "Run sheets"),
        files([_row(row, numbers, many) for row in rows], "Rows with their curves"),
    ]


def _row(row: Mapping[str, Any], numbers: Numbers, many: bool) -> tuple[str, list[tuple[str, str]]]:
    old = ", corrected since" if row["superseded"] else ""
    what = (
        f"{row['electrode']}, {held(row, numbers)}: row {row['number']} of {row['sheet_title']}{old}, "
        f"{moment(row['measured_at'])}"
    )
    lines = [(f"note: {row['note']}", "")] if row["note"] else []
    lines.append(("row", row["id"]))
    lines += [(f"{FILES[one['role']]} {one['name']}", one["sha256"]) for one in row["files"] if one["role"] != "sheet"]
    if not many:
        lines += [(SIGNALS.get(one["role"], f"signal, {one['role']}"), one["id"]) for one in row["signals"]]
    return what, lines


def records_part(data: Data, numbers: Numbers) -> list[Block]:
    """Ids of what it rests on, the engine and the settings of the decision, and how to check all of it."""
    decision = data["decision"]
    kept = [(role, one) for role, one in data["records"] if role != "row"]
    settings = ", ".join(f"{name} {numbers.number(value, 'g')}" for name, value in decision.items())
    return [
        heading("Records, and how to check them"),
        facts([("Engine", f"brinemark {data['engine']}"), ("Decision", settings)]),
        files([("Records that this report rests on", kept)]),
        items(
            (
                "Attached to this PDF are results.json, with all data behind this report, and its JSON Schema.",
                "The id of this report is the sha256 of the canonical JSON (RFC 8785) of recipe in results.json; "
                "recipe.settings.data is the sha256 of the canonical JSON of data.",
                "In the logbook, originals lie in originals/ under their sha256, and `brinemark check` works out "
                "every id, every hash and the list of changes anew.",
            )
        ),
    ]

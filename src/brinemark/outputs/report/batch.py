"""The report of a batch: what one of its electrodes can do, what each was spent on, and what is weak."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.outputs.charts.frame import shown_unit
from brinemark.outputs.report.blocks import Block, facts, heading, items, prose, statement, table
from brinemark.outputs.report.cautions import of_electrodes
from brinemark.outputs.report.parts import (
    Data,
    Page,
    calibration_part,
    definition_part,
    fans,
    held,
    limits_table,
    meaning_of_limits,
    moment,
    records_part,
    runs_part,
    under_title,
    way_back_part,
)
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.making import BY_NAME, SPENT
from brinemark.terms.wording import counted


def batch_report(data: Data, numbers: Numbers, pictures: frozenset[str]) -> Page:
    """One batch. pictures : names of those that were drawn."""
    batch = data["names"][0]
    limits = [one for one in data["calibration"]["limits"] if one["batch"] == batch]
    answers = list(_answers(limits, data, numbers))
    asked = f"What can one electrode of batch {batch} detect and quantify, and what has each of them been used for?"
    blocks = [heading("What was asked"), prose(asked), heading("The answer"), *(statement(text) for text in answers)]
    if limits:
        blocks += [*limits_table(limits, numbers), meaning_of_limits(data, numbers)]
    blocks += fans(pictures)
    blocks += [heading("Its electrodes"), _electrodes(data, numbers), *_unused(data), *_said(data, numbers)]
    blocks += _making(data, numbers)
    blocks += runs_part(data, numbers)
    blocks += calibration_part(data, numbers, frozenset())
    blocks += definition_part(data, numbers)
    blocks += way_back_part(data, numbers)
    blocks += records_part(data, numbers)
    blocks += [heading("Cautions"), items(of_electrodes(data["analyte"], made=True))]
    return Page(f"Batch {batch}", " ".join(answers), under_title(data), blocks)


def _answers(limits: list[Mapping[str, Any]], data: Data, numbers: Numbers) -> Iterator[str]:
    """A sentence for each instrument and protocol."""
    unit = shown_unit(data["unit"])
    several = len({one["instrument"] for one in limits}) > 1
    if not limits:
        yield "Limits of this batch have not been worked out for the present decision: calibrate again."
    for one in limits:
        on = f" on {one['instrument']}" if several else ""
        with_what = "" if one["protocol"] == "single" else f" {one['protocol']}"
        least = one["minimum_detectable"]
        seen = f"detects {data['analyte']} from {numbers.amount(least)} {unit}"
        if least is None:
            seen = f"detects no level of {data['analyte']} with the probability asked for"
        ends = one["working_range"]
        counts = "quantifies no level by itself"
        if ends is not None:
            counts = f"quantifies from {numbers.amount(ends['lower'])} to {numbers.amount(ends['upper'])} {unit}"
        yield f"One electrode{with_what}{on} {seen} and {counts}."


def _electrodes(data: Data, numbers: Numbers) -> Block:
    films = {one["electrode"]: one for one in data["calibration"]["films"]}
    standing = [row for row in data["rows"] if not row["superseded"]]
    main = [next((one for one in row["signals"] if one["role"] == "main"), None) for row in standing]
    signals = iter(numbers.signals([(one["signal"], one["u"], one["unit"]) for one in main if one is not None]))
    rows = []
    for row, found in zip(standing, main, strict=True):
        signal = "–" if found is None else next(signals)
        flags = "; ".join(dict.fromkeys(flag["name"] for one in row["signals"] for flag in one["flags"]))
        film = films.get(row["electrode"])
        doubt = "–" if film is None else numbers.number(film["low"] + film["high"], ".2g")
        when = moment(row["measured_at"])[:16]
        rows.append((row["electrode"], when, held(row, numbers), signal, doubt, flags))
    head = ("electrode", "measured", "used for", "signal", "defective film", "flags")
    caption = (
        f"{counted(len({row['electrode'] for row in data['rows']}), 'electrode')}; defective film: its probability"
    )
    return table(head, rows, right=(3, 4), widths=(3, 4, 5, 4, 2, 4), caption=caption)


def _unused(data: Data) -> list[Block]:
    """Electrodes that have not been used, by their state."""
    left = [one for one in data["batch"]["electrodes"] if one["state"] != SPENT]
    if not left:
        return []
    told = [f"{one['electrode']} ({one['state']}{': ' + one['reason'] if one['reason'] else ''})" for one in left]
    return [prose(f"Not used: {joined(told, 40)}.")]


def _making(data: Data, numbers: Numbers) -> list[Block]:
    """How the batch was made, as its maker recorded it, and what was corrected in that."""
    made = data["batch"]["making"]
    if made is None:
        return [heading("How it was made"), prose("Its making was not recorded.")]
    pairs = [("Made on", made["made_on"]), ("Maker", made["maker"]), ("Recipe", made["recipe"])]
    pairs += [(BY_NAME[one["name"]].meaning.rstrip("."), _factor(one, numbers)) for one in made["factors"]]
    pairs += [(name, _factor({"value": value, "unit": None}, numbers)) for name, value in made["further"].items()]
    told = facts((name, str(value)) for name, value in [*pairs, ("Note", made["note"])] if value is not None)
    earlier = [f"Corrected, {moment(one['recorded_at'])}: {one['reason']}." for one in data["batch"]["earlier"]]
    return [heading("How it was made"), told, *([items(earlier)] if earlier else [])]


def _factor(one: Mapping[str, Any], numbers: Numbers) -> str:
    value, unit = one["value"], one["unit"]
    shown = value if isinstance(value, str) else numbers.number(value, "g")
    return shown if unit in (None, "1") else f"{shown} {shown_unit(unit)}"


def _said(data: Data, numbers: Numbers) -> list[Block]:
    if not data["said"]:
        return []
    texts = [f"{numbers.words(one['sentence'])} (record {one['id'][:12]})." for one in data["said"]]
    return [heading("What was read with them", 2), items(texts)]

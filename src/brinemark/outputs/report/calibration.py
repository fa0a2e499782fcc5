"""The report of a calibration: what it rests on, what every batch can do, where it is weak."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.outputs.charts.frame import shown_unit
from brinemark.outputs.report.blocks import Block, heading, items, picture, prose, quiet, statement, table
from brinemark.outputs.report.cautions import of_electrodes
from brinemark.outputs.report.parts import (
    Data,
    Page,
    definition_part,
    fans,
    left_out,
    limits_table,
    meaning_of_limits,
    population,
    records_part,
    standards,
    under_title,
    way_back_part,
    weak,
)
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.wording import counted


def calibration_report(data: Data, numbers: Numbers, pictures: frozenset[str]) -> Page:
    """A calibration. pictures : names of those that were drawn."""
    one = data["calibration"]
    answers = list(_answers(one, data, numbers))
    asked = (
        f"How do signals follow the level of {data['analyte']}, how far do batches and electrodes lie apart, and what "
        "can one electrode of each batch detect and quantify?"
    )
    blocks = [heading("What was asked"), prose(asked), heading("The answer"), *(statement(text) for text in answers)]
    blocks += [population(one, numbers), *fans(pictures), *_not_drawn(one, pictures)]
    blocks += [heading("What one electrode of each batch can do"), *limits_table(one["limits"], numbers)]
    blocks += [meaning_of_limits(data, numbers), *weak(one, numbers), *_fit(one, numbers, pictures)]
    blocks += [heading("Electrodes behind it"), standards(data["standards"], numbers), *left_out(one, numbers)]
    blocks += _numerics(one, numbers)
    blocks += definition_part(data, numbers)
    blocks += way_back_part(data, numbers)
    blocks += records_part(data, numbers)
    blocks += [heading("Cautions"), items(of_electrodes(data["analyte"], made=False))]
    return Page(f"Calibration {one['calibration'][:12]}", " ".join(answers), under_title(data), blocks)


def _answers(one: Mapping[str, Any], data: Data, numbers: Numbers) -> Iterator[str]:
    behind = one["electrodes"]
    yield (
        f"{counted(behind['count'], 'electrode')} of {counted(len(behind['batches']), 'batch')} on "
        f"{joined(behind['instruments'])} calibrate; every numerical check passed."
    )
    least = [found["minimum_detectable"] for found in one["limits"] if found["minimum_detectable"] is not None]
    if least:
        unit = shown_unit(data["unit"])
        lowest, highest = numbers.amount(min(least)), numbers.amount(max(least))
        where = f"is {lowest}" if lowest == highest else f"lies between {lowest} and {highest}"
        yield f"The minimum detectable level of one electrode {where} {unit}, by batch and protocol."


def _not_drawn(one: Mapping[str, Any], pictures: frozenset[str]) -> list[Block]:
    from brinemark.outputs.report.parts import in_order

    shown = len(in_order(pictures, "fan"))
    there = len(one["electrodes"]["batches"])
    if there <= shown * PANELS:
        return []
    return [quiet(f"Pictures show the first {shown * PANELS} of {there} batches; the tables have them all.")]


PANELS = 16
"""Batches in one picture of a fan."""


def _fit(one: Mapping[str, Any], numbers: Numbers, pictures: frozenset[str]) -> list[Block]:
    if "fit" not in pictures:
        return []
    speaks = [f"{check['what']} of {check['name']}" for check in one["fit"] if check["speaks"]]
    said = f"{counted(len(one['fit']), 'group')} of electrodes were asked for what they would have beyond the model; "
    found = f"{joined(speaks)} speak" if speaks else "none speaks"
    return [heading("How the model fits", 2), prose(f"{said}{found}."), picture("fit")]


def _numerics(one: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    gates = [
        (gate["name"], numbers.number(gate["value"], ".3g"), numbers.number(gate["limit"], ".3g"), "passed")
        for gate in one["diagnostics"]["gates"]
    ]
    waves = [
        (wave["role"], wave["source"], str(wave["traces"]), _place(wave, numbers), wave["id"][:12])
        for wave in one["waves"]
    ]
    head = ("wave", "source", "curves", "place", "record")
    return [
        heading("Numerical checks", 2),
        table(("check", "value", "at most", ""), gates, right=(1, 2), widths=(4, 1, 1, 1)),
        heading("Waves that read the signals", 2),
        table(head, waves, right=(2,), widths=(4, 2, 1, 2, 2)),
    ]


def _place(wave: Mapping[str, Any], numbers: Numbers) -> str:
    if "place_V" in wave:
        return f"{numbers.number(wave['place_V'], '.3f')} V"
    return f"{numbers.number(wave['place_nm'], '.1f')} nm"

"""The report of samples: what was asked, the answers, what each rests on, and the way back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.outputs.charts.frame import shown_unit
from brinemark.outputs.report.blocks import (
    Block,
    facts,
    framed,
    heading,
    items,
    picture,
    prose,
    quiet,
    statement,
    table,
)
from brinemark.outputs.report.cautions import SCREENING, of_samples
from brinemark.outputs.report.parts import (
    Data,
    Page,
    calibration_part,
    definition_part,
    in_order,
    limits_table,
    meaning_of_limits,
    plans_part,
    records_part,
    runs_part,
    under_title,
    way_back_part,
)
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.glossary import STATEMENTS
from brinemark.terms.wording import counted, opened, probability

READINGS = {"prescan": "pre-scan", "addition": "addition"}
ONE_BY_ONE = 3
"""Up to so many samples each answer stands in large letters; with more it is a count, and a table of sentences."""
MOST_PICTURED = 12
COUNTED = {
    "quantified": "quantified",
    "detected, amount uncertain": "detected with the amount uncertain",
    "not detected": "not detected",
    "at or above": "at or above a limit",
    "cannot say": "without a statement",
}


def samples_report(data: Data, numbers: Numbers, pictures: frozenset[str]) -> Page:
    """One sample or many. pictures : names of those that were drawn."""
    pairs = list(zip(data["samples"], data["readings"], strict=True))
    title = _title(data)
    blocks = [heading("What was asked"), prose(_asked(data)), heading("The answer")]
    answers = [f"{label(one)}: {numbers.words(one['words'])}." for one, _ in pairs]
    if len(pairs) > ONE_BY_ONE:
        answers = [_summary(data)]
    blocks += [*(statement(text) for text in answers), framed([SCREENING])]
    if len(pairs) > ONE_BY_ONE:
        blocks.append(_overview(data, numbers))
    blocks += [*(picture(name) for name in in_order(pictures, "statements")), *_meanings(data)]
    common = _common(data, numbers)
    if common:
        blocks += [heading("What holds for all of them", 2), items(common)]
    for number, (one, reading) in enumerate(pairs):
        blocks.append(heading("What it rests on" if len(pairs) == 1 else f"{opened(one['role'])} {label(one)}"))
        blocks += [prose(f"{numbers.words(opened(one['words']))}.")] if len(pairs) > 1 else []
        blocks += _sample(number, one, reading, numbers, pictures)
        remarks = [text for text in _remarks(one, reading, numbers) if text not in common]
        blocks += [items(remarks)] if remarks else []
    if len(pairs) > MOST_PICTURED:
        blocks.append(quiet("Of so many samples, single curves are left out; a report of fewer samples shows them."))
    blocks += [*plans_part(data), *runs_part(data, numbers)]
    blocks += calibration_part(data, numbers, pictures)
    blocks += _limits(data, numbers)
    blocks += definition_part(data, numbers)
    blocks += way_back_part(data, numbers)
    blocks += records_part(data, numbers)
    blocks += [heading("Cautions"), items(numbers.words(text) for text in of_samples(data["analyte"]))]
    return Page(title, " ".join(answers), under_title(data), blocks)


def label(one: Mapping[str, Any]) -> str:
    """A sample by its name on the sheet, and by its own when that was a code."""
    return one["sample"] if one["own_name"] is None else f"{one['sample']} ({one['own_name']})"


def _title(data: Data) -> str:
    names = data["names"]
    where = label(data["samples"][0]) if len(names) == 1 else counted(len(names), "water")
    return f"{opened(data['analyte'])} in {where}"


def _asked(data: Data) -> str:
    roles = [one["role"] for one in data["samples"]]
    controls = roles.count("control")
    names = [label(one) for one in data["samples"]]
    what = f"the {counted(len(roles), 'water')} {joined(names)}" if len(roles) > 1 else f"{roles[0]} {names[0]}"
    known = "" if controls == 0 else f" ({counted(controls, 'control')} of known level among them)"
    if len(roles) == 1:
        known = ""
    used = sum(len(reading["electrodes"]) for reading in data["readings"])
    electrodes = f"{counted(used, 'hand-made electrode')}, each used once"
    return (
        f"What level of {data['analyte']} does {what} hold{known}? It was read on {electrodes}, and answered by one of "
        "five statements."
        if len(roles) == 1
        else f"What level of {data['analyte']} do {what} hold{known}? They were read on {electrodes}, and each was "
        "answered by one of five statements."
    )


def _summary(data: Data) -> str:
    """How many of each statement."""
    said = [reading["statement"] for reading in data["readings"]]
    parts = [f"{said.count(name)} {words}" for name, words in COUNTED.items() if name in said]
    return f"Of {counted(len(said), 'water')}: {joined(parts)}."


def _overview(data: Data, numbers: Numbers) -> Block:
    rows = [
        (label(one), numbers.words(one["words"]), joined([use["electrode"] for use in reading["electrodes"]], 6))
        for one, reading in zip(data["samples"], data["readings"], strict=True)
    ]
    return table(("water", "statement", "electrodes"), rows, widths=(3, 9, 4))


def _common(data: Data, numbers: Numbers) -> list[str]:
    """Remarks that every one of several samples has."""
    found = [list(_remarks(*pair, numbers)) for pair in zip(data["samples"], data["readings"], strict=True)]
    if len(found) < 2:
        return []
    return [text for text in found[0] if all(text in others for others in found)]


def _meanings(data: Data) -> list[Block]:
    """What the statements that occur mean."""
    there = dict.fromkeys(reading["statement"] for reading in data["readings"])
    texts = [f"{opened(name)}: {STATEMENTS[name].meaning[0].lower()}{STATEMENTS[name].meaning[1:]}" for name in there]
    return [heading("What the words mean", 2), items(texts)]


def _sample(
    number: int, one: Mapping[str, Any], reading: Mapping[str, Any], numbers: Numbers, pictures: frozenset[str]
) -> list[Block]:
    blocks = [facts(_facts(one, reading, numbers))]
    if f"reading {number}" in pictures:
        blocks.append(picture(f"reading {number}"))
    blocks.append(_electrodes(reading, numbers))
    blocks += [picture(name) for name in sorted(pictures) if name.startswith(f"life {number} ")]
    return blocks


def _facts(one: Mapping[str, Any], reading: Mapping[str, Any], numbers: Numbers) -> Iterator[tuple[str, str]]:
    unit = shown_unit(reading["unit"])
    found, estimate = reading["detection"], reading["estimate"]
    if found is not None:
        verdict = "detected" if found["detected"] else "not detected"
        with_what = f"{_probability(found['p_value'], reading, numbers)} (alpha {numbers.number(found['alpha'], 'g')})"
        yield "Detection", f"{verdict}; a blank gives such a signal or a higher one with {with_what}"
    if estimate is not None and estimate["sides"] == 2:
        ends = f"{numbers.amount(estimate['lower'])} to {numbers.amount(estimate['upper'])} {unit}"
        yield "Interval", f"{ends}, {numbers.percent(estimate['level'])}, two-sided"
    for name, key in (("Upper limit", "upper_limit"), ("Lower limit", "lower_limit")):
        limit = reading[key]
        if limit is not None:
            yield name, f"{numbers.amount(limit['value'])} {unit}, {numbers.percent(limit['level'])}, one-sided"
    ends = reading["working_range"]
    yield "Working range", "none" if ends is None else f"{numbers.span(ends['lower'], ends['upper'])} {unit}"
    if one["agreement"] is not None:
        p = numbers.number(one["agreement"], ".2g")
        yield "Agreement", f"sound electrodes lie as far apart as these with probability {p}"
    yield "Reading", f"record {one['reading'][:12]}, made {one['made_at'][:16].replace('T', ' ')} UTC"


def _probability(p: float, reading: Mapping[str, Any], numbers: Numbers) -> str:
    """p as the statement has it: simulations of several readings cannot tell p values below their number apart."""
    used = [use for use in reading["electrodes"] if use["share"] > 0]
    units = {use["electrode"]: [line["unit"] for line in use["readings"] if line["role"] != "prescan"] for use in used}
    seen = [line for use in used for line in use["readings"] if line["unit"] in units[use["electrode"]]]
    return numbers.words(probability(p, len(seen) > 1))


def _electrodes(reading: Mapping[str, Any], numbers: Numbers) -> Block:
    lines = [line for use in reading["electrodes"] for line in use["readings"]]
    signals = iter(numbers.signals([(line["signal"], line["u"], line["unit"]) for line in lines]))
    rows = []
    for use in reading["electrodes"]:
        for place, line in enumerate(use["readings"]):
            first = place == 0
            dilution = numbers.number(use["dilution"], "g")
            named = (use["electrode"], use["batch"], use["instrument"], dilution) if first else ("", "", "", "")
            share = numbers.percent(round(use["share"], 3)) if first else ""
            flags = "; ".join(flag["name"] + (" (severe)" if flag["severe"] else "") for flag in line["flags"])
            rows.append((*named, READINGS.get(line["role"], line["role"]), next(signals), share, flags))
    head = ("electrode", "batch", "instrument", "dilution", "reading", "signal", "share", "flags")
    return table(head, rows, right=(3, 5, 6), widths=(3, 2, 3, 2, 2, 4, 2, 4))


def _remarks(one: Mapping[str, Any], reading: Mapping[str, Any], numbers: Numbers) -> Iterator[str]:
    seen: dict[str, str] = {}
    for use in reading["electrodes"]:
        for line in use["readings"]:
            for flag in line["flags"]:
                seen.setdefault(flag["name"], flag["meaning"])
    for name, meaning in seen.items():
        yield f"Flag “{name}”: {numbers.words(meaning)}."
    for text in (*one["films"], *one["straight_lines"], *reading["warnings"]):
        yield f"{numbers.words(opened(text))}."


def _limits(data: Data, numbers: Numbers) -> list[Block]:
    there = {(use["batch"], use["instrument"]) for reading in data["readings"] for use in reading["electrodes"]}
    found = [one for one in data["calibration"]["limits"] if (one["batch"], one["instrument"]) in there]
    if not found:
        return []
    return [
        heading("What one electrode of these batches can do", 2),
        *limits_table(found, numbers),
        meaning_of_limits(data, numbers),
    ]

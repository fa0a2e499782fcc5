"""The report of a trial on fish of known history: finds and ratios beside what is known, and how far they go."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.outputs.report.blocks import Block, framed, heading, items, picture, prose, statement, table
from brinemark.outputs.report.cautions import SCREENING, of_consignments
from brinemark.outputs.report.parts import Data, Page, records_part, under_title
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.wording import counted, opened

FOUND = {True: "yes", False: "no", None: "cannot say"}
MEANINGS = (
    "Each tank was judged as if the history of its fish were not known, against a background that does not know it.",
    "Area under the ROC curve: the probability that a tank of exposed fish has the higher ratio; 0.5 says nothing.",
    "Cllr: what the ratios cost whoever acts on them, in bits; 0 is perfect and 1 useless. Its least value is what "
    "stays after the best rising recalibration; a large gap says that ratios promise too much or too little.",
)


def trials_report(data: Data, numbers: Numbers, pictures: frozenset[str]) -> Page:
    """All tanks of fish of known history. pictures : names of those that were drawn."""
    one = data["trial"]
    answers = list(_answers(one, data["analyte"], numbers))
    blocks = [heading("What was asked"), prose(_asked(one, data["analyte"])), heading("The answer")]
    blocks += [*(statement(text) for text in answers), framed([SCREENING])]
    blocks += [_rates(one, numbers), heading("What the words mean", 2), items(numbers.words(text) for text in MEANINGS)]
    for number, world in enumerate(one["worlds"]):
        blocks += _world(world, numbers)
        blocks += [picture(name) for name in (f"roc {number}", f"bins {number}") if name in pictures]
    blocks += [heading("Every tank"), _tanks(one, numbers), *records_part(data, numbers)]
    told = dict.fromkeys([*one["cautions"], *of_consignments(data["analyte"])])
    blocks += [heading("Cautions"), items(numbers.words(_sentence(text)) for text in told)]
    return Page("Trial on fish of known history", " ".join(answers), under_title(data), blocks)


def _sentence(text: str) -> str:
    return f"{opened(text)}{'' if text.endswith('.') else '.'}"


def _asked(one: Mapping[str, Any], analyte: str) -> str:
    kinds = [tank["kind"] for tank in one["tanks"]]
    exposed, unexposed = (counted(kinds.count(kind), "tank") for kind in ("exposed", "unexposed"))
    return (
        f"How often was {analyte} found, and what were ratios worth, in {exposed} of fish known to have been exposed "
        f"and {unexposed} of fish known not to have been?"
    )


def _answers(one: Mapping[str, Any], analyte: str, numbers: Numbers) -> Iterator[str]:
    found = one["rates"][0]
    if found["value"] is not None:
        yield f"{opened(analyte)} was found in {_share(found, numbers)} of exposed fish."
    yield f"It was not found in {_share(one['specificity'], numbers)} of fish that were not exposed."
    for world in one["worlds"]:
        if world["result"] is None:
            yield f"World “{world['world']}”: no judgement of ratios."
        else:
            area = numbers.number(world["result"]["roc"]["area"], ".2f")
            yield f"World “{world['world']}”: area under the ROC curve {area}."


def _share(rate: Mapping[str, Any], numbers: Numbers) -> str:
    tanks = counted(rate["of"], "tank")
    if rate["value"] is None:
        return f"{rate['count']} of {tanks}"
    return f"{rate['count']} of {tanks} ({_ends(rate, numbers)})"


def _ends(rate: Mapping[str, Any], numbers: Numbers) -> str:
    low, high = (numbers.percent(round(rate[name], 3)) for name in ("lower", "upper"))
    return f"{numbers.percent(rate['level'])} interval {low} to {high}"


def _rates(one: Mapping[str, Any], numbers: Numbers) -> Block:
    lines = [(f"found, {rate['history']}", rate) for rate in one["rates"]]
    lines.append(("not found, no exposure", one["specificity"]))
    rows = [
        (name, f"{rate['count']} of {rate['of']}", "–" if rate["value"] is None else _ends(rate, numbers))
        for name, rate in lines
    ]
    caption = f"Tanks at p of at most {numbers.number(one['alpha'], 'g')}, exact intervals"
    return table(("tanks", "count", "share"), rows, widths=(3, 2, 4), caption=caption)


def _world(world: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    blocks = [heading(f"Ratios in the world “{world['world']}”")]
    found = world["result"]
    if found is None:
        return [*blocks, prose(f"{opened(world['reason'])}.")]
    cost, least = (numbers.number(found[name], ".2f") for name in ("cost", "least_cost"))
    area = numbers.number(found["roc"]["area"], ".2f")
    told = f"Area under the ROC curve {area}; Cllr {cost} bits, its least value {least} bits."
    blocks += [prose(told), _bins(found, numbers), _misleading(found, numbers)]
    line = world["recalibration"]
    if line is None:
        return [*blocks, prose("Too few tanks, or ratios that are all alike: no line was fitted through the ratios.")]
    shift, slope, after = (
        numbers.number(value, ".2f") for value in (line["shift"], line["slope"], world["recalibrated_cost"])
    )
    fitted = f"Line through the ratios: log10 ratio becomes {shift} + {slope} times it; Cllr on the same tanks {after}."
    return [*blocks, prose(fitted)]


def _bins(found: Mapping[str, Any], numbers: Numbers) -> Block:
    rows = [
        (
            f"{_log(one['low'], numbers)} to {_log(one['high'], numbers)}",
            str(one["exposed"]),
            str(one["unexposed"]),
            f"{_log(one['log10_lower'], numbers)} to {_log(one['log10_upper'], numbers)}",
            "yes" if one["agrees"] else "no",
        )
        for one in found["bins"]
        if one["exposed"] + one["unexposed"]
    ]
    head = ("log10 ratio", "exposed", "unexposed", "log10 of the ratio of frequencies, 95 %", "agrees")
    return table(head, rows, right=(1, 2), widths=(3, 2, 2, 5, 2), caption="Tanks with ratios of each size")


def _log(value: float | None, numbers: Numbers) -> str:
    return "no end" if value is None else numbers.number(value, ".2f")


def _misleading(found: Mapping[str, Any], numbers: Numbers) -> Block:
    rows = [
        (
            f"{numbers.number(one['factor'], 'g')} or more",
            *(f"{rate['count']} of {rate['of']}" for rate in (one["exposed"], one["unexposed"])),
            numbers.percent(one["bound"]) if one["bound"] < 1.0 else "–",
        )
        for one in found["misleading"]
    ]
    head = ("wrong by a factor of", "exposed", "unexposed", "true ratios stay below")
    return table(head, rows, right=(1, 2, 3), widths=(3, 2, 2, 3), caption="Misleading evidence")


def _tanks(one: Mapping[str, Any], numbers: Numbers) -> Block:
    worlds = [world["world"] for world in one["worlds"]]
    rows = [
        (
            tank["tank"],
            tank["consignment"],
            tank["history"],
            tank["sample"] or "–",
            FOUND[tank["found"]],
            *(numbers.number(tank["ratios"].get(name), ".2f") for name in worlds),
        )
        for tank in one["tanks"]
    ]
    head = ("tank", "consignment", "history", "water", "found", *(f"log10 ratio, “{name}”" for name in worlds))
    of = joined([f"{counted(len(rows), 'tank')}", "the newest water of each"])
    return table(
        head, rows, right=range(5, len(head)), widths=(3, 3, 3, 3, 2, *(3 for _ in worlds)), caption=opened(of)
    )

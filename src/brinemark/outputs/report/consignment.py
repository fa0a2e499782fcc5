"""The report of a consignment: what was asked, the answer tank by tank with the worlds in columns, and the way back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from brinemark.outputs.report.blocks import Block, facts, framed, heading, items, picture, prose, statement, table
from brinemark.outputs.report.cautions import SCREENING, of_consignments
from brinemark.outputs.report.consignment_record import (
    blanks_part,
    custody_part,
    fish_part,
    kinetics_part,
    tables_part,
    unique_waters,
)
from brinemark.outputs.report.parts import Data, Page, in_order, moment, records_part, under_title, way_back_part
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.wording import counted, opened

ONE_BY_ONE = 3
"""Up to so many tanks each answer stands in large letters; with more, a count does."""
LEAST_MOVE = 0.05
"""log10 of a ratio; a chart of smaller moves would show nothing."""
MOST_MOVES = 5
EXCLUDED, EXPOSED = "fish excluded as the only source", "exposed at capture"
"""As the mass balance and the ratios have it."""
MEANINGS = (
    "A world is what one side of the published studies holds of thiocyanate in holding water. The sides contradict "
    "each other; every tank is weighed in each, side by side, and nothing is averaged.",
    "A ratio says how many times as probable the readings are if the fish were exposed to cyanide at capture as if "
    "they were not. It is not a probability of exposure. Its words are for the end of its interval that is nearest to "
    "no support, against the account that explains the readings best, and never beyond what tanks of fish of known "
    "history support.",
    "Fish excluded as the only source: even if all of it were released and none lost, the fish would have had to "
    "absorb more cyanide than kills. Fish doubtful as the only source: the dose reaches what kills half of rats. Fish "
    "possible: the amount does not exclude them; it does not show that they are.",
)


def consignment_report(data: Data, numbers: Numbers, pictures: frozenset[str]) -> Page:
    """One consignment. pictures : names of those that were drawn."""
    one = data["consignment"]
    title = f"Consignment {one['consignment']}: what its waters say of the fish"
    answers = [_answer(tank, numbers) for tank in one["tanks"]]
    if len(answers) > ONE_BY_ONE:
        answers = list(_summary(data))
    blocks = [heading("What was asked"), prose(_asked(one)), heading("The answer")]
    blocks += [*(statement(text) for text in answers), framed([SCREENING])]
    blocks += [_overview(data, numbers), *(picture(name) for name in in_order(pictures, "tanks"))]
    blocks += [heading("What the words mean", 2), items([*MEANINGS, f"Words for ratios: {one['scale']}."])]
    blocks += [*fish_part(data, numbers), *custody_part(data, numbers), *blanks_part(data, numbers)]
    for number, tank in enumerate(one["tanks"]):
        blocks += _tank(data, (number, tank), numbers, pictures)
    blocks += [*_for_all(one, numbers), *kinetics_part(data, numbers), *tables_part(data)]
    blocks += [*way_back_part(data, numbers), *records_part(data, numbers)]
    told = [*one["cautions"], *of_consignments(data["analyte"])]
    blocks += [heading("Cautions"), items(numbers.words(_sentence(text)) for text in dict.fromkeys(told))]
    return Page(title, " ".join(answers), under_title(data), blocks)


def _sentence(text: str) -> str:
    return f"{opened(text)}{'' if text.endswith('.') else '.'}"


def _asked(one: Mapping[str, Any]) -> str:
    fish = sum(lot["count"] for lot in one["fish"])
    return (
        f"What do the waters of {counted(len(one['tanks']), 'tank')} say of {fish} fish: were they exposed to cyanide "
        f"at capture, or is there another account of the {one['analyte']} in their water? "
        f"{opened(counted(len(unique_waters(one)), 'water'))} were taken, samples and blanks."
    )


def _answer(tank: Mapping[str, Any], numbers: Numbers) -> str:
    read = [water for water in tank["samples"] if water["statement"] is not None]
    if not read:
        return f"Tank {tank['tank']}: {'water taken, not read yet' if tank['samples'] else 'no water was taken'}."
    said = numbers.words(_most(read)["sentence"])
    status = tank["balance"]["status"] if tank["balance"] is not None else "cannot say"
    return f"Tank {tank['tank']}: {said}{'' if status == 'cannot say' else f'; {status}'}."


def _most(read: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """The water with the highest lower end, else the last."""
    ends = [(water["estimate"] or {}).get("lower") or 0.0 for water in read]
    return read[max(range(len(read)), key=lambda place: (ends[place], place))]


def _summary(data: Data) -> Iterator[str]:
    """Of many tanks: how many finds, whose fish are excluded, and what each world supports."""
    one, tanks = data["consignment"], data["consignment"]["tanks"]
    false = one["false_alarms"]
    found = f"{false['found']} of {false['tested']} tested waters of {counted(len(tanks), 'tank')}"
    yield f"{opened(one['analyte'])} was found in {found}."
    excluded = [tank["tank"] for tank in tanks if tank["balance"] and tank["balance"]["status"] == EXCLUDED]
    if excluded:
        yield f"Fish are excluded as the only source in {_tanks(excluded)}."
    for name in _worlds(one):
        mine = [line for line in data["supports"] if line["world"] == name]
        supported = [line["tank"] for line in mine if line["words"].endswith(f"for '{EXPOSED}'")]
        where = f"in {_tanks(supported)}" if supported else "in no tank"
        yield f"World “{name}”: support for exposure at capture {where}."


def _tanks(names: Sequence[str]) -> str:
    return f"{'tank' if len(names) == 1 else 'tanks'} {joined(names)}"


def _overview(data: Data, numbers: Numbers) -> Block:
    """Each tank in one row: what was read, what the amount asks of the fish, and the words of each world."""
    one = data["consignment"]
    worlds = _worlds(one)
    said = {(line["tank"], line["world"]): line["words"] for line in data["supports"]}
    rows = []
    for tank in one["tanks"]:
        read = [water for water in tank["samples"] if water["statement"] is not None]
        found = numbers.words(_most(read)["sentence"]) if read else "not read"
        status = tank["balance"]["status"] if tank["balance"] is not None else "–"
        words = [said.get((tank["tank"], name), "–") for name in worlds]
        rows.append((tank["tank"], found, "–" if status == "cannot say" else status, *words))
    head = ("tank", "most telling water", "mass balance", *(f"world “{name}”" for name in worlds))
    return table(head, rows, widths=(4, 5, 3, *(4 for _ in worlds)))


def _worlds(one: Mapping[str, Any]) -> list[str]:
    return list(dict.fromkeys(world["world"] for tank in one["tanks"] for world in tank["worlds"]))


def _tank(
    data: Data, numbered: tuple[int, Mapping[str, Any]], numbers: Numbers, pictures: frozenset[str]
) -> list[Block]:
    number, tank = numbered
    scale = data["consignment"]["scale"]
    of_worlds = {text for world in tank["worlds"] for text in world["told"]}
    plain = [text for text in tank["words"] if text not in of_worlds]
    blocks = [heading(f"Tank {tank['tank']}"), facts(_facts(tank, numbers))]
    blocks += [items(numbers.words(text) for text in plain)] if plain else []
    blocks += [picture(f"timeline {number}")] if f"timeline {number}" in pictures else []
    blocks += [heading("The worlds side by side", 2), _beside(data, tank, numbers, scale)]
    blocks += [picture(name) for name in (f"weights {number}", f"moves {number}") if name in pictures]
    blocks += [] if f"moves {number}" in pictures else _moves(tank, numbers)
    return [*blocks, *_backgrounds(tank, numbers), *_priors(tank, numbers)]


def _facts(tank: Mapping[str, Any], numbers: Numbers) -> Iterator[tuple[str, str]]:
    volume = f"{numbers.amount(tank['volume_L'])} L, water of {tank['system']}, filled {moment(tank['filled'])}"
    yield "Tank", volume
    fish = [_fish(one, numbers) for one in tank["fish"]]
    yield "Fish ever in it", "; ".join(fish) or "none"
    if tank["kind"] != "unknown":
        yield "Known", f"its fish are known to be {tank['kind']}"
    left = [one for one in tank["dilution"] if one["kept"] < 1.0]
    if left:
        last = tank["dilution"][-1]["left"]
        happened = numbers.words("; ".join(one["words"] for one in left))
        yield "Dilution", f"{happened}: {numbers.percent(last)} is left of what was in the water at first"
    if tank["missing"]:
        yield "Missing", "; ".join(tank["missing"])
    if tank["remarks"]:
        yield "To keep in mind", numbers.words(_sentence("; ".join(tank["remarks"])))


def _fish(one: Mapping[str, Any], numbers: Numbers) -> str:
    gone = [f"{one[name]} {word}" for name, word in (("dead", "dead"), ("removed", "taken out")) if one[name]]
    said = f"{one['count']} {one['fish']} of {numbers.amount(1000.0 * one['mass_kg'])} g"
    return f"{said} ({', '.join(gone)})" if gone else said


def _beside(data: Data, tank: Mapping[str, Any], numbers: Numbers, scale: str) -> Block:
    """What each world holds, weighs and says of a tank, in columns that are never joined."""
    said = {line["world"]: line["words"] for line in data["supports"] if line["tank"] == tank["tank"]}
    worlds = tank["worlds"]
    rows = [
        ("it holds", *(_sentence(world["holds"]) for world in worlds)),
        ("ratio", *(_ratio(world, numbers) for world in worlds)),
        ("may count for", *(_cap(world["cap"], numbers) for world in worlds)),
        ("in words", *(opened(said.get(world["world"], "–")) for world in worlds)),
        ("in full", *(numbers.words(" ".join(_short(text, scale) for text in world["told"])) for world in worlds)),
        *_expected_rows(tank, numbers),
    ]
    kept = [row for row in rows if any(cell not in ("", "–") for cell in row[1:])]
    head = ("", *(f"world “{world['world']}”" for world in worlds))
    return table(head, kept, widths=(2, *(6 for _ in worlds)))


def _short(text: str, scale: str) -> str:
    """The source of the words is told once for the whole report."""
    return text.replace(f" ({scale})", "")


def _ratio(world: Mapping[str, Any], numbers: Numbers) -> str:
    weight = world["recalibrated"] or world["weight"]
    if weight is None:
        return f"none: {world['reason']}" if world["reason"] else "none"
    middle, low, high = (_times(weight[name], numbers) for name in ("log10_ratio", "lower", "upper"))
    return f"{middle} (95 %: {low} to {high})"


def _times(log10_ratio: float | None, numbers: Numbers) -> str:
    if log10_ratio is None:
        return "without end"
    if abs(log10_ratio) >= 6.0:
        return f"10^{numbers.number(log10_ratio, '.1f')}"
    value = 10.0**log10_ratio
    return numbers.number(value, ".2g" if value < 100.0 else ",.0f")


def _cap(cap: Mapping[str, Any] | None, numbers: Numbers) -> str:
    if cap is None:
        return "–"
    of = f"{cap['false_positive']['of']} tanks of unexposed fish ({cap['population']})"
    ends = f"{numbers.number(cap['floor'], '.2g')} to {numbers.number(cap['ratio'], '.2g')}"
    return f"{ends}, by {of} and {cap['sensitivity']['of']} of exposed"


def _expected_rows(tank: Mapping[str, Any], numbers: Numbers) -> Iterator[tuple[str, ...]]:
    for water in tank["samples"]:
        cells = []
        for world in tank["worlds"]:
            found = [one for one in world["expected"] if one["sample"] == water["sample"]]
            cells.append(_expected(found[0], numbers) if found else "–")
        yield (f"expected in {water['sample']} if exposed", *cells)


def _expected(one: Mapping[str, Any], numbers: Numbers) -> str:
    if one["upper"] == 0.0:
        return "nothing beyond the background"
    return f"{numbers.span(one['lower'], one['upper'])} µg/L (95 %) beyond the background"


def _moves(tank: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """What each assumption changes, where one changes anything that could be read off a chart."""
    every = [(world["world"], one) for world in tank["worlds"] for one in world["moves"]]
    if not every:
        return []
    if all(one["move"] is not None and one["move"] < LEAST_MOVE for _, one in every):
        size = numbers.number(10.0**LEAST_MOVE, ".2g")
        return [prose(f"No assumption by itself moves a ratio by a factor of {size} or more.")]
    most = [(world["world"], one) for world in tank["worlds"] for one in world["moves"][:MOST_MOVES]]
    rows = [
        (world, one["assumption"], _times(one["at_low"], numbers), _times(one["at_high"], numbers))
        for world, one in most
        if one["move"] is None or one["move"] >= LEAST_MOVE
    ]
    head = ("world", "assumption", "ratio at its low end", "ratio at its high end")
    return [heading("What moves the ratio most", 2), table(head, rows, right=(2, 3), widths=(2, 4, 2, 2))]


def _backgrounds(tank: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """Without a background of the water: the ratio over supposed ones, and the least favourable of them."""
    blocks: list[Block] = []
    for world in tank["worlds"]:
        known = world["table"]
        if known is None:
            continue
        medians = sorted({row["median"] for row in known["rows"]})
        spreads = sorted({row["gsd"] for row in known["rows"]})
        at = {(row["median"], row["gsd"]): row["log10_ratio"] for row in known["rows"]}
        rows = [
            (numbers.number(median, "g"), *(_times(at[median, spread], numbers) for spread in spreads))
            for median in medians
        ]
        least = known["least_favourable"]
        caption = (
            f"World “{world['world']}”: ratio if the background of this water had this median (rows, µg/L) and spread "
            f"(columns, times). Least support for “{known['first']}”: {_times(least['log10_ratio'], numbers)}."
        )
        head = ("median, µg/L", *(f"spread {numbers.number(spread, 'g')}" for spread in spreads))
        blocks.append(table(head, rows, right=range(len(head)), caption=caption))
    return [heading("Over supposed backgrounds", 2), *blocks] if blocks else []


def _priors(tank: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """Posterior over priors. The prior is a court's to choose."""
    told = [world for world in tank["worlds"] if world["posterior"]]
    if not told:
        return []
    rows = [
        (
            numbers.number(row["prior"], "g"),
            *(_posterior(world["posterior"][place], numbers) for world in told),
        )
        for place, row in enumerate(told[0]["posterior"])
    ]
    head = ("prior", *(f"after the readings, world “{world['world']}”" for world in told))
    caption = "Probability of exposure at capture for supposed priors. The prior is for a court to say, not for us."
    return [heading("Over priors", 2), table(head, rows, right=range(len(head)), caption=caption)]


def _posterior(row: Mapping[str, float], numbers: Numbers) -> str:
    middle, low, high = (numbers.number(row[name], ".2f") for name in ("posterior", "lower", "upper"))
    return f"{middle} ({low} to {high})"


def _for_all(one: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    """Backgrounds, the cap where no trial says more, and the third world or why there is none."""
    told = []
    for system in one["systems"]:
        if system["median"] is None:
            told.append(f"Water of {system['system']}: no background, since {system['reason']}.")
            continue
        middle, low, high = (numbers.amount(end) for end in system["median"])
        told.append(
            f"Water of {system['system']}: background from {counted(system['waters'], 'water')}, median {middle} µg/L "
            f"(95 %: {low} to {high})."
        )
    cap = one["cap"]
    told.append(
        f"Held-out tanks of known fish: {_share(cap['false_positive'])} of unexposed fish ({cap['population']}) and "
        f"{_share(cap['sensitivity'])} of exposed fish had {one['analyte']} found; they support ratios from "
        f"{numbers.number(cap['floor'], '.2g')} to {numbers.number(cap['ratio'], '.2g')}."
    )
    told += [_sentence(cap["caution"])] if cap["caution"] else []
    told += [f"No world of this laboratory's own experiments: {one['own_world']}."] if one["own_world"] else []
    return [heading("What holds for all tanks"), items(numbers.words(text) for text in told)]


def _share(rate: Mapping[str, Any]) -> str:
    return f"{rate['count']} of {rate['of']}"

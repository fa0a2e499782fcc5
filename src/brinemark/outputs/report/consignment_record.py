"""Parts of the report of a consignment that tell its record: fish, tanks, waters in whose hands, blanks, parameters."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from brinemark.outputs.report.blocks import Block, files, heading, items, prose, quiet, table
from brinemark.outputs.report.parts import Data, moment
from brinemark.outputs.report.wording import Numbers, joined
from brinemark.terms.wording import counted, opened

UNSAID = "not recorded"
MOST_HAPPENINGS = 120
"""With more happenings than that, they stand in results.json alone."""


def unique_waters(one: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Every water of a consignment once: samples of its tanks, then its blanks."""
    found = {water["sample"]: water for tank in one["tanks"] for water in tank["samples"]}
    return list((found | {water["sample"]: water for water in one["blanks"]}).values())


def fish_part(data: Data, numbers: Numbers) -> list[Block]:
    """Lots of fish, and what happened to them and their tanks, in order of time."""
    lots = [_lot(one, numbers) for one in data["consignment"]["fish"]]
    blocks = [heading("Fish, tanks and what happened")]
    if lots:
        head = ("fish", "species", "count", "mass of one, g", "from", "history", "caught, UTC (± u)", "gone")
        blocks.append(table(head, lots, right=(2, 3), widths=(3, 3, 1, 2, 3, 3, 4, 3)))
    told = [row for row in data["happenings"] if row["what"] not in ("catch", "sample", "blank")]
    if not told:
        return blocks
    if len(told) > MOST_HAPPENINGS:
        return [*blocks, quiet(f"All {len(told)} happenings stand in results.json.")]
    rows = [(_when(row["at"]), row.get("tank") or "", row["what"], _happening(row, numbers)) for row in told]
    return [*blocks, table(("time, UTC", "tank", "what", "how"), rows, widths=(3, 2, 2, 8))]


def _lot(one: Mapping[str, Any], numbers: Numbers) -> tuple[str, ...]:
    sure = f" ± {numbers.number(one['at_u_d'], 'g')} d" if one["at_u_d"] else ""
    gone = [f"{one[name]} {word}" for name, word in (("dead", "dead"), ("removed", "taken out")) if one[name]]
    place = joined([text for text in (one["origin"], one["near"] and f"near {one['near']}") if text])
    species = one["species"] or UNSAID
    where = UNSAID if place == "none" else place
    when = f"{_when(one['at'])}{sure}"
    mass = numbers.amount(one["mass_g"])
    return one["fish"], species, str(one["count"]), mass, where, one["history"], when, ", ".join(gone) or "none"


def _when(text: str) -> str:
    return moment(text).removesuffix(" UTC")


def _happening(row: Mapping[str, Any], numbers: Numbers) -> str:
    """What a row says beside its time, tank and kind."""
    said = []
    for name, words in HOW.items():
        if row.get(name) is not None:
            said.append(words(row[name], numbers))
    return "; ".join(said)


def _amount_of(form: str) -> Callable[[Any, Numbers], str]:
    return lambda value, numbers: form.format(numbers.number(value, "g"))


def _text_of(form: str) -> Callable[[Any, Numbers], str]:
    return lambda value, numbers: form.format(value)


HOW: Mapping[str, Callable[[Any, Numbers], str]] = {
    "fish": _text_of("{}"),
    "count": _text_of("{} of them"),
    "dead": lambda value, numbers: "dead" if value else "alive",
    "volume_L": _amount_of("{} L"),
    "renewal_L_per_d": _amount_of("renewed by {} L/d"),
    "share": lambda value, numbers: f"{numbers.percent(value)} of the water",
    "carried_L": _amount_of("with {} L of their old water"),
    "substance": _text_of("{}"),
    "amount_g": _amount_of("{} g"),
    "amount_ug": _amount_of("{} µg of thiocyanate"),
    "stock": _text_of("from {}"),
    "system": _text_of("water of {}"),
    "filter": _text_of("filter: {}"),
    "near": _text_of("near {}"),
    "place": _text_of("at {}"),
    "note": _text_of("note: {}"),
}
"""How each cell of a tank record is told, in this order."""


def custody_part(data: Data, numbers: Numbers) -> list[Block]:
    """Every water with its reading, and in whose hands it was."""
    waters = unique_waters(data["consignment"])
    if not waters:
        return []
    handled = {row["sample"]: row for row in data["happenings"] if row["what"] in ("sample", "blank")}
    said = [_reading(water, numbers) for water in waters]
    kept = [_custody(water["sample"], handled.get(water["sample"], {}), numbers) for water in waters]
    blocks = [
        heading("Waters, and in whose hands they were"),
        table(("water", "of", "taken, UTC", "read after, h", "statement"), said, right=(3,), widths=(3, 3, 4, 2, 7)),
        table(
            ("water", "taker", "container, filter", "seal; part split off", "storage", "kept back, mL"),
            kept,
            right=(5,),
            widths=(3, 3, 4, 4, 3, 2),
            caption="Handling. What is not recorded cannot be told.",
        ),
    ]
    remarks = list(_remarks(waters, numbers))
    return [*blocks, items(remarks)] if remarks else blocks


def _reading(water: Mapping[str, Any], numbers: Numbers) -> tuple[str, ...]:
    of = f"tank {water['tank']}" if water["kind"] == "sample" else f"{water['kind']} blank"
    after = "–" if water["hours"] is None else numbers.number(water["hours"], ".0f")
    return water["sample"], of, _when(water["at"]), after, numbers.words(water["sentence"])


def _custody(name: str, row: Mapping[str, Any], numbers: Numbers) -> tuple[str, ...]:
    smoker = {True: " (smokes)", False: " (does not smoke)", None: ""}[row.get("smoker")]
    taker = f"{row.get('taker') or UNSAID}{smoker}"
    pore = row.get("filtration_um")
    filtered = UNSAID if pore is None else "not filtered" if pore == 0 else f"{numbers.number(pore, 'g')} µm"
    container = "; ".join([row["container"], f"filter {filtered}"]) if row.get("container") else filtered
    sealed = f"{row.get('seal') or UNSAID}; {row.get('split_seal') or 'none'}"
    kept = row.get("retained_mL")
    back = "–" if kept is None else numbers.number(kept, "g")
    return name, taker, container, sealed, row.get("storage") or UNSAID, back


def _remarks(waters: Iterable[Mapping[str, Any]], numbers: Numbers) -> Iterator[str]:
    """Remarks on waters; one that several have is told once."""
    told: dict[str, list[str]] = {}
    for water in waters:
        for text in water["remarks"]:
            told.setdefault(text, []).append(water["sample"])
    for text, names in told.items():
        yield f"{joined(names)}: {numbers.words(text)}."


def blanks_part(data: Data, numbers: Numbers) -> list[Block]:
    """Blanks that are missing, and how many finds chance alone would give."""
    one, false = data["consignment"], data["consignment"]["false_alarms"]
    missing: dict[str, list[str]] = {}
    for tank in one["tanks"]:
        for text in tank["missing"]:
            missing.setdefault(text, []).append(tank["tank"])
    told = [
        f"{opened(text)} ({'tank' if len(tanks) == 1 else 'tanks'} {joined(tanks)})." for text, tanks in missing.items()
    ]
    read = [water for water in one["blanks"] if water["statement"] is not None]
    expected = (
        f"{opened(one['analyte'])} counts as found at p of at most {numbers.number(false['alpha'], 'g')}: in "
        f"{false['found']} of {false['tested']} waters of tanks. With none in any of them, "
        f"{numbers.number(false['mean'], '.2g')} such finds are expected, and at least one with probability "
        f"{numbers.number(false['at_least_one'], '.2g')}."
    )
    taken = f"{counted(len(one['blanks']), 'blank')} taken, {len(read)} read; they stand among the waters above."
    blocks = [heading("Blanks, and finds by chance"), prose(taken)]
    return [*blocks, *([items(told)] if told else []), prose(expected)]


def kinetics_part(data: Data, numbers: Numbers) -> list[Block]:
    """The parameters behind every world with their sources, and what own experiments say."""
    worlds = data["kinetics"]["worlds"]
    blocks = [heading("Methods: what every world is made of"), prose(METHODS)]
    names = [one["name"] for one in worlds[0]["parameters"]]
    known = [{one["name"]: one for one in world["parameters"]} for world in worlds]
    rows = [
        (known[0][name]["words"], _unit(known[0][name]), *(_law(each[name], numbers) for each in known))
        for name in names
    ]
    head = ("parameter", "unit", *(f"world “{world['world']}”" for world in worlds))
    blocks.append(table(head, rows, widths=(5, 2, *(5 for _ in worlds)), caption="Median, spread and law"))
    sources: dict[tuple[str, str], list[str]] = {}
    for world in worlds:
        for one in world["parameters"]:
            sources.setdefault((one["words"], _source(one["source"])), []).append(world["world"])
    told = []
    for (words, source), of in sources.items():
        where = "" if len(of) == len(worlds) else f" ({joined([f'“{name}”' for name in of])})"
        told.append(numbers.words(f"{opened(words)}{where}: {source}."))
    blocks += [heading("Where they are from", 2), items(told)]
    return [*blocks, *_own(data["kinetics"]["own_experiments"], numbers)]


METHODS = (
    "Linear compartments, solved exactly: absorbed cyanide becomes thiocyanate in the fish, a share of which reaches "
    "the water; the water is renewed and loses thiocyanate. Ratios are of the probability densities of the readings, "
    "integrated over all that is uncertain, with the background of the water from tanks of fish known not to have "
    "been exposed. Log-normal and log-uniform spreads are factors; the spread of a share is that of its logit."
)


def _unit(one: Mapping[str, Any]) -> str:
    return "" if one["unit"] == "1" else str(one["unit"])


def _law(one: Mapping[str, Any], numbers: Numbers) -> str:
    if one["law"] == "fixed":
        return f"{numbers.amount(one['median'])}, fixed"
    return f"{numbers.amount(one['median'])}, {numbers.number(one['spread'], '.3g')}, {one['law']}"


def _source(source: Mapping[str, str]) -> str:
    doi = f"doi {source['doi']}" if source["doi"] else ""
    cited = ", ".join(part for part in (source["title"], source["journal"], doi) if part)
    return f"{'; '.join(part for part in (cited, source['how']) if part)} ({source['standing']})"


def _own(own: Mapping[str, Any], numbers: Numbers) -> list[Block]:
    if own["fit"] is None:
        return []
    told = [f"{opened(numbers.words(text))}." for text in (*own["fit"]["words"], *own["fit"]["cautions"])]
    return [heading("What own experiments say", 2), items(told)]


def tables_part(data: Data) -> list[Block]:
    """The tank records that everything about fish and tanks is from."""
    listed = []
    for one in data["tables"]:
        lines = [("record", one["record"])]
        lines += [("sha256 of the file", one["sha256"])] if one["sha256"] else [("typed into a form", "")]
        listed.append((f"{one['title']}, {moment(one['made_at'])}", lines))
    return [heading("Tank records"), files(listed)] if listed else []

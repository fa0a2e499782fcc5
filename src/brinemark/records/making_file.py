"""How a batch was made, from a form or a small TOML file, to a checked Making and back to JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from brinemark.records.ranges import Range
from brinemark.records.said import LONGEST_ID, Said, gathered, toml_values
from brinemark.records.text import shown
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.making import BY_NAME, FACTORS, Making

NAMES = (
    *("batch", "made_on", "electrodes", "maker", "recipe", "note", "positions", "factors", "further"),
    "electrode_count",
)
MOST_ELECTRODES = 500
MOST_FURTHER = 100
_PAGE = "docs/how-to/lay-out-a-run.md"


def read_making(data: bytes, name: str) -> Mapping[str, object]:
    """What a making file says, unchecked. Raises Refused when it is no TOML."""
    return toml_values(data, name, _PAGE)


def checked_making(values: Mapping[str, object], file: str | None = None) -> Making:
    """The making that the values say. Raises Refused at the first fault, which names where the others are."""
    making, faults = making_and_faults(values, file)
    if making is None:
        raise gathered(faults)
    return making


def making_and_faults(values: Mapping[str, object], file: str | None = None) -> tuple[Making | None, list[Refused]]:
    """The making that the values say, or None with every fault.

    values : batch, made_on, electrodes (names, or electrode_count for BATCH-1, BATCH-2, ...), maker, recipe, note,
    and the tables positions (electrode to place), factors (those of FACTORS) and further (any others).
    """
    said = Said(values, file)
    said.known_only(NAMES)
    batch = said.name("batch", needed=True) or ""
    electrodes = _electrodes(said, batch)
    making = Making(
        batch=batch,
        made_on=said.day("made_on"),
        electrodes=electrodes,
        maker=said.text("maker", LONGEST_ID),
        recipe=said.text("recipe", LONGEST_ID),
        positions=_positions(said.table("positions"), electrodes),
        factors=_factors(said.table("factors")),
        further=_further(said.table("further")),
        note=said.text("note", lines=True),
    )
    return (None if said.faults else making), said.faults


def _electrodes(said: Said, batch: str) -> tuple[str, ...]:
    count = said.number("electrode_count", Range(1, MOST_ELECTRODES), whole=True)
    named = said.names("electrodes")
    if named and count is not None:
        said.refuse("electrode_count", "names and a count", "one of them", "leave out electrode_count")
    elif not named and count is None and not said.faults:
        expected = "the names of the electrodes, or electrode_count"
        said.refuse("electrodes", "no electrode", expected, "name every electrode before it is used")
    names = named or tuple(f"{batch}-{number}" for number in range(1, round(count or 0) + 1))
    if len(names) > MOST_ELECTRODES:
        said.refuse("electrodes", f"{len(names):,} electrodes", f"at most {MOST_ELECTRODES}", "record smaller batches")
    folded: dict[str, str] = {}
    for name in names:
        other = folded.setdefault(name.casefold(), name)
        if other != name:
            came = f"{shown(other)} and {shown(name)}, which differ only in capital letters"
            said.refuse("electrodes", came, "names that cannot be mistaken", "rename one of them")
    return names


def _positions(said: Said, electrodes: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    said.known_only(electrodes)
    found = ((name, said.name(name)) for name in electrodes if said.has(name))
    return tuple((name, place) for name, place in found if place is not None)


def _factors(said: Said) -> tuple[tuple[str, float | str], ...]:
    said.known_only([factor.name for factor in FACTORS])
    found: list[tuple[str, float | str]] = []
    for factor in FACTORS:
        value: float | str | None
        if factor.low is not None and factor.high is not None:
            value = said.number(factor.name, Range(factor.low, factor.high), whole=factor.whole)
        else:
            value = said.text(factor.name, LONGEST_ID)
        found += [] if value is None else [(factor.name, value)]
    return tuple(found)


def _further(said: Said) -> tuple[tuple[str, float | str], ...]:
    found = []
    if len(said.values) > MOST_FURTHER:
        said.refuse("", f"{len(said.values):,} further factors", f"at most {MOST_FURTHER}", "write a note instead")
        return ()
    for name in said.values:
        if name in BY_NAME:
            said.refuse(str(name), "a factor that is known", "it below [factors]", "move it there")
            continue
        value = said.number_or_text(name)
        said.as_name(str(name), str(name))
        found += [] if value is None else [(str(name), value)]
    return tuple(sorted(found))


def making_to_json(making: Making) -> dict[str, JsonValue]:
    """A making as JSON, empty parts left out; equal makings give equal JSON."""
    plain: dict[str, Any] = {key: value for key, value in asdict(making).items() if value not in (None, ())}
    plain["electrodes"] = list(making.electrodes)
    for name in ("positions", "factors", "further"):
        if name in plain:
            plain[name] = dict(plain[name])
    return plain


def making_from_json(plain: Mapping[str, Any]) -> Making:
    """The making that making_to_json wrote."""
    values = {**plain, "electrodes": tuple(plain["electrodes"])}
    order = {name: place for place, name in enumerate([*BY_NAME, *plain["electrodes"]])}
    for name in ("positions", "factors"):
        values[name] = tuple(sorted(plain.get(name, {}).items(), key=lambda pair: order[pair[0]]))
    values["further"] = tuple(sorted(plain.get("further", {}).items()))
    return Making(**values)

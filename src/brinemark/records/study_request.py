"""What is asked of a study, from a small TOML file to a checked StudyRequest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from brinemark.records.ranges import LARGEST, Range
from brinemark.records.said import LONGEST_ID, Said, toml_values
from brinemark.records.text import shown
from brinemark.terms.studies import BatchWanted, PastWanted, SamplesWanted, StudyRequest, Way

NAMES = ("title", "batches", "batches_per_history", "seed", "population", "history", "batch", "samples")
WAY = ("prescan", "additions", "closing_spike")
MOST_BATCHES, MOST_ELECTRODES, MOST_LISTED = 1_000_000, 1000, 100
SHARE, FACTOR, SCATTER = Range(0, 1), Range(0, LARGEST, above=True), Range(0, 5)
POPULATION: Mapping[str, Range] = {
    "batch_sd": SCATTER,
    "electrode_sd": SCATTER,
    "slope": Range(-10, 10),
    "covariate_sd": SCATTER,
    "K": FACTOR,
    "ln_K_sd": SCATTER,
    "h": Range(0.1, 10),
    "floor": Range(0, 100, above=True),
    "noise": SCATTER,
    "cv": SCATTER,
    "floor_batch_sd": SCATTER,
    "floor_sd": SCATTER,
    "electrode_K_sd": SCATTER,
    "drift": Range(-5, 5),
    "drift_sd": SCATTER,
    "prescan_shift": Range(-5, 5),
    "prescan_sd": SCATTER,
    "plateau": FACTOR,
    "plateau_sd": SCATTER,
    "low_share": SHARE,
    "low_gain": FACTOR,
    "high_share": SHARE,
    "high_gain": FACTOR,
}
IN_ORDER = (
    *("batches", "electrodes", "burned", "levels", "lived", "dilutions", "water_K_sd", "way"),
    *POPULATION,
)
"""Names of a section as study_text writes them, one after the other."""
_PAGE = "docs/how-to/study-a-plan.md"


def read_study(data: bytes, name: str) -> StudyRequest:
    """The request that a file holds. Raises Refused at the first fault, which names where the others are."""
    return checked_study(toml_values(data, name, _PAGE), name)


def checked_study(values: Mapping[str, object], file: str | None = None) -> StudyRequest:
    """The request that the values say. Raises Refused."""
    said = Said(values, file)
    said.known_only(NAMES)
    if not said.has("batches"):
        said.refuse("batches", "nothing", "how many batches to simulate", "write batches = 500 or more")
    request = StudyRequest(
        batches=_count(said, "batches", 2, 2, MOST_BATCHES),
        per_history=_count(said, "batches_per_history", 20, 1, MOST_BATCHES),
        seed=_count(said, "seed", 1, 0, 2**31),
        title=said.text("title", LONGEST_ID),
        population=_population(said),
        past=_past(said),
        batch=_batch(said),
        samples=_samples(said),
    )
    if said.values.get("history") is not None and request.population is None:
        came = "a history without a population"
        said.refuse("history", came, "both, or neither", "write [population], or leave out [history] for the logbook's")
    said.check()
    return request


def _count(said: Said, name: str, default: int, least: int, most: int) -> int:
    value = said.number(name, Range(least, most), whole=True)
    return default if value is None else round(value)


def _population(said: Said) -> Mapping[str, float] | None:
    if said.values.get("population") is None:
        return None
    one = said.table("population")
    one.known_only(tuple(POPULATION))
    found = {name: value for name, allowed in POPULATION.items() if (value := one.number(name, allowed)) is not None}
    if found.get("low_share", 0.0) + found.get("high_share", 0.0) > 1.0:
        one.refuse("low_share", "shares of defective films above 1 together", "at most 1", "lower one of them")
    return found


def _past(said: Said) -> PastWanted:
    one, plain = said.table("history"), PastWanted()
    one.known_only(("batches", "levels", "lived", *WAY))
    lived = one.number("lived", Range(0, MOST_BATCHES), whole=True)
    return PastWanted(
        _count(one, "batches", plain.batches, 1, 500),
        _numbers(one, "levels", Range(0, LARGEST)) or plain.levels,
        None if lived is None else round(lived),
        _way(one),
    )


def _batch(said: Said) -> BatchWanted:
    one, plain = said.table("batch"), BatchWanted()
    one.known_only(("electrodes", "burned", *WAY))
    burned = _numbers(one, "burned", Range(0, LARGEST))
    electrodes = _count(one, "electrodes", plain.electrodes, 1, MOST_ELECTRODES)
    return BatchWanted(electrodes, plain.burned if burned is None else burned, _way(one))


def _samples(said: Said) -> SamplesWanted:
    one, plain = said.table("samples"), SamplesWanted()
    one.known_only(("levels", "dilutions", "water_K_sd", *WAY))
    return SamplesWanted(
        _numbers(one, "levels", Range(0, LARGEST)) or plain.levels,
        _numbers(one, "dilutions", Range(1, 1e6)) or plain.dilutions,
        one.number("water_K_sd", SCATTER) or 0.0,
        _way(one),
    )


def _way(one: Said) -> Way:
    additions = _numbers(one, "additions", Range(0, LARGEST, above=True)) or ()
    return Way(one.yes("prescan", False), additions, one.number("closing_spike", Range(0, LARGEST, above=True)))


def _numbers(one: Said, name: str, allowed: Range) -> tuple[float, ...] | None:
    """A list of numbers; None when there is none."""
    value = one.values.get(name)
    if value is None:
        return None
    parts = value if isinstance(value, list) else [value]
    found = []
    for part in parts:
        if not isinstance(part, int | float) or isinstance(part, bool) or not allowed.holds(float(part)):
            one.refuse(name, shown(part), f"a list of numbers, each {allowed}", "write them as [0, 2, 8]")
            return None
        found.append(float(part))
    if len(found) > MOST_LISTED:
        one.refuse(name, f"{len(found)} numbers", f"at most {MOST_LISTED}", "name fewer")
    return tuple(found)


def study_text(request: Mapping[str, Any]) -> str:
    """The file that asks for a request, given as StudyRequest.to_dict gives it; read_study reads the same from it."""
    import tomlkit

    named = {"title": "title", "batches": "batches", "per_history": "batches_per_history", "seed": "seed"}
    sections = {"population": "population", "history": "past", "batch": "batch", "samples": "samples"}
    said = {named[name]: request[name] for name in named if request[name] is not None}
    there = {section: request[name] for section, name in sections.items() if request.get(name) is not None}
    return tomlkit.dumps(said | {section: dict(_section(values)) for section, values in there.items()})


def _section(values: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """What plays no part, a way that is none and a number that is left to the program, is left out."""
    for name in sorted(values, key=IN_ORDER.index):
        value = values[name]
        if name == "way":
            ways = {"prescan": value["prescan"], "additions": value["additions"], "closing_spike": value["spike"]}
            yield from ((key, _plain(one)) for key, one in ways.items() if one)
        elif value is not None:
            yield name, _plain(value)


def _plain(value: Any) -> Any:
    """Whole numbers without a point: a record keeps them so."""
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value

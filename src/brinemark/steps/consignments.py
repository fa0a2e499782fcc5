"""What the logbook says of consignments now: the newest tank record of each, with what came before it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from brinemark.records.reader import Reader
from brinemark.records.tank_json import tank_row_from_json
from brinemark.records.text import nearest, shown
from brinemark.steps.lay_out import run_plans
from brinemark.steps.place import Place
from brinemark.steps.run_plans import sample_names
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record
from brinemark.terms.tanks import Consignment

TANK_RECORD = "tank record"
AS_RECORDED = "as recorded"
FOLLOWS, CORRECTS = "follows", "corrects"
_SAMPLE = "sample "


def known_consignments(reader: Reader) -> dict[str, Consignment]:
    """Every consignment by name, in the order of their first records."""
    found: dict[str, list[Record]] = {}
    for record in reversed(list(reader.newest_first(TANK_RECORD))):
        settings: Any = record.settings
        found.setdefault(settings["consignment"], []).append(record)
    return {name: _consignment(name, records) for name, records in found.items()}


def consignment_named(consignments: Mapping[str, Consignment], name: str) -> Consignment:
    """One of them. Raises Refused for an unknown name."""
    if name not in consignments:
        alike = nearest(name, consignments)
        hint = f"did you mean {shown(alike)}?" if alike else "record its tanks first, with 'tanks FILE'"
        raise Refused(f"no consignment {shown(name)} in this logbook", "one that has a tank record", hint)
    return consignments[name]


def samples_read(place: Place) -> frozenset[str]:
    """Names of the samples of which there is a reading, by their own names where a run had codes for them."""
    names = sample_names(run_plans(place))
    with place.database.reading() as reader:
        found = [role.removeprefix(_SAMPLE) for role in reader.roles_of("reading") if role.startswith(_SAMPLE)]
    return frozenset(names.get(name, name) for name in found)


def _consignment(name: str, records: list[Record]) -> Consignment:
    """records : all of this consignment, oldest first; each holds every row that was valid when it was made."""
    newest = records[-1]
    settings: Any = newest.settings
    rows = [tank_row_from_json(plain, number) for number, plain in enumerate(settings["rows"], start=1)]
    rows.sort(key=lambda row: row.at)
    titles = tuple(dict.fromkeys(_title(record) for record in records))
    return Consignment(name, newest.id, tuple(rows), newest.made_at, len(records) - 1, titles)


def _title(record: Record) -> str:
    results: Any = record.results
    return str(results["title"])

"""What is asked of a run, from a form or a small TOML file, to a checked RunRequest and back to JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any

from brinemark.records.ranges import LARGEST, RANGES, Range
from brinemark.records.said import LONGEST_ID, Said, gathered, toml_values
from brinemark.records.text import number, shown
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.run_plans import RunRequest, WantedAddition, WantedPortion

NAMES = (
    *("instrument", "electrodes", "batches", "title", "operator"),
    *("blanks", "standards", "levels", "levels_per_electrode", "stock", "level_rel_u", "matrix_lot"),
    *("sample", "control", "prescan", "addition", "closing_spike", "add_to", "volume_mL"),
    *("bracket", "blank_every", "coded", "start", "minutes", "plan"),
)
ADD_TO = ("blank", "standard", "sample", "control")
MOST = 1000
_PAGE = "docs/how-to/lay-out-a-run.md"


def read_request(data: bytes, name: str) -> Mapping[str, object]:
    """What a request file says, unchecked. Raises Refused when it is no TOML."""
    return toml_values(data, name, _PAGE)


def checked_request(values: Mapping[str, object], file: str | None = None) -> RunRequest:
    """The request that the values say. Raises Refused at the first fault, which names where the others are."""
    request, faults = request_and_faults(values, file)
    if request is None:
        raise gathered(faults)
    return request


def request_and_faults(
    values: Mapping[str, object], file: str | None = None
) -> tuple[RunRequest | None, list[Refused]]:
    """The request that the values say, or None with every fault. values : NAMES, see docs/how-to/lay-out-a-run.md."""
    said = Said(values, file)
    said.known_only(NAMES)
    electrodes, batches = said.names("electrodes"), said.names("batches")
    if not electrodes and not batches and not said.faults:
        said.refuse("electrodes", "no electrode and no batch", "those to use", "name electrodes, or batches")
    additions = _additions(said)
    request = RunRequest(
        instrument=said.name("instrument", needed=True) or "",
        electrodes=electrodes,
        batches=batches,
        title=said.text("title", LONGEST_ID),
        blanks=_count(said, "blanks", 1, 0) or 0,
        standards=_count(said, "standards", 0, 0) or 0,
        levels=_levels(said),
        levels_per_electrode=_count(said, "levels_per_electrode", 1, 1) or 1,
        stock=said.name("stock"),
        level_rel_u=said.number("level_rel_u", RANGES["level_rel_u"]),
        matrix_lot=said.name("matrix_lot"),
        portions=(*_portions(said, "sample"), *_portions(said, "control")),
        prescan=said.yes("prescan", True),
        additions=additions,
        add_to=_add_to(said, bool(additions)),
        volume_mL=said.number("volume_mL", RANGES["volume_mL"]),
        bracket=said.yes("bracket", True),
        blank_every=_count(said, "blank_every", None, 1),
        coded=said.yes("coded", True),
        start=_start(said),
        minutes=said.number("minutes", Range(0.1, 24 * 60)) or 10.0,
        operator=said.name("operator"),
        plan=said.name("plan"),
    )
    return (None if said.faults else request), said.faults


def _count(said: Said, name: str, default: int | None, least: int) -> int | None:
    value = said.number(name, Range(least, MOST), whole=True)
    return default if value is None else round(value)


def _levels(said: Said) -> tuple[float, ...]:
    """A list of numbers; text is parted at line ends, blanks and semicolons."""
    value = said.values.get("levels")
    parts = value.replace(";", " ").split() if isinstance(value, str) else value
    if parts is None:
        return ()
    comma = isinstance(value, str) and "," in value
    found = []
    for part in parts if isinstance(parts, list | tuple) else [parts]:
        level = number(part, comma=comma) if isinstance(part, str) else _plain(part)
        if isinstance(level, str):
            said.refuse("levels", level, "levels as numbers", "write them with blanks between")
        elif not 0 < level <= LARGEST:
            said.refuse("levels", f"the level {level:g}", "levels above 0", "blanks are asked for by blanks")
        else:
            found.append(level)
    return tuple(sorted(found))


def _plain(value: object) -> float | str:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return number(repr(value)) if is_number else f"{shown(value)}, which is not a number"


def _portions(said: Said, role: str) -> list[WantedPortion]:
    found = []
    for one in said.tables(role):
        known = ("name", "electrodes", "dilution", *(("expected_level",) if role == "control" else ()))
        one.known_only(known)
        name = one.name("name", needed=True) or ""
        expected = one.number("expected_level", RANGES["expected_level"])
        if role == "control" and expected is None and not one.has("expected_level"):
            one.refuse("expected_level", "nothing", "what the control is known to hold", "fill it in")
        dilution = one.number("dilution", RANGES["dilution"])
        count = _count(one, "electrodes", 1, 1) or 1
        found.append(WantedPortion(name, role, count, 1.0 if dilution is None else dilution, expected))
    return found


def _additions(said: Said) -> tuple[WantedAddition, ...]:
    found = [_addition(one, False) for one in said.tables("addition")]
    if said.values.get("closing_spike") is not None:
        found.append(_addition(said.table("closing_spike"), True))
    volumes = [one for one in found if one.volume_mL is not None]
    if volumes and not said.has("volume_mL"):
        expected = "the volume of the cell before the first addition"
        said.refuse("volume_mL", "added volumes without volume_mL", expected, "fill it in")
    return tuple(found)


def _addition(one: Said, spike: bool) -> WantedAddition:
    one.known_only(("stock", "stock_level", "volume_mL", "rise"))
    made = WantedAddition(
        stock=one.name("stock"),
        stock_level=one.number("stock_level", RANGES["stock_level"]),
        volume_mL=one.number("volume_mL", RANGES["added_volume_mL"]),
        rise=one.number("rise", Range(0, LARGEST, above=True)),
        spike=spike,
    )
    if one.has("volume_mL") == one.has("rise"):
        one.refuse("rise", "both or neither of rise and volume_mL", "one of them", "say how much is added")
    elif made.volume_mL is not None and made.stock is None and made.stock_level is None:
        one.refuse("stock", "an added volume without its stock", "the stock, or its level", "fill in stock")
    return made


def _add_to(said: Said, any_added: bool) -> tuple[str, ...]:
    given = said.names("add_to")
    for role in given:
        if role not in ADD_TO:
            said.refuse("add_to", shown(role), f"some of {', '.join(ADD_TO)}", "name roles")
    return given or (ADD_TO if any_added else ())


def _start(said: Said) -> str | None:
    value = said.values.get("start")
    if value is None or value == "":
        return None
    try:
        moment = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
        if moment.tzinfo is None:
            raise ValueError("no zone")
    except ValueError:
        expected = "date and time with zone such as 2026-03-01T10:15+01:00"
        said.refuse("start", shown(value), expected, "write it so, or leave it out")
        return None
    return moment.isoformat(timespec="minutes")


def request_to_json(request: RunRequest) -> dict[str, JsonValue]:
    """A request as JSON, what has its default left out."""
    plain: dict[str, Any] = {
        field.name: value
        for field in fields(RunRequest)
        if (value := getattr(request, field.name)) != field.default or field.name == "instrument"
    }
    for name in ("electrodes", "batches", "levels", "add_to"):
        if name in plain:
            plain[name] = list(plain[name])
    for name in ("portions", "additions"):
        if name in plain:
            plain[name] = [asdict(one) for one in plain[name]]
    return plain


def request_from_json(plain: Mapping[str, Any]) -> RunRequest:
    """The request that request_to_json wrote."""
    values = dict(plain)
    for name in ("electrodes", "batches", "levels", "add_to"):
        values[name] = tuple(plain.get(name, ()))
    values["portions"] = tuple(WantedPortion(**one) for one in plain.get("portions", ()))
    values["additions"] = tuple(WantedAddition(**one) for one in plain.get("additions", ()))
    return RunRequest(**values)

"""Which column of a trace file is what: names and units of a header line."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused

KINDS = ("potential", "current", "time", "cycle")
DELIMITERS = ("\t", ";", "|", ",", " ")

# Names as tables of voltammograms are headed; common practice, no source.
_NAMES: Mapping[str, str] = {
    **dict.fromkeys(("potential", "e", "voltage", "u", "v", "electrode potential", "applied potential"), "potential"),
    **dict.fromkeys(("current", "i", "measured current"), "current"),
    **dict.fromkeys(("time", "t", "elapsed time"), "time"),
    **dict.fromkeys(("cycle", "cycle number", "cycle no"), "cycle"),
}
_WORDS: Mapping[str, Mapping[str, float]] = {
    "potential": dict.fromkeys(("V", "v", "volt", "volts", "Volt", "Volts"), 1.0),
    "current": dict.fromkeys(("A", "a", "amp", "amps", "ampere", "Ampere", "Amps"), 1.0),
    "time": {
        **dict.fromkeys(("s", "S", "sec", "Sec", "second", "seconds", "Seconds"), 1.0),
        **dict.fromkeys(("min", "minutes"), 60.0),
        **dict.fromkeys(("h", "hours"), 3600.0),
    },
}
_PREFIXES = {"m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15}
UNITS: Mapping[str, Mapping[str, float]] = {
    "potential": {**_WORDS["potential"], "mV": 1e-3, "mv": 1e-3, "uV": 1e-6},
    "current": {**_WORDS["current"], **{f"{prefix}{a}": k for prefix, k in _PREFIXES.items() for a in "Aa"}},
    "time": {**_WORDS["time"], "ms": 1e-3, "us": 1e-6},
    "cycle": {"": 1.0, "-": 1.0, "1": 1.0},
}
_ACCEPTED = {"potential": "V, mV or uV", "current": "A, mA, uA, nA, pA or fA", "time": "s, ms, us, min or h"}
_ANY_UNIT = sorted({unit for units in UNITS.values() for unit in units if unit.isalpha()}, key=len, reverse=True)

_REFERENCE = re.compile(r"\s*\bvs\b\.?\s[^()\[\]]*?(?=\s+/\s|\s*[(\[]|[)\]]|$)", re.IGNORECASE)
_REFERENCE_INSIDE = re.compile(r"([(\[]\s*[^\s()\[\]]+)\s+vs\b.*([)\]])", re.IGNORECASE)
_TRAILING_COUNT = re.compile(r"(.*[\w)\]])[ _#]+(\d+)")
_NAME_COUNT = re.compile(r"(.*?[^\W\d])[ _#]*(\d+)")
_UNIT_AFTER = re.compile(
    r"(?P<name>.*?)\s*(?:\((?P<round>[^()]*)\)|\[(?P<square>[^\[\]]*)\]|/\s*(?P<slash>[^/\s]*)"
    r"|[_ ](?:in\s+)?(?P<plain>" + "|".join(_ANY_UNIT) + r"))"
)


@dataclass(frozen=True, slots=True)
class Heading:
    """One field of a header: its text, what it holds (or None), its unit as written, and its number."""

    text: str
    kind: str | None
    unit: str | None
    count: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """One column to be read: its place, its heading's text and the factor to V, A, s or 1."""

    index: int
    text: str
    factor: float


def plain(text: str) -> str:
    """Text with one form of every letter, the micro sign as u, and single spaces."""
    folded = unicodedata.normalize("NFKC", text).replace("\u03bc", "u").strip().strip('"').lstrip("\ufeff")
    return " ".join(folded.split())


def heading(text: str, named: Mapping[str, str], wide: bool = False) -> Heading:
    """What a header field says; named gives the columns that the settings name, kind to text.

    In the wide layout a name in the settings also stands for its numbered columns.
    """
    for kind, wanted in named.items():
        if found := _named(text, kind, plain(wanted)):
            return found
        if wide and (numbered := _numbered(text, kind, plain(wanted))):
            return numbered
    name, unit, count = _taken_apart(text)
    kind_found = _NAMES.get(name.casefold().replace("_", " ").strip(" .,:"))
    if kind_found in named:
        return Heading(text, None, unit, count)
    return Heading(text, kind_found, unit, count)


def _taken_apart(text: str) -> tuple[str, str | None, int | None]:
    """Name, unit and number of a heading."""
    words = _without_reference(plain(text))
    trailing = _TRAILING_COUNT.fullmatch(words)
    words, count = (trailing[1], int(trailing[2])) if trailing else (words, None)
    name, unit = _parted(words)
    if count is None and (numbered := _NAME_COUNT.fullmatch(name)):
        name, count = numbered[1], int(numbered[2])
    return name, unit, count


def _numbered(text: str, kind: str, wanted: str) -> Heading | None:
    """The heading when it is the name in the settings with a number; the unit stands in one of the two."""
    name, unit, count = _taken_apart(text)
    wanted_name, wanted_unit = _parted(_without_reference(wanted))
    same_unit = unit is None or wanted_unit is None or unit == wanted_unit
    if count is None or name.casefold() != wanted_name.casefold() or not same_unit:
        return None
    return Heading(text, kind, unit or wanted_unit, count)


def _without_reference(words: str) -> str:
    """A heading without what its potential is measured against: "E / V vs. SCE", "E (V vs Ag/AgCl (sat.))"."""
    return _REFERENCE.sub("", _REFERENCE_INSIDE.sub(r"\1\2", words))


def _named(text: str, kind: str, wanted: str) -> Heading | None:
    """The heading when the settings name it, whole or with a unit behind a header that has none."""
    here = plain(text)
    if here.casefold() == wanted.casefold():
        return Heading(text, kind, _parted(_without_reference(wanted))[1])
    name, unit = _parted(wanted)
    if unit is not None and here.casefold() == name.casefold():
        return Heading(text, kind, unit)
    return None


def _parted(words: str) -> tuple[str, str | None]:
    found = _UNIT_AFTER.fullmatch(words)
    if found is None:
        return words, None
    units = (found[key] for key in ("round", "square", "slash", "plain"))
    return found["name"], next(unit.strip() for unit in units if unit is not None)


def split(line: str, delimiter: str) -> list[str]:
    """Fields of one line; quotes are honoured, and a space stands for any run of spaces."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        return [field.strip() for field in next(csv.reader([line], delimiter=delimiter), [])]
    return [field.strip() for field in line.split(delimiter)]


def header_fields(line: str, delimiter: str) -> list[str]:
    """Fields of a header line; between spaces, units in brackets or behind a slash stay with their name."""
    if delimiter != " ":
        fields = split(line, delimiter)
        while fields and not fields[-1]:
            fields.pop()
        return fields
    wide = re.split(r"\s{2,}", line.strip())
    return wide if len(wide) > 1 else re.sub(r"\s*/\s*|\s+(?=[(\[])", _joined, line).split()


def _joined(found: re.Match[str]) -> str:
    return "/" if "/" in found[0] else ""


def choose(headings: Sequence[Heading], named: Mapping[str, str], name: str, row: int) -> dict[str, Column]:
    """The column of each kind. Raises Refused for missing, double, wide, unitless and unknown columns."""
    _refuse_absent(headings, named, name, row)
    _refuse_twice(headings, name, row)
    columns = {}
    for kind in KINDS:
        found = [(index, head) for index, head in enumerate(headings) if head.kind == kind]
        if found:
            index, head = _only(kind, found, name, row)
            columns[kind] = Column(index, head.text, _factor(kind, head, name, row))
    return columns


def choose_wide(headings: Sequence[Heading], named: Mapping[str, str], name: str, row: int) -> dict[str, Column]:
    """Columns of the wide layout: "current N" for cycle N, in rising order, with its potential and time if there.

    Potentials (and times) are "potential" for all cycles, or "potential N" for each. Raises Refused as `choose`; for a
    cycle column, and for columns that are not numbered one by one, in every kind with the same numbers.
    """
    numbers = [head.count for head in headings if head.kind == "current"]
    cycle = next((head.text for head in headings if head.kind == "cycle"), None)
    rising = all(count is not None for count in numbers) and numbers == sorted({count or 0 for count in numbers})
    if cycle is not None or not rising:
        raise _not_numbered("current", headings, cycle, name, row)
    own = [kind for kind in ("potential", "time") if sum(head.kind == kind for head in headings) > 1]
    for kind in own:
        if [head.count for head in headings if head.kind == kind] != numbers:
            raise _not_numbered(kind, headings, None, name, row)
    apart = {"current", *own}
    others = [head if head.kind not in apart else Heading(head.text, None, head.unit) for head in headings]
    columns = choose(others, {kind: text for kind, text in named.items() if kind not in apart}, name, row)
    for index, head in enumerate(headings):
        if head.kind in apart:
            columns[f"{head.kind} {head.count}"] = Column(index, head.text, _factor(head.kind, head, name, row))
    return columns


def _not_numbered(kind: str, headings: Sequence[Heading], cycle: str | None, name: str, row: int) -> Refused:
    texts = ", ".join([head.text for head in headings if head.kind == kind][:12])
    expected = "current columns numbered by cycle, such as current_uA_1 and current_uA_2"
    if kind != "current":
        expected = f"one {kind} column for all cycles, or one for every current column with the same numbers"
    return Refused(
        f"a cycle column {shown(cycle)}" if cycle is not None else f"{kind} columns {texts}",
        f'{expected}, for layout = "wide"',
        'number the columns by cycle, or write layout = "long" in [instrument.ID]',
        file=name,
        row=row,
    )


def _refuse_absent(headings: Sequence[Heading], named: Mapping[str, str], name: str, row: int) -> None:
    there = [head.text for head in headings if head.text]
    for kind, wanted in named.items():
        if not any(head.kind == kind for head in headings):
            alike = nearest(wanted, there)
            raise Refused(
                f"no column {shown(wanted)}, which [instrument] {kind} names, among {', '.join(there[:12])}",
                f"the nearest known one, {shown(alike)}" if alike else "a column with that name",
                "correct the settings or the file",
                file=name,
                row=row,
            )


def _refuse_twice(headings: Sequence[Heading], name: str, row: int) -> None:
    for text, times in Counter(plain(head.text) for head in headings if head.text).items():
        if times > 1:
            raise Refused(
                f"the header names {shown(text)} {times} times",
                "every column once",
                "remove or rename the duplicate column",
                file=name,
                row=row,
                column=text,
            )


def _only(kind: str, found: list[tuple[int, Heading]], name: str, row: int) -> tuple[int, Heading]:
    """The one column without a number, or the only one there is."""
    unnumbered = [pair for pair in found if pair[1].count is None]
    if len(found) == 1 or len(unnumbered) == 1:
        return (unnumbered or found)[0]
    texts = ", ".join(head.text for _, head in found[:12])
    if not unnumbered:
        raise Refused(
            f"{len(found)} numbered {kind} columns ({texts}): a wide layout",
            "the long layout, with one current column and a column cycle",
            f'write layout = "wide" or name one column as {kind} in [instrument.ID]'
            if kind != "cycle"
            else "write one cycle column, or name it in [instrument.ID] cycle",
            file=name,
            row=row,
            column=found[0][1].text,
        )
    raise Refused(
        f"several {kind} columns: {texts}",
        f"one {kind} column",
        f"name the one to read in [instrument.ID] {kind}",
        file=name,
        row=row,
        column=unnumbered[0][1].text,
    )


def _factor(kind: str, head: Heading, name: str, row: int) -> float:
    unit = head.unit or ""
    if unit in UNITS[kind]:
        return UNITS[kind][unit]
    came = f"the {kind} column {shown(head.text)} " + (
        f"in the unknown unit {shown(unit)}" if unit else "without a unit"
    )
    remedy = f'write the unit in the header, or name column and unit in [instrument.ID] {kind} = "NAME [UNIT]"'
    raise Refused(came, _ACCEPTED.get(kind, "no unit"), remedy, file=name, row=row, column=head.text)

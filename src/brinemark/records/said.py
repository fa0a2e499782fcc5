"""Named values of a form or a small file, read one by one; every fault is kept, so that all can be told at once."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from brinemark.records.ranges import Range
from brinemark.records.text import Unclear, decimal_comma, decode, nearest, number, shown
from brinemark.terms.errors import Refused

LONGEST_ID, LONGEST_TEXT = 120, 2_000
_INVISIBLE = ("Cc", "Cf", "Zl", "Zp")
_FORMULA = "=+-@"
_NOT_LOOKED = object()


class Said:
    """Values by name. Text may come from a form: numbers as text, and a list as lines.

    values : name to value; file : for messages, None for a form; faults : in the order in which they were found.
    """

    def __init__(self, values: Mapping[str, object], file: str | None = None, within: str = "") -> None:
        self.values, self.file, self._within = values, file, within
        self.faults: list[Refused] = []
        self._comma: bool | Unclear | object = _NOT_LOOKED

    def refuse(self, name: str, came: str, expected: str, remedy: str) -> None:
        """Note a fault of a value."""
        self.faults.append(Refused(came, expected, remedy, file=self.file, column=f"{self._within}{name}"))

    def check(self) -> None:
        """Raise the first fault; its remedy names where the others are."""
        if self.faults:
            raise gathered(self.faults)

    def known_only(self, known: Sequence[str]) -> None:
        """Every other name is a fault."""
        for name in self.values:
            if name not in known:
                alike = nearest(str(name), known)
                expected = f"the nearest known one, {alike}" if alike else f"one of {', '.join(known)}"
                self.refuse(str(name)[:LONGEST_ID], f"the unknown name {shown(name)}", expected, "correct or remove it")

    def has(self, name: str) -> bool:
        value = self.values.get(name)
        return value is not None and (not isinstance(value, str) or bool(value.strip()))

    def text(self, name: str, longest: int = LONGEST_TEXT, *, lines: bool = False) -> str | None:
        """Text without control or invisible characters, composed (Unicode NFC); None when there is none."""
        if not self.has(name):
            return None
        value = self.values[name]
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            self.refuse(name, shown(value), "text", "write it in quotes")
            return None
        fault = _text_fault(str(value).strip(), longest, lines)
        if fault is not None:
            self.refuse(name, *fault)
            return None
        return unicodedata.normalize("NFC", str(value).strip().replace("\r\n", "\n"))

    def name(self, name: str, *, needed: bool = False) -> str | None:
        """An id as a run sheet takes it, which no spreadsheet takes for a formula."""
        if needed and not self.has(name):
            self.refuse(name, "nothing", f"the {name.replace('_', ' ')}", "fill it in")
            return None
        text = self.text(name, LONGEST_ID)
        return None if text is None else self.as_name(name, text)

    def as_name(self, place: str, text: str) -> str | None:
        """text as an id, or a fault at place."""
        fault = _text_fault(text, LONGEST_ID, False) or _name_fault(text)
        if fault:
            self.refuse(place, *fault)
            return None
        return unicodedata.normalize("NFC", text)

    def names(self, name: str) -> tuple[str, ...]:
        """A list of ids, each once; text is parted at line ends, commas and semicolons."""
        value = self.values.get(name)
        parts: Iterable[object] = re.split(r"[\n,;]", value) if isinstance(value, str) else _listed(value)
        texts = [str(part).strip() for part in parts]
        found = [made for text in texts if text and (made := self.as_name(name, text)) is not None]
        for text in dict.fromkeys(one for one in found if found.count(one) > 1):
            self.refuse(name, f"{shown(text)} {found.count(text)} times", "every name once", "remove or rename it")
        return tuple(dict.fromkeys(found))

    def number(self, name: str, allowed: Range, *, whole: bool = False) -> float | None:
        """A finite number within a range; None when there is none."""
        if not self.has(name):
            return None
        raw = self.values[name]
        value = self._plain_number(raw)
        expected = str(allowed).replace("a number", "a whole number") if whole else str(allowed)
        if isinstance(value, str):
            self.refuse(name, value, expected, "correct the number")
            return None
        if not allowed.holds(value) or (whole and value != int(value)):
            self.refuse(name, shown(raw), expected, "correct the number or its unit")
            return None
        return value

    def number_or_text(self, name: str) -> float | str | None:
        """What reads as a number is one; any other text is text."""
        if not self.has(name):
            return None
        value = self._plain_number(self.values[name])
        if isinstance(value, float) or isinstance(self.values[name], str):
            return value if isinstance(value, float) else self.text(name)
        self.refuse(name, value, "a finite number or text", "write it in quotes")
        return None

    def choice(self, name: str, known: Sequence[str], default: str) -> str:
        """One of some words."""
        text = self.text(name, LONGEST_ID)
        if text is None or text in known:
            return text or default
        alike = nearest(text, known)
        remedy = f"did you mean {alike}?" if alike else "choose one of them"
        self.refuse(name, shown(text), f"one of {', '.join(known)}", remedy)
        return default

    def yes(self, name: str, default: bool) -> bool:
        """True or false; from a form "yes" or "no"."""
        value = self.values.get(name, default)
        if isinstance(value, bool):
            return value
        return self.choice(name, ("yes", "no"), "yes" if default else "no") == "yes"

    def day(self, name: str) -> str:
        """A date by ISO 8601."""
        value = self.values.get(name)
        text = value.isoformat() if isinstance(value, date) else str(value or "").strip()
        try:
            if isinstance(value, datetime) or not re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
                raise ValueError("no date alone")
            day = date.fromisoformat(text)
        except ValueError:
            came = shown(text) if text else "nothing"
            self.refuse(name, came, "a date by ISO 8601 such as 2026-03-01", "write the date so")
            return ""
        if not 1950 <= day.year <= 2100:
            self.refuse(name, shown(text), "a year from 1950 to 2100", "correct the date")
        return text

    def table(self, name: str) -> Said:
        """A table of further values under this name; its faults are this one's."""
        value = self.values.get(name)
        if value is not None and not isinstance(value, Mapping):
            self.refuse(name, shown(value), "a table of names and values", f"write it below [{name}]")
        found = Said(value if isinstance(value, Mapping) else {}, self.file, f"{self._within}{name}.")
        found.faults = self.faults
        return found

    def tables(self, name: str) -> list[Said]:
        """A list of tables; their faults are this one's."""
        value = self.values.get(name)
        parts = list(_listed(value))
        if value is not None and (isinstance(value, str) or not all(isinstance(part, Mapping) for part in parts)):
            self.refuse(name, shown(value), "a list of tables", f"write each below [[{name}]]")
            return []
        found = [Said(part, self.file, f"{self._within}{name} {n}.") for n, part in enumerate(parts, start=1)]  # type: ignore[arg-type]
        for one in found:
            one.faults = self.faults
        return found

    def _plain_number(self, raw: object) -> float | str:
        """The number, or the phrase that says why it is none."""
        if isinstance(raw, int | float) and not isinstance(raw, bool):
            return number(repr(raw))
        if not isinstance(raw, str):
            return f"{shown(raw)}, which is not a number"
        if self._comma is _NOT_LOOKED:
            self._comma = decimal_comma(one.strip() for one in self.values.values() if isinstance(one, str))
        if isinstance(self._comma, Unclear) and "," in raw:
            return f"{shown(raw)}, where the decimal sign is not clear"
        return number(raw, comma=self._comma is True)


def _listed(value: object) -> Sequence[object]:
    if value is None:
        return ()
    return list(value) if isinstance(value, list | tuple) else [value]


def _text_fault(text: str, longest: int, lines: bool) -> tuple[str, str, str] | None:
    allowed = "\n\t\r" if lines else ""
    if any(unicodedata.category(c) in (*_INVISIBLE, "Cs") and c not in allowed for c in text):
        return f"a control or invisible character in {shown(text)}", "plain text", "type it anew"
    if len(text) > longest:
        return f"{len(text):,} characters", f"at most {longest:,}", "shorten the text"
    return None


def _name_fault(text: str) -> tuple[str, str, str] | None:
    if text[:1] in _FORMULA:
        return f"{shown(text)}", f"a name that does not begin with {' '.join(_FORMULA)}", "choose another name"
    if any(sign in text for sign in ",;"):
        return f"{shown(text)}, which holds a comma or semicolon", "a name without them", "choose another name"
    return None


def gathered(faults: Sequence[Refused]) -> Refused:
    """The first fault, with the places of the others in its remedy."""
    first, *others = faults
    places = list(dict.fromkeys(fault.column or f"row {fault.row}" for fault in others))
    if not places:
        return first
    named = ", ".join(places[:8]) + (", ..." if len(places) > 8 else "")
    remedy = f"{first.remedy} (also wrong: {named})"
    return Refused(first.came, first.expected, remedy, file=first.file, row=first.row, column=first.column)


def toml_values(data: bytes, name: str, example: str) -> dict[str, object]:
    """The values of a small TOML file. Raises Refused when it is none."""
    text, _ = decode(data, name)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(f"not TOML: {error}", f"a file as in {example}", "correct the line", file=name) from None

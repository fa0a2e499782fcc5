"""Text as a page can show it: numbers by the reader's decimal sign, and only characters that the fonts have."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from brinemark.outputs.charts.frame import scaled_unit, shown_unit, with_uncertainty
from brinemark.outputs.report.setting import Typefaces
from brinemark.terms import wording

Decimal: TypeAlias = Literal["point", "comma"]
INSIDE_NUMBER = re.compile(r"(?<=\d)\.(?=\d)")
JOINERS = "\u200c\u200d"
"""Marks of format that some scripts cannot be written without; all others are shown by number."""
PLAIN = frozenset(chr(code) for code in (*range(0x20, 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x180)))
DOI = r"\b10\.\d{4,}/\S+"
OWN = frozenset("–−µ±“”·°²³")
"""Signs of the reports' own texts."""
HASH = re.compile(r"[0-9a-f]{64}")
LONGEST_WORD, PIECE = 30, 15


@dataclass(frozen=True, slots=True)
class Numbers:
    """How numbers are written. names : ids in which a dot between digits is no decimal sign; unit : of levels."""

    decimal: Decimal
    unit: str
    names: tuple[str, ...] = ()

    def words(self, text: str) -> str:
        """A sentence with the unit as print has it and the decimal sign; the names stay as they are."""
        if self.unit != shown_unit(self.unit):
            text = re.sub(rf"(?<![\w/]){re.escape(self.unit)}", shown_unit(self.unit), text)
        if self.decimal == "point":
            return text
        guarded = [name for name in sorted(self.names, key=len, reverse=True) if INSIDE_NUMBER.search(name)]
        pattern = "|".join([*(re.escape(name) for name in guarded), DOI, INSIDE_NUMBER.pattern])
        return re.sub(pattern, lambda hit: "," if hit.group() == "." else hit.group(), text)

    def number(self, value: float | None, form: str = ".3g") -> str:
        """One number, or a dash for none."""
        return "–" if value is None else self._sign(f"{value:{form}}".replace("-", "−"))

    def amount(self, value: float | None) -> str:
        """A level with three significant digits, or a dash for none."""
        return "–" if value is None else self._sign(wording.amount(value))

    def span(self, lower: float | None, upper: float | None) -> str:
        """Two ends, or "none"."""
        return "none" if lower is None or upper is None else f"{self.amount(lower)} to {self.amount(upper)}"

    def percent(self, share: float) -> str:
        return f"{self._sign(f'{100 * share:.3g}')} %"

    def signals(self, found: Sequence[tuple[float, float, str]]) -> list[str]:
        """Signals (value, u, unit) with their standard uncertainty, 12.34 ± 0.21 nA; one prefix for all of a unit."""
        import numpy as np

        values = {unit: np.array([value for value, _, its in found if its == unit]) for _, _, unit in found}
        scales = {unit: scaled_unit(unit, those) for unit, those in values.items()}
        return [self._signal(value, u, *scales[unit]) for value, u, unit in found]

    def _signal(self, value: float, u: float, factor: float, unit: str) -> str:
        written, spread = with_uncertainty(value * factor, u * factor)
        return self._sign(f"{written} ± {spread}{'' if unit == '1' else ' ' + unit}".replace("-", "−"))

    def _sign(self, text: str) -> str:
        return text if self.decimal == "point" else INSIDE_NUMBER.sub(",", text)


@dataclass(slots=True, eq=False)
class Readable:
    """Shows a character that no font has as its code point in brackets; replaced : those, with what stands for them.

    plain_only : so does it with everything but the Latin letters.
    """

    faces: Typefaces
    plain_only: bool = False
    replaced: dict[str, str] = field(default_factory=dict)

    def look_at(self, *values: Any) -> None:
        """Find what cannot be shown in all texts within the values, at once."""
        strange = frozenset(one for text in texts_in(values) for one in text) - PLAIN
        by_kind = frozenset(one for one in strange if (self.plain_only and one not in OWN) or _hidden(one))
        for one in sorted((by_kind | self.faces.cannot_show(strange - by_kind)) - {"\n"}):
            self.replaced[one] = " " if one in "\t\r\u2028\u2029" else f"[U+{ord(one):04X}]"

    def text(self, text: str) -> str:
        """The text with what stands for its characters."""
        if any(one in self.replaced for one in text):
            text = "".join(self.replaced.get(one, one) for one in text)
        return text

    def all(self, value: Any) -> Any:
        """The same tree with every text in it made readable, keys included."""
        if isinstance(value, str):
            return self.text(value)
        if isinstance(value, Mapping):
            return {self.text(key): self.all(part) for key, part in value.items()}
        if isinstance(value, list | tuple):
            return [self.all(part) for part in value]
        return value

    @property
    def code_points(self) -> list[str]:
        """What is shown by number, in order."""
        return [shown[1:-1] for shown in self.replaced.values() if shown != " "]


def _hidden(character: str) -> bool:
    """Controls, marks of format, private characters and half characters: nothing that a reader could see."""
    kind = unicodedata.category(character)
    return kind in ("Cc", "Co", "Cs", "Zl", "Zp") or (kind == "Cf" and character not in JOINERS)


def texts_in(value: Any) -> Iterator[str]:
    """Every text in a tree of lists and tables, keys included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, part in value.items():
            yield from texts_in(key)
            yield from texts_in(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from texts_in(part)


def breakable(text: str) -> str:
    """A name in which very long words may be parted between two lines."""
    return " ".join(_pieces(word) for word in text.split(" "))


def _pieces(word: str) -> str:
    if len(word) <= LONGEST_WORD or HASH.search(word):
        return word
    return "\u200b".join(word[place : place + PIECE] for place in range(0, len(word), PIECE))


def joined(parts: Iterable[str], most: int = 12) -> str:
    """a, b and c; of very many the first, and how many more."""
    names = list(parts)
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"

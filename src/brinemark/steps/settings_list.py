"""What logbook.toml says and may say, key by key, and texts that people type as values of its keys."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from brinemark.records.settings_edit import Keys, dotted, key_of
from brinemark.records.settings_file import BY_ID, BY_QUANTITY
from brinemark.records.settings_keys import (
    EITHER,
    NUMBER,
    OPTIONAL,
    PAIRS,
    SECTIONS,
    TWO,
    WHOLE,
    YES_NO,
    SettingKey,
    keys_of,
)
from brinemark.records.text import nearest
from brinemark.steps.change_settings import Present, present
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.settings import FAMILIES, family

YES, NO = "yes", "no"
_WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class ListedKey:
    """A key with what holds now. name : with dots, ID for one that no section stands for; written : in the file."""

    name: str
    key: SettingKey
    value: JsonValue
    written: bool

    def to_dict(self) -> dict[str, Any]:
        about = {name: value for name, value in asdict(self.key).items() if name not in ("section", "key")}
        return {
            "key": self.name,
            "value": self.value,
            "written": self.written,
            **about,
            "choices": list(self.key.choices),
        }


def listed(folder: Path, wanted: str | None = None) -> list[ListedKey]:
    """Every key, or those of a section, or one. Raises Refused for a name that is none."""
    found = [one for section in SECTIONS for one in _of_section(present(folder), section)]
    if wanted is None:
        return found
    keys = key_of(wanted)
    some = [one for one in found if key_of(one.name)[: len(keys)] == keys]
    if some:
        return some
    alike = nearest(dotted(keys), [*SECTIONS, *(one.name for one in found)])
    raise Refused(
        f"no setting {wanted}", f"the nearest known one, {alike}" if alike else "one of docs/logbook.toml", "correct it"
    )


def _of_section(now: Present, section: str) -> Iterator[ListedKey]:
    there = now.table.get(section)
    if section in BY_ID:
        named: Mapping[str, Any] = there if isinstance(there, Mapping) else {}
        for name in named or ("ID",):
            yield from _keys_in(now, (section, name), named.get(name))
    else:
        yield from _keys_in(now, (section,), there)


def _keys_in(now: Present, place: Keys, there: Any) -> Iterator[ListedKey]:
    said: Mapping[str, Any] = there if isinstance(there, Mapping) else {}
    absent = place[0] in OPTIONAL and there is None
    for key in keys_of(place[0], family_in(place[0], said), of_spectra(now.table)):
        value = said.get(key.key, None if absent else key.default)
        yield ListedKey(dotted((*place, key.key)), key, value, key.key in said)


def of_spectra(table: Mapping[str, Any]) -> bool:
    """Whether the curves of a settings file are spectra."""
    return family(table.get("signal")) != FAMILIES[0]


def family_in(section: str, said: Mapping[str, Any]) -> str:
    """The family of quantities of a section as the file has it; that of waves where it has none."""
    return family(said) if section in BY_QUANTITY else FAMILIES[0]


def value_of(folder: Path, keys: Keys, texts: Sequence[str]) -> JsonValue:
    """Texts of the command line as the value of a key; an unknown key is left to the reader of the settings."""
    now = present(folder)
    section: Any = now.table
    for name in keys[:-1]:
        section = section.get(name, {}) if isinstance(section, Mapping) else {}
    families = FAMILIES if keys[0] in BY_QUANTITY else FAMILIES[:1]
    first = family_in(keys[0], section)
    known = keys[0] in SECTIONS
    for one in (first, *families):
        for key in keys_of(keys[0], one, of_spectra(now.table)) if known else ():
            if key.key == keys[-1]:
                return typed(key.kind, texts)
    return texts[0] if len(texts) == 1 else list(texts)


def typed(kind: str, texts: Sequence[str]) -> JsonValue:
    """What people typed as a value of this kind; what is no such value stays a text, which the reader refuses."""
    if kind == TWO:
        return [_number(text) for text in texts]
    if kind == PAIRS:
        return [_pair(text) for text in ";".join(texts).split(";") if text.strip()]
    text = texts[0] if len(texts) == 1 else " ".join(texts)
    if kind == YES_NO:
        return {"yes": True, "true": True, "no": False, "false": False}.get(text.casefold(), text)
    if kind in (WHOLE, EITHER) and _WHOLE.fullmatch(text.strip()):
        return int(text)
    return _number(text) if kind in (NUMBER, WHOLE, EITHER) else text


def _pair(text: str) -> JsonValue:
    number, sign, words = text.partition("=")
    return [_number(number), words.strip()] if sign else text.strip()


def _number(text: str) -> JsonValue:
    plain = text.strip().replace("\u2212", "-")
    plain = plain.replace(",", ".") if plain.count(",") == 1 and "." not in plain else plain
    return float(plain) if _NUMBER.fullmatch(plain) else text

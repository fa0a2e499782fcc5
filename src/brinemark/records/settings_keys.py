"""Every section and key of logbook.toml with its meaning, unit, default and kind.

Meanings are the comments of docs/logbook.toml, which lies beside the models as settings.toml; those of spectra stand
in the models.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from brinemark.records.settings_file import BY_ID, BY_QUANTITY, OF_SPECTRA, SECTIONS, model_of
from brinemark.terms.canonical import JsonValue
from brinemark.terms.settings import COVARIATE_SECTIONS, FAMILIES, SIGNAL_SECTIONS, Settings

CHOICE, YES_NO, WHOLE, NUMBER, TWO, TEXT, EITHER, PAIRS = (
    *("choice", "yes or no", "whole number", "number", "two numbers", "text", "number or word", "numbers with words"),
)
"""Kinds of values."""

OPTIONAL = ("covariate", *BY_ID)
"""Sections that may be absent."""

_KEY = re.compile(r"#?(?P<key>[A-Za-z]\w*) = [^#]*(?:#\s(?P<words>.*))?")
_HEADER = re.compile(r"#?\[(?P<name>\w+)(?:\.\w+)?\]\s*(?:#\s(?P<words>.*))?")
_GOES_ON = re.compile(r"\s+#\s(?P<words>.*)")
_SAID_ELSEWHERE = re.compile(r"; a change here needs a new `calibrate`|`")
_UNIT = re.compile(r"\[(?P<unit>[^\]]+)\]\s*(?P<rest>.*)")


@dataclass(frozen=True, slots=True)
class SettingKey:
    """One key. choices : what a "choice" may be; default : None when the key has none and may be left out.

    needed : whether a section of this kind is wrong without the key; fixed : whether nothing else than the default
    is accepted.
    """

    section: str
    key: str
    kind: str
    choices: tuple[str, ...]
    unit: str
    meaning: str
    default: JsonValue
    needed: bool = False
    fixed: bool = False


@lru_cache
def keys_of(section: str, family: str = FAMILIES[0], of_spectra: bool = False) -> tuple[SettingKey, ...]:
    """Keys of a section, in the order of its model. family : of its quantity, where the section has one."""
    found = [_key(section, name, field) for name, field in _model(section, family).model_fields.items()]
    if section == "instrument":
        found = [one for one in found if (one.key in OF_SPECTRA) == of_spectra]
    return tuple(found)


def meaning_of(section: str) -> str:
    """What a section is for, "" when its keys say it."""
    return _words().get((section, ""), "")


def _model(section: str, family: str) -> type[BaseModel]:
    if section in BY_QUANTITY:
        return (SIGNAL_SECTIONS if section == "signal" else COVARIATE_SECTIONS)[family]
    return model_of(Settings.model_fields[section].annotation)


def _key(section: str, name: str, field: Any) -> SettingKey:
    kind, choices = _kind(field.annotation)
    if name == "quantity":
        families = (SIGNAL_SECTIONS if section == "signal" else COVARIATE_SECTIONS).values()
        choices = tuple(one for model in families for one in _kind(model.model_fields["quantity"].annotation)[1])
    name = field.alias or name
    words = field.description or _words().get((section, name), "")
    unit = _UNIT.fullmatch(words) if kind in (NUMBER, TWO) else None
    default = None if field.is_required() else field.default
    return SettingKey(
        section=section,
        key=name,
        kind=kind,
        choices=choices,
        unit=unit["unit"] if unit else "",
        meaning=unit["rest"] if unit else words,
        default=list(default) if isinstance(default, tuple) else default,
        needed=field.is_required() and name != "quantity",
        fixed=len(choices) == 1 or name == "schema",
    )


def _kind(annotation: Any) -> tuple[str, tuple[str, ...]]:
    origin = get_origin(annotation)
    if origin is Annotated:
        return _kind(get_args(annotation)[0])
    if origin is Literal:
        return CHOICE, tuple(str(one) for one in get_args(annotation))
    if origin in (Union, UnionType):
        parts = [one for one in get_args(annotation) if one is not NoneType]
        return (EITHER, ()) if len(parts) > 1 else _kind(parts[0])
    if origin is tuple:
        return (PAIRS if get_args(annotation)[-1] is Ellipsis else TWO), ()
    return {bool: YES_NO, int: WHOLE, float: NUMBER}.get(annotation, TEXT), ()


@lru_cache
def _words() -> dict[tuple[str, str], str]:
    """Meaning by section and key; of a section itself under the key ""."""
    found: dict[tuple[str, str], str] = {}
    section, last, block = "", ("", ""), list[str]()
    for line in files("brinemark.terms").joinpath("settings.toml").read_text(encoding="utf-8").splitlines():
        if header := _HEADER.fullmatch(line):
            section = header["name"]
            last = (section, "")
            found.setdefault(last, header["words"] or " ".join(block))
        elif key := _KEY.fullmatch(line):
            last = (section, key["key"])
            found.setdefault(last, key["words"] or "")
        elif (more := _GOES_ON.fullmatch(line)) and last in found:
            found[last] += f" {more['words']}"
        elif line.startswith("# "):
            block.append(line.removeprefix("# "))
        if not line.startswith("# "):
            block.clear()
    return {place: _SAID_ELSEWHERE.sub("", words) for place, words in found.items()}


__all__ = ["OPTIONAL", "SECTIONS", "SettingKey", "keys_of", "meaning_of"]

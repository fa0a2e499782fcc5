"""logbook.toml as fields of a form: what they show, what was filled in, and the changes that this amounts to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from brinemark.faces.web.numbers import styled
from brinemark.records.settings_edit import Keys, dotted, key_of, same
from brinemark.records.settings_file import BY_ID, BY_QUANTITY, Finding
from brinemark.records.settings_keys import NUMBER, SECTIONS, TWO, WHOLE, YES_NO, SettingKey, keys_of, meaning_of
from brinemark.steps.change_settings import Present, effect_of
from brinemark.steps.settings_list import NO, YES, family_in, of_spectra, typed
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.settings import FAMILIES

Texts = Mapping[str, Sequence[str]]
NEW, OUT = "new", "take_out"
ABSENT = "not in the file"
SWITCHED = "covariate"
ENDS = {"prior": ("center", "sd"), "wavelengths_nm": ("first", "second")}


@dataclass(slots=True, eq=False)
class Field:
    """One key as a field. texts : what it shows, usual : what it shows when nothing was filled in; was : the value that
    holds now; written : whether the file has it.
    """

    name: str
    keys: Keys
    about: SettingKey
    texts: list[str]
    usual: list[str]
    was: JsonValue
    written: bool
    given: bool
    findings: list[str] = field(default_factory=list)

    @property
    def value(self) -> JsonValue:
        """What the texts say; None when they are empty."""
        full = [text.strip() for text in self.texts]
        return typed(self.about.kind, full) if any(full) else None

    @property
    def differs(self) -> bool:
        """Whether what is filled in says something else than what holds now."""
        found = self.value
        return self.written if found is None and self.was is not None else not same(found, self.was)

    @property
    def touched(self) -> bool:
        return self.given and [text.strip() for text in self.texts] != self.usual


@dataclass(slots=True, eq=False)
class Slot:
    """One section, or the room for a new one. here : in the file; wanted : to be there; names are those of fields.

    others : keys of the file that have no field, by name; gone : those that the quantity filled in has no use for.
    """

    section: str
    place: Keys
    name: str
    here: bool
    wanted: bool
    fields: list[Field]
    others: dict[str, JsonValue] = field(default_factory=dict)
    gone: list[str] = field(default_factory=list)
    findings: list[str] = field(default_factory=list)

    @property
    def is_new(self) -> bool:
        return self.name.startswith(f"{NEW}.")


class Form:
    """The fields of a settings file with what was filled in, which may be nothing."""

    def __init__(self, now: Present, given: Texts, style: str) -> None:
        self.now, self.given, self.style = now, given, style
        self.out = set(given.get(OUT, ()))
        self.left: list[str] = []
        self.spectra = self._spectra()
        self.slots = [slot for section in SECTIONS for slot in self._slots(section)]

    def changes(self) -> dict[Keys, JsonValue]:
        """What the fields amount to; keys that another quantity has no use for go out with it."""
        found: dict[Keys, JsonValue] = {}
        for name in sorted(self.out):
            found[key_of(name)] = None
        for slot in self.slots:
            if slot.name not in self.out:
                found.update(_changes_of(slot))
        return {keys: value for keys, value in found.items() if keys[:-1] not in found or found[keys[:-1]] is not None}

    def own_findings(self) -> list[Finding]:
        """What is wrong with the form itself, so that no text of the file could show it."""
        return [one for slot in self.slots for one in _own_findings(slot, self.now.table)]

    def put(self, findings: Sequence[Finding]) -> None:
        """Findings beside their fields; those without a field are left to the head of the page."""
        for one in findings:
            self._holder(one.keys).append(one.sentence)

    def _holder(self, keys: Keys) -> list[str]:
        for slot in self.slots:
            if slot.place and keys[: len(slot.place)] == slot.place:
                inner = next((one.findings for one in slot.fields if one.keys == keys), None)
                return slot.findings if inner is None else inner
        return self.left

    def _spectra(self) -> bool:
        signal = dict(self.now.table.get("signal", {})) if isinstance(self.now.table.get("signal"), Mapping) else {}
        texts = self.given.get("signal.quantity")
        return of_spectra({"signal": {**signal, "quantity": texts[0]} if texts else signal})

    def _slots(self, section: str) -> Iterator[Slot]:
        there = self.now.table.get(section)
        if section not in BY_ID:
            said = there if isinstance(there, Mapping) else {}
            wanted = self.given.get(section, (YES if there is not None else NO,))[0] == YES
            yield self._slot((section,), section, said, there is not None, wanted or section != SWITCHED)
            return
        named: Mapping[str, Any] = there if isinstance(there, Mapping) else {}
        for name, said in named.items():
            inner = said if isinstance(said, Mapping) else {}
            yield self._slot((section, name), dotted((section, name)), inner, True, True)
        fresh = self.given.get(f"{NEW}.{section}", ("",))[0].strip()
        place = (section, fresh) if fresh and fresh not in named else ()
        yield self._slot(place or (section, ""), f"{NEW}.{section}", {}, False, bool(fresh))

    def _slot(self, place: Keys, name: str, said: Mapping[str, Any], here: bool, wanted: bool) -> Slot:
        section = place[0]
        given = self.given.get(f"{name}.quantity")
        family = family_in(section, {**said, "quantity": given[0]} if given else said)
        if self.spectra and section in BY_QUANTITY and not said and not given:
            family = FAMILIES[1]
        about = keys_of(section, family, self.spectra)
        fields = [self._field(place, name, one, said) for one in about]
        strange = {key: value for key, value in said.items() if key not in {one.key for one in about}}
        gone = [key for key in strange if key in _of_quantities(section)] if family != family_in(section, said) else []
        others = {dotted((*place, key)): value for key, value in strange.items() if key not in gone}
        return Slot(section, place, name, here, wanted, fields, others, gone)

    def _field(self, place: Keys, name: str, about: SettingKey, said: Mapping[str, Any]) -> Field:
        was, written = said.get(about.key, about.default), about.key in said
        given = self.given.get(f"{name}.{about.key}")
        usual = shown_texts(was, about.kind, self.style)
        if about.key == "quantity" and usual == [""]:
            usual = [FAMILIES[1]]  # of spectra, where no quantity is the default
        texts = usual if given is None else _fitting(given, about.kind)
        return Field(f"{name}.{about.key}", (*place, about.key), about, texts, usual, was, written, given is not None)


def _of_quantities(section: str) -> set[str]:
    if section not in BY_QUANTITY:
        return set()
    return {one.key for family in FAMILIES for one in keys_of(section, family)}


def _changes_of(slot: Slot) -> dict[Keys, JsonValue]:
    if not slot.wanted:
        return {slot.place: None} if slot.here else {}
    if slot.is_new and not slot.place[-1]:
        return {}
    found: dict[Keys, JsonValue] = {} if slot.here or slot.section not in (*BY_ID, SWITCHED) else {slot.place: {}}
    for one in slot.fields:
        if one.given and one.differs and (one.touched or not slot.here) and not one.about.fixed:
            found[one.keys] = one.value
    found.update({(*slot.place, key): None for key in slot.gone})
    return found


def _own_findings(slot: Slot, table: Mapping[str, Any]) -> Iterator[Finding]:
    filled = any(one.touched for one in slot.fields)
    if slot.is_new and not slot.wanted and filled:
        yield Finding(
            slot.place, f"a new {words_of(slot.section)} without a name", "its name", "fill it in, or clear it"
        )
    if slot.is_new and slot.wanted and slot.place == (slot.section, ""):
        came = f"a second {words_of(slot.section)} of one name"
        yield Finding(slot.place, came, "another name", "change the one that is there, or give a new name")
    if slot.section == SWITCHED and not slot.here and not slot.wanted and filled:
        yield Finding(slot.place, "keys of a covariate that is not wanted", "yes", "say yes above them, or clear them")


def _fitting(texts: Sequence[str], kind: str) -> list[str]:
    """Texts that were filled in, or that stand in an address: two numbers there are parted by a comma."""
    found = list(texts)
    if kind == TWO and len(found) == 1:
        parts = found[0].split(";") if ";" in found[0] else found[0].split(",")
        found = [part.strip() for part in parts] if len(parts) == 2 else found
    return [*found, ""][:2] if kind == TWO and len(found) < 2 else found


def shown_texts(value: JsonValue, kind: str, style: str) -> list[str]:
    """A value as the texts of its field."""
    if kind == TWO:
        parts = list(value) if isinstance(value, list | tuple) else [value]
        return [number_text(part, style) for part in [*parts, "", ""][:2]]
    return [value_text(value, style)]


def value_text(value: Any, style: str) -> str:
    """A value in one piece, as a person would write it."""
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, Mapping):
        return "; ".join(f"{key} {value_text(one, style)}" for key, one in value.items()) or "nothing in it"
    if isinstance(value, list | tuple) and any(isinstance(one, list | tuple) for one in value):
        return "; ".join(_pair_text(one, style) for one in value)
    if isinstance(value, list | tuple):
        return " to ".join(number_text(one, style) for one in value)
    return number_text(value, style)


def _pair_text(value: Any, style: str) -> str:
    parts = value if isinstance(value, list | tuple) else [value]
    return " = ".join(number_text(one, style) for one in parts)


def number_text(value: Any, style: str) -> str:
    """A number without loss, in the reader's decimal sign; other values as text, None as nothing."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "" if value is None else str(value)
    return styled(repr(value).removesuffix(".0"), style)


def words_of(section: str) -> str:
    """What one section with an id is."""
    return {"further_covariate": "further covariate", "lot": "lot of seawater"}.get(section, section)


def plain(form: Form) -> list[dict[str, Any]]:
    """The sections of a form as plain data, with numbered fields."""
    count = iter(range(1, 10_000))
    return [
        {
            "section": slot.section,
            "place": list(slot.place),
            "title": f"[{dotted(slot.place)}]" if slot.place[-1] else "",
            "name": slot.name,
            "anchor": f"s{place}",
            "id": slot.place[-1] if slot.is_new else "",
            "words": words_of(slot.section),
            "meaning": meaning_of(slot.section),
            "effect": effect_of((slot.section,)),
            "here": slot.here,
            "wanted": slot.wanted,
            "new": slot.is_new,
            "out": slot.name in form.out,
            "switched": slot.section == SWITCHED,
            "findings": slot.findings,
            "others": [
                {"name": name, "text": value_text(value, form.style), "out": name in form.out}
                for name, value in slot.others.items()
            ],
            "fields": [_plain_field(one, next(count), form) for one in slot.fields],
            "written": sum(one.written for one in slot.fields),
            "touched": any(one.touched for one in slot.fields) or bool(slot.findings),
        }
        for place, slot in enumerate(form.slots, start=1)
    ]


def _plain_field(one: Field, number: int, form: Form) -> dict[str, Any]:
    about = one.about
    choices = (YES, NO) if about.kind == YES_NO else about.choices
    return {
        "id": f"f{number}",
        "name": one.name,
        "key": about.key,
        "kind": about.kind,
        "choices": list(choices),
        "unit": about.unit,
        "meaning": about.meaning,
        "default": value_text(about.default, form.style),
        "ends": list(ENDS.get(about.section, ENDS.get(about.key, ("low", "high")))) if about.kind == TWO else [],
        "mode": "decimal" if about.kind in (NUMBER, TWO) else "numeric" if about.kind == WHOLE else "",
        "texts": one.texts,
        "written": one.written,
        "fixed": about.fixed,
        "differs": one.touched and one.differs,
        "effect": effect_of(one.keys) if effect_of(one.keys) != effect_of(one.keys[:1]) else "",
        "findings": one.findings,
    }


def from_address(asked: Texts, now: Present) -> dict[str, list[str]]:
    """Values behind the ? of an address that are names of keys; of a section that is not there as a new one."""
    found: dict[str, list[str]] = {}
    for name, texts in asked.items():
        try:
            keys = key_of(name)
        except Refused:
            continue
        if len(keys) == (3 if keys[0] in BY_ID else 2) and keys[0] in SECTIONS:
            found.update(_placed(keys, list(texts), now.table))
    return found


def _placed(keys: Keys, texts: list[str], table: Mapping[str, Any]) -> Iterator[tuple[str, list[str]]]:
    if keys[0] in BY_ID and keys[1] not in table.get(keys[0], {}):
        yield f"{NEW}.{keys[0]}", [keys[1]]
        yield f"{NEW}.{keys[0]}.{keys[2]}", texts
        return
    if keys[0] == SWITCHED and SWITCHED not in table:
        yield SWITCHED, [YES]
    yield dotted(keys), texts

"""Change logbook.toml: what a change would do, and doing it with an entry in the audit list.

The texts before and after are kept as originals, so that any settings that ever held can be read again.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from brinemark.records.database import Database
from brinemark.records.files import store_originals
from brinemark.records.reader import Reader
from brinemark.records.settings_edit import Changes, Keys, dotted, edited, is_section, put_in_place, same
from brinemark.records.settings_file import Finding, bytes_of, check_settings, refusal_of, text_of
from brinemark.records.text import shown as shown_text
from brinemark.records.writer import Writer
from brinemark.steps.definition_lock import lock_of
from brinemark.steps.identity import definition_of
from brinemark.steps.place import DATABASE_FILE, ORIGINALS_FOLDER, SETTINGS_FILE
from brinemark.terms.canonical import JsonValue, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.settings import Settings

ACTION = "settings changed"
BOM = b"\xef\xbb\xbf"
LARGEST = 2**53  # the audit list is JSON by RFC 8785, whose whole numbers end here

RENEWS = "needs a new calibration before anything is read"
NEXT_CALIBRATION = "counts from the next calibration on; until then samples are read by the one there is"
NEXT_READING = (
    "counts from the next reading on; no new calibration is needed, and readings that were made stay as they are"
)
SHEETS = "counts for run sheets that come from now on; those that are in stay as they are"
SHOWN = "moves no number; answers and charts show it"
LIMITS = "limits of batches follow with the next calibration"
UNIT = "no level is converted: sheets are read as if they had always meant the new unit"

EFFECTS: Mapping[str, str] = {
    "logbook": SHOWN,
    "logbook.timezone": SHEETS,
    "analyte": RENEWS,
    "analyte.level_unit": f"{RENEWS}; {UNIT}",
    "analyte.molar_mass": "counts where an answer is stated in another unit",
    "signal": RENEWS,
    "covariate": RENEWS,
    "further_covariate": RENEWS,
    "prescan": RENEWS,
    "instrument": "needs a new calibration, since curves of this instrument are read in another way",
    "stock": NEXT_CALIBRATION,
    "lot": NEXT_CALIBRATION,
    "conditions": "counts from the next reading on, and for standards from the next calibration on",
    "allowance": NEXT_READING,
    "run": NEXT_READING,
    "run.volume_rel_u": NEXT_CALIBRATION,
    "prior": NEXT_CALIBRATION,
    "calibration": NEXT_CALIBRATION,
    "decision": f"{NEXT_READING}; {LIMITS}",
    "fish": "counts from the next time a consignment is interpreted; readings stay as they are",
    "costs": "counts from the next plan on; no number but costs and hours moves",
    "report": "counts from the next report on",
}
"""What a change costs, by section, and by key where one differs from its section."""


@dataclass(frozen=True, slots=True, eq=False)
class Present:
    """The settings file as it is. settings : None when it is not sound; table : what it says, {} when it is no TOML."""

    data: bytes
    text: str
    table: Mapping[str, Any]
    settings: Settings | None
    findings: tuple[Finding, ...]

    @property
    def sha256(self) -> str:
        return sha256_hex(self.data)


@dataclass(frozen=True, slots=True)
class KeyChange:
    """One key, or a whole section, with what the file said and says; None where it says nothing."""

    key: str
    old: JsonValue
    new: JsonValue

    def to_dict(self) -> dict[str, JsonValue]:
        return {"key": self.key, "old": self.old, "new": self.new}


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """What some changes would do. after : the new settings, None when there are findings.

    effects : what each changed section costs, in words; late : sections in which the new definition differs from one
    that samples were read by already, so that the choice would not be blind; renews : as in ChangedSettings.
    """

    before: Present
    text: str
    changed: tuple[KeyChange, ...]
    findings: tuple[Finding, ...]
    after: Settings | None
    effects: tuple[str, ...]
    late: tuple[str, ...]
    renews: bool


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to change. shown : sha256 of the file that the changes were chosen before, "" for whatever is there.

    although_read : the definition may change although samples were read.
    """

    changes: Changes
    reason: str = ""
    shown: str = ""
    although_read: bool = False


@dataclass(frozen=True, slots=True)
class ChangedSettings:
    """What was changed, and the number of the audit entry; None when the file said all that already.

    renews : whether a new calibration is needed before anything is read.
    """

    changed: tuple[KeyChange, ...]
    effects: tuple[str, ...]
    entry: int | None
    renews: bool = False

    def to_dict(self) -> dict[str, Any]:
        changed = [one.to_dict() for one in self.changed]
        said = {"effects": list(self.effects), "new_calibration": self.renews}
        return {"schema": 1, "entry": self.entry, "changed": changed, **said}


def present(folder: Path) -> Present:
    """The settings file of a logbook, sound or not. Raises Refused when it cannot be read as text."""
    data = bytes_of(folder / SETTINGS_FILE)
    text = text_of(data, SETTINGS_FILE)
    settings, findings = check_settings(text)
    try:
        table = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError:
        table = {}
    return Present(data, text, table, None if findings else settings, findings)


def propose(folder: Path, database: Database, changes: Changes) -> Proposal:
    """What changes would do; nothing is written. Raises Refused where logbook.toml cannot be edited."""
    with database.reading() as reader:
        return _proposal(present(folder), changes, reader)


def change_settings(folder: Path, database: Database, wish: Wish) -> ChangedSettings:
    """Check the changes, keep both texts, note the change in the audit list, and put the new file in place.

    All of it or nothing. Raises Refused for findings, for a file that changed since it was shown, for a missing
    reason, and for a definition that would change after samples were read unless that is said.
    """
    written: Present | None = None
    try:
        with database.writing() as writer:
            made = _proposal(present(folder), wish.changes, writer.reader)
            if not made.changed:
                return ChangedSettings((), (), None)
            _check(made, wish)
            data = _bytes(made)
            entry = _note(writer, folder / ORIGINALS_FOLDER, made, data, wish)
            _check_untouched(folder, made.before)
            put_in_place(folder / SETTINGS_FILE, data)
            written = made.before
    except BaseException:
        if written is not None:  # the entry was not kept after all
            put_in_place(folder / SETTINGS_FILE, written.data, checked=False)
        raise
    return ChangedSettings(made.changed, made.effects, entry, made.renews)


def change_at(folder: Path, wish: Wish) -> ChangedSettings:
    """The same for a logbook that is not opened, whose settings may be wrong as they are. Raises Refused."""
    with _database(folder) as database:
        return change_settings(folder, database, wish)


def propose_at(folder: Path, changes: Changes) -> Proposal:
    """What changes would do, for a logbook whose settings may be wrong as they are. Raises Refused."""
    with _database(folder) as database:
        return propose(folder, database, changes)


@contextmanager
def _database(folder: Path) -> Iterator[Database]:
    if not (folder / SETTINGS_FILE).is_file() or not (folder / DATABASE_FILE).is_file():
        raise Refused(f"no logbook in {folder}", "a folder with settings and database", "give the logbook's folder")
    database = Database.open(folder / DATABASE_FILE)
    try:
        yield database
    finally:
        database.close()


def effect_of(keys: Keys) -> str:
    """What a change of a key or section costs."""
    return EFFECTS.get(dotted((keys[0], keys[-1])), EFFECTS.get(keys[0], ""))


def _proposal(before: Present, changes: Changes, reader: Reader) -> Proposal:
    changed = _differences(before.table, changes)
    text = edited(before.text, changes)
    after, findings = check_settings(text)
    sound = None if findings else after
    late = _late(before.settings, sound, reader)
    renews = bool(late) or _renews(before.settings, sound, changed)
    return Proposal(before, text, tuple(changed.values()), findings, sound, _effects(list(changed)), late, renews)


def _renews(before: Settings | None, after: Settings | None, changed: Mapping[Keys, KeyChange]) -> bool:
    if any(keys[0] == "instrument" for keys in changed):
        return True
    if before is None or after is None:
        return False
    return definition_of(before).identity != definition_of(after).identity


def _differences(table: Mapping[str, Any], changes: Changes) -> dict[Keys, KeyChange]:
    found: dict[Keys, KeyChange] = {}
    for keys, new in changes.items():
        old: Any = table
        for name in keys:
            old = old.get(name) if isinstance(old, Mapping) else None
        if not _says_the_same(old, new) and not (new == {} and is_section(keys) and _is_filled(keys, changes)):
            found[keys] = KeyChange(dotted(keys), _plain(old), _plain(new))
    return found


def _plain(value: Any) -> JsonValue:
    """A value of the file as the audit list can hold it: dates, numbers that are none and huge ones as text."""
    if isinstance(value, Mapping):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int | float) and math.isfinite(value) and abs(value) < LARGEST:
        return value
    return str(value)


def _says_the_same(old: JsonValue, new: JsonValue) -> bool:
    """Whether a change is none: the value is there already, or the section, or neither is to be there."""
    return old is None if new is None else old is not None and (new == {} or same(old, new))


def _is_filled(keys: Keys, changes: Changes) -> bool:
    """Whether keys of a new section come with it, which then say all of it."""
    return any(
        one[: len(keys)] == keys and len(one) > len(keys) and value is not None for one, value in changes.items()
    )


def _effects(changed: Sequence[Keys]) -> tuple[str, ...]:
    by_words: dict[str, list[str]] = {}
    for keys in changed:
        name = dotted(keys) if dotted((keys[0], keys[-1])) in EFFECTS else f"[{keys[0]}]"
        names = by_words.setdefault(effect_of(keys), [])
        if name not in names:
            names.append(name)
    return tuple(f"{', '.join(names)}: {words}" for words, names in by_words.items() if words)


def _late(before: Settings | None, after: Settings | None, reader: Reader) -> tuple[str, ...]:
    """Sections of a definition that would be chosen after samples were read by another."""
    if after is None:
        return ()
    definition = definition_of(after)
    if before is not None and definition_of(before).identity == definition.identity:
        return ()
    results: Any = lock_of(reader, definition).results
    return tuple(results["changed"])


def _check(made: Proposal, wish: Wish) -> None:
    if wish.shown and wish.shown != made.before.sha256:
        raise _touched()
    if made.findings:
        raise refusal_of(made.findings, SETTINGS_FILE)
    if made.late and not wish.although_read:
        raise Refused(
            f"samples were read already by another definition ({', '.join(made.late)} would differ)",
            "a word that this is known: what is read from then on says that the choice was not blind",
            "say so with the change, or leave the definition as it is",
        )
    if not wish.reason.strip() or not wish.reason.isprintable():
        raise Refused(f"the reason {shown_text(wish.reason)}", "why it is changed, in one line", "give a reason")


def _check_untouched(folder: Path, before: Present) -> None:
    """A last look, since an editor asks no one before it saves."""
    if bytes_of(folder / SETTINGS_FILE) != before.data:
        raise _touched()


def _touched() -> Refused:
    return Refused(
        f"{SETTINGS_FILE} was changed by someone else since it was shown",
        "the file as it was shown",
        "look at it again, then change it",
    )


def _bytes(made: Proposal) -> bytes:
    mark = BOM if made.before.data.startswith(BOM) else b""
    return mark + made.text.encode("utf-8")


def _note(writer: Writer, folder: Path, made: Proposal, data: bytes, wish: Wish) -> int:
    before = made.before.data
    writer.add_originals(store_originals(folder, [(SETTINGS_FILE, before), (SETTINGS_FILE, data)]))
    detail: dict[str, JsonValue] = {
        "changed": [one.to_dict() for one in made.changed],
        "reason": wish.reason.strip(),
        "before": sha256_hex(before),
        "after": sha256_hex(data),
        "not_blind": list(made.late),
        "new_calibration": made.renews,
    }
    return writer.seal(ACTION, SETTINGS_FILE, detail)

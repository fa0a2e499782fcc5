"""logbook.toml changed key by key: comments, order and whatever is not changed stay as they were written by hand.

A changed text is taken only when it says exactly what was asked for and holds every comment of the old one.
"""

from __future__ import annotations

import copy
import os
import re
import secrets
import shutil
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeAlias

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable, Item, Table

from brinemark.records.files import sync_folder
from brinemark.records.settings_file import BY_ID, SECTIONS, bytes_of, parse_settings, text_of
from brinemark.records.text import shown
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused

Keys: TypeAlias = tuple[str, ...]
Changes: TypeAlias = Mapping[Keys, JsonValue]
"""Value by the names that lead to a key: section, id where there is one, key.

None takes a key or a whole section out; {} under the names of a section makes it without keys.
"""

MARK = "@@ this place @@"
_CANNOT = (LookupError, ValueError, TypeError, AttributeError, StopIteration)
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def key_of(dotted: str) -> Keys:
    """Names that lead to a key, written with dots: decision.alpha, stock.K1.level, lot."L 7".u. Raises Refused."""
    try:
        inner: Any = tomllib.loads(f"{dotted} = 0")
    except tomllib.TOMLDecodeError:
        raise Refused(f"the key {shown(dotted)}", "names with dots, such as decision.alpha", "correct it") from None
    names: list[str] = []
    while isinstance(inner, dict):
        name, inner = next(iter(inner.items()))
        names.append(name)
    if names[0] in BY_ID and len(names) > 3:  # an id with dots that was not written in quotes
        names = [names[0], ".".join(names[1:-1]), names[-1]]
    return tuple(names)


def dotted(keys: Sequence[str]) -> str:
    """The names with dots, in quotes where TOML wants them: the other way of key_of."""
    return ".".join(name if _BARE.fullmatch(name) else tomlkit.string(name).as_string() for name in keys)


def is_section(keys: Keys) -> bool:
    """Whether names lead to a section, not to a key in it."""
    return len(keys) < (3 if keys[0] in BY_ID else 2)


def edited(text: str, changes: Changes) -> str:
    """The text with the changes made; the same text when they change nothing.

    Raises Refused for a text that is no TOML, and when a change cannot be made without losing a comment or
    touching something else.
    """
    plain = text.replace("\r\n", "\n")
    try:
        table = tomllib.loads(plain)
    except tomllib.TOMLDecodeError as error:
        raise Refused(f"not TOML: {error}", "settings as in docs/logbook.toml", "correct the line by hand") from None
    made = plain
    for keys, value in _in_order(changes):
        before = table
        table = _with(table, keys, value)
        if not same(_told(before), _told(table)):
            made = _one(made, keys, value, table)
    if made == plain:
        return text
    return made.replace("\n", "\r\n") if "\r\n" in text else made


def _in_order(changes: Changes) -> Iterator[tuple[Keys, JsonValue]]:
    """Sections that go first, then those that come, then keys, each kind in the order given."""
    rank = {keys: 2 if not is_section(keys) else 0 if changes[keys] is None else 1 for keys in changes}
    for keys in sorted(changes, key=lambda one: rank[one]):
        yield keys, changes[keys]


def _with(table: Mapping[str, Any], keys: Keys, value: JsonValue) -> dict[str, Any]:
    """What the file has to say after a change. Raises Refused where a value stands for a section."""
    made = copy.deepcopy(dict(table))
    inner: Any = made
    for name in keys[:-1]:
        if value is None and name not in inner:
            return made
        inner = inner.setdefault(name, {})
        if not isinstance(inner, dict):
            raise Refused(f"{name} is not a section in this file", "a section", "correct the file by hand")
    if value is None:
        inner.pop(keys[-1], None)
    elif value != {} or keys[-1] not in inner:
        inner[keys[-1]] = copy.deepcopy(value)
    return made


def _told(table: Mapping[str, Any]) -> dict[str, Any]:
    """What a file says; a header alone says nothing, but for the one section whose being there matters."""
    return {name: value for name, value in table.items() if value != {} or name == "covariate"}


def same(one: Any, two: Any) -> bool:
    """Whether two values say the same; 12 and 12.0 do, 1 and true do not."""
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(same(one[key], two[key]) for key in one)
    if isinstance(one, list | tuple) and isinstance(two, list | tuple):
        return len(one) == len(two) and all(map(same, one, two))
    return isinstance(one, bool) == isinstance(two, bool) and bool(one == two)


def _one(text: str, keys: Keys, value: JsonValue, wanted: Mapping[str, Any]) -> str:
    """One change: as a person would write it where that is possible, else as the library does."""
    for way in (_by_lines, _by_library):
        try:
            made = way(text, keys, value)
            found = tomllib.loads(made)
        except (*_CANNOT, TOMLKitError):  # written in a way in which this cannot be done
            continue
        if same(_told(found), _told(wanted)) and _keeps_comments(text, made):
            return made
    raise Refused(
        f"{dotted(keys)} cannot be changed here without losing a comment or touching something else",
        "a file with a line for each key",
        "change it by hand in logbook.toml",
    )


def _by_lines(text: str, keys: Keys, value: JsonValue) -> str:
    document = tomlkit.parse(text)
    holder: Any = document
    for name in keys[:-1]:
        holder = holder.get(name, {})
    there = keys[-1] in holder
    if is_section(keys):
        return _without_section(text, keys, holder[keys[-1]]) if value is None else _new_section(text, keys)
    if value is None:
        return _without_key(text, keys)
    if there:
        _put(holder, keys[-1], value)
        return tomlkit.dumps(document)
    if not holder and not _section_is_there(document, keys[:-1]):
        text = _new_section(text, keys[:-1])
        document = tomlkit.parse(text)
    return _new_key(document, keys, value)


def _by_library(text: str, keys: Keys, value: JsonValue) -> str:
    document = tomlkit.parse(text)
    holder: Any = document
    for name in keys[:-1]:
        if name not in holder:
            holder[name] = tomlkit.table()
        holder = holder[name]
    if value is None:
        del holder[keys[-1]]
    else:
        holder[keys[-1]] = tomlkit.table() if value == {} else value
    return tomlkit.dumps(document)


def _put(holder: Any, key: str, value: JsonValue) -> None:
    """A new value in the place of an old one; ends of a list that stay the same stay as they are written."""
    old = holder[key]
    if isinstance(old, Array) and isinstance(value, list | tuple) and len(old) == len(value):
        for place, part in enumerate(value):
            if not same(old[place], part):
                old[place] = part
    else:
        holder[key] = value


def _section_is_there(document: Any, keys: Keys) -> bool:
    holder = document
    for name in keys:
        if name not in holder:
            return False
        holder = holder[name]
    return True


def _section(document: Any, keys: Keys) -> Table:
    found = document
    for name in keys:
        found = found[name]
    if not isinstance(found, Table) or isinstance(found, InlineTable):
        raise ValueError("a section that is not written as one")
    return found


def _last_line(table: Table) -> Item:
    """What stands last in a section: its last key, or its header."""
    own = [item for key, item in table.value.body if key is not None and not isinstance(item, Table | AoT)]
    return own[-1] if own else table


def _new_key(document: Any, keys: Keys, value: JsonValue) -> str:
    last = _last_line(_section(document, keys[:-1]))
    last.trivia.trail = f"\n{MARK}\n"
    lines = tomlkit.dumps(document).split("\n")
    place = lines.index(MARK)
    del lines[place]
    place = _past_going_on(lines, place)
    indent = "" if isinstance(last, Table) else last.trivia.indent
    lines.insert(place, f"{indent}{dotted(keys[-1:])} = {_written(value)}")
    return "\n".join(lines)


def _past_going_on(lines: Sequence[str], place: int) -> int:
    """The first line from here that does not go on with a comment that was begun beside a key."""
    while place < len(lines) and re.match(r"\s+#", lines[place]):
        place += 1
    return place


def _written(value: JsonValue) -> str:
    return str(tomlkit.item(value).as_string())


def _new_section(text: str, keys: Keys) -> str:
    """An empty section behind the one that comes before it in docs/logbook.toml, or at the end."""
    document = tomlkit.parse(text)
    before = _nearest_before(document, keys)
    header = f"[{dotted(keys)}]"
    if before is None:
        return f"{text.rstrip()}\n\n{header}\n".lstrip("\n")
    _last_line(before).trivia.trail = f"\n{MARK}\n"
    lines = tomlkit.dumps(document).split("\n")
    place = lines.index(MARK)
    del lines[place]
    place = end = _past_going_on(lines, place)
    while end < len(lines) and lines[end].lstrip().startswith("#"):
        end += 1
    if end == len(lines) or not lines[end].strip():  # comments that close the section, and do not open the next
        place = end
    after = [] if not any(line.strip() for line in lines[place:]) else [""] if lines[place].strip() else []
    lines[place:place] = ["", header, *after]
    return "\n".join(lines)


def _nearest_before(document: Any, keys: Keys) -> Table | None:
    earlier = SECTIONS[: SECTIONS.index(keys[0]) + 1] if keys[0] in SECTIONS else SECTIONS
    for name in reversed(earlier):
        found = document.get(name)
        if name in BY_ID and isinstance(found, Table):
            found = next((one for one in reversed(list(found.values())) if isinstance(one, Table)), None)
        if isinstance(found, Table) and not isinstance(found, InlineTable) and not found.is_super_table():
            return found
    return None


def _without_key(text: str, keys: Keys) -> str:
    """The text without the line of a key; a comment on it stays, behind the old value as a comment."""
    document = tomlkit.parse(text)
    holder: Any = _section(document, keys[:-1])
    old = holder[keys[-1]]
    value, inner = _written(old.unwrap()), [one for one in comments(old.as_string()) if isinstance(old, Array)]
    holder[keys[-1]] = MARK
    lines = tomlkit.dumps(document).split("\n")
    place = next(place for place, line in enumerate(lines) if f'"{MARK}"' in line)
    head, tail = lines[place].split(f'"{MARK}"')
    if not re.fullmatch(r"\s*(#.*)?", tail):
        raise ValueError("more than one key on a line")
    hint = [f"#{head.lstrip()}{value}{tail}"] if tail.strip() or inner else []
    lines[place : place + 1] = [*hint, *inner]
    return "\n".join(lines)


def _without_section(text: str, keys: Keys, section: Any) -> str:
    """The text without a section; its comments stay where they were."""
    for key in list(section):
        text = _without_key(text, (*keys, key))
    lines = text.split("\n")
    place = next(place for place, line in enumerate(lines) if _heads(line, keys))
    said = comments(lines[place]) or any(line.startswith("#") for line in lines[place + 1 : place + 1 + len(section)])
    rest = [f"#{lines[place].lstrip()}"] if said else []
    lines[place : place + 1] = rest
    if not rest and 0 < place < len(lines) and not lines[place - 1].strip() and not lines[place].strip():
        del lines[place]
    return "\n".join(lines)


def _heads(line: str, keys: Keys) -> bool:
    """Whether a line is the header of a section."""
    if not line.lstrip().startswith("["):
        return False
    try:
        inner: Any = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return False
    names = []
    while isinstance(inner, dict) and inner:
        name, inner = next(iter(inner.items()))
        names.append(name)
    return tuple(names) == keys


_PARTS = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|(?P<comment>#[^\n]*)', re.DOTALL
)


def comments(text: str) -> list[str]:
    """Every comment of a TOML text, from its # on; a # inside a string begins none."""
    return [found["comment"].rstrip() for found in _PARTS.finditer(text) if found["comment"]]


def _keeps_comments(old: str, new: str) -> bool:
    """Whether every comment is there still, each as often as it was."""
    before, after = comments(old), "\n".join(comments(new))
    return all(after.count(one) >= before.count(one) for one in before)


def put_in_place(path: Path, data: bytes, *, checked: bool = True) -> None:
    """Write new bytes of a settings file in one step: whoever reads it finds the old file or the new one.

    The new file is read back by the ordinary reader before it takes the old one's place, unless an old one that was
    not sound is put back. Raises Refused.
    """
    target = path.resolve()
    passing = target.with_name(f".{target.name}.{secrets.token_hex(8)}.part")
    try:
        with passing.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if checked:
            parse_settings(text_of(bytes_of(passing), path.name), path.name)
        if target.exists():
            shutil.copymode(target, passing)
        passing.replace(target)
    except OSError as error:
        remedy = "check the folder's rights and the free space"
        raise Refused(f"{path.name} cannot be written ({error.strerror})", "a file to write", remedy) from error
    finally:
        passing.unlink(missing_ok=True)
    sync_folder(target.parent)

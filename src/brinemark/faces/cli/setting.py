"""The verb set: what logbook.toml says, and a change of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from pathlib import Path

    from brinemark.records.settings_edit import Keys
    from brinemark.steps.change_settings import ChangedSettings
    from brinemark.steps.settings_list import ListedKey


@click.command("set", short_help="Look at a setting, or change it.", context_settings={"ignore_unknown_options": True})
@click.argument("key", required=False)
@click.argument("value", nargs=-1, type=click.UNPROCESSED)
@click.option("--reason", metavar="TEXT", default="", help="Why it is changed; needed for a change.")
@click.option("--default", "take_out", is_flag=True, help="Take the key or section out, so that its default holds.")
@click.option("--although-read", is_flag=True, help="Change how signals are read although samples were read already.")
@json_option
@click.pass_obj
def set_key(session: Session, /, key: str | None, value: tuple[str, ...], **options: Any) -> None:
    """Without VALUE: what logbook.toml says and may say, of the whole file, a section or a key. With VALUE: change it.

    A list is written as its two numbers, a scale as pairs such as "10 = moderate". The change is checked as a whole,
    comments in the file stay, and the audit list keeps it with its reason.

    \b
    Examples:
      brinemark --logbook my-logbook set signal
      brinemark --logbook my-logbook set signal.window_V 0.42 0.76 \\
          --reason "the wave of the new pigment sits higher"
    """
    folder = session.folder()
    if not value and not options["take_out"]:
        _list(folder, key, options["as_json"])
        return
    if key is None:
        raise click.UsageError("--default needs a KEY")
    changed = _change(folder, key, value, options)
    if options["as_json"]:
        say_json(changed.to_dict())
        return
    _tell(session, changed)


def _list(folder: Path, key: str | None, as_json: bool) -> None:
    from brinemark.steps.settings_list import listed

    found = listed(folder, key)
    if as_json:
        say_json({"schema": 1, "keys": [one.to_dict() for one in found]})
        return
    say_table(("key", "now", "default", "meaning"), [_line(one) for one in found])


def _line(one: ListedKey) -> tuple[str, str, str, str]:
    unit = f"[{one.key.unit}] " if one.key.unit else ""
    return one.name, _words(one.value), _words(one.key.default), f"{unit}{one.key.meaning}"


def _words(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=True)


def _change(folder: Path, key: str, value: Sequence[str], options: dict[str, Any]) -> ChangedSettings:
    from brinemark.records.settings_edit import key_of
    from brinemark.steps.change_settings import Wish, change_at
    from brinemark.steps.settings_list import value_of

    keys: Keys = key_of(key)
    wanted = None if options["take_out"] else value_of(folder, keys, value)
    return change_at(folder, Wish({keys: wanted}, options["reason"], although_read=options["although_read"]))


def _tell(session: Session, changed: ChangedSettings) -> None:
    if changed.entry is None:
        say("logbook.toml says that already; nothing was changed.")
        return
    for one in changed.changed:
        say(f"{one.key}: {_words(one.old) or 'not in the file'} -> {_words(one.new) or 'not in the file'}.")
    say(f"{counted(len(changed.changed), 'change')} kept as entry {changed.entry} of the audit list.")
    for words in changed.effects:
        say(f"{words}.", 2)
    if changed.renews:
        say_next(session.line("calibrate"))

"""What all verbs share: which logbook is meant, and how refusals, faults and Ctrl-C end."""

from __future__ import annotations

import errno
import os
import shlex
import shutil
import sys
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from brinemark.terms.errors import BrinemarkError, Stopped

if TYPE_CHECKING:
    from brinemark.logbook import Logbook

VARIABLE = "BRINEMARK_LOGBOOK"
TRACEBACK = "BRINEMARK_TRACEBACK"
REFUSED, INTERRUPTED = 1, 130
FILES = ("logbook.toml", "logbook.db")


class Session:
    """One call of the command: the logbook that was named, or the one that is found."""

    def __init__(self, named: Path | None) -> None:
        self.named = named

    def open(self) -> Logbook:
        """The logbook that is meant. Raises Refused when it is none, UsageError when none is meant."""
        from brinemark.logbook import Logbook

        return Logbook.open(self.folder())

    def folder(self) -> Path:
        """--logbook, else the logbook around the current directory, else the environment variable's."""
        found = self.named or enclosing(Path.cwd()) or _from_environment()
        if found is None:
            raise click.UsageError(
                f"no logbook: write --logbook DIRECTORY before the verb, work inside a logbook, or set {VARIABLE}"
            )
        return found

    def line(self, *words: str) -> str:
        """A command to type next, on the same logbook."""
        named = () if self.named is None else ("--logbook", str(self.named))
        return command_line(*named, *words)


def enclosing(folder: Path) -> Path | None:
    """The folder, or the nearest one above it, that is a logbook."""
    for one in (folder, *folder.parents):
        if all((one / name).is_file() for name in FILES):
            return one
    return None


def _from_environment() -> Path | None:
    value = os.environ.get(VARIABLE)
    return Path(value) if value else None


def command_line(*words: str) -> str:
    """A command as it can be typed in this terminal."""
    return " ".join([_program(), *(_quoted(word) for word in words)])


def _program() -> str:
    """`brinemark`, or the path of the script that runs when the name alone would not be found."""
    script = Path(sys.argv[0])
    if shutil.which("brinemark") is not None or script.stem != "brinemark" or not script.is_file():
        return "brinemark"
    try:
        return _quoted(min(os.path.relpath(script), str(script), key=len))
    except ValueError:  # another drive
        return _quoted(str(script))


def _quoted(word: str) -> str:
    if os.name == "nt":
        return f'"{word}"' if " " in word else word
    return shlex.quote(word)


class Verbs(click.Group):
    """A group whose verbs end with a status and one line, never with a traceback.

    places : module and name of each verb, which is loaded when it is asked for: reading a sample waits for no other.
    """

    def __init__(self, *args: Any, places: Mapping[str, tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = places

    def list_commands(self, ctx: click.Context) -> list[str]:
        """In the order of the work, not of the alphabet."""
        return list(self.places)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in self.places and cmd_name not in self.commands:
            module, name = self.places[cmd_name]
            self.add_command(getattr(import_module(f"brinemark.faces.cli.{module}"), name), cmd_name)
        return super().get_command(ctx, cmd_name)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except click.NoSuchOption as fault:
            raise _misplaced(fault) from fault
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except (KeyboardInterrupt, Stopped):
            end("stopped; nothing was stored", INTERRUPTED)
        except BrinemarkError as refusal:
            end(str(refusal), REFUSED)
        except Exception as fault:
            if isinstance(fault, OSError) and fault.errno == errno.EPIPE:
                raise
            if os.environ.get(TRACEBACK):
                raise
            end(_unforeseen(fault), REFUSED)


def end(message: str, status: int) -> NoReturn:
    """One line on the error stream, and the exit status."""
    click.echo(f"brinemark: {' '.join(message.split())}", err=True)
    raise click.exceptions.Exit(status)


def _unforeseen(fault: Exception) -> str:
    if isinstance(fault, OSError) and fault.strerror:
        where = f" ({fault.filename})" if fault.filename else ""
        return f"{fault.strerror}{where}; nothing was stored; check the file, its folder and the free space"
    return (
        f"a fault of the program, {type(fault).__name__}: {fault}; nothing was stored; "
        f"please report it, with what {TRACEBACK}=1 shows"
    )


def _misplaced(fault: click.NoSuchOption) -> click.UsageError:
    if fault.option_name != "--logbook":
        return fault
    return click.UsageError("--logbook DIRECTORY stands before the verb", fault.ctx)


def show_version(context: click.Context, _parameter: click.Parameter, value: bool) -> None:
    """Print the version and end."""
    if value:
        from importlib.metadata import version

        click.echo(f"brinemark {version('brinemark')}")
        context.exit()

"""Help comes at once: it loads no heavy library, and every verb shows an example."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from brinemark import __version__
from brinemark.faces.cli.main import PLACES

from .conftest import call

HEAVY = ("numpy", "scipy", "sqlalchemy", "alembic", "pydantic", "vl_convert", "rfc8785", "typst", "segno")
PROGRAM = """
import sys
from brinemark.faces.cli.main import brinemark
try:
    brinemark.main(sys.argv[1:], prog_name="brinemark")
finally:
    print("loaded:", *sorted({name.partition(".")[0] for name in sys.modules}), file=sys.stderr)
"""


def loaded(*words: str) -> set[str]:
    """Top names of everything that a call loads, in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True, check=True, env={**os.environ}
    )
    assert done.stdout.startswith("Usage: ")
    return set(done.stderr.rpartition("loaded:")[2].split())


@pytest.mark.parametrize("words", [(), *((name,) for name in PLACES)])
def test_help_loads_no_heavy_library(words: tuple[str, ...]) -> None:
    found = loaded(*words, "--help")
    assert "click" in found
    assert found.isdisjoint(HEAVY)


@pytest.mark.parametrize("verb", list(PLACES))
def test_the_help_of_every_verb_shows_an_example_in_80_columns(verb: str) -> None:
    text = call(verb, "--help").stdout
    assert "Example" in text
    assert f"brinemark {verb}" in text or f"my-logbook {verb}" in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.isascii()


def test_verbs_are_listed_in_the_order_of_the_work() -> None:
    text = call("--help").stdout
    places = [text.index(f"\n  {verb} ") for verb in ("demo", "new", "add", "calibrate", "read", "show", "chart")]
    assert places == sorted(places)


def test_the_version_is_printed_by_name() -> None:
    assert call("--version").stdout == f"brinemark {__version__}\n"

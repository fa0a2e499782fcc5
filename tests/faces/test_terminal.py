"""On a real terminal: progress on the error stream alone, Ctrl-C in the middle, and old code pages."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from brinemark.logbook import Logbook

from .conftest import SHEET, call

PATIENCE_S = 120.0
# A test run in the background of a script inherits an ignored interrupt; a terminal's command does not.
HEARS = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
START = (sys.executable, "-c", HEARS + "from brinemark.faces.cli.main import main; main()")
needs_pty = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are a matter of POSIX")


def until(terminal: int, phrase: bytes) -> bytes:
    """What the terminal shows, up to a phrase or the end."""
    seen, start = b"", time.monotonic()
    while phrase not in seen and time.monotonic() - start < PATIENCE_S:
        try:
            seen += os.read(terminal, 4096)
        except OSError:  # the other side has closed
            break
    return seen


def started(book: Path, *words: str) -> tuple[subprocess.Popen[bytes], int]:
    """The command with a terminal as its error stream and a pipe for its answer."""
    import pty

    ours, theirs = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "80"}
    child = subprocess.Popen(
        [*START, "--logbook", str(book), *words], stdout=subprocess.PIPE, stderr=theirs, env=environment
    )
    os.close(theirs)
    return child, ours


@needs_pty
def test_progress_is_shown_on_a_terminal_and_kept_out_of_the_answer(book: Path) -> None:
    child, terminal = started(book, "calibrate")
    shown = until(terminal, b"\x00")
    answer = child.communicate(timeout=PATIENCE_S)[0]
    os.close(terminal)
    assert child.returncode == 0
    assert b"calibrating: " in shown
    assert b"draws" in shown
    assert b"draws of" not in answer
    assert answer.startswith(b"Calibration ")


@needs_pty
def test_ctrl_c_in_the_middle_of_a_calibration_stores_nothing(empty: Path) -> None:
    call("--logbook", empty, "add", SHEET)
    # Wide priors take several times as many draws, so that the interrupt finds the calibration at work.
    with (empty / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write("\n[prior]\nwiden = 3.0\n")
    with Logbook.open(empty) as logbook:
        before = logbook.audit()
    child, terminal = started(empty, "calibrate")
    assert b"calibrating: " in until(terminal, b"calibrating: ")
    child.send_signal(signal.SIGINT)
    rest = until(terminal, b"\x00")
    answer = child.communicate(timeout=PATIENCE_S)[0]
    os.close(terminal)
    assert (child.returncode, answer) == (130, b"")
    assert b"brinemark: stopped; nothing was stored" in rest
    assert b"Traceback" not in rest
    with Logbook.open(empty) as logbook:
        assert logbook.audit() == before


def test_an_old_code_page_gets_question_marks_and_no_fault(tmp_path: Path) -> None:
    name = "Kai \u2116 7 \u2013 \u6e2f"
    environment = {**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"}
    done = subprocess.run(
        [*START, "new", str(tmp_path / "b"), "--name", name], capture_output=True, check=False, env=environment
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Kai ? 7 \x96 ?" in done.stdout


def test_the_installed_command_answers_on_a_pipe(book: Path) -> None:
    done = subprocess.run([*START, "--logbook", str(book), "read", "W-9"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("brinemark: no sample 'W-9'")

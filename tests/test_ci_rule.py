"""The rule that nothing may be skipped where CI=true, tried on small test files of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).with_name("conftest.py")
SKIPPING = "import pytest\n\ndef test_a():\n    pass\n\ndef test_b():\n    pytest.skip('no browser here')\n"
EXPECTED_FAILURE = "import pytest\n\n@pytest.mark.xfail\ndef test_a():\n    raise ValueError\n"
REAL = "def test_a(real_curves):\n    pass\n"
MODULE = "import pytest\npytest.importorskip('a_library_that_is_not_there')\n\ndef test_a():\n    pass\n"


def outcome(folder: Path, body: str, arguments: tuple[str, ...] = (), **environment: str) -> tuple[int, str]:
    (folder / "conftest.py").write_bytes(CONFTEST.read_bytes())
    (folder / "test_small.py").write_text(body, encoding="utf-8")
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("CI", "BRINEMARK", "PYTEST"))}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *arguments, str(folder)]
    done = subprocess.run(
        command, cwd=folder, env=kept | environment, capture_output=True, text=True, check=False, encoding="utf-8"
    )
    return done.returncode, done.stdout


@pytest.mark.parametrize("arguments", [(), ("-n", "1")], ids=["alone", "with workers"])
def test_in_ci_a_skipped_test_fails_the_run_and_is_named(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    status, text = outcome(tmp_path, SKIPPING, arguments, CI="true")
    assert status == 1
    assert "test_small.py::test_b: Skipped: no browser here" in text


def test_outside_ci_a_skipped_test_is_only_reported(tmp_path: Path) -> None:
    status, text = outcome(tmp_path, SKIPPING)
    assert status == 0
    assert "1 passed, 1 skipped" in text


def test_in_ci_an_expected_failure_is_no_skip(tmp_path: Path) -> None:
    assert outcome(tmp_path, EXPECTED_FAILURE, CI="true")[0] == 0


def test_in_ci_a_file_skipped_whole_fails_the_run(tmp_path: Path) -> None:
    status, text = outcome(tmp_path, MODULE, CI="true")
    assert status == 1
    assert "a_library_that_is_not_there" in text


def test_in_ci_a_real_test_without_the_folder_fails_the_run(tmp_path: Path) -> None:
    status, text = outcome(tmp_path, REAL, CI="true")
    assert status == 1
    assert "BRINEMARK_REAL does not name the folder" in text


def test_a_real_folder_that_is_not_there_is_an_error_not_a_skip(tmp_path: Path) -> None:
    assert outcome(tmp_path, REAL, BRINEMARK_REAL=str(tmp_path / "absent"))[0] == 1


def test_with_the_real_folder_the_real_test_runs(tmp_path: Path) -> None:
    assert outcome(tmp_path, REAL, CI="true", BRINEMARK_REAL=str(tmp_path))[0] == 0

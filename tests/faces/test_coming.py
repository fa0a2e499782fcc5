"""next and check by the command."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import call
from .test_data import data


@pytest.mark.parametrize("which", ["empty", "book"])
def test_next_and_check_give_data_of_their_shapes(which: str, request: pytest.FixtureRequest) -> None:
    book: Path = request.getfixturevalue(which)
    steps = data("next", "--logbook", book, "next")
    assert ("make" in [one["step"] for one in steps]) == (which == "empty")
    report = data("check", "--logbook", book, "check", "--keep")
    assert (report["sound"], report["faults"]) == (True, [])
    assert data("check", "--logbook", book, "check")["entries"] == report["entries"] + 1


def test_next_says_what_to_type(empty: Path) -> None:
    told = call("--logbook", empty, "next").stdout
    assert "No batch yet" in told
    assert f"brinemark --logbook {empty} make BATCH.toml" in told


def test_a_logbook_where_nothing_waits_says_so(book: Path) -> None:
    call("--logbook", book, "read")
    assert call("--logbook", book, "next").stdout == "Nothing waits.\n"


def test_a_logbook_that_was_changed_ends_with_status_1_and_its_faults(book: Path) -> None:
    kept = next(path for path in (book / "originals").rglob("*") if path.is_file())
    kept.chmod(0o644)
    kept.write_bytes(b"other")
    result = call("--logbook", book, "check")
    assert result.exit_code == 1
    assert "fault: " in result.stdout
    assert result.stderr == ""

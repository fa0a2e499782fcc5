"""Originals under their hash, and files that a sheet names."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records import files
from brinemark.records.files import (
    original_path,
    read_original,
    read_source,
    store_original,
    store_originals,
    sweep_leftovers,
)
from brinemark.terms.errors import Refused


def test_an_original_lies_under_the_sha256_that_another_tool_gives(tmp_path: Path) -> None:
    data = b"potential_V,current_A\r\n"
    kept = store_original(tmp_path, data, "a.csv")
    assert kept.sha256 == hashlib.sha256(data).hexdigest()
    assert (kept.size, kept.name) == (len(data), "a.csv")
    path = tmp_path / kept.sha256[:2] / kept.sha256
    assert path.read_bytes() == data
    assert read_original(tmp_path, kept.sha256) == data


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_an_original_is_read_only_for_everyone(tmp_path: Path) -> None:
    kept = store_original(tmp_path, b"x")
    assert stat.S_IMODE(original_path(tmp_path, kept.sha256).stat().st_mode) == 0o444


def test_the_same_bytes_are_kept_once_and_not_touched_again(tmp_path: Path) -> None:
    first = store_original(tmp_path, b"x", "a.csv")
    before = original_path(tmp_path, first.sha256).stat()
    again = store_originals(tmp_path, [("b.csv", b"x"), ("c.csv", b"y"), ("d.csv", b"x")])
    after = original_path(tmp_path, first.sha256).stat()
    assert [one.name for one in again] == ["b.csv", "c.csv", "d.csv"]
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert len([path for path in tmp_path.rglob("*") if path.is_file()]) == 2


def test_changed_bytes_are_noticed_when_read_and_when_stored_again(tmp_path: Path) -> None:
    kept = store_original(tmp_path, b"x")
    path = original_path(tmp_path, kept.sha256)
    path.chmod(0o644)
    path.write_bytes(b"y")
    with pytest.raises(Refused, match="now holds bytes of sha256"):
        read_original(tmp_path, kept.sha256)
    with pytest.raises(Refused, match="now holds bytes of sha256"):
        store_original(tmp_path, b"x")


def test_a_missing_original_and_a_bad_id_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be read"):
        read_original(tmp_path, "0" * 64)
    with pytest.raises(Refused, match="64 hexadecimal digits"):
        read_original(tmp_path, "../../etc/passwd")


def test_an_interrupted_write_leaves_no_original(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(OSError, match="No space"):
        store_original(tmp_path, b"x")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_leftovers_are_swept_and_everything_else_stays(tmp_path: Path) -> None:
    known, unknown = store_original(tmp_path, b"known"), store_original(tmp_path, b"unknown")
    shelf = original_path(tmp_path, known.sha256).parent
    passing = shelf / f".{known.sha256}.0123456789abcdef.part"
    passing.write_bytes(b"kno")
    stranger = shelf / "notes.txt"
    stranger.write_text("mine", encoding="utf-8")
    (tmp_path / "README").write_text("mine", encoding="utf-8")
    assert set(sweep_leftovers(tmp_path, {known.sha256})) == {unknown.sha256, passing.name}
    left = {path.name for path in tmp_path.rglob("*") if path.is_file()}
    assert left == {known.sha256, "notes.txt", "README"}
    assert sweep_leftovers(tmp_path, {known.sha256}) == ()


def test_sweeping_a_logbook_without_originals_removes_nothing(tmp_path: Path) -> None:
    assert sweep_leftovers(tmp_path / "originals", ()) == ()


def test_a_source_is_given_byte_by_byte(tmp_path: Path) -> None:
    data = bytes(range(256))
    (tmp_path / "curves").mkdir()
    (tmp_path / "curves" / "a b.csv").write_bytes(data)
    assert read_source(tmp_path, "curves/a b.csv") == data
    assert read_source(tmp_path, "curves\\a b.csv") == data
    assert read_source(tmp_path, "./curves//a b.csv") == data


def test_a_base_folder_that_is_itself_a_link_is_fine(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "a.csv").write_bytes(b"1")
    (tmp_path / "linked").symlink_to(tmp_path / "real")
    assert read_source(tmp_path / "linked", "a.csv") == b"1"


def test_a_refusal_names_the_sheet_or_else_the_file(tmp_path: Path) -> None:
    with pytest.raises(Refused) as caught:
        read_source(tmp_path, "a.csv", sheet="run.csv", row=3, column="trace")
    assert str(caught.value).startswith("run.csv, row 3, column trace: no file 'a.csv'")
    with pytest.raises(Refused) as caught:
        read_source(tmp_path, "a.csv")
    assert caught.value.file == "a.csv"


def test_the_largest_file_is_still_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "LARGEST_SOURCE", 1000)
    (tmp_path / "a").write_bytes(b"x" * 1000)
    (tmp_path / "b").write_bytes(b"x" * 1001)
    assert len(read_source(tmp_path, "a")) == 1000
    with pytest.raises(Refused, match="1,001 bytes; expected at most 1,000 bytes"):
        read_source(tmp_path, "b")


@given(st.text(st.sampled_from("a./\\: ~$%\0\n"), max_size=12))
def test_no_name_reaches_a_file_outside_the_folder(name: str) -> None:
    # The folder does not exist, so whatever is read would lie elsewhere.
    with pytest.raises(Refused):
        read_source(Path("/no-such-folder-here/inside"), name)

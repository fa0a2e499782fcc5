"""An archive from somebody else is opened within limits, and no name in it becomes a path."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from brinemark.records.archives import ArchiveLimits, unpack
from brinemark.terms.errors import Refused

SMALL = ArchiveLimits(files=5, total=3000, largest=2000, ratio=50.0)
NOISE = np.random.default_rng(1).integers(0, 256, 4000, dtype=np.uint8).tobytes()


def entry(name: str, *, mode: int = stat.S_IFREG | 0o644, method: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    found = zipfile.ZipInfo(name)
    found.external_attr = mode << 16
    found.compress_type = method
    found.create_system = 3
    return found


def packed(*files: tuple[zipfile.ZipInfo | str, bytes]) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return data.getvalue()


def opened(folder: Path, data: bytes, limits: ArchiveLimits = SMALL) -> dict[str, bytes]:
    """What comes out of an archive, by name; the spool holds nothing else."""
    (folder / "in.zip").write_bytes(data)
    spool = folder / "spool"
    spool.mkdir()
    found = unpack(folder / "in.zip", spool, limits)
    assert sorted(path for path in spool.rglob("*") if path.is_file()) == sorted(found.files.values())
    return {name: path.read_bytes() for name, path in found.files.items()}


def test_files_come_out_whole_under_names_of_our_own(tmp_path: Path) -> None:
    files = {"run.csv": b"a,b\n", "curves/1.csv": NOISE[:500], "curves/ü.csv": b"", "CON": b"x"}
    data = packed(("curves/", b""), *files.items())
    assert opened(tmp_path, data) == files
    names = sorted(path.name for path in (tmp_path / "spool").rglob("*") if path.is_file())
    assert names == ["000000", "000001", "000002", "000003"]


def test_two_archives_in_one_spool_do_not_disturb_each_other(tmp_path: Path) -> None:
    found = []
    for name in ("one", "two"):
        (tmp_path / f"{name}.zip").write_bytes(packed(("1.csv", name.encode())))
        found.append(unpack(tmp_path / f"{name}.zip", tmp_path, SMALL).files["1.csv"])
    (tmp_path / "bad.zip").write_bytes(packed(("1.csv", b"x"), ("2.csv", bytes(1999))))
    with pytest.raises(Refused):
        unpack(tmp_path / "bad.zip", tmp_path, SMALL)
    assert [path.read_bytes() for path in found] == [b"one", b"two"]


def test_what_a_computer_puts_in_by_itself_is_left_out_and_named(tmp_path: Path) -> None:
    (tmp_path / "in.zip").write_bytes(packed(("1.csv", b"x"), ("__MACOSX/._1.csv", b"y"), ("a/.DS_Store", b"z")))
    found = unpack(tmp_path / "in.zip", tmp_path, SMALL)
    assert list(found.files) == ["1.csv"]
    assert found.left_out == ("__MACOSX/._1.csv", "a/.DS_Store")


BAD: dict[str, tuple[Callable[[], bytes], str]] = {
    "parent": (lambda: packed(("../evil.csv", b"x")), "leads to a parent"),
    "parent within": (lambda: packed(("a/../../evil.csv", b"x")), "leads to a parent"),
    "parent by backslash": (lambda: packed(("a\\..\\..\\evil.csv", b"x")), "leads to a parent"),
    "absolute": (lambda: packed(("/etc/evil.csv", b"x")), "absolute path"),
    "drive": (lambda: packed(("C:\\evil.csv", b"x")), "absolute path"),
    "share": (lambda: packed(("\\\\host\\share\\evil.csv", b"x")), "absolute path"),
    "parent folder": (lambda: packed(("../", b"")), "leads to a parent"),
    "control character": (lambda: packed(("a\x07b.csv", b"x")), "control character"),
    "link": (lambda: packed((entry("1.csv", mode=stat.S_IFLNK | 0o777), b"/etc/hostname")), "is a link"),
    "device": (lambda: packed((entry("1.csv", mode=stat.S_IFCHR | 0o644), b"")), "a device or pipe"),
    "pipe": (lambda: packed((entry("1.csv", mode=stat.S_IFIFO | 0o644), b"")), "a device or pipe"),
    "other method": (lambda: packed((entry("1.csv", method=zipfile.ZIP_BZIP2), b"x")), "method 12"),
    "many": (lambda: packed(*((f"{n}.csv", b"x") for n in range(6))), "6 entries; expected at most 5"),
    "large": (lambda: packed(("1.csv", NOISE[:2001])), "2,001 bytes; expected at most 2,000"),
    "large together": (lambda: packed(("1.csv", NOISE[:2000]), ("2.csv", NOISE[:1001])), "3,001 bytes unpacked"),
    "bomb": (lambda: packed(("1.csv", bytes(1999))), "expected at most 50 times"),
    "one name in two spellings": (lambda: packed(("a/1.csv", b"x"), ("a\\1.csv", b"y")), "every name once"),
    "no archive": (lambda: b"a,b\n1,2\n", "no sound zip archive"),
    "cut off": (lambda: packed(("1.csv", NOISE[:900]))[:-40], "no sound zip archive"),
    "empty": (lambda: b"", "no sound zip archive"),
}


@pytest.mark.parametrize("case", list(BAD))
def test_tricks_are_refused_and_leave_nothing_behind(tmp_path: Path, case: str) -> None:
    make, words = BAD[case]
    with pytest.raises(Refused) as caught:
        opened(tmp_path, make())
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert list((tmp_path / "spool").iterdir()) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.zip", "spool"]


def test_an_encrypted_entry_is_refused(tmp_path: Path) -> None:
    data = bytearray(packed(("1.csv", b"secret")))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        struct.pack_into("<H", data, data.index(mark) + offset, 0x1)
    with pytest.raises(Refused, match="encrypted"):
        opened(tmp_path, bytes(data))


def lying(said: int) -> bytes:
    """An archive whose directory says another unpacked size than comes out."""
    data = bytearray(packed(("1.csv", NOISE[:1500])))
    struct.pack_into("<I", data, data.index(b"PK\x01\x02") + 24, said)
    struct.pack_into("<I", data, data.index(b"PK\x03\x04") + 22, said)
    return bytes(data)


@pytest.mark.parametrize("said", [10, 1499])
def test_sizes_that_the_archive_lies_about_are_counted_again(tmp_path: Path, said: int) -> None:
    with pytest.raises(Refused):
        opened(tmp_path, lying(said))
    assert list((tmp_path / "spool").iterdir()) == []


def test_bytes_that_were_spoilt_on_the_way_are_refused(tmp_path: Path) -> None:
    data = bytearray(packed((entry("1.csv", method=zipfile.ZIP_STORED), NOISE[:500])))
    data[100] ^= 1
    with pytest.raises(Refused, match="no sound zip archive"):
        opened(tmp_path, bytes(data))


def test_one_entry_that_stands_for_many_in_the_directory_is_refused(tmp_path: Path) -> None:
    """Overlapping entries: the same packed bytes under several names, each unpacking them anew."""
    one = packed(("1.csv", NOISE[:900]))
    start, end = one.index(b"PK\x01\x02"), one.index(b"PK\x05\x06")
    directory = one[start:end]
    again = directory.replace(b"1.csv", b"2.csv")
    tail = bytearray(one[end:])
    struct.pack_into("<HHI", tail, 8, 2, 2, 2 * len(directory))
    with pytest.raises(Refused, match="no sound zip archive"):
        opened(tmp_path, one[:start] + directory + again + bytes(tail))

"""Open a zip archive from somebody else: its files go into a spool under names of our own, within limits."""

from __future__ import annotations

import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from brinemark.records.files import LARGEST_SOURCE, relative_parts
from brinemark.records.text import shown
from brinemark.terms.errors import Refused

_CHUNK = 2**16
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1
_BESIDE = ("__MACOSX", ".DS_Store", "Thumbs.db", "desktop.ini")


@dataclass(frozen=True, slots=True)
class ArchiveLimits:
    """files : most entries; total, largest : bytes unpacked, of all and of one; ratio : unpacked over packed [1]."""

    files: int = 20_000
    total: int = 2 * 2**30
    largest: int = LARGEST_SOURCE
    ratio: float = 250.0


DEFAULT_LIMITS = ArchiveLimits()


@dataclass(frozen=True, slots=True)
class Unpacked:
    """files : name in the archive to its place in the spool; left_out : entries that a computer puts in by itself."""

    files: Mapping[str, Path]
    left_out: tuple[str, ...]


def unpack(archive: Path, spool: Path, limits: ArchiveLimits = DEFAULT_LIMITS) -> Unpacked:
    """Unpack a zip archive into a new folder in a spool of ours; no name in it is ever used as a path.

    Everything that the directory of the archive says is checked before the first byte is unpacked, and what comes out
    is counted again while it does. Raises Refused for what is no sound zip archive, for encrypted entries, for entries
    that are absolute, lead to a parent, or are links or devices, for two of one name, and beyond the limits; then
    nothing of it is left in the spool.
    """
    target = Path(tempfile.mkdtemp(prefix="unpacked-", dir=spool))
    try:
        with zipfile.ZipFile(archive) as opened:
            entries, left_out = _checked(opened, limits)
            files: dict[str, Path] = {}
            left = limits.total
            for number, entry in enumerate(entries):
                path = target / f"{number:06d}"
                left -= _unpack_one(opened, entry, path, min(left, limits.largest))
                files[entry.filename] = path
    except BaseException as error:
        shutil.rmtree(target, ignore_errors=True)
        if isinstance(error, zipfile.BadZipFile | zlib.error | EOFError | NotImplementedError | UnicodeDecodeError):
            raise Refused(f"no sound zip archive ({error})", "a zip archive", "pack the files again") from error
        raise
    return Unpacked(files, left_out)


def _checked(opened: zipfile.ZipFile, limits: ArchiveLimits) -> tuple[list[zipfile.ZipInfo], tuple[str, ...]]:
    """Entries to unpack, and names of those to leave out. Raises Refused."""
    every = opened.infolist()
    if len(every) > limits.files:
        raise Refused(f"an archive of {len(every):,} entries", f"at most {limits.files:,}", "pack fewer at a time")
    seen: set[tuple[str, ...]] = set()
    wanted, beside, total = [], [], 0
    for entry in every:
        _check_kind(entry)
        parts = tuple(part for part in relative_parts(entry.filename) if part not in ("", "."))
        if entry.is_dir():
            continue
        if any(part in _BESIDE for part in parts):
            beside.append(entry.filename)
            continue
        if not parts or parts in seen:
            raise Refused(f"two entries {shown(entry.filename)}", "every name once", "pack the files again")
        seen.add(parts)
        _check_size(entry, limits)
        total += entry.file_size
        wanted.append(entry)
    if total > limits.total:
        raise Refused(f"an archive of {total:,} bytes unpacked", f"at most {limits.total:,}", "pack fewer at a time")
    return wanted, tuple(beside)


def _check_kind(entry: zipfile.ZipInfo) -> None:
    name = shown(entry.filename)
    mode = entry.external_attr >> 16
    kind = stat.S_IFMT(mode)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        what = "a link" if kind == stat.S_IFLNK else "a device or pipe"
        raise Refused(f"the entry {name}, which is {what}", "plain files", "pack the files themselves")
    if entry.flag_bits & _ENCRYPTED:
        raise Refused(f"the entry {name}, which is encrypted", "files without a password", "pack them without one")
    if entry.compress_type not in _METHODS:
        came = f"the entry {name}, packed by method {entry.compress_type}"
        raise Refused(came, "entries that are stored or deflated", "pack the files as a plain zip archive")


def _check_size(entry: zipfile.ZipInfo, limits: ArchiveLimits) -> None:
    name = shown(entry.filename)
    if entry.file_size > limits.largest:
        came = f"the entry {name} of {entry.file_size:,} bytes"
        raise Refused(came, f"at most {limits.largest:,} bytes", "check the file")
    if entry.file_size > limits.ratio * max(entry.compress_size, 1):
        came = f"the entry {name}, which unpacks to {entry.file_size / max(entry.compress_size, 1):,.0f} times its size"
        raise Refused(came, f"at most {limits.ratio:g} times", "check that it is a table of numbers")


def _unpack_one(opened: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path, most: int) -> int:
    """Unpack one entry to path; its size. Raises Refused as soon as more comes out than was said or is allowed."""
    size = 0
    with opened.open(entry) as packed, path.open("xb") as file:
        for part in _parts(packed):
            size += len(part)
            if size > most or size > entry.file_size:
                came = f"the entry {shown(entry.filename)}, which holds more bytes than the archive says or may hold"
                raise Refused(came, "a sound archive within the limits", "pack the files again")
            file.write(part)
    return size


def _parts(packed: IO[bytes]) -> Iterator[bytes]:
    while part := packed.read(_CHUNK):
        yield part

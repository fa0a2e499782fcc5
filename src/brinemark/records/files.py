"""Files as bytes: originals kept under their sha256, and the files that a run sheet names."""

from __future__ import annotations

import os
import re
import stat
import unicodedata
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path, PureWindowsPath

from brinemark.records.text import nearest, shown
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Original

LARGEST_SOURCE = 64 * 2**20
_WRITERS = 8
_SHA256 = re.compile(r"[0-9a-f]{64}")
_UNFINISHED = re.compile(r"\.[0-9a-f]{64}\.[0-9a-f]{16}\.part")


def original_path(folder: Path, sha256: str) -> Path:
    """Where the original with this hash lies: originals/ab/abcdef..."""
    if not _SHA256.fullmatch(sha256):
        raise Refused(f"{shown(sha256)} as the id of an original", "64 hexadecimal digits", "check the id")
    return folder / sha256[:2] / sha256


def store_original(folder: Path, data: bytes, name: str = "") -> Original:
    """Keep one file's bytes; see store_originals."""
    return store_originals(folder, [(name, data)])[0]


def store_originals(folder: Path, files: Sequence[tuple[str, bytes]]) -> tuple[Original, ...]:
    """Keep the bytes of (name, data) files under their sha256, mode 0444, safe on the disk when this returns.

    Each file is written under a passing name, synced and renamed, by a few threads so that the disk syncs
    them together; the folders are synced last, once each. Bytes that are there already are only checked.
    Raises Refused when a kept original no longer has the bytes of its name.
    """
    originals = tuple(Original(sha256_hex(data), len(data), name) for name, data in files)
    keep_originals(folder, {one.sha256: partial(bytes, data) for one, (_, data) in zip(originals, files, strict=True)})
    return originals


def keep_originals(
    folder: Path, loads: Mapping[str, Callable[[], bytes]], on_kept: Callable[[], None] | None = None
) -> None:
    """As store_originals, for bytes that are loaded when their turn comes; loads : by sha256.

    on_kept : called after each file; what it raises ends the work, and what was kept by then is swept later.
    Raises Refused when loaded bytes do not have their sha256.
    """
    from concurrent.futures import ThreadPoolExecutor  # here, since reading a sample does not wait for it

    shelves = {original_path(folder, sha256).parent for sha256 in loads}
    for shelf in shelves:
        shelf.mkdir(parents=True, exist_ok=True)
    with ThreadPoolExecutor(_WRITERS) as writers:
        try:
            for _ in writers.map(lambda item: _keep(folder, *item), loads.items()):
                if on_kept is not None:
                    on_kept()
        except BaseException:
            writers.shutdown(cancel_futures=True)
            raise
    for directory in (*sorted(shelves), folder, folder.parent):
        sync_folder(directory)


def _keep(folder: Path, sha256: str, load: Callable[[], bytes]) -> None:
    target = original_path(folder, sha256)
    if target.exists():
        read_original(folder, sha256)
        return
    data = load()
    if sha256_hex(data) != sha256:
        raise Refused("a file that changed while it was taken in", "the file as it was checked", "check it again")
    import secrets

    passing = target.with_name(f".{sha256}.{secrets.token_hex(8)}.part")
    try:
        with passing.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        passing.chmod(0o444)
        passing.replace(target)
    except BaseException:
        passing.unlink(missing_ok=True)
        raise


def sync_folder(folder: Path) -> None:
    """Have the names in a folder safe on the disk."""
    if os.name == "nt":  # Windows cannot open a folder to sync it; its file system keeps a journal of names.
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_original(folder: Path, sha256: str) -> bytes:
    """Bytes of a kept original. Raises Refused when it is missing or its bytes no longer have this hash."""
    remedy = "restore the originals folder from a copy; the logbook itself is unchanged"
    try:
        data = original_path(folder, sha256).read_bytes()
    except OSError as error:
        raise Refused(
            f"original {sha256} cannot be read ({error.strerror})", "the file as it was added", remedy
        ) from None
    found = sha256_hex(data)
    if found != sha256:
        raise Refused(f"original {sha256} now holds bytes of sha256 {found}", "the bytes that were added", remedy)
    return data


def sweep_leftovers(folder: Path, known: Collection[str]) -> tuple[str, ...]:
    """Remove what an interrupted `add` left in the originals folder; names of the removed files, sorted.

    Only passing names and originals that no record knows are removed; any other file is not ours and stays.
    Call it while holding the logbook's lock for writing, or it may remove what another process just wrote.
    """
    removed = []
    for shelf in sorted(folder.glob("[0-9a-f][0-9a-f]")):
        for path in sorted(shelf.iterdir()) if shelf.is_dir() else ():
            ours = _SHA256.fullmatch(path.name) is not None and path.name.startswith(shelf.name)
            if _UNFINISHED.fullmatch(path.name) or (ours and path.name not in known):
                path.chmod(0o644)  # Windows removes no file that is read-only.
                path.unlink()
                removed.append(path.name)
    return tuple(removed)


def read_source(
    base: Path, name: str, *, sheet: str | None = None, row: int | None = None, column: str | None = None
) -> bytes:
    """Bytes of the file that a sheet names, relative to the sheet's folder base.

    Raises Refused (with sheet, row and column as given) for absolute paths, parents, links that lead
    outside, folders, devices, missing, empty and unreadable files and files above LARGEST_SOURCE.
    """
    try:
        return checked_bytes(_inside(base, name), name)
    except Refused as fault:
        raise Refused(fault.came, fault.expected, fault.remedy, file=sheet or name, row=row, column=column) from None


def relative_parts(name: str) -> list[str]:
    """The parts of a file name in a sheet. Raises Refused for control characters, absolute paths and parents."""
    if any(unicodedata.category(character) == "Cc" for character in name):
        raise Refused(f"a path with a control character, {shown(name)}", "a plain file name", "rename the file")
    parts = name.replace("\\", "/").split("/")
    if parts[0] == "" or PureWindowsPath(name).drive:
        raise Refused(
            f"the absolute path {shown(name)}", "a path relative to the sheet", "put the file beside the sheet"
        )
    if ".." in parts:
        raise Refused(
            f"{shown(name)}, which leads to a parent folder", "a path inside the sheet's folder", "move the file there"
        )
    return parts


def _inside(base: Path, name: str) -> Path:
    return _resolved(base, relative_parts(name), name)


def _resolved(base: Path, parts: list[str], name: str) -> Path:
    try:
        path = next(path for path in _spellings(base, parts) if path.exists()).resolve(strict=True)
        inside = path.is_relative_to(base.resolve(strict=True))
    except StopIteration:
        raise _missing(base, parts, name) from None
    except (OSError, RuntimeError) as error:  # RuntimeError: a link to itself, up to Python 3.12
        raise Refused(
            f"{shown(name)}, which cannot be opened ({error})", "a readable file", "check the file and its rights"
        ) from None
    if not inside:
        raise Refused(
            f"{shown(name)}, a link that leads outside the sheet's folder",
            "a file inside the sheet's folder",
            "copy the file itself there",
        )
    return path


def _spellings(base: Path, parts: list[str]) -> Iterable[Path]:
    """The path as written, then with accents composed or taken apart, as other systems write file names."""
    yield base.joinpath(*parts)
    yield base.joinpath(*(unicodedata.normalize("NFC", part) for part in parts))
    yield base.joinpath(*(unicodedata.normalize("NFD", part) for part in parts))


def _missing(base: Path, parts: list[str], name: str) -> Refused:
    folder = base.joinpath(*parts[:-1])
    there = [path.name for path in folder.iterdir()] if folder.is_dir() else []
    alike = nearest(parts[-1], there)
    remedy = f"did you mean {shown(alike)}?" if alike else "check the name and put the file beside the sheet"
    return Refused(f"no file {shown(name)}", "an existing file", remedy)


def checked_bytes(path: Path, name: str) -> bytes:
    """Bytes of a file that goes by name. Raises Refused when it is no plain file, too large, empty or unreadable."""
    try:
        state = path.stat()
        if not stat.S_ISREG(state.st_mode):
            what = "a folder" if stat.S_ISDIR(state.st_mode) else "a device or pipe"
            raise Refused(f"{shown(name)}, which is {what}", "a plain file", "name the file itself")
        if state.st_size > LARGEST_SOURCE:
            raise Refused(
                f"{shown(name)} of {state.st_size:,} bytes", f"at most {LARGEST_SOURCE:,} bytes", "check the file"
            )
        data = path.read_bytes()
    except OSError as error:
        raise Refused(
            f"{shown(name)}, which cannot be read ({error.strerror})", "a readable file", "check the file's rights"
        ) from None
    if not data:
        raise Refused(
            f"{shown(name)}, which is empty", "a file with a table in it", "give the file that has the numbers"
        )
    return data

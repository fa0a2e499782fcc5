"""The one place that sets pages: a layout and its data become a PDF/A file, or pictures of its pages."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from brinemark.outputs.fonts import FAMILIES, FOLDER
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused

LAYOUT = Path(__file__).resolve().parent / "layout.typ"
STANDARDS = ("a-3a", "ua-1")
FONT_FILES = (".ttf", ".otf", ".ttc", ".otc")
BEGIN = b'#set document(title: "probe")\n#set text(font: json(bytes(sys.inputs.families)))\n'
PROBES = {
    "characters": BEGIN + b"#for one in json(bytes(sys.inputs.characters)) [#one ]\n",
    "svg": BEGIN + b'#image(bytes(sys.inputs.svg), format: "svg", alt: "probe")\n',
}
IN_PICTURE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">'
    '<text y="9" font-family="{family}">{text}</text></svg>'
)


class CannotSet(Exception):
    """The setter's own words: something cannot be set on a page, or not within the standards."""


@dataclass(frozen=True, slots=True, eq=False)
class Typefaces:
    """Fonts of one setting: own is the user's folder, or None; identity : sha256 over names and bytes of all files."""

    fonts: Any
    families: tuple[str, ...]
    identity: str

    def cannot_show(self, characters: frozenset[str]) -> frozenset[str]:
        """Those of the characters for which no font has a glyph, or which PDF/A does not allow."""
        if not characters or self._sets(tuple(sorted(characters))):
            return frozenset()
        return frozenset(one for one in characters if not self._sets((one,)))

    def sets_in_picture(self, family: str, text: str) -> bool:
        """Whether a text of a picture, as its SVG has it, can be set in a font."""
        return _probed(self, IN_PICTURE.format(family=family, text=text), "svg")

    def _sets(self, characters: tuple[str, ...]) -> bool:
        return _probed(self, json.dumps(characters), "characters")


@lru_cache(maxsize=20000)
def _probed(faces: Typefaces, what: str, name: str) -> bool:
    """Whether the setter takes it."""
    said = {"families": json.dumps(faces.families), name: what}
    try:
        _compiled(PROBES[name], faces, said, pdf_standards=list(STANDARDS), timestamp=0)
    except CannotSet:
        return False
    return True


def typefaces(folder: Path | None = None) -> Typefaces:
    """The fonts that come with the program, and those of a folder. Raises Refused when the folder holds none."""
    return _loaded(_files_of(FOLDER), () if folder is None else _own_files(folder))


@lru_cache(maxsize=4)
def _loaded(ours: tuple[tuple[str, int, int], ...], own: tuple[tuple[str, int, int], ...]) -> Typefaces:
    import typst

    folders = list(dict.fromkeys(str(Path(name).parent) for name, _, _ in (*ours, *own)))
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=folders)
    files = {name for name, _, _ in (*ours, *own)}
    hashed = sorted([Path(name).name, sha256_hex(Path(name).read_bytes())] for name in files)
    added = [name for name in _families(own) if name not in FAMILIES]
    return Typefaces(fonts, (*FAMILIES, *added), sha256_hex(json.dumps(hashed).encode()))


def _families(files: tuple[tuple[str, int, int], ...]) -> list[str]:
    """Families of the user's own fonts."""
    import typst

    if not files:
        return []
    folders = sorted({str(Path(name).parent) for name, _, _ in files})
    apart = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=folders)
    found: list[str] = apart.families()
    if not found:
        raise _no_font(folders[0])
    return found


def _own_files(folder: Path) -> tuple[tuple[str, int, int], ...]:
    found = _files_of(folder) if folder.is_dir() else ()
    if not found:
        raise _no_font(str(folder))
    return found


def _no_font(folder: str) -> Refused:
    return Refused(
        f"no font that can be used in the folder {folder}",
        "a folder with .ttf or .otf files",
        "correct or take away font_folder in [report]",
        file="logbook.toml",
    )


def _files_of(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Path, size and time of change of each font file, so that a changed folder is read again."""
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in FONT_FILES and path.is_file())
    return tuple((str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in files)


def setting_identity(faces: Typefaces) -> dict[str, str]:
    """What decides how the same data look: wording, layout and charts, fonts, and the libraries that set and draw."""
    return {"layout": _layout_identity(), "fonts": faces.identity, "libraries": _libraries()}


@cache
def _layout_identity() -> str:
    """sha256 over the files that word, lay out and draw, so that a report made by others of them is another one."""
    here = LAYOUT.parent
    folders = (here, here.parent / "charts")
    files = [here.parent / "codes.py", *(path for one in folders for path in sorted(one.iterdir()) if path.is_file())]
    return sha256_hex(json.dumps([[path.name, sha256_hex(path.read_bytes())] for path in files]).encode())


@cache
def _libraries() -> str:
    from importlib.metadata import version

    return ", ".join(f"{name} {version(name)}" for name in ("typst", "vl-convert-python", "segno"))


def set_pdf(said: Mapping[str, str], faces: Typefaces, timestamp: int) -> bytes:
    """The document as PDF/A-3a that also claims PDF/UA-1; timestamp : [s] since 1970, of its creation.

    Same input, same bytes. Raises CannotSet when something on the pages cannot be set within the standards.
    """
    made = _compiled(LAYOUT.read_bytes(), faces, said, pdf_standards=list(STANDARDS), timestamp=timestamp)
    return bytes(made)


def set_pages(said: Mapping[str, str], faces: Typefaces, dots_per_inch: float = 100.0) -> list[bytes]:
    """The pages as PNG, for looking at them."""
    made = _compiled(LAYOUT.read_bytes(), faces, said, format="png", ppi=dots_per_inch)
    return [bytes(made)] if isinstance(made, bytes) else [bytes(page) for page in made]


def _compiled(source: bytes, faces: Typefaces, said: Mapping[str, str], **how: Any) -> Any:
    import typst

    try:
        return typst.compile(source, font_paths=faces.fonts, ignore_system_fonts=True, sys_inputs=dict(said), **how)
    except typst.TypstError as fault:
        raise CannotSet(fault.message) from fault

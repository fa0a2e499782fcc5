"""The one place that sets pages: a layout and its data become a PDF/A file, or pictures of its pages."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from brinemark.outputs.fonts import FAMILIES, FOLDER
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused

LAYOUT = Path(__file__).resolve().parent / "layout.typ"
STANDARDS = ("a-3a", "ua-1")
FONT_FILES = (".ttf", ".otf", ".ttc", ".otc")
PROBE = (
    b'#set document(title: "probe")\n'
    b'#set text(font: json(bytes(sys.inputs.at("families"))))\n'
    b"#for one in json(bytes(sys.inputs.characters)) [#one ]\n"
)


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

    def _sets(self, characters: tuple[str, ...]) -> bool:
        return _sets(self, characters)


@lru_cache(maxsize=20000)
def _sets(faces: Typefaces, characters: tuple[str, ...]) -> bool:
    import typst

    said = {"families": json.dumps(faces.families), "characters": json.dumps(characters)}
    try:
        _compiled(PROBE, faces, said, pdf_standards=list(STANDARDS), timestamp=0)
    except typst.TypstError:
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
    added: list[str] = []
    if own:
        named = sorted({str(Path(name).parent) for name, _, _ in own})
        apart = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=named)
        added = [name for name in apart.families() if name not in FAMILIES]
    return Typefaces(fonts, (*FAMILIES, *added), sha256_hex(json.dumps(hashed).encode()))


def _own_files(folder: Path) -> tuple[tuple[str, int, int], ...]:
    found = _files_of(folder) if folder.is_dir() else ()
    if not found:
        raise Refused(
            f"no font in the folder {folder}",
            "a folder with .ttf or .otf files",
            "correct or take away font_folder in [report]",
            file="logbook.toml",
        )
    return found


def _files_of(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Path, size and time of change of each font file, so that a changed folder is read again."""
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in FONT_FILES and path.is_file())
    return tuple((str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in files)


def setting_identity(faces: Typefaces) -> dict[str, str]:
    """What decides how the same data look: layout, fonts, and the versions of what sets and draws."""
    from importlib.metadata import version

    libraries = ", ".join(f"{name} {version(name)}" for name in ("typst", "vl-convert-python", "segno"))
    return {"layout": sha256_hex(LAYOUT.read_bytes()), "fonts": faces.identity, "libraries": libraries}


def set_pdf(said: Mapping[str, str], faces: Typefaces, timestamp: int) -> bytes:
    """The document as PDF/A-3a that also claims PDF/UA-1; timestamp : [s] since 1970, of its creation.

    Same input, same bytes. Raises RuntimeError with the setter's own words when the layout cannot be set.
    """
    made = _compiled(LAYOUT.read_bytes(), faces, said, pdf_standards=list(STANDARDS), timestamp=timestamp)
    return bytes(made)


def set_pages(said: Mapping[str, str], faces: Typefaces, dots_per_inch: float = 100.0) -> list[bytes]:
    """The pages as PNG, for looking at them."""
    made = _compiled(LAYOUT.read_bytes(), faces, said, format="png", ppi=dots_per_inch)
    return [bytes(made)] if isinstance(made, bytes) else [bytes(page) for page in made]


def _compiled(source: bytes, faces: Typefaces, said: Mapping[str, str], **how: Any) -> Any:
    import typst

    return typst.compile(source, font_paths=faces.fonts, ignore_system_fonts=True, sys_inputs=dict(said), **how)

"""Makes drawn files the same on every run: the drawing library numbers parts of them at random."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

REFERENCE = re.compile(rb"\b(\d+) 0 R\b")
ENTRY_LINES = re.compile(rb"(?m)(?:^ +/\w+ (?:\d+ 0 R|\[[^\[\]\n]*\])\n){2,}")


@dataclass(frozen=True, slots=True)
class _Object:
    head: bytes
    stream: bytes


def settled_svg(svg: str, description: str) -> str:
    """Clip paths and gradients numbered in order of appearance; the description as label of the whole picture."""
    names: dict[str, str] = {}
    for found in re.finditer(r'\bid="((?:clip|gradient)[_\d]+)"|url\(#((?:clip|gradient)[_\d]+)\)', svg):
        names.setdefault(found.group(1) or found.group(2), f"part{len(names)}")
    svg = re.sub(r'(\bid="|url\(#)((?:clip|gradient)[_\d]+)', lambda found: found.group(1) + names[found.group(2)], svg)
    label = f'<svg role="graphics-document" aria-label={quoteattr(description)} '
    return svg.replace("<svg ", label, 1)


def settled_pdf(pdf: bytes) -> bytes:
    """The same document with its objects numbered in the order in which the pages refer to them.

    Raises ValueError when the file is not built as svg2pdf builds it.
    """
    objects = _objects(pdf)
    trailer = pdf[pdf.rindex(b"trailer") : pdf.rindex(b"startxref")]
    order: list[int] = []
    _visit(trailer, objects, order)
    number = {old: new + 1 for new, old in enumerate(order)}

    def renumbered(text: bytes) -> bytes:
        return REFERENCE.sub(lambda found: b"%d 0 R" % number[int(found.group(1))], text)

    body, places = bytearray(pdf[: pdf.index(b" 0 obj") - len(str(_first(pdf)))]), []
    for old in order:
        places.append(len(body))
        body += b"%d 0 obj\n%s%s\nendobj\n\n" % (number[old], renumbered(objects[old].head), objects[old].stream)
    start = len(body)
    body += b"xref\n0 %d\n0000000000 65535 f\r\n" % (len(order) + 1)
    body += b"".join(b"%010d 00000 n\r\n" % place for place in places)
    size = re.sub(rb"/Size \d+", b"/Size %d" % (len(order) + 1), renumbered(trailer))
    return bytes(body + size + b"startxref\n%d\n%%%%EOF" % start)


def _objects(pdf: bytes) -> dict[int, _Object]:
    """Objects by number; entries of a resource dictionary sorted, since their order says nothing."""
    found: dict[int, _Object] = {}
    opening, place = re.compile(rb"(\d+) 0 obj\n"), 0
    while (begin := opening.search(pdf, place)) is not None:
        end, stream = pdf.index(b"\nendobj", begin.end()), b""
        at = pdf.find(b"stream\n", begin.end(), end)
        if at >= 0:
            length = re.search(rb"/Length (\d+)", pdf[begin.end() : at])
            if length is None:
                raise ValueError("a stream without a length in the drawn PDF")
            end = pdf.index(b"\nendobj", at + int(length.group(1)))
            stream = pdf[at:end]
        head = pdf[begin.end() : at if at >= 0 else end]
        sorted_head = ENTRY_LINES.sub(lambda lines: b"".join(sorted(lines.group().splitlines(keepends=True))), head)
        found[int(begin.group(1))] = _Object(sorted_head, stream)
        place = end
    return found


def _visit(text: bytes, objects: dict[int, _Object], order: list[int]) -> None:
    for found in REFERENCE.finditer(text):
        number = int(found.group(1))
        if number not in order:
            order.append(number)
            _visit(objects[number].head, objects, order)


def _first(pdf: bytes) -> int:
    found = re.search(rb"(\d+) 0 obj\n", pdf)
    if found is None:
        raise ValueError("no object in the drawn PDF")
    return int(found.group(1))

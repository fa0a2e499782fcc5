"""Codes that a camera reads, for labels and reports."""

from __future__ import annotations

import io


def code_svg(text: str) -> bytes:
    """The QR code of a text as SVG (ISO/IEC 18004), error correction level M."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False, svgns=True)
    return out.getvalue()

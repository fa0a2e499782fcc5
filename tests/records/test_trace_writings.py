"""One invented curve in every writing that an instrument's settings can describe reads as the same trace."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from brinemark.records.traces import parse_trace
from brinemark.terms.settings import InstrumentSection

POTENTIAL_V = np.round(np.concatenate([np.arange(0.0, 0.2, 0.01), np.arange(0.2, 0.0, -0.01)]), 3)
CURRENT_A = 1e-6 * np.round(5.0 + np.cos(np.arange(POTENTIAL_V.size)), 4)
"""Whole picoamperes, so that every unit writes them exactly."""

SIGNS = ("anodic positive", "cathodic positive")
UNITS = {"A": 1.0, "mA": 1e3, "uA": 1e6, "nA": 1e9}
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "latin-1")
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
NAMES = {"found": ("E / V", "I / {}"), "named": ("sweep", "channel 7 [{}]")}
ROUNDING = 1e-12


def written(head: tuple[str, str], factor: float, delimiter: str, comma: bool) -> str:
    rows = [delimiter.join(head)]
    for potential, current in zip(POTENTIAL_V, CURRENT_A, strict=True):
        cells = [f"{potential:.3f}", f"{current * factor:.12g}"]
        rows.append(delimiter.join(cell.replace(".", ",") if comma else cell for cell in cells))
    return "\r\n".join(rows)


WRITINGS = [
    writing for writing in itertools.product(DELIMITERS, (False, True), UNITS) if writing[:2] != ("comma", True)
]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("names", NAMES)
def test_a_curve_is_the_same_in_every_writing(names: str, sign: str, encoding: str) -> None:
    for delimiter, comma, unit in WRITINGS:
        potential, current = (text.format(unit) for text in NAMES[names])
        text = written((potential, current), UNITS[unit], DELIMITERS[delimiter], comma)
        section = InstrumentSection(sign="anodic positive" if sign == SIGNS[0] else "cathodic positive")
        if names == "named":
            section = section.model_copy(update={"potential": "sweep [V]", "current": current})
        trace = parse_trace(text.encode(encoding), section, f"{delimiter}.txt")
        turned = -1.0 if sign == SIGNS[1] else 1.0
        assert trace.current_A == pytest.approx(turned * CURRENT_A, rel=ROUNDING), (delimiter, comma, unit)
        assert trace.potential_V == pytest.approx(POTENTIAL_V, abs=ROUNDING)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_wide_file_is_the_same_in_every_writing(encoding: str) -> None:
    for delimiter, comma, unit in WRITINGS:
        mark = DELIMITERS[delimiter]
        rows = written(("E / V", f"I 1 / {unit}"), UNITS[unit], mark, comma).split("\r\n")
        second = [f"I 2 / {unit}", *(row.split(mark)[1] for row in rows[1:])]
        text = "\n".join(f"{row}{mark}{cell}" for row, cell in zip(rows, second, strict=True))
        section = InstrumentSection(layout="wide", sign="cathodic positive")
        trace = parse_trace(text.encode(encoding), section, "wide.txt")
        assert trace.current_A == pytest.approx(-np.tile(CURRENT_A, 2), rel=ROUNDING), (delimiter, comma, unit)

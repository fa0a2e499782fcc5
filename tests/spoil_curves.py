"""Named faults and valid oddities of the files that a run sheet names, and of the curves in them."""

from __future__ import annotations

import os
import shutil
import unicodedata
from collections.abc import Callable
from pathlib import Path

from spoil_tools import (
    CURVE,
    Fault,
    Oddity,
    Spoil,
    cell,
    column_added,
    curve,
    curve_bytes,
    curve_lines,
    delimited,
    header,
    point,
    scaled,
)

MEGA = 10_000_000


def moved(target: str) -> Spoil:
    """Move the first curve away and leave a link to it."""

    def spoil(folder: Path) -> None:
        goal = (folder / target).resolve()
        shutil.move(folder / CURVE, goal)
        (folder / CURVE).symlink_to(goal)

    return spoil


def replaced(make: Callable[[Path], object]) -> Spoil:
    """Put something else in the place of the first curve."""

    def spoil(folder: Path) -> None:
        (folder / CURVE).unlink()
        make(folder / CURVE)

    return spoil


def linked_folder(folder: Path) -> None:
    shutil.move(folder / "curves", folder.parent / f"{folder.name}-elsewhere")
    (folder / "curves").symlink_to(folder.parent / f"{folder.name}-elsewhere")


def huge(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(65 * 2**20)


def renamed(name: str, written: str | None = None) -> Spoil:
    """Give the first curve another name, and write it into the sheet."""

    def spoil(folder: Path) -> None:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / CURVE).rename(folder / name)
        cell(2, trace=written or name)(folder)

    return spoil


german = delimited(";", ",")


def grouped(text: str) -> str:
    return delimited(";")(text).replace("-0.3950", "-1,234.5")


def units_below(lines: list[str]) -> list[str]:
    return [lines[0], "V,A,s", *lines[1:]]


PATH_FAULTS = [
    Fault("missing trace", cell(3, trace="curves/B1-22.csv"), "no file 'curves/B1-22.csv'", 3, "trace"),
    Fault("missing pre-scan", cell(3, prescan="before.csv"), "no file 'before.csv'", 3, "prescan"),
    Fault("name with another ending", cell(3, trace="curves/B1-2.txt"), "did you mean 'B1-2.csv'?", 3, "trace"),
    Fault("absolute path", cell(3, trace="/etc/passwd"), "a path relative to the sheet", 3, "trace"),
    Fault("path with a drive", cell(3, trace="C:\\curves\\a.csv"), "a path relative to the sheet", 3, "trace"),
    Fault("path of a share", cell(3, trace="\\\\host\\a.csv"), "a path relative to the sheet", 3, "trace"),
    Fault("path to the parent folder", cell(3, trace="../a.csv"), "leads to a parent folder", 3, "trace"),
    Fault("path by way of a parent", cell(3, trace="curves/../../a.csv"), "a parent folder", 3, "trace"),
    Fault("pre-scan in the parent folder", cell(3, prescan="..\\a.csv"), "a parent folder", 3, "prescan"),
    Fault("control character in a path", cell(3, trace="curves/B1\x08.csv"), "invisible character", 3, "trace"),
    Fault("path of 5,000 characters", cell(3, trace="a/" * 2500), "at most 2000", 3, "trace"),
    Fault("folder as trace", replaced(lambda path: path.mkdir()), "which is a folder", 2, "trace"),
    Fault("empty trace", curve_bytes(lambda b: b""), "which is empty", 2, "trace"),
    Fault("trace of 65 MB", replaced(huge), "of 68,157,440 bytes", 2, "trace"),
    Fault("one trace for two electrodes", cell(3, trace=CURVE), "already the trace of row 2", 3, "trace"),
    Fault("one trace in two spellings", cell(3, trace=f"./{CURVE}"), "already the trace of row 2", 3, "trace"),
    Fault("pre-scan is the trace", cell(2, prescan=CURVE), "already the trace of row 2", 2, "prescan"),
    Fault("pre-scan of another electrode", cell(3, prescan="curves/B1-1-before.csv"), "of row 2", 3, "prescan"),
]
# Windows makes links only for some users, has no such pipes and counts letters in another way.
if os.name == "posix":
    PATH_FAULTS += [
        Fault("link that leads outside", moved("../outside.csv"), "a link that leads outside", 2, "trace"),
        Fault("linked folder outside", linked_folder, "a link that leads outside", 2, "trace"),
        Fault("link to nothing", replaced(lambda path: path.symlink_to("gone.csv")), "no file", 2, "trace"),
        Fault("link to itself", replaced(lambda path: path.symlink_to(path.name)), "no file", 2, "trace"),
        Fault("pipe as trace", replaced(os.mkfifo), "a device or pipe", 2, "trace"),
        Fault("name of 300 characters", cell(3, trace="a" * 300), "cannot be opened", 3, "trace"),
    ]
BYTES = [
    Fault("zero byte in a curve", curve_bytes(lambda b: b[:9000] + b"\0" + b[9000:]), "zero byte"),
    Fault("workbook as curve", curve_bytes(lambda b: b"PK\x03\x04" + b), "a zip archive or a spreadsheet workbook"),
    Fault("PDF as curve", curve_bytes(lambda b: b"%PDF-1.4\n" + b), "a PDF document"),
    Fault("picture as curve", curve_bytes(lambda b: b"\x89PNG\r\n" + b), "a picture"),
    Fault("noise as curve", curve_bytes(lambda b: bytes(range(256)) * 16), "zero byte"),
    Fault("curve of blank lines", curve_bytes(lambda b: b"\n\r\n\n"), "holds no text"),
    Fault("10 MB line in a curve", curve(lambda t: t + "1" * MEGA), "one line of 10,000,000", 522),
    Fault("line ends lost", curve(lambda t: t.replace("\n", ",") * 8), "one line of", 1),
    Fault("UTF-16 curve cut in a letter", curve_bytes(lambda b: b.decode().encode("utf-16")[:-1]), "not UTF-16"),
]
HEADERS = [
    Fault("curve with a header only", curve_lines(lambda lines: lines[:1]), "0 points; expected at least 20"),
    Fault("19 points", curve_lines(lambda lines: lines[:20]), "19 points; expected at least 20"),
    Fault("curve without header", curve_lines(lambda lines: lines[1:]), "no header before the numbers", 1),
    Fault("words only", curve(lambda t: "a curve\nof another day\n"), "a header such as potential_V,current_A", 1),
    Fault("no potential", header("x,current_A,time_s"), "no potential column", 1),
    Fault("no current", header("potential_V,y,time_s"), "no current column among potential_V, y, time_s", 1),
    Fault("potential without unit", header("potential,current_A,time_s"), "without a unit", 1, "potential"),
    Fault("current without unit", header("E/V,I,t/s"), "the current column 'I' without a unit", 1, "I"),
    Fault("time without unit", header("E/V,I/A,time"), "expected s, ms, us, min or h", 1, "time"),
    Fault("unknown unit", header("E/V,current (kN),t/s"), "the unknown unit 'kN'", 1, "current (kN)"),
    Fault("unit of another quantity", header("potential_A,I/A,t/s"), "expected V, mV or uV", 1, "potential_A"),
    Fault("megavolt", header("E / MV,I/A,t/s"), "the unknown unit 'MV'", 1, "E / MV"),
    Fault(
        "duplicate column in a curve", header("potential_V,current_A,current_A"), "'current_A' 2 times", 1, "current_A"
    ),
    Fault("several currents", header("E/V,I/A,current_A"), "several current columns: I/A, current_A", 1, "I/A"),
    Fault("several potentials", header("E/V,potential_V,I/A"), "several potential columns", 1, "E/V"),
    Fault("wide layout", header("E/V,current_uA_1,current_uA_2"), "a wide layout", 1, "current_uA_1"),
    Fault("second header further down", point(100, "potential_V,current_A,time_s"), "not a number", 100, "potential_V"),
    Fault("units below the header", curve_lines(units_below), "'V', which is not", 2, "potential_V"),
]
NUMBERS = [
    Fault("NaN", point(50, "0.1,NaN,1"), "'NaN', which is not a finite number", 50, "current_A"),
    Fault("infinity", point(50, "0.1,-inf,1"), "'-inf', which is not a finite number", 50, "current_A"),
    Fault("overflow", point(50, "0.1,1e999,1"), "'1e999', which is not a finite number", 50, "current_A"),
    Fault("word among numbers", point(50, "0.1,over,1"), "'over', which is not a number", 50, "current_A"),
    Fault("empty cell", point(50, "0.1,,1"), "an empty cell; expected a number", 50, "current_A"),
    Fault("row too long", point(50, "0.1,1e-7,1,7"), "4 fields; expected 3 fields", 50),
    Fault("row too short", point(50, "0.1,1e-7"), "2 fields; expected 3 fields", 50),
    Fault("number in base 16", point(50, "0x1,1e-7,1"), "'0x1', which is not a number", 50, "potential_V"),
    Fault("number with an underscore", point(50, "1_0,1e-7,1"), "'1_0', which is not a number", 50, "potential_V"),
    Fault("quote never closed in a curve", point(50, '0.1,"1e-7,1'), "2 fields; expected 3", 50),
    Fault("decimal commas between commas", curve(delimited(",", ",")), "6 fields; expected 3", 2),
    Fault("two decimal signs", curve(lambda t: german(t).replace("-0,3950", "-0.3950")), "not clear", 2, "potential_V"),
    Fault("thousands parted", curve(grouped), "'-1,234.5', which is not a number", 3, "potential_V"),
    Fault("constant potential", scaled("potential_V", 0.0), "a constant potential of", 2, "potential_V"),
    Fault("millivolts called volts", scaled("potential_V", 1000.0), "is it mV?", 262, "potential_V"),
    Fault("half a cycle number", column_added("cycle", lambda i: 1.5), "cycle '1.5'", 2, "cycle"),
    Fault("negative cycle", column_added("cycle", lambda i: -1), "a whole number from 0", 2, "cycle"),
    Fault("cycle in words", column_added("cycle", lambda i: "first"), "'first', which is not", 2, "cycle"),
    Fault("cycles that fall", column_added("cycle", lambda i: 2 - i // 300), "cycle 1 after cycle 2", 302, "cycle"),
    Fault("time that runs back", point(50, "0.1,1e-7,0"), "time 0 s after", 50, "time_s"),
]
CURVE_FAULTS = [*BYTES, *HEADERS, *NUMBERS]


def nfd_name(folder: Path) -> None:
    renamed(unicodedata.normalize("NFD", "curves/Größe.csv"), "curves/Größe.csv")(folder)


def commented(lines: list[str]) -> list[str]:
    return [*lines[:50], "# a bubble", "", *lines[50:]]


def cycles(lines: list[str]) -> list[str]:
    """Two cycles of 260 points; the time begins anew with the second."""
    first, second = lines[1:261], lines[1:261]
    return [f"{lines[0]},cycle", *(f"{line},1" for line in first), *(f"{line},2" for line in second)]


def quoted(lines: list[str]) -> list[str]:
    return [",".join(f'"{field}"' for field in line.replace(".", "\0").split(",")).replace("\0", ",") for line in lines]


LINK_ODDITIES = [Oddity("paths", "a link inside the folder", moved("kept.csv"))] if os.name == "posix" else []
CURVE_ODDITIES = [
    *LINK_ODDITIES,
    Oddity("paths", "a name with spaces in a deeper folder", renamed("more curves/one, two.csv")),
    Oddity("paths", "a path written with backslashes", cell(2, trace=CURVE.replace("/", "\\"))),
    Oddity("paths", "a name with its accents taken apart", nfd_name),
    Oddity("bytes", "UTF-8 with a mark", curve_bytes(lambda b: b"\xef\xbb\xbf" + b)),
    Oddity("bytes", "UTF-16 with a mark", curve_bytes(lambda b: b.decode().encode("utf-16"))),
    Oddity("bytes", "UTF-16 without a mark, low byte first", curve_bytes(lambda b: b.decode().encode("utf-16-le"))),
    Oddity("bytes", "UTF-16 without a mark, high byte first", curve_bytes(lambda b: b.decode().encode("utf-16-be"))),
    Oddity("bytes", "Latin-1 with a micro sign", curve_bytes(lambda b: b.replace(b"current_A", b"I / \xb5A"))),
    Oddity("bytes", "carriage returns alone", curve_bytes(lambda b: b.replace(b"\n", b"\r"))),
    Oddity("headers", "lines of text before the header", curve(lambda t: f"Cell 4\nRange: 1, 2, 3\n\n2026-03-01\n{t}")),
    Oddity("headers", "the header in a comment", curve(lambda t: f"% made by hand\n# {t}")),
    Oddity("headers", "a reference in the header", header("E vs. Ag/AgCl / V,I / A,t / s")),
    Oddity("headers", "brackets and millivolts", scaled("Potential (mV)", 1000.0)),
    Oddity("headers", "a second, numbered current", header("potential_V,current_A,current2_A")),
    Oddity("headers", "columns of no use", column_added("remark", lambda i: "x y")),
    Oddity("numbers", "semicolons and decimal commas", curve(delimited(";", ","))),
    Oddity("numbers", "tabs", curve(delimited("\t"))),
    Oddity("numbers", "bars", curve(delimited(" | "))),
    Oddity("numbers", "columns lined up with spaces", curve(lambda t: t.replace(",", "   ").replace("\n", "\n  "))),
    Oddity("numbers", "every cell quoted, decimal commas", curve_lines(quoted)),
    Oddity("numbers", "delimiters behind every row and below", curve(lambda t: t.replace("\n", ",\n") + ",,,\n\n\n")),
    Oddity("numbers", "typeset minus signs", curve(lambda t: t.replace(",-", ",\u2212"))),
    Oddity("numbers", "comments between the points", curve_lines(commented)),
    Oddity("numbers", "cycles, time anew for each", curve_lines(cycles)),
]

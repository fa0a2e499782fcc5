"""Named faults and valid oddities of run sheets."""

from __future__ import annotations

from pathlib import Path

from build import SHEET, Row, sheet_csv, small_run
from spoil_lives import LIFE_FAULTS, LIFE_ODDITIES
from spoil_tools import Fault, Oddity, again, cell, delimited, rows, sheet, sheet_bytes, without

MEGA = 10_000_000
MARK = b"\xef\xbb\xbf"


def swapped(text: str) -> str:
    return "\n".join(",".join(reversed(line.split(","))) for line in text.splitlines())


def quoted(text: str) -> str:
    rows = (",".join(f'"{field}"' for field in line.split(",")) for line in text.splitlines())
    return "\n".join(rows)


def in_commas(folder: Path) -> None:
    (folder / SHEET).write_text(sheet_csv(small_run(), delimiter=";", decimal=","), encoding="utf-8")


def one_id_in_two_forms(run: list[Row]) -> None:
    run[1]["electrode"], run[2]["electrode"] = "É", "E\u0301"


TABLE = [
    Fault("unknown column", sheet(lambda t: t.replace("salinity", "salinty", 1)), "column, salinity", 1, "salinty"),
    Fault("column in capitals", sheet(lambda t: t.replace("role", "Role", 1)), "known column, role", 1, "Role"),
    Fault("strange column", sheet(lambda t: t.replace("note", "zzz", 1)), "unknown column 'zzz'", 1, "zzz"),
    Fault("duplicate column", sheet(lambda t: t.replace("note", "level", 1)), "2 columns named level", 1, "level"),
    Fault("no column electrode", without("electrode"), "no column electrode", 1, "electrode"),
    Fault("no column batch", without("batch"), "no column batch", 1, "batch"),
    Fault("no column instrument", without("instrument"), "no column instrument", 1, "instrument"),
    Fault("no column measured_at", without("measured_at"), "no column measured_at", 1, "measured_at"),
    Fault("no column role", without("role"), "no column role", 1, "role"),
    Fault("no trace and no signal", without("trace signal"), "no column trace or signal", 1, "trace"),
    Fault("cells below no name", rows(lambda run: run[2].update({"": "7"})), "column without a name", 4),
    Fault("one field too many", sheet(lambda t: t.replace("B1-2,", "B1-2,,", 1)), "19 fields; expected 18", 3),
    Fault("too few fields", sheet(lambda t: t.replace("B1-2,B1,", "B1-2,", 1)), "17 fields; expected 18", 3),
    Fault("unquoted decimal comma", sheet(lambda t: t.replace("33.5", "33,5", 1)), "19 fields; expected 18", 2),
    Fault("header only", sheet(lambda t: t.splitlines()[0] + "\n"), "a header without rows"),
    Fault("blank rows only", sheet(lambda t: t.splitlines()[0] + "\n,,\n\n"), "a header without rows"),
    Fault("no header", sheet(lambda t: t.split("\n", 1)[1]), "no known column", 1),
    Fault("bars between columns", sheet(lambda t: t.replace(",", "|")), "parted by comma, semicolon or tab", 1),
    Fault("rows with another delimiter", sheet(lambda t: delimited(";")(t).replace(";", ",", 17)), "1 fields", 2),
    Fault("quote never closed", sheet(lambda t: t.replace("B1-3,", '"B1-3,', 1)), "closed quotes", 4),
    Fault("text behind a quote", sheet(lambda t: t.replace("B1-3,", '"B1"-3,', 1)), "closed quotes", 4),
]
BYTES = [
    Fault("empty sheet", sheet_bytes(lambda b: b""), "is empty"),
    Fault("sheet of spaces", sheet_bytes(lambda b: b" \n \n"), "holds no text"),
    Fault("zero byte in the sheet", sheet_bytes(lambda b: b.replace(b"B1-3", b"B1\x003", 1)), "zero byte"),
    Fault("UTF-16 sheet cut in a letter", sheet_bytes(lambda b: b.decode().encode("utf-16")[:-1]), "not UTF-16"),
    Fault("UTF-8 mark before Latin-1", sheet_bytes(lambda b: MARK + b + b"\xe9\n"), "not UTF-8"),
    Fault("workbook as sheet", sheet_bytes(lambda b: b"PK\x03\x04" + b), "spreadsheet workbook"),
    Fault("old workbook as sheet", sheet_bytes(lambda b: b"\xd0\xcf\x11\xe0" + b), "old spreadsheet workbook"),
    Fault("PDF as sheet", sheet_bytes(lambda b: b"%PDF-1.7\n" + b), "a PDF document"),
    Fault("compressed sheet", sheet_bytes(lambda b: b"\x1f\x8b\x08" + b), "a compressed file"),
    Fault("rich text as sheet", sheet_bytes(lambda b: b"{\\rtf1" + b), "word processor"),
    Fault("10 MB line in the sheet", sheet_bytes(lambda b: b + b"x" * MEGA), "one line of 10,000,000", 10),
    Fault("10 MB header", sheet_bytes(lambda b: b"x" * MEGA + b), "characters", 1),
    Fault("noise as sheet", sheet_bytes(lambda b: bytes(range(256)) * 8), "zero byte"),
]
ROLES = [
    Fault("no role", cell(3, role=""), "an empty cell; expected one of blank", 3, "role"),
    Fault("role in capitals", cell(2, role="Blank"), "did you mean blank?", 2, "role"),
    Fault("role misspelt", cell(3, role="standrad"), "did you mean standard?", 3, "role"),
    Fault("unknown role", cell(3, role="xyz"), "one of blank, standard, sample, control, addition", 3, "role"),
    Fault("addition alone", cell(4, role="addition"), "an addition as the first reading", 4, "role"),
]
LEVELS = [
    Fault("standard without level", cell(4, level=""), "an empty cell for a standard", 4, "level"),
    Fault("standard of level 0", cell(4, level="0"), "give it the role blank", 4, "level"),
    Fault("negative level", cell(4, level="-2"), "'-2'; expected a number from 0", 4, "level"),
    Fault("level NaN", cell(4, level="NaN"), "not a finite number", 4, "level"),
    Fault("level infinite", cell(4, level="inf"), "not a finite number", 4, "level"),
    Fault("level too large to write", cell(4, level="1e999"), "not a finite number", 4, "level"),
    Fault("absurd level", cell(4, level="1e13"), "correct the number or its unit", 4, "level"),
    Fault("level in words", cell(4, level="high"), "'high', which is not a number", 4, "level"),
    Fault("level with a sign for less", cell(4, level="<2"), "'<2', which is not a number", 4, "level"),
    Fault("level with its unit", cell(4, level="2 ug/L"), "not a number", 4, "level"),
    Fault("level in base 16", cell(4, level="0x10"), "not a number", 4, "level"),
    Fault("level with an underscore", cell(4, level="1_0"), "not a number", 4, "level"),
    Fault("level in wide digits", cell(4, level="\uff12"), "not a number", 4, "level"),
    Fault("level with a space", cell(4, level="1 000"), "not a number", 4, "level"),
    Fault("level with thousands parted", cell(4, level="1,234"), "decimal sign is not clear", 4, "level"),
    Fault("both decimal signs", cell(4, level="2,5"), "both '33.5' and '2,5'", 4, "level"),
    Fault("blank with a level", cell(2, level="1"), "'1' for a blank; expected 0", 2, "level"),
    Fault("sample with a level", cell(6, level="2"), "'2' for a sample", 6, "level"),
    Fault("control with a level", cell(7, level="2"), "a control has expected_level", 7, "level"),
    Fault("level_rel_u of a sample", cell(6, level_rel_u=".1"), "only standards and", 6, "level_rel_u"),
    Fault("negative level_rel_u", cell(3, level_rel_u="-.1"), "from 0 up to 1", 3, "level_rel_u"),
    Fault("level_rel_u in percent", cell(3, level_rel_u="5"), "from 0 up to 1", 3, "level_rel_u"),
]
PORTIONS = [
    Fault("sample without id", cell(6, sample=""), "the id of the sample", 6, "sample"),
    Fault("control without id", cell(7, sample=" "), "the id of the sample", 7, "sample"),
    Fault("blank with a sample id", cell(2, sample="S9"), "'S9' for a blank", 2, "sample"),
    Fault("standard with a sample id", cell(3, sample="S9"), "only samples and controls", 3, "sample"),
    Fault("dilution below 1", cell(6, dilution="0.1"), "from 1 up to", 6, "dilution"),
    Fault("dilution 0", cell(6, dilution="0"), "from 1 up to", 6, "dilution"),
    Fault("dilution NaN", cell(6, dilution="nan"), "not a finite number", 6, "dilution"),
    Fault("dilution as a ratio", cell(6, dilution="1:10"), "'1:10', which is not a number", 6, "dilution"),
    Fault("dilution of a standard", cell(3, dilution="10"), "'10' for a standard", 3, "dilution"),
    Fault("expected_level of a sample", cell(6, expected_level="2"), "only controls", 6, "expected_level"),
    Fault("control without expected_level", cell(7, expected_level=""), "for a control", 7, "expected_level"),
    Fault("negative expected_level", cell(7, expected_level="-1"), "from 0", 7, "expected_level"),
    Fault("one id, two roles", cell(7, sample="S1"), "'S1' as a control, in row 6 as a sample", 7, "sample"),
    Fault(
        "control of two levels",
        again(7, electrode="B1-9", trace="a", prescan="b", expected_level="3"),
        "3 for 'C1', in row 7 2",
        10,
        "expected_level",
    ),
]
IDS = [
    Fault("no electrode id", cell(5, electrode=""), "the id of the electrode", 5, "electrode"),
    Fault("no batch id", cell(5, batch=" "), "the id of the batch", 5, "batch"),
    Fault("no instrument id", cell(5, instrument=""), "the id of the instrument", 5, "instrument"),
    Fault("control character in an id", cell(5, electrode="B1\x074"), "invisible character", 5, "electrode"),
    Fault("line end in an id", cell(5, electrode="B1\n4"), "invisible character", 5, "electrode"),
    Fault("invisible space in an id", cell(5, batch="B\u200b1"), "invisible character", 5, "batch"),
    Fault("id of 200 characters", cell(5, electrode="x" * 200), "at most 120", 5, "electrode"),
    Fault("note of 3,000 characters", cell(5, note="x" * 3000), "at most 2000", 5, "note"),
    Fault("electrode in two batches", cell(5, electrode="B1-1", batch="B7"), "in row 2 B1", 5, "batch"),
    Fault("electrode twice, each with a pre-scan", cell(5, electrode="B1-1"), "the pre-scan in the", 5, "prescan"),
    Fault("electrode twice but for spaces", cell(5, electrode=" B1-1 "), "first in row 2", 5, "prescan"),
    Fault(
        "second run of an electrode",
        cell(5, electrode="B1-1", measured_at="2026-03-02T10:00Z"),
        "a second run of electrode 'B1-1', 24.0 h from row 2",
        5,
        "electrode",
    ),
    Fault(
        "electrode twice but for its accents",
        rows(one_id_in_two_forms),
        "a later row of electrode 'É', first in row 3",
        4,
        "prescan",
    ),
]
TIMES = [
    Fault("no time", cell(4, measured_at=""), "an empty cell; expected date and time", 4, "measured_at"),
    Fault("date without time", cell(4, measured_at="2026-03-01"), "ISO 8601", 4, "measured_at"),
    Fault("date the other way round", cell(4, measured_at="01.03.2026 10:00"), "ISO 8601", 4, "measured_at"),
    Fault("day that is not", cell(4, measured_at="2026-02-30T10:00"), "ISO 8601", 4, "measured_at"),
    Fault("hour that is not", cell(4, measured_at="2026-03-01T25:00"), "ISO 8601", 4, "measured_at"),
    Fault("year of long ago", cell(4, measured_at="1062-03-01T10:00"), "from 1950 to 2100", 4, "measured_at"),
    Fault("time in words", cell(4, measured_at="noon"), "'noon'; expected date and time", 4, "measured_at"),
]
ANSWERS = [
    Fault("trace and signal", cell(3, signal="1e-7", signal_unit="A"), "both a trace and a signal", 3, "trace"),
    Fault("no trace and no signal in a row", cell(3, trace=""), "neither a trace nor a signal", 3, "trace"),
    Fault("signal without unit", cell(8, signal_unit=""), "a signal without a unit", 8, "signal_unit"),
    Fault("signal_u without signal", cell(3, signal_u="1e-9"), "'1e-9' without a signal", 3, "signal_u"),
    Fault("unit without signal", cell(3, signal_unit="A"), "'A' without a signal", 3, "signal_unit"),
    Fault("negative signal_u", cell(8, signal_u="-4e-9"), "a number from 0", 8, "signal_u"),
    Fault("signal NaN", cell(8, signal="nan"), "not a finite number", 8, "signal"),
    Fault("signal infinite", cell(8, signal="-Infinity"), "not a finite number", 8, "signal"),
    Fault("covariate beside a pre-scan", cell(3, covariate="1e-6"), "beside a prescan file", 3, "covariate"),
    Fault("signal beside a pre-scan", cell(3, prescan_signal="1e-8"), "beside a prescan", 3, "prescan_signal"),
    Fault("covariate 0", cell(8, covariate="0"), "a number above 0", 8, "covariate"),
    Fault(
        "signals in two units", again(8, electrode="B2-7", signal_unit="nA"), "'nA', in row 8 'A'", 10, "signal_unit"
    ),
]
CONDITIONS = [
    Fault("salinity 80", cell(2, salinity="80"), "from 0 up to 60", 2, "salinity"),
    Fault("negative salinity", cell(2, salinity="-1"), "from 0 up to 60", 2, "salinity"),
    Fault("salinity NaN", cell(2, salinity="NaN"), "not a finite number", 2, "salinity"),
    Fault("pH 15", cell(2, pH="15"), "from 0 up to 14", 2, "pH"),
    Fault("temperature in kelvin", cell(2, temperature_C="293.6"), "from -5 up to 60", 2, "temperature_C"),
    Fault("temperature with a unit", cell(2, temperature_C="20 C"), "'20 C', which is not", 2, "temperature_C"),
    Fault("negative contact", cell(2, contact_s="-3"), "from 0 up to 1e+06", 2, "contact_s"),
    Fault("scan rate 0", cell(2, scan_rate_V_per_s="0"), "above 0 up to 1000", 2, "scan_rate_V_per_s"),
]
SHEET_FAULTS = [*TABLE, *BYTES, *ROLES, *LEVELS, *PORTIONS, *IDS, *TIMES, *ANSWERS, *CONDITIONS, *LIFE_FAULTS]

# Against the logbook, which holds electrodes A1-1 (blank), A1-2 (standard) and A1-3 (sample S0).
HISTORY_FAULTS = [
    Fault("electrode of an earlier sheet", cell(3, electrode="A1-2", batch="A1"), "was spent on", 3, "electrode"),
    Fault("electrode of an earlier sheet, later", cell(9, electrode="A1-3", batch="A1"), "sample S0", 9, "electrode"),
    Fault("electrode of an earlier batch", cell(3, electrode="A1-2"), "in the logbook in A1", 3, "batch"),
    Fault("control that was a sample", cell(7, sample="S0"), "in the logbook a sample", 7, "sample"),
]

SHEET_ODDITIES = [
    *LIFE_ODDITIES,
    Oddity("history", "a sample of an earlier sheet again", cell(6, sample="S0")),
    Oddity("history", "an earlier batch goes on", cell(6, electrode="A1-4", batch="A1")),
    Oddity("columns", "columns the other way round", sheet(swapped)),
    Oddity("columns", "delimiters behind every row", sheet(lambda t: t.replace("\n", ",,\n"))),
    Oddity("columns", "blank rows between", sheet(lambda t: t.replace("\n", "\n\n,,,\n"))),
    Oddity("delimiters", "semicolons and decimal commas", in_commas),
    Oddity("delimiters", "tabs", sheet(delimited("\t"))),
    Oddity("delimiters", "every cell quoted", sheet(quoted)),
    Oddity("bytes", "UTF-8 with a mark and Windows line ends", sheet_bytes(lambda b: MARK + b.replace(b"\n", b"\r\n"))),
    Oddity("bytes", "UTF-16 with a mark", sheet_bytes(lambda b: b.decode().encode("utf-16"))),
    Oddity("bytes", "Latin-1 with an accent", sheet_bytes(lambda b: b.replace(b"B1-3,B1", b"B1-\xe9,B1", 1))),
    Oddity("roles", "a stock named for a blank", cell(2, stock="K1", stock_level="1000")),
    Oddity("roles", "columns of additions left empty", cell(2, stock_level="", volume_mL="")),
    Oddity("levels", "level with an exponent", cell(4, level="+2.0E0")),
    Oddity("levels", "blank without a level", cell(2, level="")),
    Oddity("portions", "a control known to hold none", cell(7, expected_level="0", dilution="")),
    Oddity("portions", "two electrodes for one sample", cell(9, sample="S1")),
    Oddity("ids", "an id with accents and spaces inside", cell(5, electrode="Körner 4 / A")),
    Oddity("ids", "ids that differ by capitals only", cell(5, electrode="b1-1")),
    Oddity("times", "a time without a zone", cell(4, measured_at="2026-03-01 10:00")),
    Oddity("times", "a zone far away and fractions", cell(4, measured_at="2026-03-01T23:59:59.25+13:45")),
    Oddity("answers", "a signal below zero", cell(8, signal="-1e-9", signal_u="0")),
    Oddity("answers", "a covariate read elsewhere", cell(8, covariate="2e-6", prescan_signal="1e-8")),
    Oddity("conditions", "cold fresh water", cell(2, salinity="0", temperature_C="-2", pH="8")),
    Oddity("conditions", "stirring in words, a note of two lines", cell(2, stirring="slow", note="bubbles\ntwice")),
]

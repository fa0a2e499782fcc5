"""Trace files: the same numbers in every accepted writing, units and sign, and each fault with its place."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records import traces
from brinemark.records.text import decode
from brinemark.records.traces import parse_trace
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.settings import InstrumentSection
from build import trace_csv, write_run
from spoil_curves import CURVE_FAULTS, CURVE_ODDITIES
from spoil_tools import CURVE, Fault, Oddity

TEXT = trace_csv()


def table(text: str) -> FloatArray:
    """The numbers of a plain comma file, by the csv module and float alone."""
    return np.array([[float(cell) for cell in row] for row in list(csv.reader(text.splitlines()))[1:]])


def long_text(head: str, *columns: Callable[[int], object], points: int = 30) -> bytes:
    """A file with this header whose cells are given by the point's place."""
    return "\n".join([head, *(",".join(str(cell(i)) for cell in columns) for i in range(points))]).encode()


def ramp(i: int) -> float:
    return round(0.01 * i, 2)


@pytest.fixture(scope="module")
def good_run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("good") / "run"
    write_run(folder)
    return folder


def test_the_numbers_are_those_that_the_csv_module_reads() -> None:
    trace, expected = parse_trace(TEXT.encode(), None, "a.csv"), table(TEXT)
    assert np.array_equal(trace.potential_V, expected[:, 0])
    assert np.array_equal(trace.current_A, expected[:, 1])
    assert trace.time_s is not None
    assert np.array_equal(trace.time_s, expected[:, 2])
    assert trace.cycle is None


@pytest.mark.parametrize("fault", CURVE_FAULTS, ids=lambda fault: fault.name)
def test_a_fault_is_named_with_file_row_and_column(fault: Fault, good_run: Path, tmp_path: Path) -> None:
    run = Path(shutil.copytree(good_run, tmp_path / "run"))
    fault.spoil(run)
    with pytest.raises(Refused) as caught:
        parse_trace((run / CURVE).read_bytes(), None, "a.csv")
    assert fault.phrase in str(caught.value)
    assert (caught.value.file, caught.value.row, caught.value.column) == ("a.csv", fault.row, fault.column)


@pytest.mark.parametrize(
    "oddity",
    [one for one in CURVE_ODDITIES if one.family in ("bytes", "numbers") and "cycles" not in one.name],
    ids=lambda oddity: oddity.name,
)
def test_another_writing_gives_the_same_numbers(oddity: Oddity, good_run: Path, tmp_path: Path) -> None:
    run = Path(shutil.copytree(good_run, tmp_path / "run"))
    plain = parse_trace((run / CURVE).read_bytes(), None, CURVE)
    oddity.change(run)
    other = parse_trace((run / CURVE).read_bytes(), None, CURVE)
    factor = 1e-6 if "micro" in oddity.name else 1.0
    assert np.array_equal(other.potential_V, plain.potential_V)
    assert np.array_equal(other.current_A, plain.current_A * factor)


@given(
    st.lists(st.tuples(st.floats(-5, 5), st.floats(-1, 1)), min_size=20, max_size=40, unique_by=lambda pair: pair[0]),
    st.sampled_from(["\t", ";", "|", ",", " ", "; ", "   "]),
    st.booleans(),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]),
)
def test_any_numbers_survive_any_writing(
    points: list[tuple[float, float]], delimiter: str, comma: bool, end: str, encoding: str
) -> None:
    decimal = "," if comma and "," not in delimiter else "."
    lines = [delimiter.join(repr(value).replace(".", decimal) for value in pair) for pair in points]
    text = end.join([f"E/V{delimiter}I/A", *lines, ""])
    trace = parse_trace(text.encode(encoding), None, "a.csv")
    assert [*zip(trace.potential_V, trace.current_A, strict=True)] == points


def test_the_fast_and_the_exact_way_give_the_same_bits(monkeypatch: pytest.MonkeyPatch) -> None:
    fast = parse_trace(TEXT.encode(), None, "a.csv")
    monkeypatch.setattr(traces, "_fast", lambda table, kept: None)
    exact = parse_trace(TEXT.encode(), None, "a.csv")
    assert np.array_equal(fast.potential_V, exact.potential_V)
    assert np.array_equal(fast.current_A, exact.current_A)


@pytest.mark.parametrize(
    ("head", "potential", "current"),
    [
        ("potential_V,current_A", 1.0, 1.0),
        ("E / V,I / A", 1.0, 1.0),
        ("Potential (mV),Current (µA)", 1e-3, 1e-6),
        ("Potential [mV],Current [μA]", 1e-3, 1e-6),
        ("E/mV,I/uA", 1e-3, 1e-6),
        ("e_mV,i_nA", 1e-3, 1e-9),
        ("Voltage in V,Current in pA", 1.0, 1e-12),
        ("U (V),I (mA)", 1.0, 1e-3),
        ("POTENTIAL (V),CURRENT (A)", 1.0, 1.0),
        ("Applied potential / V,Measured current / nA", 1.0, 1e-9),
        ("E vs. Ag/AgCl / V,I / uA", 1.0, 1e-6),
        ("E (V vs Ag/AgCl),I (fA)", 1.0, 1e-15),
        ('"E, V","I, A"', 1.0, 1.0),
        ("E (mV vs. Ag/AgCl (3 M KCl)),I (A)", 1e-3, 1.0),
        ("Potential / V vs. SCE,current 1 (nA)", 1.0, 1e-9),
    ],
)
def test_names_and_units_are_found_in_the_header(head: str, potential: float, current: float) -> None:
    trace = parse_trace(long_text(head, ramp, lambda i: i - 4), None, "a.csv")
    assert trace.potential_V == pytest.approx([potential * ramp(i) for i in range(30)], rel=1e-15)
    assert trace.current_A == pytest.approx([current * (i - 4) for i in range(30)], rel=1e-15)


@pytest.mark.parametrize(
    ("head", "factor"),
    [("t/s", 1.0), ("time_s", 1.0), ("t / ms", 1e-3), ("Time (min)", 60.0), ("elapsed time [h]", 3600.0)],
)
def test_time_is_given_in_seconds(head: str, factor: float) -> None:
    trace = parse_trace(long_text(f"E/V,I/A,{head}", ramp, ramp, lambda i: i), None, "a.csv")
    assert trace.time_s == pytest.approx([factor * i for i in range(30)], rel=1e-15)


@pytest.mark.parametrize("head", ["cycle", "Cycle", "cycle_number", "Cycle no.", "cycle (-)"])
def test_cycles_are_whole_numbers_as_written(head: str) -> None:
    trace = parse_trace(long_text(f"{head},E/V,I/A", lambda i: 1 + i // 10, ramp, ramp), None, "a.csv")
    assert trace.cycle is not None
    assert trace.cycle.dtype == np.int64
    assert trace.cycle.tolist() == [1 + i // 10 for i in range(30)]


def test_the_sign_of_an_instrument_turns_the_current_and_nothing_else() -> None:
    plain = parse_trace(TEXT.encode(), None, "a.csv")
    turned = parse_trace(TEXT.encode(), InstrumentSection(sign="cathodic positive"), "a.csv")
    assert np.array_equal(turned.current_A, -plain.current_A)
    assert np.array_equal(turned.potential_V, plain.potential_V)


def test_the_settings_name_columns_with_and_without_units() -> None:
    data = long_text("step,channel 1,channel 2 / nA,clock", lambda i: i, ramp, lambda i: i, lambda i: 2 * i)
    section = InstrumentSection(potential="Channel 1 [mV]", current="channel 2 / nA", time="clock (s)", cycle="step")
    trace = parse_trace(data, section, "a.csv")
    assert trace.potential_V[-1] == pytest.approx(0.29e-3)
    assert trace.current_A[-1] == pytest.approx(29e-9)
    assert trace.time_s is not None
    assert trace.time_s[-1] == 58
    assert trace.cycle is not None
    assert trace.cycle[-1] == 29


def test_the_settings_choose_among_currents() -> None:
    data = long_text("E/V,I/A,current_A,current2_A", ramp, lambda i: 1, lambda i: 2, lambda i: 3)
    for named, value in (("I/A", 1), ("current_A", 2), ("current2_A", 3)):
        assert parse_trace(data, InstrumentSection(current=named), "a.csv").current_A[0] == value


def test_a_column_that_the_settings_name_must_be_there() -> None:
    with pytest.raises(Refused, match=r"no current column among E/V, I/A"):
        parse_trace(long_text("E/V,I/A", ramp, ramp), InstrumentSection(current="channel 2"), "a.csv")
    with pytest.raises(Refused, match=r"no column 'tme/s', which \[instrument\] time names.*nearest known one, 't/s'"):
        parse_trace(long_text("E/V,I/A,t/s", ramp, ramp, ramp), InstrumentSection(time="tme/s"), "a.csv")


def test_a_comma_before_three_digits_is_decimal_only_when_another_number_shows_it() -> None:
    plain = [f"{i},{100 + i};{i},5e-7" for i in range(1, 31)]
    trace = parse_trace("\n".join(["E/mV;I/A", *plain]).encode(), None, "a.csv")
    assert trace.potential_V[0] == pytest.approx(1.101e-3)
    grouped = [f"{i},{100 + i};{i}" for i in range(1, 31)]
    with pytest.raises(Refused, match="could part thousands") as caught:
        parse_trace("\n".join(["E/mV;I/A", *grouped]).encode(), None, "a.csv")
    assert (caught.value.row, caught.value.column) == (2, "E/mV")


def test_rows_are_lines_of_the_file_whatever_stands_between() -> None:
    lines = ["# a", "", "E/V,I/A", *(f"{ramp(i)},1" for i in range(25)), "", "# b", "0.5,x"]
    with pytest.raises(Refused) as caught:
        parse_trace("\r\n".join(lines).encode(), None, "a.csv")
    assert (caught.value.row, caught.value.column) == (31, "I/A")


def test_windows_letters_are_read_and_named() -> None:
    assert decode("E – V €".encode("cp1252"), "a") == ("E – V €", "cp1252")
    assert decode("µA".encode("latin-1"), "a") == ("µA", "latin-1")


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_in_one_line(data: bytes) -> None:
    try:
        parse_trace(data, None, "a.csv")
    except Refused as fault:
        assert len(str(fault).splitlines()) == 1


@given(st.text(st.sampled_from('01.,;|\t\n"-+eE#VIA/ nif_'), max_size=200))
def test_any_text_below_a_header_is_read_or_refused_in_one_line(text: str) -> None:
    try:
        trace = parse_trace(f"E/V,I/A\n{text}".encode(), None, "a.csv")
    except Refused as fault:
        assert len(str(fault).splitlines()) == 1
    else:
        assert np.isfinite(trace.current_A).all()


@pytest.mark.real
def test_every_real_curve_in_the_long_layout_is_read(real_curves: Path) -> None:
    for path in sorted(real_curves.rglob("*.csv")):
        if path.name in ("index.csv", "expected_peaks_by_file.csv", "ferrocene_6cycles_wide.csv"):
            continue
        text = path.read_text(encoding="utf-8")
        head = text.split("\n", 1)[0].split(",")
        trace, expected = parse_trace(path.read_bytes(), None, path.name), table(text)
        scale = 1e-6 if "current_uA" in head else 1.0
        current = head.index("current_uA" if "current_uA" in head else "current_A")
        assert np.array_equal(trace.potential_V, expected[:, head.index("potential_V")]), path.name
        assert np.array_equal(trace.current_A, expected[:, current] * scale), path.name
        assert (trace.cycle is not None) == ("cycle" in head), path.name


@pytest.mark.real
def test_the_real_wide_table_is_refused_as_wide_without_the_setting(real_curves: Path) -> None:
    path = real_curves / "cv_ferrocene_cycles" / "ferrocene_6cycles_wide.csv"
    with pytest.raises(Refused, match="wide layout") as caught:
        parse_trace(path.read_bytes(), None, path.name)
    assert (caught.value.row, caught.value.column) == (1, "current_uA_1")

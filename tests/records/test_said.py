"""Whatever a form or a small file says, it is checked or refused; nothing else ever happens."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from brinemark.records.making_file import NAMES as MAKING_NAMES
from brinemark.records.making_file import making_and_faults, read_making
from brinemark.records.ranges import Range
from brinemark.records.run_request import NAMES as RUN_NAMES
from brinemark.records.run_request import request_and_faults
from brinemark.records.said import Said
from brinemark.terms.errors import Refused
from brinemark.terms.making import FACTORS

PLAIN = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.dates(),
    st.datetimes(),
    st.sampled_from(["", "1,5", "1.5", "1.000,5", "H16", "2031-05-01", "yes", "-1", "1e400", "nan", "\x00", "\ud800"]),
)
ANY = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
FACTOR_TABLE = st.dictionaries(st.sampled_from([factor.name for factor in FACTORS]), ANY, max_size=4)
PARTS = ["name", "electrodes", "dilution", "expected_level", "rise", "stock"]
TABLES = st.lists(st.dictionaries(st.sampled_from(PARTS), ANY), max_size=2)


@given(st.dictionaries(st.sampled_from(MAKING_NAMES), ANY | FACTOR_TABLE))
def test_any_making_is_taken_or_refused_with_places(values: dict[str, object]) -> None:
    making, faults = making_and_faults(values, "form")
    assert (making is None) == bool(faults)
    assert all("\n" not in str(fault) and fault.column is not None for fault in faults)


@given(st.dictionaries(st.sampled_from(RUN_NAMES), ANY | TABLES))
def test_any_request_is_taken_or_refused_with_places(values: dict[str, object]) -> None:
    request, faults = request_and_faults(values, "form")
    assert (request is None) == bool(faults)
    assert all("\n" not in str(fault) and fault.column is not None for fault in faults)


@given(st.binary(max_size=200))
def test_any_bytes_are_a_small_file_or_refused(data: bytes) -> None:
    try:
        read_making(data, "H16.toml")
    except Refused as refusal:
        assert str(refusal).startswith("H16.toml")


def test_a_decimal_sign_that_is_not_clear_is_a_fault() -> None:
    said = Said({"one": "1.5", "two": "2,5", "three": "7"})
    assert said.number("three", Range(0, 10)) == 7.0
    assert said.number("one", Range(0, 10)) == 1.5
    assert said.number("two", Range(0, 10)) is None
    assert "decimal sign is not clear" in said.faults[0].came


def test_a_number_that_is_not_finite_is_no_text_either() -> None:
    said = Said({"room": float("inf")})
    assert said.number_or_text("room") is None
    assert len(said.faults) == 1

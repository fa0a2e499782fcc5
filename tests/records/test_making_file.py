"""How a batch was made is checked value by value, and every fault is told."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records.making_file import (
    checked_making,
    making_and_faults,
    making_from_json,
    making_to_json,
    read_making,
)
from brinemark.terms.canonical import canonical_bytes
from brinemark.terms.errors import Refused
from brinemark.terms.making import FACTORS

VALUES = {"batch": "H16", "made_on": "2026-08-03", "electrodes": ["H16-1", "H16-2"]}
TOML = b"""
batch = "H16"
made_on = 2026-08-03
electrodes = ["H16-1", "H16-2"]
maker = "M"
[positions]
H16-2 = "door side"
[factors]
thickness_um = 8.2
tape_layers = 2
oven = "old one"
[further]
"room, degrees C" = 21.5
"""


def columns(values: Mapping[str, object]) -> list[str | None]:
    return [fault.column for fault in making_and_faults(values)[1]]


def test_a_file_gives_the_making_that_it_says() -> None:
    with pytest.raises(Refused, match="holds a comma"):
        checked_making(read_making(TOML, "H16.toml"), "H16.toml")
    making = checked_making(read_making(TOML.replace(b"room, degrees", b"room degrees"), "H16.toml"))
    assert (making.batch, making.made_on, making.electrodes) == ("H16", "2026-08-03", ("H16-1", "H16-2"))
    assert making.positions == (("H16-2", "door side"),)
    assert making.factors == (("tape_layers", 2.0), ("thickness_um", 8.2), ("oven", "old one"))
    assert making.further == (("room degrees C", 21.5),)


def test_a_form_says_the_same_in_text_with_a_decimal_comma() -> None:
    form = {
        "batch": " H16 ",
        "made_on": "2026-08-03",
        "electrodes": "H16-1\r\nH16-2\r\n",
        "maker": "",
        "factors": {"thickness_um": "8,2", "peak_C": "450", "oven": ""},
    }
    making = checked_making(form)
    assert making.electrodes == ("H16-1", "H16-2")
    assert making.factors == (("thickness_um", 8.2), ("peak_C", 450.0))
    assert making.maker is None


def test_a_count_names_the_electrodes_after_the_batch() -> None:
    values = {"batch": "H16", "made_on": date(2026, 8, 3), "electrode_count": "3"}
    assert checked_making(values).electrodes == ("H16-1", "H16-2", "H16-3")


@pytest.mark.parametrize(
    ("change", "column", "words"),
    [
        ({"batch": ""}, "batch", "nothing"),
        ({"batch": "=1+1"}, "batch", "does not begin with"),
        ({"batch": "a\u200bb"}, "batch", "invisible character"),
        ({"batch": ["H16"]}, "batch", "expected text"),
        ({"made_on": "3.8.2026"}, "made_on", "ISO 8601"),
        ({"made_on": "2026-02-30"}, "made_on", "ISO 8601"),
        ({"made_on": "1826-02-03"}, "made_on", "1950 to 2100"),
        ({"electrodes": []}, "electrodes", "no electrode"),
        ({"electrodes": ["H16-1", "H16-1"]}, "electrodes", "2 times"),
        ({"electrodes": ["H16-a", "H16-A"]}, "electrodes", "capital letters"),
        ({"electrodes": ["H16-1"], "electrode_count": 4}, "electrode_count", "one of them"),
        ({"electrode_count": 0, "electrodes": None}, "electrode_count", "from 1 up to 500"),
        ({"electrode_count": 2.5, "electrodes": None}, "electrode_count", "whole number"),
        ({"positions": {"H16-9": "left"}}, "positions.H16-9", "unknown name"),
        ({"factors": {"thickness_um": 8200}}, "factors.thickness_um", "up to 500"),
        ({"factors": {"thickness_um": "eight"}}, "factors.thickness_um", "not a number"),
        ({"factors": {"tape_layers": 1.5}}, "factors.tape_layers", "whole number"),
        ({"factors": {"peak_C": True}}, "factors.peak_C", "not a number"),
        ({"factors": {"peek_C": 450}}, "factors.peek_C", "peak_C"),
        ({"factors": 7}, "factors", "a table"),
        ({"further": {"peak_C": 450}}, "further.peak_C", "below [factors]"),
        ({"thickness_um": 8}, "thickness_um", "unknown name"),
        ({"note": "x" * 2001}, "note", "at most 2,000"),
    ],
)
def test_nonsense_is_refused_with_its_place(change: dict[str, object], column: str, words: str) -> None:
    with pytest.raises(Refused) as caught:
        checked_making(VALUES | change)
    assert caught.value.column == column
    assert words in str(caught.value)


def test_every_fault_is_told_and_the_first_names_the_others() -> None:
    values = VALUES | {"made_on": "soon", "factors": {"peak_C": 9000, "dye_min": "-1"}}
    assert columns(values) == ["made_on", "factors.peak_C", "factors.dye_min"]
    with pytest.raises(Refused, match=r"also wrong: factors.peak_C, factors.dye_min"):
        checked_making(values)


def test_a_file_that_is_no_toml_is_refused_by_name() -> None:
    with pytest.raises(Refused, match=r"H16.toml: not TOML"):
        read_making(b"batch: H16", "H16.toml")


def test_every_number_has_a_range_that_rises_and_a_unit() -> None:
    numbers = [factor for factor in FACTORS if factor.is_number]
    assert len(numbers) > 15
    assert [one.name for one in numbers if not (one.unit and one.low is not None and one.low < (one.high or 0))] == []
    assert [one.name for one in FACTORS if not one.meaning.endswith(".")] == []
    assert len({one.name for one in FACTORS}) == len(FACTORS)


WORD = st.text("abcdefgh ÄéZ0123456789-", min_size=1, max_size=12).map(lambda text: f"x{text.strip()}")


@given(
    st.lists(WORD, min_size=1, max_size=6, unique_by=str.casefold),
    st.dictionaries(st.sampled_from([f.name for f in FACTORS if f.is_number and not f.whole]), st.floats(20, 90)),
    st.dictionaries(WORD, st.one_of(WORD, st.floats(-1e6, 1e6))),
)
def test_what_is_written_as_json_comes_back_as_it_was(
    electrodes: list[str], factors: dict[str, float], further: dict[str, object]
) -> None:
    values = VALUES | {"electrodes": electrodes, "factors": factors, "further": further}
    making = checked_making(values)
    plain = making_to_json(making)
    assert making_from_json(plain) == making
    assert canonical_bytes(making_to_json(making_from_json(plain))) == canonical_bytes(plain)

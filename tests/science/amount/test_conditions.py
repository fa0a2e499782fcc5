"""Spans of conditions: what lies within them, what does not and why, and what was not recorded."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.conditions import (
    EXACT,
    Allowance,
    Conditions,
    Value,
    electrode_reasons,
    not_recorded,
    outside_reason,
    span_of,
)

STANDARDS: list[Conditions] = [
    {"salinity": 33.5, "temperature_C": 22.0, "stirring": "none"},
    {"salinity": 35.0, "temperature_C": 22.0, "stirring": "None"},
    {"salinity": 34.0, "temperature_C": 22.0},
]


@pytest.mark.parametrize(
    ("name", "value", "allowance", "holds"),
    [
        ("salinity", 33.5, EXACT, True),
        ("salinity", 35.0, EXACT, True),
        ("salinity", 35.1, EXACT, False),
        ("salinity", 36.0, Allowance(1.0), True),
        ("salinity", 36.1, Allowance(1.0), False),
        ("temperature_C", 22.3, Allowance(2.0), True),
        ("temperature_C", 22.3, EXACT, False),
        ("salinity", 32.5, Allowance(relative=0.03), True),
        ("salinity", 32.4, Allowance(relative=0.03), False),
        ("stirring", "NONE", EXACT, True),
        ("stirring", "gentle", EXACT, False),
        ("stirring", 300.0, EXACT, False),
    ],
)
def test_a_span_holds_what_lies_within_its_ends_and_the_allowance(
    name: str, value: Value, allowance: Allowance, holds: bool
) -> None:
    span = span_of(STANDARDS, name)
    assert span is not None
    assert span.holds(value, allowance) == holds
    assert (outside_reason(name, value, span, allowance) is None) == holds


def test_a_reason_names_condition_value_span_allowance_and_remedy() -> None:
    span = span_of(STANDARDS, "salinity")
    assert span is not None
    text = outside_reason("salinity", 22.0, span, Allowance(1.0))
    assert text is not None
    for words in (
        "salinity 22 lies outside 33.5 to 35",
        "3 rows of blanks and standards",
        "1 allowed",
        "standards at 22",
    ):
        assert words in text
    one_value = span_of(STANDARDS, "temperature_C")
    assert str(one_value) == "22"
    words_only = span_of(STANDARDS, "stirring")
    assert words_only is not None
    assert (words_only.recorded, str(words_only)) == (2, "'none'")


@given(st.floats(0.1, 100.0), st.floats(0.1, 100.0), st.floats(0.0, 1.0))
def test_a_wider_allowance_never_shuts_out_what_a_narrow_one_lets_in(end: float, value: float, part: float) -> None:
    span = span_of([{"contact_s": end}], "contact_s")
    assert span is not None
    assert span.holds(end, EXACT)
    if span.holds(value, Allowance(relative=part)):
        assert span.holds(value, Allowance(relative=part + 0.1))
        assert span.holds(value, Allowance(0.5, part))


def test_every_condition_outside_is_named_once_for_an_electrode() -> None:
    rows: list[Conditions] = [{"salinity": 22.0, "pH": 8.0}, {"salinity": 21.0, "temperature_C": 30.0}]
    allowances = {"salinity": Allowance(1.0), "pH": Allowance(0.2), "temperature_C": Allowance(2.0)}
    reasons = electrode_reasons(rows, STANDARDS, allowances)
    assert [text.split()[0] for text in reasons] == ["salinity", "temperature_C"]
    assert electrode_reasons([{"pH": 7.0}], STANDARDS, allowances) == ()


def test_what_was_not_recorded_is_one_sentence() -> None:
    sample: list[Conditions] = [{"salinity": 34.0}, {"salinity": 34.0, "pH": 8.1}]
    text = not_recorded(sample, STANDARDS, ("salinity", "pH", "temperature_C", "stirring", "contact_s"))
    assert text == (
        "conditions not recorded, so taken to be those of the standards: pH (of 1 of 2 electrodes and the standards); "
        "temperature_C (of the sample); stirring (of the sample and 1 of 3 standards); "
        "contact_s (of the sample and the standards)"
    )
    assert not_recorded([{"salinity": 34.0}], STANDARDS, ("salinity",)) is None

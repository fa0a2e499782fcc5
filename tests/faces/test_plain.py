"""Numbers and tables as people read them."""

from __future__ import annotations

import pytest

from brinemark.faces.cli.plain import amount, counted, probability, say, say_table, scale, span, with_u


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (0.05234, "0.0523"), (12.34, "12.3"), (999.4, "999"), (1534.0, "1530"), (2.5e6, "2500000")],
)
def test_amounts_have_three_digits_and_no_exponent_up_to_millions(value: float, text: str) -> None:
    assert amount(value) == text


def test_a_missing_end_is_a_word() -> None:
    assert amount(None) == "none"
    assert span(0.5, None) == "none"
    assert span(0.5, 5.25) == "0.5 to 5.25"


def test_a_small_p_is_not_written_as_zero() -> None:
    assert probability(0.0) == "p below 0.0001"
    assert probability(0.0312) == "p = 0.031"


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (1.0223, 0.0731, "1.022 +- 0.073"),
        (-0.0004, 0.14, "0.00 +- 0.14"),
        (126.3, 12.9, "126 +- 13"),
        (2.0, 0.0, "2"),
    ],
)
def test_a_signal_has_the_digits_of_its_uncertainty_and_no_minus_before_zero(value: float, u: float, text: str) -> None:
    assert with_u(value, u) == text


def test_currents_and_charges_get_an_ascii_prefix_and_other_units_stay() -> None:
    assert scale("A", [3e-7, 2e-6]) == (1e6, "uA")
    assert scale("C", [3e-8]) == (1e9, "nC")
    assert scale("ug/L", [3e-8]) == (1.0, "ug/L")
    assert scale("A", [0.0, float("nan")]) == (1.0, "A")


def test_counts_have_their_plural() -> None:
    told = [counted(1, "batch"), counted(2, "batch"), counted(2, "row")]
    assert told == ["1 batch", "2 batches", "2 rows"]


def test_a_table_wraps_inside_the_width_and_keeps_brackets_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "40")
        say_table(("name", "what"), [("[bold]a[/bold]", "word " * 12)])
        say("a sentence that is longer than forty columns and wraps", 2)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 40
    assert any("[bold]a[/bold]" in line for line in lines)
    assert sum(line.count("word") for line in lines) == 12

"""Numbers and tables as people read them."""

from __future__ import annotations

import pytest

from brinemark.faces.cli import plain
from brinemark.faces.cli.plain import amount, say, say_table, scale, span, with_u
from brinemark.terms.wording import counted, probability


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


@pytest.mark.parametrize("right", [(), (1,), (0, 2)])
def test_a_table_that_fits_is_set_as_the_wrapping_library_sets_it(right: tuple[int, ...]) -> None:
    table = [["electrode", "signal, nA", ""], ["H10-3", "343 +- 80", "55%"], ["", "367 +- 8500", "x  y"]]
    widths = [9, 11, 4]
    mine = [line.rstrip() for line in plain._set(table, widths, right)]
    assert mine == [line.rstrip() for line in plain._wrapped(table, 60, right)]


def test_a_table_is_wrapped_where_it_does_not_fit_or_a_character_is_wide(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    wrapped: list[int] = []

    def noted(_table: object, room: int, _right: object) -> list[str]:
        wrapped.append(room)
        return []

    monkeypatch.setattr(plain, "_wrapped", noted)
    plain.say_table(["a", "b"], [["x" * 30, "y" * 30]])
    assert wrapped == []
    assert capsys.readouterr().out.splitlines()[1] == f"  {'x' * 30}  {'y' * 30}"
    plain.say_table(["a", "b"], [["x" * 50, "y" * 40]])
    plain.say_table(["a", "b"], [["\u6c34", "y"]])
    plain.say_table(["a", "b"], [["two\nlines", "y"]])
    assert len(wrapped) == 3

"""The chart of a sample's plan draws, has words and units, and marks what the plan names."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from drawn_charts import check_drawn, walk

from brinemark.outputs.charts import Spec, dilutions_chart, render
from brinemark.terms.planning_pictures import DilutionLine, DilutionsPicture

DILUTIONS = (1.0, 10.0, 100.0)


def line(name: str, *narrower: float, chosen: frozenset[int] = frozenset()) -> DilutionLine:
    values = np.array(narrower, dtype=float)
    chance = np.where(np.isnan(values), np.nan, np.linspace(0.0, 0.4, values.size))
    return DilutionLine(name, values, np.full(values.size, 0.05), chance, chosen)


def picture(*lines: DilutionLine, dilutions: tuple[float, ...] = DILUTIONS) -> DilutionsPicture:
    usual = (line("read once", 1.1, 1.9, 1.4), line("with a closing spike", 1.2, 2.3, np.nan, chosen=frozenset({1})))
    return DilutionsPicture("Next electrode of sample W-1", dilutions, 3.0, lines or usual)


def tables_of(spec: Spec) -> list[list[Spec]]:
    """The rows of each line: first those of the upper panel, then those of the lower."""
    parts = [part for part in walk(spec) if isinstance(part, dict) and "layer" in part and "data" in part]
    return [part["data"]["values"] for part in parts]


CHARTS: dict[str, Callable[[], Spec]] = {
    "two ways": lambda: dilutions_chart(picture()),
    "one way": lambda: dilutions_chart(picture(line("read once", 1.1, 1.9, 1.4, chosen=frozenset({0, 2})))),
    "one dilution": lambda: dilutions_chart(picture(line("read once", 1.1, chosen=frozenset({0})), dilutions=(1.0,))),
}


@pytest.mark.parametrize("name", CHARTS)
def test_the_chart_draws_within_a_page_reaches_nowhere_and_has_words(name: str) -> None:
    svg = check_drawn(CHARTS[name]())
    assert render(CHARTS[name](), "svg").decode() == svg


def test_axes_say_what_they_show_and_the_words_give_every_value_that_is_there() -> None:
    spec = dilutions_chart(picture())
    titles = {part.get("title") for part in walk(spec) if isinstance(part, dict) and "type" in part}
    assert {"times narrower, on average", "chance of a fold of at most 3", "times diluted"} <= titles
    assert "Read once: as it is 1.10 times, 0 %; 10 times diluted 1.90 times, 20 %; 100 times" in spec["description"]
    assert "With a closing spike: as it is 1.20 times, 0 %; 10 times diluted 2.30 times, 20 %." in spec["description"]
    assert spec["description"].endswith("Named: 10 times diluted, with a closing spike.")


def test_rings_stand_where_the_plan_names_a_choice() -> None:
    tables = tables_of(dilutions_chart(picture()))
    ringed = [[row["place"] for row in table if row["chosen"]] for table in tables]
    assert ringed == [[], [1], [], [1]]


def test_a_choice_that_is_not_possible_is_not_drawn() -> None:
    assert [len(table) for table in tables_of(dilutions_chart(picture()))] == [3, 2, 3, 2]


def test_a_chart_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one dilution"):
        dilutions_chart(DilutionsPicture("t", (), 3.0, ()))
    with pytest.raises(ValueError, match="3 values in every line"):
        dilutions_chart(picture(line("read once", 1.0)))

"""The chart of a study draws, has words and units, and is told apart without colour."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from drawn_charts import check_drawn, walk

from brinemark.outputs.charts import Spec, study_chart
from brinemark.outputs.charts.study import FILLS, MOST_WRITTEN
from brinemark.science.planning.study_laboratory import STATEMENTS
from brinemark.terms.planning_pictures import StudyPicture


def pictured(size: int = 3, **changes: object) -> StudyPicture:
    shares = np.tile([0.05, 0.0, 0.0, 0.75, 0.2], (size, 1))
    shares[0] = [0.02, 0.98, 0.0, 0.0, 0.0]
    holds = (np.full(size, 0.953), np.full(size, 0.004))
    fold = (np.array([np.nan, *[2.6] * (size - 1)]), np.array([np.nan, *[0.1] * (size - 1)]))
    made = StudyPicture(
        "What a plan would state", "µg/L", np.arange(size) / 2, STATEMENTS, shares, holds, 0.95, fold, 3.0, ("Asked.",)
    )
    return replace(made, **changes)  # type: ignore[arg-type]


CHARTS: dict[str, Callable[[], Spec]] = {
    "three levels": lambda: study_chart(pictured()),
    "one level": lambda: study_chart(pictured(1)),
    "a hundred levels": lambda: study_chart(pictured(100)),
    "nothing held and nothing closed": lambda: study_chart(
        pictured(2, holds=(np.full(2, np.nan),) * 2, fold=(np.full(2, np.nan),) * 2)
    ),
    "errors unknown": lambda: study_chart(pictured(2, holds=(np.array([0.4, 1.0]), np.full(2, np.nan)))),
}


def texts(spec: Spec) -> list[str]:
    return [part["text"] for part in walk(spec) if isinstance(part, dict) and "%" in str(part.get("text", ""))]


def luminance(colour: str) -> float:
    red, green, blue = (1.0,) * 3 if colour == "white" else (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("name", CHARTS)
def test_it_draws_within_a_page_reaches_nowhere_and_has_words(name: str) -> None:
    check_drawn(CHARTS[name]())


def test_axes_have_titles_and_what_is_open_is_told() -> None:
    spec = study_chart(pictured())
    titles = {part["title"] for part in walk(spec) if isinstance(part, dict) and isinstance(part.get("title"), str)}
    assert "true level of the samples, µg/L" in titles
    assert {"statements, share", "intervals that hold, share", "median fold of the interval"} <= titles
    assert (
        "At 0 µg/L: cannot say 2 %, not detected 98 %; 95.3 % of intervals hold; median fold open."
        in spec["description"]
    )
    assert "At 0.5 µg/L: cannot say 5 %, quantified 75 %" in spec["description"]


def test_a_bar_is_all_samples_and_its_parts_are_the_shares() -> None:
    bars = study_chart(pictured())["vconcat"][0]["layer"][0]["data"]["values"]
    order = list(FILLS)
    at = {order[one["kind"]]: (one["low"], one["high"]) for one in bars if one["place"] == 1}
    assert at["quantified"] == pytest.approx((0.0, 0.75))
    assert at["detected, amount uncertain"] == pytest.approx((0.75, 0.95))
    assert at["cannot say"] == pytest.approx((0.95, 1.0))


def test_parts_with_room_have_their_percent_unless_there_are_too_many_bars() -> None:
    assert texts(study_chart(pictured())["vconcat"][0]).count("75 %") == 2
    assert "2 %" not in texts(study_chart(pictured())["vconcat"][0])
    assert texts(study_chart(pictured(MOST_WRITTEN + 1))["vconcat"][0]) == []


def test_every_kind_of_statement_has_a_fill_that_is_lighter_than_the_one_below() -> None:
    assert set(FILLS) == set(STATEMENTS)
    shades = [luminance(fill) for fill, _ in FILLS.values()]
    assert all(upper - lower > 0.08 for lower, upper in pairwise(shades))
    for fill, ink in FILLS.values():
        assert abs(luminance(fill) - luminance(ink)) > 0.35


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one level"):
        study_chart(pictured(3, level=np.zeros(0)))
    with pytest.raises(ValueError, match="3 x 5 shares"):
        study_chart(pictured(3, shares=np.ones((2, 5))))
    with pytest.raises(ValueError, match="knows the statements"):
        study_chart(pictured(3, kinds=("maybe", *STATEMENTS[1:])))

"""Charts of plans draw, reach nowhere, have words and units, and are told apart without colour."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from drawn_charts import check_drawn, walk

from brinemark.outputs.charts import Spec, helps_chart, render, trade_chart
from brinemark.outputs.charts.planning import LOOKS
from brinemark.terms.planning_pictures import HelpsBar, HelpsPicture, TradeLine, TradePanel, TradePicture


def line(name: str, *values: float, known: float | None = None) -> TradeLine:
    return TradeLine(name, np.array(values, dtype=float), np.full(len(values), 0.1), known)


def trade(panels: tuple[TradePanel, ...] | None = None, burned: int = 4, chosen: int = 1) -> TradePicture:
    answered = TradePanel("samples answered to a fold of 3", (line("answered", 4.0, 4.6, 3.8, 2.9, known=5.8),))
    fold = TradePanel(
        "median fold of the interval",
        (line("1 µg/L", np.inf, 2.4, 2.2, 2.1, known=1.9), line("4 µg/L", 3.1, 2.7, 2.6, np.inf)),
        log=True,
    )
    shown = panels or (answered, fold)
    return TradePicture("What burning electrodes buys, of 6 made", 6, np.arange(burned), chosen, shown)


def helped(*bars: HelpsBar) -> HelpsPicture:
    shown = bars or (
        HelpsBar("noise", 1.24, 1.1, 1.4, True),
        HelpsBar("floor", 1.03, 0.9, 1.19, False),
        HelpsBar("drift between dips", 0.9, 0.7, 1.1, False),
    )
    return HelpsPicture("What would help", "samples answered per electrode made, times today's", 1.0, shown)


def lonely() -> Spec:
    return trade_chart(trade((TradePanel("minimum detectable value, µg/L", (line("one", 0.3),), log=True),), 1, 0))


def open_everywhere() -> Spec:
    return trade_chart(
        trade((TradePanel("median fold", (line("a", np.inf, np.inf), line("b", 2.0, 3.0)), log=True),), 2)
    )


CHARTS: dict[str, Callable[[], Spec]] = {
    "trade": lambda: trade_chart(trade()),
    "trade of one plan": lonely,
    "trade with a line that is open everywhere": open_everywhere,
    "helps": lambda: helps_chart(helped()),
    "helps beyond the axis": lambda: helps_chart(
        helped(HelpsBar("noise", None, np.nan, np.nan, True), HelpsBar("floor", 1.2, 1.0, 1.4, True))
    ),
}


@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_draws_within_a_page_reaches_nowhere_and_has_words(name: str) -> None:
    svg = check_drawn(CHARTS[name]())
    assert render(CHARTS[name](), "svg").decode() == svg


def test_axes_have_titles_and_an_open_value_is_told_and_not_drawn() -> None:
    spec = trade_chart(trade())
    titles = {part.get("title") for part in walk(spec) if isinstance(part, dict) and part.get("type") == "quantitative"}
    assert "electrodes burned on blanks and standards, of 6" in titles
    assert {"samples answered to a fold of 3", "median fold of the interval"} <= titles
    assert "at 1 µg/L: 0 burned open, 1 burned 2.4" in spec["description"]
    assert "Chosen: 1 burned" in spec["description"]


def test_the_ring_stands_at_the_chosen_number_in_every_line() -> None:
    panels = trade_chart(trade())["vconcat"]
    rings = [
        layer["data"]["values"]
        for panel in panels
        for layer in panel["layer"]
        if layer["mark"].get("filled") is False and layer["mark"].get("strokeWidth") == 2.2
    ]
    assert [[row["burned"] for row in one] for one in rings] == [[1], [1], [1]]


def test_lines_differ_without_their_colour() -> None:
    assert len({tuple(dash) for dash, _, _ in LOOKS}) == len(LOOKS)
    assert len({shape for _, _, shape in LOOKS}) == len(LOOKS)


def test_a_gain_beyond_any_axis_is_named_and_a_gain_within_its_error_is_paler() -> None:
    spec = CHARTS["helps beyond the axis"]()
    assert "Not drawn, since nothing is answered today: noise." in " ".join(spec["title"]["subtitle"])
    assert "noise beyond any axis" in spec["description"]
    rows = helps_chart(helped())["data"]["values"]
    assert [row["sure"] for row in rows] == [True, False, False]


def test_a_chart_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one plan"):
        trade_chart(TradePicture("t", 6, np.arange(0), 0, ()))
    with pytest.raises(ValueError, match="4 values in every line"):
        trade_chart(trade((TradePanel("what", (line("a", 1.0),)),)))
    with pytest.raises(ValueError, match="at least one part"):
        helps_chart(helped(HelpsBar("noise", None, np.nan, np.nan, True)))

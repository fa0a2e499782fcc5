"""What two definitions give, side by side: each in its own unit, roles by shape, unread electrodes counted."""

from __future__ import annotations

import xml.etree.ElementTree
from dataclasses import replace

import numpy as np
import pytest

from brinemark.outputs.charts import definitions_chart, render
from brinemark.terms.pictures import DefinitionPanel

LEVEL = np.array([0.0, 0.5, 2.0, 8.0, 1.0])
ROLE = ("blank", "standard", "standard", "standard", "control")


def panel(words: str = "present: height above a chord", unit: str = "A", factor: float = 1e-5) -> DefinitionPanel:
    signal = factor * (0.1 + LEVEL / (2.0 + LEVEL))
    return DefinitionPanel(words, unit, ROLE, LEVEL, signal, 0.03 * factor + 0.0 * signal, 0)


def test_each_definition_has_its_unit_and_its_points_with_one_standard_uncertainty() -> None:
    charge = replace(panel("tried: charge above a chord", "C", 1e-4), unread=2)
    spec = definitions_chart([panel(), charge], "ug/L", "What definitions give")
    left, right = spec["hconcat"]
    assert [one["layer"][0]["encoding"]["y"]["title"] for one in (left, right)] == ["signal, µA", "signal, µC"]
    for row, level in zip(left["data"]["values"], LEVEL, strict=True):
        assert row["signal"] == pytest.approx(10.0 * (0.1 + level / (2.0 + level)), rel=1e-6)  # seven digits in a chart
        assert row["high"] - row["low"] == pytest.approx(0.6, rel=1e-5)
    assert right["title"]["text"][-1] == "2 not read"
    assert left["title"]["text"][-1] == "all read"


def test_roles_are_told_by_shape_and_the_words_say_what_is_drawn() -> None:
    spec = definitions_chart([panel()], "ug/L", "What definitions give")
    shape = spec["hconcat"][0]["layer"][1]["encoding"]["shape"]["scale"]
    assert len(set(shape["range"])) == len(shape["domain"]) == 3
    assert "5 readings, signals 1 to 9 µA, 0 not read" in spec["description"]
    drawn = render(spec, "svg").decode()
    assert xml.etree.ElementTree.fromstring(drawn).get("aria-label") == spec["description"]
    assert drawn == render(spec, "svg").decode()


def test_blanks_alone_are_drawn_and_nothing_at_all_is_refused() -> None:
    blank = panel()
    only = replace(blank, role=("blank",), level=LEVEL[:1], signal=blank.signal[:1], u=blank.u[:1])
    assert render(definitions_chart([only], "ug/L", "Blanks"), "svg").startswith(b"<svg")
    none = replace(blank, role=(), level=LEVEL[:0], signal=LEVEL[:0], u=LEVEL[:0], unread=5)
    with pytest.raises(ValueError, match="at least one reading"):
        definitions_chart([none], "ug/L", "Nothing")

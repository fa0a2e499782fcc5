"""Sixty curves over one another stay small, keep what stands out, and are told apart without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from brinemark.outputs.charts import Kind, Spec, overlay_chart, render
from brinemark.outputs.charts.overlay import LINES, PRESCAN, SHADES, kinds_of
from brinemark.terms.pictures import OverlaidCurve, OverlayPicture

LARGEST_BYTES = 500_000
LEVELS = (0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0)
CHANNELS = ("color", "strokeDash", "strokeWidth")
STARTS = {"svg": b"<svg", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}


def one(place: int, points: int = 2000, prescan: bool = False, level: float | None = None) -> OverlaidCurve:
    """A triangle sweep with the film's wave and one that follows the level."""
    rng = np.random.default_rng(place)
    level = LEVELS[place % len(LEVELS)] if level is None else level
    up = np.linspace(-0.4, 0.9, points // 2)
    potential, way = np.concatenate([up, up[::-1]]), np.repeat([1.0, -1.0], points // 2)
    current = way * (2.5e-7 + 9e-7 / np.cosh((potential + 0.18) / 0.06) ** 2) + 4e-9 * rng.normal(size=potential.size)
    current += np.where(way > 0, 3e-6 * level / (2.0 + level), 0.0) / np.cosh((potential - 0.58) / 0.05) ** 2
    kind = "blank" if level == 0.0 else f"{level:g} µg/L"
    return OverlaidCurve(f"B1-{place}", kind, level, potential, current, prescan)


def picture(count: int, **changes: Any) -> OverlayPicture:
    curves = tuple(one(place) for place in range(count))
    made = OverlayPicture("Curves of batch B1", "potential, V", "current", "A", (0.40, 0.76), curves)
    return replace(made, **changes)


def points_of(spec: Spec) -> list[dict[str, Any]]:
    return list(spec["layer"][-1]["data"]["values"])


def looks_of(spec: Spec, channels: tuple[str, ...] = CHANNELS) -> list[tuple[Any, ...]]:
    encoding = spec["layer"][-1]["encoding"]
    return list(zip(*(map(str, encoding[name]["scale"]["range"]) for name in channels), strict=True))


def test_sixty_curves_of_two_thousand_points_are_an_svg_below_500_kB() -> None:
    drawn = render(overlay_chart(picture(60)), "svg")
    assert len(drawn) < LARGEST_BYTES
    assert drawn.count(b'aria-roledescription="line mark"') == 60


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_an_overlay_draws_and_draws_the_same_bytes_again(kind: Kind) -> None:
    first, second = (render(overlay_chart(picture(4)), kind) for _ in range(2))
    assert first.startswith(STARTS[kind])
    assert first == second


def test_a_thinned_curve_keeps_its_highest_and_lowest_point() -> None:
    made = picture(60)
    points = points_of(overlay_chart(made))
    for place, curve in enumerate(made.curves):
        mine = [point["y"] for point in points if point["curve"] == place]
        assert len(mine) <= 400 < curve.y.size
        assert max(mine) == float(f"{1e6 * float(curve.y.max()):.5g}")
        assert min(mine) == float(f"{1e6 * float(curve.y.min()):.5g}")


def test_every_level_has_its_own_line_and_width_beside_its_shade_and_the_legend_names_it() -> None:
    spec = overlay_chart(picture(len(LEVELS)))
    kinds = ["blank", *(f"{level:g} µg/L" for level in LEVELS[1:])]
    assert spec["layer"][-1]["encoding"]["color"]["scale"]["domain"] == kinds
    assert len({(*dash, width) for dash, width in LINES}) == len(LINES)
    assert len(set(looks_of(spec))) == len(LEVELS)
    assert all(before != after for before, after in pairwise(looks_of(spec, CHANNELS[1:])))
    drawn = render(spec, "svg").decode()
    assert [kind for kind in kinds if f">{kind}</text>" not in drawn] == []


def test_shades_darken_with_the_level_so_that_they_read_in_grey() -> None:
    grey = [
        sum(part * int(shade[k : k + 2], 16) for part, k in ((0.299, 1), (0.587, 3), (0.114, 5))) for shade in SHADES
    ]
    assert grey == sorted(grey, reverse=True)
    assert min(a - b for a, b in pairwise(grey)) > 10.0  # of 255 steps of grey


def test_pre_scans_are_dashed_come_first_in_the_legend_and_nothing_else_looks_so() -> None:
    curves = (one(1), one(2), one(1, prescan=True))
    made = picture(1, curves=curves)
    assert kinds_of(made) == [PRESCAN, "0.5 µg/L", "1 µg/L"]
    first, *others = looks_of(overlay_chart(made), CHANNELS[1:])
    assert first[0] == "[2.5, 2.5]"
    assert first[0] not in {dash for dash, _ in others}
    assert "Dashed: pre-scans." in overlay_chart(made)["title"]["subtitle"][0]


def test_samples_stand_after_the_known_levels() -> None:
    curves = (replace(one(2), kind="sample", level=None), one(3), one(0))
    assert kinds_of(picture(1, curves=curves)) == ["blank", "2 µg/L", "sample"]


def test_the_window_is_shaded_and_said_and_left_away_where_there_is_none() -> None:
    spec = overlay_chart(picture(3))
    assert spec["layer"][0]["data"]["values"] == [{"from": 0.40, "to": 0.76}]
    assert spec["description"].startswith("Curves of batch B1. Current against potential, V; curves: 1 of blank, 1 of ")
    assert "The window of the signal, 0.4 to 0.76, is shaded." in spec["description"]
    bare = overlay_chart(picture(3, window=None))
    assert len(bare["layer"]) == 1
    assert "window" not in bare["description"]
    drawn = render(spec, "svg").decode()
    assert xml.etree.ElementTree.fromstring(drawn).get("aria-label") == spec["description"]
    assert "http" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", drawn)


def test_a_single_kind_is_named_by_the_subtitle() -> None:
    """The drawing library lays the only label of a legend over its symbol."""
    spec = overlay_chart(picture(1))
    assert "All: blank." in spec["title"]["subtitle"][0]
    assert spec["layer"][-1]["encoding"]["color"]["legend"] is None


def test_curves_that_are_not_drawn_are_named_with_their_reason() -> None:
    spec = overlay_chart(picture(2, left_out=(("B1-9", "no anodic sweep"),)))
    assert "Not drawn: B1-9: no anodic sweep" in spec["title"]["subtitle"]
    assert "1 not drawn." in spec["description"]


def test_spectra_are_drawn_in_absorbance_without_a_unit() -> None:
    at = np.linspace(350.0, 700.0, 400)
    curves = tuple(OverlaidCurve(f"F{k}", "blank", 0.0, at, 0.1 * k + 1e-3 * at) for k in range(2))
    spec = overlay_chart(OverlayPicture("Spectra", "wavelength, nm", "absorbance", "1", (440.0, 560.0), curves))
    assert spec["layer"][-1]["encoding"]["y"]["title"] == "absorbance"
    assert render(spec, "svg").startswith(b"<svg")


def test_no_curve_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one curve"):
        overlay_chart(picture(0))

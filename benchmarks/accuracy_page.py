"""The page of the accuracy study: tables and one picture, from what accuracy.py found."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy import Figures

US, LIMIT = "Brinemark", "oracle"
HEAD = """# Accuracy

Written by `python benchmarks/accuracy.py --write docs --worlds FILE...`; do not edit. {size}.

Simulated electrodes of known truth. The base case: nine batches of six electrodes at 0, 0, .5, 1, 2, 8 ug/L in random
order, three electrodes of a new batch burned at 0, 2, 8, one fresh electrode of it for the sample, read once. Gain
scatters by .25 between batches and .15 between electrodes beyond the covariate, K by .2 between batches; h 1.3, floor
.3 of the rise, noise .02 of it and 5 %. Each other case changes one thing. Standard errors, clustered by history, in
brackets. Truths lie near the middle of the priors: the model's own world at its kindest; the second half is not.

![Coverage and median fold of every case](pictures/accuracy.svg)

*holds*: two-sided 95 % intervals that hold the level, all levels from 0 to 20 ug/L; *least*: at the worst level.
*error*: median of |ln(best / true)| from .5 ug/L up. *fold*: median upper over lower end at 2 ug/L.
*above*: share of "at or above" at 8 ug/L. *limit*: one who knows population and batch, from whom only the electrode's
own gain is hidden; a defective film is hidden from him too.
"""


def write_page(
    folder: Path, found: Sequence[Figures], names: Mapping[str, str], size: str, worlds: Sequence[Path]
) -> None:
    """accuracy.md and pictures/accuracy.svg in a folder."""
    found = sorted(found, key=lambda one: list(names).index(one.case))
    rows = [one for one in found if one.who == US]
    best = {one.case: one for one in found if one.who == LIMIT}
    text = [HEAD.format(size=size), "## Case by case\n", *_own_table(rows, best, names)]
    text += ["\n## What a chemist would do instead\n", *_instead(found, names)]
    if worlds:
        text += ["\n## Where the model leaves something out\n", *_worlds(worlds)]
    (folder / "accuracy.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    (folder / "pictures" / "accuracy.svg").write_text(_picture(rows, best, names), encoding="utf-8")


def _rate(pair: tuple[float, float]) -> str:
    return f"{pair[0]:.3f} ({pair[1]:.3f})"


def _error(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.2f}"


def _fold(value: float) -> str:
    return f"{value:.3g}" if value < 1e6 else "open"


def _own_table(rows: Sequence[Figures], best: Mapping[str, Figures], names: Mapping[str, str]) -> list[str]:
    lines = [
        "| case | blank rate | power at .5 | 1 ug/L | holds | least, at | error | fold, limit's | above |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for one in rows:
        limit = best[one.case]
        failed = f"; {one.failed} failed a gate" if one.failed else ""
        lines.append(
            f"| {names[one.case]}{failed} | {_rate(one.blank)} | {_rate(one.power[0])} | {_rate(one.power[1])} | "
            f"{_rate(one.coverage)} | {_rate(one.worst[:2])}, {one.worst[2]:g} | {one.error:.2f} | "
            f"{_fold(one.fold)}, {_fold(limit.fold)} | {one.above[0]:.2f} |"
        )
    return lines


def _instead(found: Sequence[Figures], names: Mapping[str, str]) -> list[str]:
    lines = [
        "| case | read by | blank rate | power at 1 ug/L | holds | least, at | error | fold |",
        "|---|---|---|---|---|---|---|---|",
    ]
    shown = {one.case for one in found if one.who not in (US, LIMIT)}
    for one in found:
        if one.case in shown:
            lines.append(
                f"| {names[one.case]} | {one.who} | {_rate(one.blank)} | {_rate(one.power[1])} | "
                f"{_rate(one.coverage)} | "
                f"{_rate(one.worst[:2])}, {one.worst[2]:g} | {_error(one.error)} | {_fold(one.fold)} |"
            )
    return lines


def _worlds(files: Sequence[Path]) -> list[str]:
    """The rows that second_half.py printed, as they are."""
    lines = ["Electrodes that the model does not contain, by `benchmarks/second_half.py`: rows as printed.\n", "```"]
    for path in files:
        printed = path.read_text(encoding="utf-8").splitlines()
        start = next(i for i, line in enumerate(printed) if line.startswith("seed "))
        lines += [line.rstrip() for line in printed[:start] if line.startswith("  ")] if path == files[0] else []
        lines += [line.rstrip() for line in printed[start:]]
    return [*lines, "```"]


def _picture(rows: Sequence[Figures], best: Mapping[str, Figures], names: Mapping[str, str]) -> str:
    """Coverage with two standard errors, and fold beside the limit's; shapes and lines, no colour needed."""
    import vl_convert

    order = [names[one.case] for one in rows]
    y: dict[str, Any] = {"field": "case", "type": "nominal", "sort": order, "title": None, "axis": {"labelLimit": 300}}
    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "background": "white",
        "hconcat": [_coverage(rows, names, y), _folds(rows, best, names, y)],
        "config": {"font": "sans-serif"},
    }
    return str(vl_convert.vegalite_to_svg(spec))


def _coverage(rows: Sequence[Figures], names: Mapping[str, str], y: Mapping[str, Any]) -> dict[str, Any]:
    values = []
    for one in rows:
        rate, error = one.coverage
        ends = {"low": rate - 2 * error, "high": min(1.0, rate + 2 * error)}
        values.append({"case": names[one.case], "rate": rate, **ends})
    scale = {"domain": [0.8, 1.0], "zero": False}
    x = {
        "field": "low",
        "type": "quantitative",
        "scale": scale,
        "title": "two-sided 95 % intervals that hold, +- 2 SE",
    }
    point = {"mark": {"type": "point", "filled": True, "color": "#1c1c1c"}}
    dashed = {"type": "rule", "strokeDash": [4, 4], "color": "#6a6a6a"}
    wanted = {"mark": dashed, "encoding": {"x": {"datum": 0.95, "type": "quantitative", "scale": scale}}}
    return {
        "width": 260,
        "data": {"values": values},
        "layer": [
            wanted,
            {"mark": "rule", "encoding": {"y": y, "x": x, "x2": {"field": "high"}}},
            {**point, "encoding": {"y": y, "x": {"field": "rate", "type": "quantitative", "scale": scale}}},
        ],
    }


def _folds(
    rows: Sequence[Figures], best: Mapping[str, Figures], names: Mapping[str, str], y: Mapping[str, Any]
) -> dict[str, Any]:
    most, who = 100.0, ("this program", "the limit")
    values = [
        {"case": names[one.case], "fold": min(fold, most), "who": label}
        for one in rows
        for label, fold in zip(who, (one.fold, best[one.case].fold), strict=True)
    ]
    x = {
        "field": "fold",
        "type": "quantitative",
        "scale": {"type": "log", "domain": [1, most]},
        "title": "median fold at 2 ug/L (100: wider or open)",
    }
    shape = {
        "field": "who",
        "type": "nominal",
        "title": None,
        "scale": {"domain": list(who), "range": ["circle", "diamond"]},
    }
    return {
        "width": 260,
        "data": {"values": values},
        "mark": {"type": "point", "size": 50, "color": "#1f4e79"},
        "encoding": {"y": {**y, "axis": None}, "x": x, "shape": shape},
    }

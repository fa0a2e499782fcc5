"""The page of the accuracy study: tables from what accuracy.py found; the pictures are accuracy_charts.py's."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from accuracy_cases import CASES, LOGBOOKS, NEAR_K, NEW
from accuracy_charts import folds_picture, power_picture
from accuracy_figures import ABOVE_AT, Figures, Rate
from accuracy_read import ALIKE, COMPONENT, FLOORS, LEARNED, LIMIT, SAME_WATER, US, WATERS_KNOWN
from accuracy_targets import Target, rate

HEAD = """# Accuracy

Written by `python benchmarks/accuracy.py --write docs`; do not edit. {size}.

Simulated electrodes of known truth. The base case: nine batches of six electrodes at 0, 0, .5, 1, 2, 8 ug/L in random
order, three electrodes of a new batch burned at 0, 2, 8, one fresh electrode of it for the sample, read once. Gain
scatters by .25 between batches and .15 between electrodes beyond the covariate, K by .2 between batches; h 1.3, floor
.3 of the rise, noise .02 of it and 5 % (portable .06 and 10 %). Cases of one logbook share its calibration and {new}
new batches; logbooks of nine batches share their draws. Standard errors, clustered by history, in brackets. Truths lie
near the middle of the priors: the model's own world at its kindest; the second half is not.

*holds*: two-sided 95 % intervals that hold the level, all levels from 0 to 20 ug/L; *least*: at the worst level.
*error*: median of |ln(best / true)| from .5 ug/L up. *fold*: median upper over lower end at 2 ug/L. *above*: share of
"at or above" at 2 and at 8 ug/L.

The *limit* knows population and batch, and how many films are defective; only what is the electrode's own is hidden
from it. *batch learned* knows the population, and has the batch's burned electrodes as the program has. Both read lone
readings by exact tails, several by their likelihood root.

![Power at .5 and 1 ug/L](pictures/accuracy-power.svg)

![Coverage and median fold of every case](pictures/accuracy.svg)
"""
WORLDS = "Electrodes that the model does not contain, by `benchmarks/second_half.py`: rows as printed.\n"
FILMS = """Lone readings, 5 % of all films defective, the unknowns' too; the same histories, electrodes and draws. The
component is `[prior] defects`. With pre-scan and closing spike: [benchmarks](../benchmarks/README.md). Many an upper
end that leaves a tail of .025 is open, the limit's too, since more films than that have a low gain: so little may come
from a strong sample on such a film.
"""
COSTS = """The same samples, read by those who know more. *same water*: the program told that the samples are in the
standards' own seawater (`[prior] matrix_K_sd = 0`); else it allows for .10 of ln K between waters. *K alike*: told
besides that K does not scatter between the electrodes of a batch, for which it holds .10 until it is measured. *floors
alike*: told that floors scatter neither between batches nor between electrodes, which it estimates otherwise; what a
blank gives, and so power, depends on that and not on K. In these worlds nothing of this scatters.
"""
WATERS = """With pre-scan and closing spike. *K between*: the scatter of ln K between waters that is taken: held, or the
middle of what recoveries say, whose tail reaches beyond what is held. Each water is spiked by 2 ug/L and read by two
fresh electrodes of a new batch as samples are, by the program under the held default; run control, recoveries and
scatter are the program's own, nothing is told. The rows of siblings with an addition have the same histories and
samples; there the scatter of K between electrodes is learned. *over held*: median, sample by sample, of the fold over
that with .10 held.
"""
KNOWING = (SAME_WATER, LEARNED, LIMIT)
Found = Mapping[tuple[str, str], Figures]


def write_page(
    folder: Path, figures: Sequence[Figures], judged: Sequence[Target], seed: str, worlds: Sequence[Path]
) -> None:
    """accuracy.md and its pictures in a folder."""
    found = {(one.case, one.who): one for one in figures}
    text = [HEAD.format(size=_size(figures, seed), new=NEW), "## Case by case\n", *_own_table(found)]
    text += ["\n## Level by level\n", *_levels_table(found)]
    text += ["\n## Defective films\n", FILMS, *_films_table(found)]
    text += ["\n## What not knowing costs\n", COSTS, *_costs_table(found)]
    text += ["\n## Near K, with waters measured\n", WATERS, *_waters_table(found)]
    text += ["\n## What a chemist would do instead\n", *_instead(figures)]
    if worlds:
        text += ["\n## Where the model leaves something out\n", WORLDS, *_worlds(worlds)]
    text += ["\n## Targets\n", *_targets(judged)]
    (folder / "accuracy.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    (folder / "pictures" / "accuracy.svg").write_text(folds_picture(found), encoding="utf-8")
    (folder / "pictures" / "accuracy-power.svg").write_text(power_picture(found), encoding="utf-8")


def _size(figures: Sequence[Figures], seed: str) -> str:
    """How many histories each logbook has."""
    counts = {CASES[one.case].logbook: one.histories + one.failed for one in figures if one.who == LIMIT}
    parts: dict[int, list[str]] = {}
    for name in LOGBOOKS:
        if name in counts:
            parts.setdefault(counts[name], []).append(name)
    told = [f"{count} of {', '.join(names)}" for count, names in parts.items()]
    return f"Histories: {'; '.join(told)}. {seed.capitalize()}"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines of a table."""
    return [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)]


def fold(value: float) -> str:
    """Three figures, or open."""
    return "" if math.isnan(value) else f"{value:.3g}" if value < 1e6 else "open"


def _own_table(found: Found) -> list[str]:
    head = ("case", "blank rate", "power at .5, limit's", "1 ug/L, limit's", "holds", "least, at", "error")
    rows = []
    for name, case in CASES.items():
        if (name, US) not in found:
            continue
        one, limit = found[name, US], found[name, LIMIT]
        failed = f"; {one.failed} failed a gate" if one.failed else ""
        powers = [f"{rate(mine)}, {rate(best)}" for mine, best in zip(one.power, limit.power, strict=True)]
        above = ", ".join("" if math.isnan(share[0]) else f"{share[0]:.2f}" for share in one.above[1:])
        rows.append(
            (
                case.what + failed,
                rate(one.blank),
                *(power.strip(", ") for power in powers),
                rate(one.coverage),
                f"{rate(one.worst[:2])}, {one.worst[2]:g}",
                f"{one.error:.2f}",
                f"{fold(one.fold[0])}, {fold(limit.fold[0])}".strip(", "),
                above.strip(", "),
            )
        )
    return table((*head, "fold, limit's", "above"), rows)


def _levels_table(found: Found) -> list[str]:
    """Coverage at every level."""
    levels = sorted({level for (_, who), one in found.items() if who == US for level in one.levels})
    rows = []
    for name, case in CASES.items():
        if (name, US) in found:
            one = found[name, US]
            held = dict(zip(one.levels, one.held, strict=True))
            rows.append((case.what, *(rate(held[level]) if level in held else "" for level in levels)))
    return table(("holds", *(f"{level:g} ug/L" for level in levels)), rows)


def _films_table(found: Found) -> list[str]:
    head = ("films", "read by", "blank rate", "power at 1 ug/L", "holds", "least, at", "no upper end at 2 ug/L")
    rows = []
    for name in ("low", "high"):
        for who, told in ((US, "without the component"), (COMPONENT, "with the component"), (LIMIT, "the limit")):
            if (name, who) in found:
                one = found[name, who]
                above = ", ".join(f"{share[0]:.2f}" for share in one.above) if who != LIMIT else ""
                rows.append(
                    (
                        CASES[name].what + (f"; {one.failed} failed a gate" if one.failed else ""),
                        told,
                        *(rate(pair) for pair in (one.blank, one.power[1], one.coverage)),
                        f"{rate(one.worst[:2])}, {one.worst[2]:g}",
                        f"{one.wide:.2f}",
                        above,
                    )
                )
    return table((*head, f'"at or above" at {", ".join(f"{level:g}" for level in ABOVE_AT)}'), rows)


def _costs_table(found: Found) -> list[str]:
    head = ("case", "read by", "power at .5", "1 ug/L", *(f"fold at {level:g}" for level in NEAR_K), "all three")
    rows = []
    for name in ("25-burned-2", "25-floors", "both", "rising"):
        for who in (US, SAME_WATER, FLOORS, ALIKE, LEARNED, LIMIT):
            if (name, who) in found:
                one = found[name, who]
                at = dict(zip(one.levels, one.folds, strict=True))
                folds = [_spread(at[level]) if level in at else "" for level in NEAR_K]
                near = _spread(one.near_K) if name in ("both", "rising") else ""
                rows.append((CASES[name].what, who, *map(rate, one.power), *folds, near))
    return table(head, rows)


def _waters_table(found: Found) -> list[str]:
    """Fold and coverage near K after so many waters."""
    at = [f"{level:g}" for level in NEAR_K]
    folds_at, holds_at = [f"fold at {c}" for c in at], [f"holds {c}" for c in at]
    head = ("case", "read by", "K between", *folds_at, "all three", "over held", *holds_at, "all three")
    rows = []
    for name, who in (("both", US), *(("rising", who) for who in (US, *WATERS_KNOWN.values(), *KNOWING))):
        if (name, who) in found:
            one = found[name, who]
            folds = [_spread(dict(zip(one.levels, one.folds, strict=True))[level]) for level in NEAR_K]
            held = [rate(dict(zip(one.levels, one.held, strict=True))[level]) for level in NEAR_K]
            beside = rate(one.beside) if who != US else ""
            scatter = {US: ".10 held", SAME_WATER: "0 told"}.get(who, fold(one.scatter))
            told = [*folds, _spread(one.near_K), beside, *held, rate(one.near_held)]
            rows.append((CASES[name].what, who, scatter, *told))
    return table(head, rows)


def _spread(pair: Rate) -> str:
    return fold(pair[0]) if not math.isfinite(pair[1]) else f"{pair[0]:.2f} ({pair[1]:.2f})"


def _instead(figures: Sequence[Figures]) -> list[str]:
    known = (US, LIMIT)
    shown = {one.case for one in figures if "curve" in one.who}
    rows = [
        (
            CASES[one.case].what,
            one.who,
            *(rate(pair) for pair in (one.blank, one.power[1], one.coverage)),
            f"{rate(one.worst[:2])}, {one.worst[2]:g}",
            "" if math.isnan(one.error) else f"{one.error:.2f}",
            fold(one.fold[0]),
        )
        for one in figures
        if one.case in shown and (one.who in known or "curve" in one.who)
    ]
    return table(("case", "read by", "blank rate", "power at 1 ug/L", "holds", "least, at", "error", "fold"), rows)


def _worlds(files: Sequence[Path]) -> list[str]:
    """The rows that second_half.py printed, as they are."""
    lines = ["```"]
    for path in files:
        made, *printed = path.read_text(encoding="utf-8").splitlines()
        start = next(i for i, line in enumerate(printed) if line.startswith("seed "))
        lines += [line.rstrip() for line in printed[:start] if line.startswith("  ")] if path == files[0] else []
        lines += [made, *(line.rstrip() for line in printed[start:])]
    return [*lines, "```"]


def _targets(judged: Sequence[Target]) -> list[str]:
    """The same as the benchmark's last lines."""
    rows = [
        (one.what, one.wanted, one.figure + (f"; {one.remark}" if one.remark else ""), one.oracle, one.verdict)
        for one in judged
    ]
    return table(("target", "wanted", "figure", "oracle", ""), rows)

"""The pyocyanin soak series from files to statements: each concentration in turn is read by the other four.

The curves are of Cell 2020, "Extracellular DNA Promotes Efficient Extracellular Electron Transfer by Pyocyanin in
Pseudomonas aeruginosa Biofilms", doi 10.1016/j.cell.2020.07.006 (title from memory); one scan per concentration.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from brinemark import Logbook
from brinemark.terms.amounts import Estimate
from brinemark.terms.errors import GateFailed

pytestmark = [pytest.mark.real, pytest.mark.slow]

LEVELS = (10, 25, 50, 75, 100)
STRENGTH = ("cannot say", "not detected", "at or above", "detected, amount uncertain", "quantified")
SHARE_OF_WIDTH = 0.25
"""How far a finite end may move, as a share of the wider interval, when every prior is twice as wide."""
SETTINGS = """\
[logbook]
schema = 1
name = "soak series"
[analyte]
name = "pyocyanin"
level_unit = "umol/L"
[signal]
quantity = "height"
sweep = "cathodic"
window_V = [-0.40, -0.15]
[instrument.square-wave]
sign = "cathodic positive"
[prior]
widen = {widen}
"""


@dataclass(frozen=True)
class Told:
    """What was stated about a concentration left out."""

    statement: str
    estimate: Estimate | None
    warnings: tuple[str, ...]

    def holds(self, level: float) -> bool:
        if self.estimate is None:
            return False
        lower, upper = self.estimate.lower, self.estimate.upper
        return (lower is None or lower <= level) and (upper is None or level <= upper)


def told_about(left_out: int, widen: float, curves: Path, folder: Path) -> Told:
    """The statement about one concentration from the four others; a failed gate tells nothing."""
    folder.mkdir()
    for level in LEVELS:
        shutil.copyfile(curves / f"{level}uM_PYO_soak_SWV_1.csv", folder / f"{level}.csv")
    lines = ["electrode,batch,instrument,measured_at,role,level,sample,trace"]
    for minute, level in enumerate(LEVELS):
        role = ("sample", "", "left-out") if level == left_out else ("standard", str(level), "")
        lines.append(f"E{level},soak,square-wave,2026-01-01T10:{minute:02d}Z,{','.join(role)},{level}.csv")
    sheet = folder / "run.csv"
    sheet.write_text("\n".join([*lines, ""]), encoding="utf-8")
    Logbook.create(folder / "logbook").close()
    (folder / "logbook" / "logbook.toml").write_text(SETTINGS.format(widen=widen), encoding="utf-8")
    with Logbook.open(folder / "logbook") as logbook:
        logbook.add(sheet)
        try:
            logbook.calibrate()
        except GateFailed:
            return Told("cannot say", None, ())
        (answer,) = logbook.read("left-out")
    return Told(answer.statement, answer.reading.estimate, answer.warnings)


@pytest.fixture(scope="module")
def told(real_curves: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[int, Told]:
    curves, home = real_curves / "swv_pyocyanin_series" / "soak_SWV", tmp_path_factory.mktemp("soak")
    return {level: told_about(level, 1.0, curves, home / str(level)) for level in LEVELS}


@pytest.fixture(scope="module")
def told_wide(real_curves: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[int, Told]:
    curves, home = real_curves / "swv_pyocyanin_series" / "soak_SWV", tmp_path_factory.mktemp("soak-wide")
    return {level: told_about(level, 2.0, curves, home / str(level)) for level in LEVELS}


def test_at_least_four_of_five_statements_hold_the_concentration_left_out(told: dict[int, Told]) -> None:
    assert sum(one.holds(level) for level, one in told.items()) >= 4


def test_the_reading_names_what_is_weak(told: dict[int, Told]) -> None:
    for one in told.values():
        text = " ".join(one.warnings)
        assert "one batch only" in text
        assert "4 standards only" in text
        assert "no blanks" in text


@pytest.mark.parametrize("level", LEVELS)
def test_priors_twice_as_wide_move_no_end_far_or_weaken_the_statement(
    level: int, told: dict[int, Told], told_wide: dict[int, Told]
) -> None:
    usual, wide = told[level], told_wide[level]
    if usual.statement != wide.statement:
        assert STRENGTH.index(wide.statement) < STRENGTH.index(usual.statement)
        return
    if usual.estimate is None or wide.estimate is None:
        return
    ends = zip(_ends(usual.estimate), _ends(wide.estimate), strict=True)
    width = max(_width(usual.estimate), _width(wide.estimate))
    for one, other in ends:
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            assert abs(one - other) <= SHARE_OF_WIDTH * width


def _ends(estimate: Estimate) -> tuple[float | None, float | None]:
    return estimate.lower, estimate.upper


def _width(estimate: Estimate) -> float:
    """An interval open above is as wide as its lower end: that is what a reader would compare a shift with."""
    lower = estimate.lower or 0.0
    return lower if estimate.upper is None else estimate.upper - lower

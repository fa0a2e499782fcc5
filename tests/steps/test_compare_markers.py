"""Other methods beside the readings: each sample where it belongs, units turned, other quantities never on a line."""

from __future__ import annotations

import math
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.fish.method_comparison import line_with_errors
from brinemark.steps.answers import SampleReading
from brinemark.steps.compare_markers import (
    COUNT_AS_FOUND,
    ERR_TOGETHER,
    NOT_SAID,
    OTHER_QUANTITY,
    open_above,
    own_result,
)
from brinemark.steps.marker_answers import OWN, Compared
from brinemark.terms.amounts import Detection, Estimate, LimitValue, Reading
from brinemark.terms.errors import Refused
from brinemark.terms.units import THIOCYANATE_G_PER_MOL
from season import BLANK, Season, sample, standard

LEVELS = (0.0, 0.0, 0.0, 0.4, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 60.0)
HEAD = "sample,fish,marker,method,unit,value,limit_of_detection,u"
FACTOR, LIMIT = 1.25, 0.3
OF_ONE_BATCH = 0.2
"""What all readings of one batch may be off together [ln]: films of six known electrodes scatter by .1, and at levels
up to 1.5 K an error of the gain is 2.5 times as large in the level."""
NMOL_PER_UG = 1000.0 / THIOCYANATE_G_PER_MOL


def name_of(place: int) -> str:
    return f"P{place}"


def line(sample_: str, fish: str, kind: tuple[str, str, str], level: float, limit: float) -> str:
    marker, method, unit = kind
    if level < limit:
        return f"{sample_},{fish},{marker},{method},{unit},not found,{limit:.6g},"
    return f"{sample_},{fish},{marker},{method},{unit},{level:.6g},{limit:.6g},{0.03 * level:.6g}"


def results() -> bytes:
    """Mass spectrometry with a known factor, chromatography in nmol/L, cyanide in tissue; all exact."""
    lines = [HEAD]
    for place, level in enumerate(LEVELS):
        seen = FACTOR * level
        lines.append(line(name_of(place), "", ("thiocyanate", "LC-MS/MS", "ug/L"), seen, LIMIT))
        lines.append(line(name_of(place), "", ("Thiocyanate", "HPLC", "nmol/L"), level * NMOL_PER_UG, 5.0))
        lines.append(line(name_of(place), "F1", ("cyanide in tissue", "distillation", "mg/kg"), 0.1 * level, 0.09))
    return "\n".join([*lines, ""]).encode()


@pytest.fixture(scope="module")
def folder(calibrated_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("compared")
    shutil.copytree(calibrated_folder, root / "book")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(7701))
    plan = [BLANK, BLANK, BLANK, standard(1.0), standard(2.0), standard(4.0)]
    plan += [sample(name_of(place), level) for place, level in enumerate(LEVELS)]
    with Logbook.open(root / "book") as book:
        book.add(season.batch("B6", plan, day=20))
        book.read(*(name_of(place) for place in range(len(LEVELS))))
        book.add_markers(("other.csv", results()))
    return root / "book"


@pytest.fixture
def compared(folder: Path) -> Iterator[Logbook]:
    """The logbook itself: comparing writes nothing."""
    with Logbook.open(folder) as book:
        yield book


def between(book: Logbook, first: str, second: str, at: float | None = None) -> Compared:
    (one,) = book.compare_markers(first, second, at).comparisons
    return one


def readings(book: Logbook) -> dict[str, SampleReading]:
    return {one.sample: one for one in book.read(*(name_of(place) for place in range(len(LEVELS))))}


def test_every_reading_is_counted_where_its_statement_puts_it(compared: Logbook) -> None:
    said = readings(compared)
    statements = [one.statement for one in said.values()]
    assert statements.count("not detected") == 3 and statements.count("at or above") >= 1  # the invented levels do both
    one = between(compared, OWN, "LC-MS/MS")
    assert one.comparison is not None
    table = one.comparison.agreement
    detected = sum(answer.statement not in ("not detected", "cannot say") for answer in said.values())
    assert table.both + table.first_only == detected
    assert table.neither == statements.count("not detected")
    closed = sum(not open_above(answer.reading) for answer in said.values())
    assert one.comparison.measured + one.comparison.censored == closed
    assert one.comparison.pairs == len(LEVELS)
    assert dict(one.left_out).popitem()[1] == len(LEVELS) - closed
    assert any(COUNT_AS_FOUND in remark for remark in one.comparison.remarks)


def test_the_line_is_the_one_through_medians_and_reported_values(compared: Logbook) -> None:
    said = [one for one in readings(compared).values() if one.statement not in ("not detected", "cannot say")]
    said = [one for one in said if not open_above(one.reading)]
    x, u_x, y = [], [], []
    for answer in said:
        ends = answer.reading.two_sided
        assert ends is not None and ends.median is not None and ends.upper is not None
        x.append(ends.median)
        low = math.log(ends.upper / ends.lower) / 2 * ends.median if ends.lower else ends.upper - ends.median
        u_x.append(low / 1.959964)
        y.append(FACTOR * LEVELS[int(answer.sample[1:])])
    y = [float(f"{value:.6g}") for value in y]
    u_y = [float(f"{0.03 * value:.6g}") for value in y]
    expected = line_with_errors(np.array(x), np.array(y), np.array(u_x), np.array(u_y))
    one = between(compared, OWN, "LC-MS/MS")
    assert one.comparison is not None and one.comparison.line is not None and one.comparison.ratio is not None
    assert one.comparison.line.slope == pytest.approx(expected.slope, rel=1e-6)
    assert one.comparison.line.intercept == pytest.approx(expected.intercept, abs=1e-6)
    assert one.comparison.ratio.censored == 3  # what was not found is kept in the mean ratio
    assert abs(math.log(one.comparison.ratio.ratio / FACTOR)) < OF_ONE_BATCH
    assert ERR_TOGETHER in one.comparison.remarks


def test_a_result_in_another_unit_is_turned_into_the_logbooks(compared: Logbook) -> None:
    one = between(compared, "LC-MS/MS", "HPLC")
    assert one.same_quantity and one.comparison is not None and one.comparison.line is not None
    assert one.comparison.second.endswith("[ug/L]")
    # Both are exact up to six digits, so that the line is that of the factor.
    assert one.comparison.line.slope == pytest.approx(1.0 / FACTOR, rel=1e-4)
    assert one.comparison.line.intercept == pytest.approx(0.0, abs=1e-4)


def test_cyanide_in_tissue_is_found_or_not_and_never_on_a_line(compared: Logbook) -> None:
    answer = compared.compare_markers()
    tissue = [one for one in answer.comparisons if "tissue" in one.second]
    assert [one.first for one in tissue] == ["LC-MS/MS, thiocyanate", "HPLC, Thiocyanate"]  # not beside the readings
    for one in tissue:
        assert one.comparison is not None and not one.same_quantity
        assert (one.comparison.line, one.comparison.ranked_line, one.comparison.limits, one.comparison.ratio) == (
            None,
            None,
            None,
            None,
        )
        assert one.comparison.remarks == (OTHER_QUANTITY,)
        assert one.comparison.agreement.both == sum(level >= 0.9 for level in LEVELS)
        assert one.comparison.agreement.first_only == sum(0.24 < level < 0.9 for level in LEVELS)


def test_a_level_asked_for_is_asked_of_all_and_leaves_open_what_is_open(compared: Logbook) -> None:
    one = between(compared, "LC-MS/MS", "HPLC", at=0.9)
    assert one.comparison is not None
    table = one.comparison.agreement
    assert table.both == sum(level >= 0.9 for level in LEVELS)
    assert table.first_only == sum(FACTOR * level >= 0.9 > level for level in LEVELS)
    own = between(compared, OWN, "LC-MS/MS", at=70.0)
    assert any("lower than the one asked for" in reason for reason, _ in own.left_out)
    for level in (0.0, -1.0, math.nan):
        with pytest.raises(Refused, match="a level of"):
            compared.compare_markers(at=level)


def test_an_unknown_method_is_refused_with_the_nearest(compared: Logbook) -> None:
    with pytest.raises(Refused, match="did you mean 'LC-MS/MS'"):
        compared.compare_markers("LCMS")


def test_the_cautions_stand_with_their_sources(compared: Logbook) -> None:
    told = " ".join(one.words for one in compared.compare_markers().cautions)
    for words in ("mass spectrometry on a split sample", "70 to 100 ug/L", "ASTM D4193", "60 to 80 %", "from memory"):
        assert words in told
    assert "cyanide found" not in told


def test_without_results_there_is_nothing_to_compare(book: Logbook) -> None:
    answer = book.compare_markers()
    assert (answer.methods, answer.comparisons) == ((), ())


def reading(statement: str, two_sided: Estimate | None = None, **parts: object) -> SampleReading:
    plain = Reading(statement, None, None, two_sided, None, None, None, (), (), None, two_sided)
    return SampleReading("r", "S", "thiocyanate", "nM", replace(plain, **parts), (), "c", ())  # type: ignore[arg-type]


def test_each_statement_becomes_the_result_that_it_is() -> None:
    found = own_result("S", reading("quantified", Estimate(2.0, 1.0, 4.0, 0.95, 2)), "ug/L", 10.0)
    assert found is not None and found.value == 20.0
    assert found.u == pytest.approx(20.0 * math.log(4.0) / (2 * 1.959964), rel=1e-6)
    low = own_result("S", reading("detected, amount uncertain", Estimate(2.0, 0.0, 5.0, 0.95, 2)), "ug/L", 1.0)
    assert low is not None and low.u == pytest.approx(3.0 / 1.959964, rel=1e-6)
    missed = own_result("S", reading("not detected", upper_limit=LimitValue(0.7, 0.95)), "ug/L", 10.0)
    assert missed is not None and (missed.value, missed.limit_of_detection) == (None, 7.0)
    above = reading("at or above", lower_limit=LimitValue(9.0, 0.95), detection=Detection(True, 1e-6, 0.05))
    assert open_above(above.reading)
    result = own_result("S", above, "ug/L", 1.0)
    assert result is not None and (result.value, result.u) == (9.0, None)
    assert own_result("S", reading("cannot say"), "ug/L", 1.0) is None
    assert NOT_SAID == "cannot say"

"""Curves of one electrode at several scan rates: known couples, the faults of a table, and nothing stored."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from brinemark import Logbook
from brinemark.records.rate_table import read_rate_table
from brinemark.science.curve.electrode_theory import reversible_current_function, surface_confined_shape
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

RATES = (0.02, 0.05, 0.1, 0.2, 0.5)
PLACE_V = 0.58
POTENTIAL_V = np.round(np.arange(0.30, 0.86, 0.002), 4)
THERMAL_V = 0.0256926


def curve(rate: float, kind: str, seed: int) -> FloatArray:
    """A wave whose height is known, on a charging current that goes with the scan rate [A]."""
    rng = np.random.default_rng(seed)
    if kind == "diffusing":
        wave = 3e-6 * rate**0.5 * reversible_current_function((PLACE_V - POTENTIAL_V) / THERMAL_V)
    else:
        exponent = 1.0 if kind == "surface-bound" else 0.75
        wave = 1e-5 * rate**exponent * surface_confined_shape(POTENTIAL_V, PLACE_V)
    noise = 2e-10 * rng.normal(size=POTENTIAL_V.size)
    return np.asarray(5e-6 * rate * (1.0 + 0.2 * POTENTIAL_V) + wave + noise)


def write_study(folder: Path, kind: str, delimiter: str = ",") -> Path:
    """The table and its curves, beside each other."""
    folder.mkdir(exist_ok=True)
    lines = [delimiter.join(("trace", "scan_rate_V_per_s", "instrument"))]
    for place, rate in enumerate(RATES):
        rows = [f"{v:.4f},{i:.8e}" for v, i in zip(POTENTIAL_V, curve(rate, kind, place), strict=True)]
        (folder / f"c{place}.csv").write_text("\n".join(["potential_V,current_A", *rows]), encoding="utf-8")
        number = f"{rate}".replace(".", ",") if delimiter == ";" else f"{rate}"
        lines.append(delimiter.join((f"c{place}.csv", number, "bench")))
    (folder / "rates.csv").write_text("\n".join(lines), encoding="utf-8")
    return folder / "rates.csv"


@pytest.fixture
def logbook(tmp_path: Path) -> Logbook:
    return Logbook.create(tmp_path / "book")


@pytest.mark.parametrize(("kind", "slope"), [("diffusing", 0.5), ("surface-bound", 1.0), ("in between", 0.75)])
def test_a_known_couple_is_told(logbook: Logbook, tmp_path: Path, kind: str, slope: float) -> None:
    with logbook:
        answer = logbook.scan_rates(write_study(tmp_path / "study", kind))
        assert answer.study.couple == kind
        assert answer.study.slope == pytest.approx(slope, abs=0.02)
        assert [point.row.scan_rate_V_per_s for point in answer.points] == list(RATES)
        assert logbook.rows() == ()
        assert len(logbook.audit()) == 1  # its making


def test_the_table_may_use_decimal_commas(logbook: Logbook, tmp_path: Path) -> None:
    with logbook:
        plain = logbook.scan_rates(write_study(tmp_path / "plain", "diffusing"))
        commas = logbook.scan_rates(write_study(tmp_path / "commas", "diffusing", ";"))
    assert commas.to_dict() == plain.to_dict()


def test_a_curve_without_a_wave_is_refused_with_its_row(logbook: Logbook, tmp_path: Path) -> None:
    table = write_study(tmp_path / "study", "diffusing")
    rng = np.random.default_rng(9)
    rows = [f"{v:.4f},{1e-9 * rng.normal():.8e}" for v in POTENTIAL_V]
    (table.parent / "c2.csv").write_text("\n".join(["potential_V,current_A", *rows]), encoding="utf-8")
    with logbook, pytest.raises(Refused, match=r"c2\.csv: no wave above its baseline") as caught:
        logbook.scan_rates(table)
    assert (caught.value.row, caught.value.column) == (4, "trace")


def test_two_scan_rates_are_too_few(logbook: Logbook, tmp_path: Path) -> None:
    table = write_study(tmp_path / "study", "diffusing")
    table.write_text("\n".join(table.read_text(encoding="utf-8").split("\n")[:3]), encoding="utf-8")
    with logbook, pytest.raises(Refused, match="3 different rates at least"):
        logbook.scan_rates(table)


FAULTS = {
    "trace,scan_rate_V_per_s\na.csv,fast": ("fast", 2, "scan_rate_V_per_s"),
    "trace,scan_rate_V_per_s\na.csv,0": ("a scan rate of 0 V/s", 2, "scan_rate_V_per_s"),
    "trace,scan_rate_V_per_s\n,0.1": ("an empty cell", 2, "trace"),
    "trace,scan_rate\na.csv,0.1": ("unknown column 'scan_rate'", 1, None),
    "trace,instrument\na.csv,bench": ("0 columns scan_rate_V_per_s", 1, "scan_rate_V_per_s"),
    "trace,scan_rate_V_per_s\na.csv": ("1 fields", 2, None),
    "trace,scan_rate_V_per_s\n": ("0 rows", None, None),
    'trace,scan_rate_V_per_s\n"a.csv,0.1': ("not a table", None, None),
    "trace;scan_rate_V_per_s\na.csv;0,1\nb.csv;0.2": ("0", None, None),
}


@pytest.mark.parametrize("text", FAULTS, ids=range(len(FAULTS)))
def test_each_fault_of_a_table_is_one_line_with_its_place(text: str) -> None:
    phrase, row, column = FAULTS[text]
    with pytest.raises(Refused) as caught:
        read_rate_table(text.encode(), "rates.csv")
    assert phrase in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert (caught.value.row, caught.value.column) == (row, column)


def test_a_missing_file_is_refused_with_the_row_of_the_table(logbook: Logbook, tmp_path: Path) -> None:
    table = write_study(tmp_path / "study", "diffusing")
    (table.parent / "c3.csv").unlink()
    with logbook, pytest.raises(Refused) as caught:
        logbook.scan_rates(table)
    assert (caught.value.file, caught.value.row, caught.value.column) == ("rates.csv", 5, "trace")

"""Signals of real curves that others measured; windows were fixed on curves with a wave, before a blank was read."""

from __future__ import annotations

import csv
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from brinemark.science.curve.sweeps import find_sweeps, take_segment
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import learn_wave
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Signal, SignalDefinition, Trace

pytestmark = pytest.mark.real

AUTHORS_ROUNDING = 1e-9
"""Relative; the authors' table holds the differences of the files' own numbers."""

PYOCYANIN = SignalDefinition("height", "cathodic", "last", (-0.40, -0.15))
REPORTER = SignalDefinition("height", "anodic", "last", (-0.33, -0.13))
REPORTERS = ("noO2_wm", "noO2_mm", "wO2_wm_False_True")
GRID_STEP_V = 0.005


def columns(path: Path) -> dict[str, FloatArray]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def cathodic_positive(path: Path) -> Trace:
    read = columns(path)
    return Trace(read["potential_V"], -read["current_A"])


@pytest.fixture(scope="module")
def authors(real_curves: Path) -> list[dict[str, str]]:
    with (real_curves / "swv_pyocyanin_series" / "expected_peaks_by_file.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def pyocyanin(real_curves: Path, authors: list[dict[str, str]]) -> dict[str, Trace]:
    folder = real_curves / "swv_pyocyanin_series"
    return {row["file"]: cathodic_positive(folder / row["file"]) for row in authors}


@pytest.fixture(scope="module")
def heights(pyocyanin: dict[str, Trace]) -> dict[str, Signal]:
    return read_all(pyocyanin, PYOCYANIN)


def read_all(traces: dict[str, Trace], definition: SignalDefinition) -> dict[str, Signal]:
    wave = learn_wave([trace for name, trace in traces.items() if "soak" in name], definition)
    assert (wave.source, wave.traces) == ("learned", 5)
    return {name: measure(trace, definition, wave) for name, trace in traces.items()}


def test_the_authors_own_definition_gives_their_table(
    authors: list[dict[str, str]], pyocyanin: dict[str, Trace]
) -> None:
    assert len(authors) == 25
    for row in authors:
        potential, current = pyocyanin[row["file"]].potential_V, -pyocyanin[row["file"]].current_A
        wave = (potential >= -0.3) & (potential <= -0.2)
        quiet = (potential >= -0.2) & (potential <= 0.1)
        height = current[wave].max() - current[quiet].min()
        assert height == pytest.approx(float(row["height_A"]), rel=AUTHORS_ROUNDING)
        assert potential[wave][np.argmax(current[wave])] == pytest.approx(float(row["E_peak_V"]))


def test_a_square_wave_scan_is_one_sweep_whatever_its_second_current(pyocyanin: dict[str, Trace]) -> None:
    for trace in pyocyanin.values():
        assert [(s.direction, s.cycle, s.complete) for s in find_sweeps(trace.potential_V)] == [(-1, 1, True)]


def test_signals_rank_the_scans_as_the_authors_do(authors: list[dict[str, str]], heights: dict[str, Signal]) -> None:
    theirs = np.array([float(row["height_A"]) for row in authors])
    ours = np.array([heights[row["file"]].value for row in authors])
    pairs = list(combinations(range(len(authors)), 2))
    tau = sum(np.sign((theirs[a] - theirs[b]) * (ours[a] - ours[b])) for a, b in pairs) / len(pairs)
    assert tau >= 0.95


def test_the_soak_series_is_in_the_order_of_its_concentrations(
    authors: list[dict[str, str]], heights: dict[str, Signal]
) -> None:
    soaks = sorted((row for row in authors if row["stage"] == "soak"), key=lambda row: float(row["conc_uM"]))
    values = [heights[row["file"]].value for row in soaks]
    assert values == sorted(values)


def test_the_transfer_series_is_in_order_where_heights_differ_by_more_than_3_percent(
    authors: list[dict[str, str]], heights: dict[str, Signal]
) -> None:
    transfers = [(float(r["height_A"]), heights[r["file"]].value) for r in authors if r["stage"] == "transfer"]
    compared = 0
    for (their_a, our_a), (their_b, our_b) in combinations(transfers, 2):
        if abs(their_a - their_b) > 0.03 * max(their_a, their_b):
            compared += 1
            assert (their_a - their_b) * (our_a - our_b) > 0.0
    assert compared > 100


def test_every_pyocyanin_wave_stands_in_its_place(pyocyanin: dict[str, Trace]) -> None:
    places = read_all(pyocyanin, replace(PYOCYANIN, quantity="potential"))
    for signal in places.values():
        assert -0.32 < signal.value < -0.24
        assert not any(flag.severe or flag.name == "no wave" for flag in signal.flags)


@pytest.fixture(scope="module")
def ferrocene(real_curves: Path) -> Trace:
    read = columns(real_curves / "cv_ferrocene_cycles" / "ferrocene_6cycles_long.csv")
    return Trace(read["potential_V"], 1e-6 * read["current_uA"], None, read["cycle"].astype(np.int64))


def whole_cycles(trace: Trace) -> list[Trace]:
    assert trace.cycle is not None
    parts = [trace.cycle == number for number in range(1, 6)]
    return [Trace(trace.potential_V[part], trace.current_A[part]) for part in parts]


@pytest.mark.parametrize("with_column", [True, False])
def test_six_cycles_are_found_and_the_last_is_truncated(ferrocene: Trace, with_column: bool) -> None:
    sweeps = find_sweeps(ferrocene.potential_V, ferrocene.cycle if with_column else None)
    assert [s.cycle for s in sweeps] == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6]
    assert [s.direction for s in sweeps] == [-1, 1] * 6
    assert [s.complete for s in sweeps] == [True] * 11 + [False]


def test_the_truncated_cycle_is_last_only_for_windows_that_it_covers(ferrocene: Trace) -> None:
    covered = SignalDefinition("height", "anodic", "last", (-0.20, 0.10))
    assert take_segment(ferrocene, covered).cycles == (6,)
    assert take_segment(ferrocene, replace(covered, window_V=(0.10, 0.45))).cycles == (5,)
    assert take_segment(ferrocene, replace(covered, window_V=(0.10, 0.45), cycle="mean")).cycles == (2, 3, 4, 5)


@pytest.mark.parametrize(
    ("sweep", "window_V", "peak_V"), [("anodic", (-0.25, 0.12), -0.065), ("cathodic", (-0.35, -0.02), -0.185)]
)
@pytest.mark.parametrize("cycle", ["1", "2", "3", "4", "5", "last", "mean"])
def test_ferrocene_waves_stand_within_two_steps_of_their_raw_peaks(
    ferrocene: Trace, sweep: str, window_V: tuple[float, float], peak_V: float, cycle: str
) -> None:
    definition = SignalDefinition("potential", sweep, cycle, window_V)
    wave = learn_wave(whole_cycles(ferrocene), definition)
    signal = measure(ferrocene, definition, wave)
    assert signal.value == pytest.approx(peak_V, abs=2 * GRID_STEP_V)
    assert not any(flag.severe or flag.name == "no wave" for flag in signal.flags)


def test_the_first_transient_is_not_taken_for_a_peak(ferrocene: Trace) -> None:
    """The first point, 235 uA at +0.5 V, is the largest current of all; the wave of that cycle is like the others'."""
    assert ferrocene.current_A.argmax() == 0
    definition = SignalDefinition("height", "cathodic", "1", (-0.35, -0.02))
    wave = learn_wave(whole_cycles(ferrocene), definition)
    first, second = (measure(ferrocene, replace(definition, cycle=cycle), wave) for cycle in ("1", "2"))
    assert first.value == pytest.approx(second.value, rel=0.05)


@pytest.fixture(scope="module")
def monolayers(real_curves: Path) -> dict[str, Signal]:
    folder = real_curves / "cv_dna_monolayer_gold"
    names = (*REPORTERS, "wO2_wm_True_False")
    traces = {name: cathodic_positive(folder / f"DNA_modified_electrode_{name}.csv") for name in names}
    wave = learn_wave([traces[name] for name in REPORTERS], REPORTER)
    assert (wave.source, wave.traces) == ("learned", 3)
    assert wave.place_V == pytest.approx(-0.23, abs=0.01)
    return {name: measure(trace, REPORTER, wave) for name, trace in traces.items()}


@pytest.mark.parametrize("name", REPORTERS)
def test_small_reporter_waves_on_a_large_capacitance_are_seen(monolayers: dict[str, Signal], name: str) -> None:
    signal = monolayers[name]
    assert signal.value > 3 * signal.u
    assert "no wave" not in [flag.name for flag in signal.flags]


def test_the_well_matched_duplex_gives_more_than_the_mismatched_one(monolayers: dict[str, Signal]) -> None:
    assert monolayers["noO2_wm"].value > monolayers["noO2_mm"].value


def test_the_reporter_free_monolayer_has_no_wave(monolayers: dict[str, Signal]) -> None:
    """Its noise alone would make the curved capacitance a wave; the baseline part of u says that it is none."""
    signal = monolayers["wO2_wm_True_False"]
    assert abs(signal.value) <= 3 * signal.u
    assert "no wave" in [flag.name for flag in signal.flags]
    assert not any(flag.severe for flag in signal.flags)
    assert abs(signal.value) > 3 * signal.u_noise
    assert signal.u_baseline > signal.u_noise

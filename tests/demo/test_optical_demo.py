"""The small season of spectra: light and binding behind it, files that come back, and the whole job on known truth."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from importlib.resources import files as resources
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from brinemark.demo import optical
from brinemark.demo.curves import Film
from brinemark.demo.run import DemoResult, compare, run_demo
from brinemark.demo.scenario import DEFAULT_SEED
from brinemark.logbook import Logbook
from brinemark.records.spectra import parse_spectrum
from brinemark.science.curve.absorbance_theory import isosbestic_points
from brinemark.terms.curves import Spectrum, SpectrumDissection

FILM = Film(loading=1.0, yield_per_site=1.0, floor=0.08, constant=2.0)
AT = np.arange(390.0, 521.0)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoResult]:
    folder = tmp_path_factory.mktemp("spectra") / "season"
    yield run_demo(folder, DEFAULT_SEED, write=optical.write_optical)
    shutil.rmtree(folder)


def test_a_film_without_answer_absorbs_as_its_coverage_says() -> None:
    idle = Film(loading=1.5, yield_per_site=0.0, floor=0.0, constant=2.0)
    at_summit = optical.film_absorbance(idle, 50.0, np.array([optical.FREE_NM]))
    # 1000 eps Gamma = 1000 x 1e5 x 1.5 x 6e-9 by hand.
    assert at_summit == pytest.approx(0.9, rel=1e-12)


def test_spectra_of_all_levels_cross_where_both_forms_absorb_alike() -> None:
    low, high = (optical.film_absorbance(FILM, level, AT) for level in (0.0, 1e4))
    crossing = float(isosbestic_points(AT, low, high)[0])
    values = [float(np.interp(crossing, AT, optical.film_absorbance(FILM, level, AT))) for level in (0, 1, 5, 80)]
    assert np.ptp(values) < 1e-9


def test_half_of_what_answers_is_filled_at_k_and_half_of_the_sites_more() -> None:
    # .3 x 6e-9 mol/cm2 x 1 cm2 / .25 L = 7.2 nmol/L, times 58.078 g/mol = .418 ug/L.
    empty, half, full = (
        optical.film_absorbance(FILM, level, np.array([450.0]))[0] for level in (0.0, 2.0 + 0.4182 / 2.0, 1e7)
    )
    assert (half - empty) / (full - empty) == pytest.approx(0.5, abs=1e-4)


def test_both_dialects_come_back_as_the_spectrum_that_was_written(tmp_path: Path) -> None:
    one = optical.spectrum(FILM, 3.0, np.random.default_rng(1))
    for dialect in (optical.PLAIN, optical.PERCENT):
        optical.write_spectrum(tmp_path / "s.csv", one, dialect)
        back = parse_spectrum((tmp_path / "s.csv").read_bytes(), None, "s.csv")
        assert np.array_equal(back.wavelength_nm, one.wavelength_nm)
        assert back.absorbance == pytest.approx(one.absorbance, abs=2e-5)  # five decimals


def test_the_same_seed_gives_the_same_files(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        optical.write_optical(tmp_path / name, 5)
    first = sorted(path for path in (tmp_path / "one").rglob("*") if path.is_file())
    assert len(first) == 2 + 2 * 30 + 1
    for path in first:
        assert path.read_bytes() == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes()


def test_the_stated_intervals_of_the_default_seed_hold_the_truth(demo: DemoResult) -> None:
    compared = {one.sample: one for one in compare(demo)}
    assert [one.holds for one in compared.values()].count(None) == 1
    # Five intervals of 95 %: one miss happens in a fifth of all seasons, two in a fiftieth.
    assert sum(one.holds is False for one in compared.values()) <= 1


def test_absent_saturated_and_lifted_are_stated_as_what_they_are(demo: DemoResult) -> None:
    by_name = {row.sample: row for row in demo.rows}
    assert by_name["F1-tank-1"].statement == "not detected"
    assert by_name["F1-tank-4"].statement == "at or above"
    assert by_name["F1-tank-4"].upper is None
    assert by_name["F1-tank-5"].statement == "cannot say"
    assert "pre-scan" in by_name["F1-tank-5"].sentence
    assert {one["electrode"] for one in demo.calibration.left_out} == {"L02-3"}


def test_a_blank_s_signal_is_nothing_but_noise_and_the_film_s_flank_on_a_scale_that_repeats_to_a_twentieth_nm(
    demo: DemoResult,
) -> None:
    with Logbook.open(demo.logbook) as book:
        blanks = [row for row in book.rows() if row.row.role == "blank"]
        parts = [book.dissection_of(row) for row in blanks]
    assert len(parts) == 6
    # Two scales apart by .07 nm (sd) on a Gaussian's steepest flank, exp(-1/2)/sd of its height, .6 here.
    flank = 0.6 * np.exp(-0.5) * 2.3548 / optical.FREE_WIDTH_NM * np.sqrt(2.0) * optical.SCALE_NM
    ratios = [abs(one.signal.value) / np.hypot(one.signal.u, flank) for one in parts]
    # The largest of six normal ratios is below 3.5 in .997.
    assert max(ratios) < 3.5


def test_answers_keep_the_contract_and_their_signals_have_unit_1(demo: DemoResult) -> None:
    schemas = resources("brinemark.terms") / "schemas"
    for name, answer in (
        ("calibrate", demo.calibration.to_dict()),
        ("read", [reading.to_dict() for reading in demo.readings]),
    ):
        schema = json.loads((schemas / f"{name}.json").read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(answer)))
    lines = [line for reading in demo.readings for use in reading.electrodes for line in use.readings]
    assert {line.signal.unit for line in lines} == {"1"}
    assert demo.calibration.signal_unit == "1"
    assert all(abs(wave.place_nm - 450.0) < 5.0 for wave in demo.calibration.waves if wave.place_nm is not None)
    assert {wave.source for wave in demo.calibration.waves} == {"learned"}


def test_spectra_are_drawn_with_their_own_axes(demo: DemoResult) -> None:
    names = {chart.stem: chart for chart in demo.charts}
    assert {"calibration", "statements", "curve-L04-2", "prescan-L04-2"} <= names.keys()
    picture = names["curve-L04-2"].read_text(encoding="utf-8")
    assert "wavelength, nm" in picture
    assert "absorbance above the pre-scan" in picture
    assert "potential" not in picture
    with Logbook.open(demo.logbook) as book:
        row = next(row for row in book.rows() if row.row.electrode == "L04-2")
        parts, whole = book.dissection_of(row), book.trace_of(row)
        assert isinstance(parts, SpectrumDissection)
        assert isinstance(whole, Spectrum)
        assert parts.baseline + parts.band + parts.residual == pytest.approx(parts.absorbance, abs=1e-12)
        assert book.verify().faults == ()

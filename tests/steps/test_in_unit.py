"""The same reading in another unit: every level moves by one factor, and what a density needs is asked for."""

from __future__ import annotations

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.errors import Refused

PER_UG = 1e3 / 58.078  # nmol in a microgram of thiocyanate, IUPAC 2021 atomic weights
DENSITY = 1.024766  # [kg/L] at salinity 35 and 20 degree Celsius, TEOS-10
rounding = 1e-12


def test_every_level_of_a_reading_moves_by_one_factor_and_nothing_else(calibrated: Logbook) -> None:
    for name in ("S-mid", "S-absent", "S-full"):
        (plain,), (moved,) = calibrated.read(name), calibrated.read(name, unit="nmol/L")
        assert (moved.unit, moved.id, moved.statement) == ("nmol/L", plain.id, plain.statement)
        one, other = plain.to_dict(), moved.to_dict()
        for key in ("estimate", "working_range", "lower_limit", "upper_limit"):
            for part, value in (one[key] or {}).items():
                if part in ("level", "sides") or value is None:
                    assert other[key][part] == value
                else:
                    assert other[key][part] == pytest.approx(value * PER_UG, rel=rounding)
        assert other["detection"] == one["detection"]
        assert "nmol/L" in moved.sentence
        assert plain.reading.curve is not None and moved.reading.curve is not None
        assert moved.reading.curve.level[-1] == pytest.approx(plain.reading.curve.level[-1] * PER_UG, rel=rounding)


def test_nothing_is_stored_for_another_unit(calibrated: Logbook) -> None:
    calibrated.read("S-mid")
    before = calibrated._place.database.logical_dump()
    calibrated.read("S-mid", unit="nmol/L")
    assert calibrated._place.database.logical_dump() == before


def test_per_kilogram_needs_salinity_and_temperature(calibrated: Logbook) -> None:
    before = calibrated._place.database.logical_dump()
    with pytest.raises(Refused, match=r"sample S-mid: ug/L into nmol/kg without the salinity and temperature"):
        calibrated.read("S-mid", unit="nmol/kg")
    assert calibrated._place.database.logical_dump() == before
    path = calibrated.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n[conditions]\ntemperature_C = 20.0\n", encoding="utf-8")
    calibrated.close()
    with Logbook.open(path.parent) as book:
        (plain,), (moved,) = book.read("S-mid"), book.read("S-mid", unit="nmol/kg")
        assert plain.reading.estimate is not None and moved.reading.estimate is not None
        assert plain.reading.estimate.lower is not None and moved.reading.estimate.lower is not None
        six_digits = 1e-6
        ratio = moved.reading.estimate.lower / plain.reading.estimate.lower
        assert abs(ratio / (PER_UG / DENSITY) - 1.0) < six_digits


def test_an_unknown_unit_or_sample_is_refused_before_anything_is_read(calibrated: Logbook) -> None:
    before = calibrated._place.database.logical_dump()
    with pytest.raises(Refused, match="the unit 'drops'"):
        calibrated.read("S-mid", unit="drops")
    with pytest.raises(Refused, match="no sample 'S-mud'"):
        calibrated.read("S-mud", unit="nmol/L")
    assert calibrated._place.database.logical_dump() == before

"""Ranges of the numbers that sheets and settings may hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

LARGEST = 1e12  # of any level or signal, in whatever unit; beyond it a sign or an exponent was lost


@dataclass(frozen=True, slots=True)
class Range:
    """Numbers from low to high; above: low itself is outside."""

    low: float
    high: float
    above: bool = False

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high and not (self.above and value == self.low)

    def __str__(self) -> str:
        low = f"{'above' if self.above else 'from'} {self.low:g}" if self.low > -LARGEST else ""
        high = f"up to {self.high:g}" if self.high < LARGEST else ""
        return " ".join(f"a number {low} {high}".split())


RANGES: Mapping[str, Range] = {
    "level": Range(0, LARGEST),
    "level_rel_u": Range(0, 1),
    "stock_level": Range(0, LARGEST, above=True),
    "added_volume_mL": Range(0, LARGEST, above=True),
    "volume_mL": Range(0, LARGEST, above=True),
    "dilution": Range(1, 1e6),
    "expected_level": Range(0, LARGEST),
    "signal": Range(-LARGEST, LARGEST),
    "signal_u": Range(0, LARGEST),
    "prescan_signal": Range(-LARGEST, LARGEST),
    "covariate": Range(0, LARGEST, above=True),
    "salinity": Range(0, 60),
    "pH": Range(0, 14),
    "temperature_C": Range(-5, 60),
    "contact_s": Range(0, 1e6),
    "scan_rate_V_per_s": Range(0, 1000, above=True),
}

TANK_RANGES: Mapping[str, Range] = {
    "count": Range(1, 1e7),
    "mass_g": Range(0, 1e6, above=True),
    "at_u_d": Range(0, 3650),
    "volume_L": Range(0, 1e9, above=True),
    "renewal_L_per_d": Range(0, 1e9),
    "carried_L": Range(0, 1e6),
    "share": Range(0, 1),
    "amount_g": Range(0, 1e9),
    "amount_ug": Range(0, LARGEST),
    "filtration_um": Range(0, 1000, above=True),
    "retained_mL": Range(0, 1e6, above=True),
}
"""Of the numbers in tank records; mass_g is of one fish."""

MARKER_RANGES: Mapping[str, Range] = {
    "value": Range(-LARGEST, LARGEST),
    "limit_of_detection": Range(0, LARGEST, above=True),
    "u": Range(0, LARGEST, above=True),
}
"""Of the numbers in tables of other methods."""

"""Recorded conditions of a sample's electrodes compared with those of the calibration electrodes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from brinemark.science.amount.conditions import EXACT, Allowance, Conditions, Value, electrode_reasons, not_recorded
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import AllowanceSection, InstrumentSection, Settings

OF_VOLTAMMOGRAMS = ("scan_rate_V_per_s", "reference")


def compared(settings: Settings) -> dict[str, Allowance]:
    """The conditions that are compared in this logbook; a spectrum has neither scan rate nor reference electrode."""
    allowed = allowances(settings.allowance)
    left_out = OF_VOLTAMMOGRAMS if settings.of_spectra else ()
    return {name: one for name, one in allowed.items() if name not in left_out}


def allowances(section: AllowanceSection) -> dict[str, Allowance]:
    """Every condition, in order, with how far beyond the span it may lie."""
    return {
        "salinity": Allowance(section.salinity),
        "pH": Allowance(section.pH),
        "temperature_C": Allowance(section.temperature_C),
        "contact_s": Allowance(relative=section.contact_part),
        "volume_mL": Allowance(relative=section.volume_part),
        "stirring": EXACT,
        "scan_rate_V_per_s": Allowance(relative=section.scan_rate_part),
        "reference": EXACT,
    }


def recorded(stored: StoredRow, settings: Settings) -> dict[str, Value]:
    """Conditions of a row: as it says, else as its instrument's section says, else the defaults of [conditions]."""
    row = stored.row
    section = settings.instrument.get(row.instrument, InstrumentSection())
    general: Mapping[str, Value | None] = dict(settings.conditions)
    own: dict[str, Value | None] = {**dict(row.conditions), "volume_mL": row.volume_mL}
    instrument = {"scan_rate_V_per_s": section.scan_rate_V_per_s, "reference": section.reference}
    found: dict[str, Value] = {}
    for name in compared(settings):
        for source in (own, instrument, general):
            value = source.get(name)
            if value is not None:
                found[name] = value
                break
    return found


def condition_findings(
    sample_rows: Sequence[StoredRow], calibration_rows: Sequence[StoredRow], settings: Settings
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Why electrodes of a sample cannot be used, by electrode, and what was not recorded, one sentence an instrument.

    sample_rows : all rows of the sample's electrodes; calibration_rows : blanks and standards of the calibration. An
    electrode is compared with those of its own instrument; an instrument without any is another reason, not ours.
    """
    failures: dict[str, str] = {}
    warnings = []
    for instrument in dict.fromkeys(row.row.instrument for row in sample_rows):
        known = _by_electrode([row for row in calibration_rows if row.row.instrument == instrument], settings)
        if not known:
            continue
        ours = _by_electrode([row for row in sample_rows if row.row.instrument == instrument], settings)
        failures |= _failures(ours, known, settings)
        sentence = not_recorded(_any_row(ours), _any_row(known), tuple(compared(settings)))
        warnings += [sentence] if sentence else []
    return failures, tuple(dict.fromkeys(warnings))


def _by_electrode(rows: Sequence[StoredRow], settings: Settings) -> dict[str, list[Conditions]]:
    found: dict[str, list[Conditions]] = {}
    for row in rows:
        found.setdefault(row.row.electrode, []).append(recorded(row, settings))
    return found


def _any_row(lives: Mapping[str, Sequence[Conditions]]) -> list[Conditions]:
    """What any row of each electrode recorded: a volume stands in one row of a life."""
    return [{name: value for row in life for name, value in row.items()} for life in lives.values()]


def _failures(
    ours: Mapping[str, Sequence[Conditions]], known: Mapping[str, Sequence[Conditions]], settings: Settings
) -> dict[str, str]:
    standards = [row for life in known.values() for row in life]
    found = {}
    for electrode, rows in ours.items():
        reasons = electrode_reasons(rows, standards, compared(settings))
        if reasons:
            found[electrode] = "; ".join(reasons)
    return found

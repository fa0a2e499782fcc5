"""Recorded conditions of a sample's electrodes compared with those of the calibration electrodes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from brinemark.science.amount.conditions import EXACT, Allowance, Conditions, Value, electrode_reasons, not_recorded
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import AllowanceSection, InstrumentSection, Settings


def allowances(section: AllowanceSection) -> dict[str, Allowance]:
    """Every condition that is compared, in order, with how far beyond the span it may lie."""
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
    for name in allowances(settings.allowance):
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
    allowed = allowances(settings.allowance)
    by_instrument: dict[str, list[Conditions]] = {}
    for row in calibration_rows:
        by_instrument.setdefault(row.row.instrument, []).append(recorded(row, settings))
    failures, warnings = {}, []
    for instrument in dict.fromkeys(row.row.instrument for row in sample_rows):
        known = by_instrument.get(instrument)
        if known is None:
            continue
        ours = [row for row in sample_rows if row.row.instrument == instrument]
        failures.update(_failures(ours, known, settings))
        sentence = not_recorded([recorded(row, settings) for row in ours], known, tuple(allowed))
        warnings += [sentence] if sentence else []
    return failures, tuple(dict.fromkeys(warnings))


def _failures(rows: Sequence[StoredRow], known: Sequence[Conditions], settings: Settings) -> dict[str, str]:
    found = {}
    for electrode in dict.fromkeys(row.row.electrode for row in rows):
        own = [recorded(row, settings) for row in rows if row.row.electrode == electrode]
        reasons = electrode_reasons(own, known, allowances(settings.allowance))
        if reasons:
            found[electrode] = "; ".join(reasons)
    return found

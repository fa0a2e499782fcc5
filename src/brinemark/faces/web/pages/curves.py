"""The page Curves: many over one another, and one in detail with all that its number rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import row_of, row_words, rows_of
from brinemark.faces.web.numbers import scaled, shown_unit
from brinemark.faces.web.pages import curve_choice
from brinemark.faces.web.visit import Visit
from brinemark.steps.answers import flag_dict
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow

if TYPE_CHECKING:
    from brinemark.steps.row_signals import ReadRow, RowSignal

WORDS = {"main": "signal", "prescan": "pre-scan", "zero": "pre-scan at the wave's place"}
CONDITIONS = {
    "pH": "pH",
    "temperature_C": "temperature, °C",
    "contact_s": "time of contact, s",
    "scan_rate_V_per_s": "scan rate, V/s",
    "reference": "reference electrode",
}
WAVES = {
    "theoretical": "the wave of theory, since none was learned yet",
    "of all": "the wave that the blanks and standards of all batches taught",
}


def table(visit: Visit) -> Answer:
    """The chosen curves: their picture, and a table of them."""
    choice = curve_choice.choice_of(visit)
    found = curve_choice.rows_for(visit, choice)
    part, shown = curve_choice.part_of(visit, choice, found)
    key = ("curves", choice, shown["first"], shown["last"])
    data = {
        "choice": choice.to_dict(),
        "options": curve_choice.options_of(visit),
        "curves": visit.desk.kept(key, lambda: _lines(visit, choice, part)),
        "shown": shown,
        "each": choice.curves_of_a_row,
        "most": curve_choice.MOST,
        "picture": _picture(visit, choice) if part else "",
        "any": bool(rows_of(visit.desk)),
    }
    return Page("curves.html", "Curves", data)


def _picture(visit: Visit, choice: curve_choice.Choice) -> str:
    """The same choice as the address of its picture."""
    from urllib.parse import urlencode

    pairs = [(name, text) for name, text in choice.to_dict().items() if text]
    pairs += [("row", name) for name in choice.rows]
    pairs += [("from", visit.ask("from"))] if visit.ask("from") else []
    return f"/pictures/overlay.svg?{urlencode(pairs)}"


def _lines(visit: Visit, choice: curve_choice.Choice, rows: Sequence[StoredRow]) -> list[dict[str, Any]]:
    """One entry for each curve that is drawn."""
    unit = shown_unit(visit.settings.analyte.level_unit)
    lines = []
    for read in visit.book.signals_of(rows):
        row = read.row
        kinds = [(True, row.prescan_sha256)] if choice.prescans != "none" else []
        kinds += [(False, row.trace_sha256)] if choice.prescans != "only" else []
        lines += [_line(read, prescan, unit) for prescan, sha256 in kinds if sha256]
    return lines


def _line(read: ReadRow, prescan: bool, unit: str) -> dict[str, Any]:
    row = read.row.row
    signals = [_signal(one) for one in read.signals if (one.role != "main") is prescan]
    return {
        "row_id": read.row.id,
        "electrode": row.electrode,
        "batch": row.batch,
        "instrument": row.instrument,
        "measured_at": row.measured_at.isoformat(),
        "role": row.role,
        "level": row.level,
        "sample": row.sample,
        "words": row_words(row, unit),
        "prescan": prescan,
        "address": address_of(read.row, prescan),
        "signals": signals,
        "reason": read.reason,
    }


def _signal(one: RowSignal) -> dict[str, Any]:
    kind, _, covariate = one.role.partition(" ")
    value = one.signal
    factor, unit = scaled(value.unit, [value.value, value.u])
    return {
        "role": one.role,
        "words": f"pre-scan, {covariate}" if covariate else WORDS[kind],
        "signal": value.value,
        "u": value.u,
        "unit": value.unit,
        "parts": {"noise": value.u_noise * factor, "baseline": value.u_baseline * factor, "unit": unit},
        "flags": [flag_dict(flag) for flag in value.flags],
        "record": one.record,
        "wave": one.wave,
    }


def address_of(row: StoredRow, prescan: bool = False, covariate: str = "") -> str:
    """Where one curve is shown in detail."""
    more = f"&covariate={segment(covariate)}" if covariate else ""
    return f"/curves/{row.id}{f'?prescan=1{more}' if prescan else ''}"


def one(visit: Visit) -> Answer:
    """One curve in detail: the row's own, or its pre-scan."""
    row = row_of(visit.desk, visit.path["row_id"])
    prescan, covariate = visit.ask("prescan") == "1", visit.ask("covariate")
    key = ("curve", row.id, prescan, covariate)
    data = visit.desk.kept(key, lambda: _detail(visit, row, prescan, covariate))
    what = f"Pre-scan of electrode {row.row.electrode}" if prescan else f"Curve of electrode {row.row.electrode}"
    return Page("curve.html", what, data)


def _detail(visit: Visit, row: StoredRow, prescan: bool, covariate: str) -> dict[str, Any]:
    sha256 = row.prescan_sha256 if prescan else row.trace_sha256
    (read,) = visit.book.signals_of([row])
    signals = [_signal(one) for one in read.signals if (one.role != "main") is prescan]
    for told in signals:
        told["read_by"] = _wave(visit, told)
    current = row.id in {one.id for one in rows_of(visit.desk)}
    unreadable = _unreadable(visit, row, prescan, covariate) if sha256 else ""
    return {
        "row_id": row.id,
        "electrode": row.row.electrode,
        "batch": row.row.batch,
        "instrument": row.row.instrument,
        "measured_at": row.row.measured_at.isoformat(),
        "words": row_words(row.row, shown_unit(visit.settings.analyte.level_unit)),
        "sample": row.row.sample or "",
        "number": row.row.number,
        "note": row.row.note or "",
        "prescan": prescan,
        "covariate": covariate,
        "has_curve": sha256 is not None,
        "superseded": not current,
        "unreadable": unreadable,
        "reason": read.reason,
        "picture": _picture_of_one(row, prescan, covariate, bool(unreadable)) if sha256 else "",
        "signals": signals,
        "conditions": [{"name": CONDITIONS.get(name, name), "value": value} for name, value in row.row.conditions],
        "file": {"sha256": sha256 or "", "name": (row.row.prescan if prescan else row.row.trace) or ""},
        "sheet": _sheet(visit, row),
        "other": _other(visit, row, prescan, covariate),
        **_neighbours(visit, row, prescan),
    }


def _unreadable(visit: Visit, row: StoredRow, prescan: bool, covariate: str) -> str:
    """Why the curve cannot be taken apart; "" when it can."""
    try:
        visit.book.dissection_of(row, prescan, covariate)
    except Refused as refusal:
        return str(refusal)
    return ""


def _picture_of_one(row: StoredRow, prescan: bool, covariate: str, plain: bool) -> str:
    if plain:
        return f"/pictures/overlay.svg?row={row.id}{'&prescans=only' if prescan else ''}"
    more = f"&prescan=1{f'&covariate={segment(covariate)}' if covariate else ''}" if prescan else ""
    return f"/pictures/trace.svg?row={row.id}{more}"


def _wave(visit: Visit, told: Mapping[str, Any]) -> dict[str, Any]:
    """The wave that read a signal, in words, and its record where there is one."""
    if told["role"].startswith("prescan"):
        return {"words": "what the settings say of the covariate; no wave is learned for it", "record": ""}
    try:
        found = visit.book.record(told["wave"]) if told["wave"] else None
    except Refused:
        found = None
    if found is None:
        return {"words": WAVES["theoretical"], "record": ""}
    results: Any = found.results
    words = WAVES.get(found.role, f"the wave that the others taught, {found.role}")
    place = f"summit at {results['place_V']:.3f} V" if "place_V" in results else f"at {results['place_nm']:.0f} nm"
    return {"words": f"{words}; {results['source']} from {results['traces']} curves, {place}", "record": found.id}


def _sheet(visit: Visit, row: StoredRow) -> dict[str, str]:
    sheets = visit.desk.kept("all sheets", lambda: {one.id: one for one in visit.book.sheets()})
    found = sheets[row.sheet_id]
    return {"title": found.title, "sha256": found.file_sha256, "id": found.id}


def _other(visit: Visit, row: StoredRow, prescan: bool, covariate: str) -> list[dict[str, str]]:
    """The other curves of the same row, and other quantities of its pre-scan."""
    found = []
    if prescan and row.trace_sha256:
        found.append({"words": "the row's own curve", "address": address_of(row)})
    if row.prescan_sha256 and not (prescan and not covariate):
        found.append({"words": "its pre-scan", "address": address_of(row, True)})
    names = visit.settings.further_covariate if row.prescan_sha256 else ()
    further = [name for name in names if not (prescan and covariate == name)]
    return found + [{"words": f"pre-scan, {name}", "address": address_of(row, True, name)} for name in further]


def _neighbours(visit: Visit, row: StoredRow, prescan: bool) -> dict[str, Any]:
    """The curves before and after it of the same batch, by time."""
    choice = curve_choice.Choice(batch=row.row.batch, prescans="only" if prescan else "none")
    found = curve_choice.rows_for(visit, choice)
    places = [place for place, one in enumerate(found) if one.id == row.id]
    around: dict[str, Any] = {"before": None, "after": None}
    unit = shown_unit(visit.settings.analyte.level_unit)
    if places:
        for name, place in (("before", places[0] - 1), ("after", places[0] + 1)):
            if 0 <= place < len(found):
                other = found[place]
                words = "" if prescan else row_words(other.row, unit)
                told = {"electrode": other.row.electrode, "words": words, "address": address_of(other, prescan)}
                around[name] = told
    return around

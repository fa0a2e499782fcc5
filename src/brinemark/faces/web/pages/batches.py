"""The pages of batches: how each was made, its electrodes and what became of them, limits, and a new one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import calibration_of, rows_of
from brinemark.faces.web.numbers import number_from, shown_unit
from brinemark.faces.web.visit import Faulty, Visit, sliced
from brinemark.terms.errors import Refused
from brinemark.terms.making import BY_NAME, FACTORS, SPENT, STATES, Factor

FIELDS = ("batch", "made_on", "maker", "recipe", "note")
FACTOR = "factors."  # begins the name of a factor's field, so that none can be taken for another field


def table(visit: Visit) -> Answer:
    """All batches, newest first, with the states of their electrodes."""
    found = visit.desk.kept("batches", lambda: [_short(one.to_dict()) for one in reversed(visit.book.batches())])
    word = visit.ask("find").casefold()
    wanted = [one for one in found if word in one["batch"].casefold()] if word else found
    part, shown = sliced(visit, len(wanted))
    data = {"batches": wanted[part], "shown": shown, "states": list(STATES)}
    return Page("batches.html", "Batches", data)


def one(visit: Visit) -> Answer:
    """One batch: its making, its electrodes, what they can do, and how sound their films are."""
    name = visit.path["name"]
    data = visit.desk.kept(("batch", name), lambda: _data(visit, name))
    return Page("batch.html", f"Batch {name}", data)


def set_aside(visit: Visit) -> Answer:
    """Set an electrode aside, or take it back, with a reason."""
    electrode, back = visit.need("electrode", "electrode"), visit.get("back") == "yes"
    visit.book.set_aside(electrode, visit.need("reason", "reason"), back)
    return GoTo(f"/batches/{segment(visit.path['name'])}", f"{electrode} {'taken back' if back else 'set aside'}.")


def form(visit: Visit) -> Answer:
    """A new batch, or a correction of one ("corrects" in the address)."""
    corrects = visit.ask("corrects")
    before: Mapping[str, Any] = {}
    if corrects:
        found = visit.book.batch(corrects)
        if found.making is None:
            raise Refused(f"no making of batch {corrects!r}", "a batch with a making", "record one instead")
        before = {"batch": found.name, **(found.to_dict()["making"] or {})}
    data = {
        "corrects": corrects,
        "before": _filled(before),
        "groups": [{"name": name, "factors": list(group)} for name, group in _factors(before)],
        "recipes": _said_before(visit, "recipe"),
        "makers": _said_before(visit, "maker"),
        "today": date.today().isoformat(),
    }
    return Page("batch_form.html", f"Correct batch {corrects}" if corrects else "A new batch", data)


def record(visit: Visit) -> Answer:
    """Record a making, or its correction."""
    corrects = visit.ask("corrects") or None
    values = _values(visit)
    findings = visit.book.making_findings(values, corrects)
    if findings:
        raise Faulty(findings)
    made = visit.book.record_making(values, corrects, visit.get("reason") or None)
    said = "Recorded." if made.new else "The same was recorded already; nothing changed."
    return GoTo(f"/batches/{segment(made.batch.name)}", said)


def labels(visit: Visit) -> Answer:
    """Labels to print and cut, one for each electrode that is asked for ("electrode"), or for those not used yet."""
    found = visit.book.batch(visit.path["name"])
    wanted = set(visit.asked.get("electrode", ())) or {one.electrode for one in found.electrodes if one.state != SPENT}
    made_on = found.making.made_on if found.making else ""
    shown = [
        {
            "electrode": one.electrode,
            "batch": found.name,
            "made_on": made_on,
            "code": f"/pictures/code.svg?{urlencode({'text': one.electrode})}",
        }
        for one in found.electrodes
        if one.electrode in wanted
    ]
    if not shown:
        raise Refused(
            f"no electrode of batch {found.name} to label", "one that is not used yet", "choose another batch"
        )
    return Page("labels.html", f"Labels of batch {found.name}", {"batch": found.name, "labels": shown})


def _short(plain: Mapping[str, Any]) -> dict[str, Any]:
    making = plain["making"] or {}
    return {
        "batch": plain["batch"],
        "made_on": making.get("made_on", ""),
        "maker": making.get("maker") or "",
        "recipe": making.get("recipe") or "",
        "count": len(plain["electrodes"]),
        "counts": plain["counts"],
    }


def _data(visit: Visit, name: str) -> dict[str, Any]:
    found = visit.book.batch(name)
    plain = found.to_dict()
    report, _ = calibration_of(visit.desk)
    made = None if report is None else report.to_dict()
    films = {} if made is None else {one["electrode"]: one for one in made["films"]}
    for electrode, said in zip(plain["electrodes"], found.electrodes, strict=True):
        electrode["words"] = said.words
        electrode["film"] = films.get(electrode["electrode"])
    limits = [] if made is None else [one for one in made["limits"] if one["batch"] == name]
    there = made is not None and name in made["electrodes"]["batches"]
    scanned = any(row.row.batch == name and row.prescan_sha256 for row in rows_of(visit.desk))
    curves = urlencode({"batch": name, "prescans": "only"})
    asked = urlencode([("calibration", report.id), ("batch", name)]) if there else ""
    return {
        **plain,
        "groups": _groups(plain["making"]),
        "limits": limits,
        "unit": visit.settings.analyte.level_unit,
        "fan": f"/pictures/calibration.svg?{asked}" if asked else "",
        "prescans": f"/pictures/overlay.svg?{curves}" if scanned else "",
        "curves": f"/curves?{curves}" if scanned else "",
        "films": any(one["film"] for one in plain["electrodes"]),
        "some_left": any(one.state != SPENT for one in found.electrodes),
    }


def _groups(making: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    """Factors that were written down, by the step of the work."""
    written = [] if making is None else making["factors"]
    pairs = [(BY_NAME[one["name"]], one["value"]) for one in written]
    found = [
        {"name": name, "factors": [{**_factor(factor), "value": value} for factor, value in group]}
        for name, group in groupby(pairs, key=lambda pair: pair[0].group)
    ]
    if making and making["further"]:
        further = [
            {"name": key, "meaning": key, "unit": "", "value": value} for key, value in making["further"].items()
        ]
        found.append({"name": "further", "factors": further})
    return found


def _factor(factor: Factor) -> dict[str, Any]:
    unit = "" if factor.unit == "1" else factor.unit.replace("degrees C", "°C").replace("mm2", "mm²")
    return {"name": factor.name, "meaning": factor.meaning, "unit": shown_unit(unit), "number": factor.is_number}


def _factors(before: Mapping[str, Any]) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """The fields of all factors, by the step of the work, with what was written before."""
    values = {one["name"]: one["value"] for one in before.get("factors", ())}
    for name, group in groupby(FACTORS, key=lambda factor: factor.group):
        yield name, [{**_factor(one), "value": values.get(one.name, "")} for one in group]


def _filled(before: Mapping[str, Any]) -> dict[str, str]:
    """What a form begins with: nothing, or what was recorded before."""
    plain = {name: before.get(name) or "" for name in FIELDS}
    plain["electrodes"] = "\n".join(before.get("electrodes", ()))
    plain["positions"] = "\n".join(f"{name} = {place}" for name, place in before.get("positions", {}).items())
    plain["further"] = "\n".join(f"{name} = {value}" for name, value in before.get("further", {}).items())
    return plain


def _values(visit: Visit) -> dict[str, object]:
    """A form as a making file would say it; numbers with point or comma."""
    values: dict[str, object] = {name: visit.get(name) for name in FIELDS if visit.get(name)}
    names = [line.strip() for line in visit.get("electrodes").replace(",", "\n").splitlines() if line.strip()]
    if names:
        values["electrodes"] = names
    elif visit.get("electrode_count"):
        values["electrode_count"] = _number(visit.get("electrode_count"))
    factors = {one.name: visit.get(FACTOR + one.name) for one in FACTORS if visit.get(FACTOR + one.name)}
    if factors:
        values["factors"] = {name: _number(text) if BY_NAME[name].is_number else text for name, text in factors.items()}
    for name in ("positions", "further"):
        if visit.get(name):
            values[name] = dict(_pairs(visit.get(name), name))
    return values


def _number(text: str) -> object:
    """A number, or the text itself, whose fault is then told with its field."""
    try:
        value = number_from(text)
    except ValueError:
        return text
    return int(value) if value == int(value) else value


def _pairs(text: str, name: str) -> Iterator[tuple[str, object]]:
    """Lines "name = value". Raises Refused."""
    for line in filter(None, (line.strip() for line in text.splitlines())):
        key, mark, value = line.partition("=")
        if not (mark and key.strip() and value.strip()):
            raise Refused(f"the line {line!r}", "NAME = VALUE", "write one on each line", column=name)
        yield key.strip(), value.strip() if name == "positions" else _number(value.strip())


def _said_before(visit: Visit, what: str) -> Sequence[str]:
    """Recipes or makers of earlier batches, for the list of a field."""
    found = [getattr(one.making, what) for one in visit.book.batches() if one.making]
    return sorted({text for text in found if text})

"""The form of a study: its fields named as the file of the command names them, and filled in from a kept study."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.pages.planned import (
    NO_LEVEL,
    STUDIES,
    address_of,
    joined,
    number_in,
    numbers_in,
    whole_in,
)
from brinemark.faces.web.visit import Faulty, Visit
from brinemark.steps.planned_run import rises_of
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding

if TYPE_CHECKING:
    from brinemark.science.amount.simulate import Protocol

ONCE, AS_SAMPLES = "once", "as samples"
WAYS = (
    ("single", "once"),
    ("pre-scan", "pre-scan, sample"),
    ("pre-scan and spike", "pre-scan, sample, closing spike"),
    ("rising additions", "pre-scan, sample, rising additions"),
)
"""How electrodes are read: as plans name it, and in words."""
FIELDS = (
    *("title", "batches", "seed", "batch.electrodes", "batch.burned", "burned_read"),
    *("samples.levels", "samples.dilutions", "samples.water_K_sd"),
    *("read", "samples.additions", "samples.closing_spike"),
)


def usual(visit: Visit) -> dict[str, Any]:
    """Additions and the closing spike as this logbook makes them. Raises Refused without a calibration."""
    ways = visit.desk.kept("usual ways", visit.book.usual_ways)
    rises, spike = _rounded(ways["rising additions"])
    return {"additions": list(rises), "closing_spike": spike}


def values_of(visit: Visit) -> Mapping[str, object]:
    """The form as a file would say it. Raises Faulty with everything that cannot be read."""
    faults: list[Finding] = []

    def read(make: Callable[[], Any]) -> Any:
        try:
            return make()
        except Refused as fault:
            faults.append(Finding.of(fault))
            return None

    get = visit.get
    batch = {
        "electrodes": read(lambda: whole_in(get, "batch.electrodes", None)),
        "burned": read(lambda: _levels(visit)),
    }
    samples = {
        "levels": read(lambda: _needed(visit, "samples.levels", "levels of the samples")),
        "dilutions": read(lambda: numbers_in(get, "samples.dilutions")) or (1.0,),
        "water_K_sd": read(lambda: number_in(get, "samples.water_K_sd")),
    }
    way = read(lambda: _way(visit)) or {}
    burned_way = {} if get("burned_read") == ONCE else way
    values = {
        "title": get("title") or None,
        "batches": read(lambda: whole_in(get, "batches", None)),
        "batches_per_history": 1,  # with a calibration as the history, one more of them costs nothing
        "seed": read(lambda: whole_in(get, "seed", 1)),
        "batch": _listed({**batch, **burned_way}),
        "samples": _listed({**samples, **way}),
    }
    if faults:
        raise Faulty(faults)
    return {name: value for name, value in values.items() if value is not None}


def address_of_request(request: Mapping[str, Any]) -> str:
    """The form with what a kept study was asked filled in; "" where the form has no words for it."""
    batch, samples = request["batch"], request["samples"]
    read = _name_of(samples["way"])
    if request["population"] is not None or read is None or batch["way"] not in (samples["way"], _PLAIN):
        return ""
    fields = {
        "title": request["title"] or "",
        "batches": str(request["batches"]),
        "seed": str(request["seed"]),
        "batch.electrodes": str(batch["electrodes"]),
        "batch.burned": joined(batch["burned"]) or NO_LEVEL,
        "burned_read": AS_SAMPLES if batch["way"] == samples["way"] else ONCE,
        "samples.levels": joined(samples["levels"]),
        "samples.dilutions": joined(samples["dilutions"]),
        "samples.water_K_sd": f"{samples['water_K_sd']:g}",
        "read": read,
        "samples.additions": joined(samples["way"]["additions"]),
        "samples.closing_spike": "" if samples["way"]["spike"] is None else f"{samples['way']['spike']:g}",
    }
    return address_of(STUDIES, fields)


_PLAIN = {"prescan": False, "additions": [], "spike": None}


def _name_of(way: Mapping[str, Any]) -> str | None:
    """The name of a way of reading, None for one that the form does not offer."""
    prescan, additions, spike = way["prescan"], bool(way["additions"]), way["spike"] is not None
    names = {
        (False, False, False): "single",
        (True, False, False): "pre-scan",
        (True, False, True): "pre-scan and spike",
        (True, True, True): "rising additions",
    }
    return names.get((prescan, additions, spike))


def _way(visit: Visit) -> dict[str, Any]:
    """What an electrode goes through; rises that are left empty are the logbook's own. Raises Refused."""
    name = visit.get("read") or "single"
    if name not in dict(WAYS):
        raise Refused(f"{name[:40]!r}", f"one of {', '.join(dict(WAYS))}", "choose one of them", column="read")
    additions, spike = numbers_in(visit.get, "samples.additions"), number_in(visit.get, "samples.closing_spike")
    if additions and name != "rising additions":
        raise _idle("additions", name, "samples.additions")
    if spike is not None and name in ("single", "pre-scan"):
        raise _idle("a closing spike", name, "samples.closing_spike")
    if name in ("single", "pre-scan"):
        return {"prescan": name == "pre-scan"}
    rises = usual(visit)
    spiked = {"prescan": True, "closing_spike": rises["closing_spike"] if spike is None else spike}
    if name == "pre-scan and spike":
        return spiked
    return {**spiked, "additions": list(additions or rises["additions"])}


def _idle(what: str, name: str, column: str) -> Refused:
    words = dict(WAYS)[name]
    return Refused(
        f"{what} with electrodes read by: {words}",
        "a way that has them",
        "choose it, or empty the field",
        column=column,
    )


def _levels(visit: Visit) -> tuple[float, ...]:
    """Levels of burned electrodes; an empty field and the word for none are none."""
    if visit.get("batch.burned").lower() == NO_LEVEL:
        return ()
    return numbers_in(visit.get, "batch.burned") or ()


def _needed(visit: Visit, name: str, words: str) -> tuple[float, ...]:
    found = numbers_in(visit.get, name)
    if found is None:
        raise Refused(f"no {words}", "one or several, with spaces between them", "fill in the field", column=name)
    return found


def _listed(values: Mapping[str, Any]) -> dict[str, Any]:
    """As a file would say it: lists, and nothing that was left empty."""
    plain = {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}
    return {name: value for name, value in plain.items() if value is not None}


def _rounded(protocol: Protocol) -> tuple[tuple[float, ...], float | None]:
    """Rises with three digits, as the form shows them."""
    rises, spike = rises_of(protocol)
    return tuple(float(f"{one:.3g}") for one in rises), None if spike is None else float(f"{spike:.3g}")

"""Another window of the signal, tried on blanks, standards and controls before anything is locked; samples stay hidden.

Whatever is tried is kept and counted, as the verb `signals` keeps it; a visit of the page alone tries nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.pages.window_view import view_of
from brinemark.faces.web.visit import Visit
from brinemark.steps.candidates import BASELINES, QUANTITIES, definition_words, own_window
from brinemark.terms.curves import BAND
from brinemark.terms.errors import Refused
from brinemark.terms.settings import CurveSection

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.trial_answers import DefinitionTrial, KnownReading

SWEEPS = ("anodic", "cathodic")
MOST_AT_ONCE = 120
"""Electrodes that a request reads; more are read by a job."""

NAMES = ("low", "high", "quantity", "baseline", "sweep")
STEPS = {"V": 0.01, "nm": 1.0}


def show(visit: Visit) -> Answer:
    """The curves with the window that the address names, and what it does where it was tried already."""
    asked = _asked(visit.asked)
    trial = _kept(visit, asked)
    data: dict[str, Any] = {
        "asked": asked,
        "waiting": bool(asked) and trial is None,
        "definition": _form(visit, asked),
        "trial": None if trial is None else _told(visit, trial, asked),
    }
    if visit.part:
        return Page("window_effect.html", "What the window does", data)
    data["view"] = _view(visit, data["definition"])
    data["close"] = visit.ask("close") == "1"
    data["other_view"] = visit.with_asked(close="" if data["close"] else "1")
    data["count"] = visit.desk.kept("known count", visit.book.known_count)
    data["seen"] = visit.desk.kept("definition seen", lambda: _seen(visit))
    return Page("window.html", "Try a window of the signal", data)


def _view(visit: Visit, form: Mapping[str, Any]) -> dict[str, Any]:
    """Curves on the surface: all that they share, or the window from close where the address wishes that."""
    ends = None
    if visit.ask("close") == "1" and form["low"] and form["high"] and float(form["low"]) < float(form["high"]):
        ends = float(form["low"]), float(form["high"])
    key = ("window view", form["sweep"], ends)
    return visit.desk.kept(key, lambda: view_of(*visit.book.curves_to_try(form["sweep"]), ends))


def begin(visit: Visit) -> Answer:
    """Try the definition of the form and keep it as tried; in a job when there are many electrodes. Raises Refused."""
    asked = _asked(visit.given)
    if "low" not in asked or "high" not in asked:
        raise Refused("a window with one end", "its low and its high end", "fill in both")
    close = {"close": "1"} if visit.get("close") == "1" else {}
    address = f"/curves/window?{urlencode(asked | close)}#effect"
    if visit.desk.kept("known count", visit.book.known_count) > MOST_AT_ONCE:
        job = visit.desk.jobs.begin("try", "Try a window of the signal", **_arguments(asked), see=address)
        return GoTo(f"/jobs/{job.id}")
    trial = visit.book.try_definition(**_arguments(asked))
    # Under the head that the trial itself has written: the page that follows need not read the curves again.
    visit.desk.kept(_key(asked), lambda: trial)
    return GoTo(address)


def tried(visit: Visit) -> Answer:
    """Every definition that was ever tried, newest last."""
    found = visit.desk.kept("tried", lambda: [one.to_dict() for one in visit.book.signals_tried()])
    rows = [one | {"address": _address_of(one["signal"])} for one in found]
    return Page("definitions.html", "Definitions tried", {"definitions": rows, "present": _present(visit)})


def rank(visit: Visit) -> Answer:
    """Rank definitions by the error of the amount, as a job: all of them, or those in the window of the form."""
    asked = _asked(visit.given)
    windows = [(float(asked["low"]), float(asked["high"]))] if "low" in asked and "high" in asked else []
    title = "Rank definitions of the signal"
    job = visit.desk.jobs.begin("rank", title, windows=windows)
    return GoTo(f"/jobs/{job.id}")


def draw(visit: Visit, kind: Kind) -> bytes:
    """What the definition of the address gives, beside the present one; only where it was tried. Raises Refused."""
    trial = _kept(visit, _asked(visit.asked))
    if trial is None:
        raise Refused("a definition that was not tried", "one that was", "try it on the page of windows")
    return visit.book.draw_trial(trial, kind)


def _asked(given: Mapping[str, Any]) -> dict[str, str]:
    """The parts of a definition that an address or a form names, numbers with a decimal point. Raises Refused."""
    found = {name: given[name][0].strip() for name in NAMES if given.get(name) and given[name][0].strip()}
    for name in ("low", "high"):
        if name in found:
            found[name] = _number(found[name], f"{name} end of the window")
    return found


def _number(text: str, what: str) -> str:
    try:
        return f"{number_from(text):.6g}"
    except ValueError:
        raise Refused(f"{text!r} as {what}", "a number", "write it with digits", column=what) from None


def _arguments(asked: Mapping[str, str]) -> dict[str, Any]:
    """The same as arguments of `Logbook.try_definition`."""
    window = (float(asked["low"]), float(asked["high"])) if "low" in asked and "high" in asked else None
    return {"window": window, **{name: asked.get(name, "") for name in NAMES[2:]}}


def _key(asked: Mapping[str, str]) -> tuple[str, ...]:
    return ("trial", *(f"{name}={asked[name]}" for name in NAMES if name in asked))


def _kept(visit: Visit, asked: Mapping[str, str]) -> DefinitionTrial | None:
    """What was tried already, or without anything asked what the present one does, unless that would take long."""

    def look() -> DefinitionTrial | None:
        many = visit.desk.kept("known count", visit.book.known_count) > MOST_AT_ONCE
        return None if many and not asked else visit.book.definition_tried(**_arguments(asked))

    return visit.desk.kept(_key(asked), look)


def _present(visit: Visit) -> dict[str, Any]:
    section = visit.settings.signal
    return {"words": definition_words(section), "signal": section.model_dump(mode="json")}


def _form(visit: Visit, asked: Mapping[str, str]) -> dict[str, Any]:
    """What the fields hold: the definition of the address, else the present one."""
    section = visit.settings.signal
    of_waves = isinstance(section, CurveSection)
    quantities = QUANTITIES if of_waves else (BAND,)
    unit = "V" if of_waves else "nm"
    ends = own_window(section)
    present = {
        "low": "" if ends is None else _written(ends[0], unit),
        "high": "" if ends is None else _written(ends[1], unit),
        "quantity": section.quantity if section.quantity in quantities else quantities[0],
        "baseline": getattr(section, "baseline", BASELINES[0]),
        "sweep": getattr(section, "sweep", ""),
    }
    return {
        **present,
        **{name: _written(float(text), unit) if name in ("low", "high") else text for name, text in asked.items()},
        "present": _present(visit) | {"low": present["low"], "high": present["high"]},
        "unit": unit,
        "step": STEPS[unit],
        "quantities": [(name, name) for name in quantities],
        "baselines": [(name, name) for name in BASELINES],
        "sweeps": [(name, name) for name in SWEEPS] if of_waves else [],
    }


def _written(value: float, unit: str) -> str:
    """An end of a window: two decimals of a potential, more where it has more."""
    text = f"{value:.6g}"
    return text if unit != "V" or len(text.partition(".")[2]) >= 2 else f"{value:.2f}"


def _seen(visit: Visit) -> dict[str, Any]:
    """What was read of samples so far."""
    seen = visit.book.definition_seen()
    return {"readings": seen.readings, "locked": seen.locked, "warnings": seen.warnings}


def _told(visit: Visit, trial: DefinitionTrial, asked: Mapping[str, str]) -> dict[str, Any]:
    plain = visit.desk.kept((*_key(asked), "told"), lambda: _plain(trial))
    query = urlencode(asked)
    return {**plain, "picture": f"/pictures/definition.svg{f'?{query}' if query else ''}", "settings": _settings(trial)}


def _plain(trial: DefinitionTrial) -> dict[str, Any]:
    present = {one.electrode: one for one in trial.present.readings}
    told = trial.to_dict()
    of_present = {one["level"]: one["share"] for one in told["present"]["scatter"]}
    return {
        **told,
        "scatter": [one | {"present_share": of_present.get(one["level"])} for one in told["tried"]["scatter"]],
        "flags": _flags(told),
        "readings": [_reading(one, present[one.electrode]) for one in trial.tried.readings],
    }


def _flags(told: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each flag once, with how many curves have it by the tried and by the present definition."""
    found: dict[str, dict[str, Any]] = {}
    for which in ("tried", "present"):
        for one in told[which]["flags"]:
            entry = found.setdefault(one["name"], {"name": one["name"], "meaning": one["meaning"]})
            entry[which] = one["count"]
    return [{"tried": 0, "present": 0, **one} for one in found.values()]


def _reading(tried: KnownReading, present: KnownReading) -> dict[str, Any]:
    return tried.to_dict() | {"address": f"/curves/{tried.row}", "present": present.to_dict()}


def _settings(trial: DefinitionTrial) -> str:
    """Where the definition is made the logbook's own, with its values filled in."""
    section = trial.tried.candidate.section.model_dump(mode="json")
    pairs = [(f"signal.{name}", _as_text(value)) for name, value in section.items()]
    return f"/settings?{urlencode(pairs)}#section-signal"


def _as_text(value: Any) -> str:
    return ",".join(f"{one:.6g}" for one in value) if isinstance(value, list) else str(value)


def _address_of(signal: Mapping[str, Any]) -> str:
    """The page of windows with a definition that was tried; "" for one that has no window."""
    window = signal.get("window_V") or signal.get("window_nm")
    if not window:
        return ""
    pairs = {"low": f"{window[0]:g}", "high": f"{window[1]:g}", "quantity": signal["quantity"]}
    pairs |= {name: signal[name] for name in ("baseline", "sweep") if name in signal}
    return f"/curves/window?{urlencode(pairs)}"

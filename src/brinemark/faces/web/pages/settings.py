"""The page Settings: logbook.toml as a form. What a change costs is said before it is kept, and nothing is kept before
all of it is right."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.pages.settings_form import ABSENT, Form, from_address, plain, value_text
from brinemark.faces.web.visit import Visit
from brinemark.records.settings_edit import dotted
from brinemark.steps.change_settings import (
    ACTION,
    KeyChange,
    Present,
    Proposal,
    Wish,
    change_at,
    present,
    propose_at,
)
from brinemark.steps.place import SETTINGS_FILE
from brinemark.terms.canonical import JsonValue, canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused

KEEP, LOOK = "keep", "look"
OWN = ("token", "do", "shown", "was", "looked", "reason", "although_read")


def show(visit: Visit) -> Answer:
    """The form with what holds now, or with what was filled in."""
    now = present(visit.desk.folder)
    given = _given(visit, now) if visit.given else from_address(visit.asked, now)
    form = Form(now, given, visit.style)
    form.put(now.findings)
    return _page(visit, form)


def keep(visit: Visit) -> Answer:
    """Say what the form would change; keep it when that was looked at. Raises Refused."""
    now = present(visit.desk.folder)
    if visit.get("shown") != now.sha256:
        raise Refused(
            f"{SETTINGS_FILE} was changed elsewhere since this form was loaded",
            "the file as it was shown",
            "your changes stand below beside the present values; look at them again",
        )
    form = Form(now, _given(visit, now), visit.style)
    changes = form.changes()
    proposal = propose_at(visit.desk.folder, changes)
    findings = [*form.own_findings(), *proposal.findings]
    if findings:
        form.put(findings)
        return _page(visit, form, status=422)
    if not proposal.changed:
        return GoTo("/settings", "The file says that already; nothing was changed.")
    looked = sha256_hex(canonical_bytes([one.to_dict() for one in proposal.changed]))
    if visit.get("do") != KEEP or (visit.get("looked") != looked and not visit.wants_json):
        return _page(visit, form, _proposed(visit, form, proposal, (looked, "")))
    try:
        return _kept(visit, changes)
    except Refused as refusal:
        if visit.wants_json:
            raise
        return _page(visit, form, _proposed(visit, form, proposal, (looked, str(refusal))), 422)


def _kept(visit: Visit, changes: Mapping[tuple[str, ...], JsonValue]) -> Answer:
    known = visit.get("although_read") == "yes"
    done = change_at(visit.desk.folder, Wish(changes, visit.get("reason"), visit.get("shown"), known))
    return GoTo(f"/settings?kept={done.entry}")


def _given(visit: Visit, now: Present) -> dict[str, list[str]]:
    """What was filled in. When the file has changed since, only what differs from what the form then showed."""
    found = {name: list(texts) for name, texts in visit.given.items() if name not in OWN}
    if visit.get("shown") == now.sha256:
        return found
    try:
        was = json.loads(visit.get("was", "{}"))
    except ValueError:
        return found
    return {name: texts for name, texts in found.items() if not isinstance(was, dict) or was.get(name) != texts}


def _page(visit: Visit, form: Form, proposal: Mapping[str, Any] | None = None, status: int = 200) -> Page:
    clean = Form(form.now, {}, visit.style)
    slots = plain(form)
    data = {
        "file": SETTINGS_FILE,
        "text": form.now.text,
        "shown": form.now.sha256,
        "sections": slots,
        "left": form.left,
        "unknown": _unknown(form),
        "findings": _listed(slots, form.left),
        "wrong_as_it_is": bool(form.now.findings),
        "readable": bool(form.now.table) or not form.now.findings,
        "was": json.dumps({one.name: one.texts for slot in clean.slots for one in slot.fields}, ensure_ascii=False),
        "proposal": proposal,
        "kept": _kept_entry(visit),
        "filled": any(one["differs"] for slot in slots for one in slot["fields"]),
    }
    return Page("settings.html", "Settings", data, status)


def _listed(slots: Sequence[Mapping[str, Any]], left: Sequence[str]) -> list[dict[str, str]]:
    """All findings with the field that each belongs to."""
    found = [{"text": text, "to": ""} for text in left]
    for slot in slots:
        found += [{"text": text, "to": slot["anchor"]} for text in slot["findings"]]
        found += [{"text": text, "to": one["id"]} for one in slot["fields"] for text in one["findings"]]
    return found


def _unknown(form: Form) -> list[dict[str, Any]]:
    """Sections of the file that no logbook has."""
    known = {slot.section for slot in form.slots}
    return [
        {"name": dotted((name,)), "text": value_text(value, form.style), "out": dotted((name,)) in form.out}
        for name, value in form.now.table.items()
        if name not in known
    ]


def _proposed(visit: Visit, form: Form, proposal: Proposal, outcome: tuple[str, str]) -> dict[str, Any]:
    """What would change, its cost, the mark that it was looked at, and why it was not kept, if that was tried."""
    looked, refusal = outcome
    usual = {dotted(one.keys): one.about.default for slot in form.slots for one in slot.fields}
    return {
        "refusal": refusal,
        "changed": [_change(one, visit.style, usual.get(one.key)) for one in proposal.changed],
        "effects": list(proposal.effects),
        "late": list(proposal.late),
        "new_calibration": proposal.renews,
        "looked": looked,
        "reason": visit.get("reason"),
        "although_read": visit.get("although_read") == "yes",
    }


def _change(one: KeyChange, style: str, usual: JsonValue = None) -> dict[str, str]:
    """A change in words. usual : the default, which holds where the file says nothing."""
    nothing = ABSENT if usual is None else f"{value_text(usual, style)} by default"
    old, new = (nothing if value is None else value_text(value, style) for value in (one.old, one.new))
    return {"key": one.key, "old": old, "new": new}


def _kept_entry(visit: Visit) -> dict[str, Any] | None:
    """What an earlier change was, by the number of its entry."""
    number = visit.ask("kept")
    if not number.isdecimal():
        return None
    entry = next((one for one in visit.book.audit() if one.seq == int(number) and one.action == ACTION), None)
    if entry is None:
        return None
    detail: Any = entry.detail
    changed = [KeyChange(one["key"], one["old"], one["new"]) for one in detail["changed"]]
    renews = bool(detail.get("new_calibration"))
    return {"entry": entry.seq, "changed": [_change(one, visit.style) for one in changed], "new_calibration": renews}

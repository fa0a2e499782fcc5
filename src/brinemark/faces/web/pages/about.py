"""Cautions, how numbers are written, and what program this is."""

from __future__ import annotations

from importlib.metadata import version

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.visit import Visit
from brinemark.steps.identity import ENGINE

CAUTIONS = (
    "The program screens and weighs; it never convicts. Have a finding confirmed by an accredited laboratory before "
    "anyone acts on it.",
    "It finds thiocyanate, not cyanide. Thiocyanate has other sources than exposure to cyanide.",
    "Local codes, local law and licensed practice come before everything on these pages.",
    "Never mix thiocyanate or cyanide with acid, and never with bleach, chlorine, bromine, ozone or peroxide: "
    "poisonous gases can form (ASTM D4193).",
    "Ovens, silanes and acids need ventilation, eye protection and gloves; follow the safety data sheet of each.",
)


def show(visit: Visit) -> Answer:
    data = {
        "cautions": list(CAUTIONS),
        "decimal": visit.chosen_style,
        "version": version("brinemark"),
        "engine": ENGINE,
        "logbook": visit.settings.logbook.name,
        "folder": visit.desk.folder.name,
    }
    return Page("about.html", "Cautions, and how numbers are written", data)


def choose(visit: Visit) -> Answer:
    """Keep the decimal style in the browser."""
    return GoTo("/about", "Kept in this browser.", visit.get("decimal"))

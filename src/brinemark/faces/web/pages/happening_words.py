"""The cells of a tank record in words, for forms and for what is told of a record."""

from __future__ import annotations

from collections.abc import Mapping

from brinemark.terms.tanks import (
    BLANK,
    CATCH,
    FED,
    FILLED,
    IN,
    NOTE,
    OUT,
    RENEWED,
    SAMPLE,
    SPIKED,
    TREATED,
    VOLUME,
)

KINDS: Mapping[str, str] = {
    CATCH: "fish were caught or bred",
    FILLED: "a tank was filled",
    IN: "fish went into the tank",
    OUT: "fish were taken out, dead or alive",
    RENEWED: "part of the water was replaced",
    VOLUME: "the tank was drained or topped up",
    FED: "the fish were fed",
    TREATED: "a medicine, ozone, chlorine or another substance",
    SPIKED: "thiocyanate was put in on purpose",
    SAMPLE: "a water sample was taken",
    BLANK: "a blank was taken",
    NOTE: "a note",
}
"""What a row can be about."""

WORDS: Mapping[str, str] = {
    "consignment": "Consignment",
    "at": "When",
    "tank": "Tank",
    "fish": "Fish",
    "species": "Species",
    "count": "How many",
    "mass_g": "Mass of one fish",
    "origin": "Caught or bred at",
    "history": "What is known of them",
    "at_u_d": "Uncertainty of the moment",
    "near": "Other sources of thiocyanate near there",
    "volume_L": "Volume of water",
    "renewal_L_per_d": "Clean water running in",
    "system": "Water system",
    "filter": "Filter",
    "carried_L": "Old water carried along",
    "dead": "Dead",
    "share": "Share that was replaced",
    "substance": "Substance",
    "amount_g": "Amount",
    "amount_ug": "Thiocyanate put in",
    "stock": "From which stock",
    "sample": "Name of the water",
    "blank": "Kind of blank",
    "duplicate": "Taken beside sample",
    "taker": "Taken by",
    "smoker": "The taker smokes",
    "container": "Container",
    "filtration_um": "Filtered through",
    "seal": "Seal",
    "storage": "Stored",
    "retained_mL": "Volume kept",
    "split_seal": "Seal of the part for another laboratory",
    "place": "Place",
    "note": "Note",
}
"""Cells, in the order of forms."""

UNITS: Mapping[str, str] = {
    "mass_g": "g",
    "at_u_d": "d",
    "volume_L": "L",
    "renewal_L_per_d": "L/d",
    "carried_L": "L",
    "amount_g": "g",
    "amount_ug": "µg",
    "filtration_um": "µm",
    "retained_mL": "mL",
}

HINTS: Mapping[str, str] = {
    "fish": "A name of your own for fish of one history.",
    "count": "Those that died later count too.",
    "near": "Such as an outflow, a mine, a fish market. Empty when none is known.",
    "at_u_d": "One standard deviation.",
    "renewal_L_per_d": "As much tank water runs out.",
    "system": "Tanks that share their source water bear one name.",
    "carried_L": "That went into the tank with the fish.",
    "share": "From 0 to 1.",
    "sample": "As on the run sheet. A code is best.",
    "filtration_um": "Pore width; empty when not filtered.",
    "smoker": "A droplet of saliva holds as much thiocyanate as is looked for.",
    "split_seal": "Mass spectrometry on a sealed part of the same water is what confirms a find.",
    "dead": "Dead fish count as long as they lay in the water.",
    "volume_L": "Of water, without stones and sand.",
}

NUMBERS = (*UNITS, "count", "share")
"""Cells with a number, which may have a decimal comma."""
LONG = ("note", "near")
YES_NO = ("dead", "smoker")

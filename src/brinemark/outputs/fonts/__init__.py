"""Fonts that come with the program, for the text of reports and of the pictures in them."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).resolve().parent
FAMILY = "Noto Sans"
FAMILIES = (FAMILY, "Noto Sans Arabic")
"""In the order in which a character is looked for."""

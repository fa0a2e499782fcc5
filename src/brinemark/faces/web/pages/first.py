"""The page that a browser comes to first, and what waits."""

from __future__ import annotations

from brinemark.faces.web.answers import Answer, GoTo
from brinemark.faces.web.visit import Visit


def home(_visit: Visit) -> Answer:
    return GoTo("/samples")

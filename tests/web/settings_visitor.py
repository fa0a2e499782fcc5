"""A browser without scripts, for the tests of settings and audit: it loads pages, fills in forms and sends them."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.places import PLACES

HOST = "127.0.0.1:8731"
INPUT = re.compile(r"<input\b([^>]*)>")
SELECT = re.compile(r"<select\b([^>]*)>(.*?)</select>", re.DOTALL)
ATTRIBUTE = re.compile(r'([\w-]+)="([^"]*)"')


class Visitor:
    """A client of one logbook's pages."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, address: str, **headers: str) -> Any:
        return self.client.get(address, headers=headers)

    def data(self, address: str) -> Any:
        """What a program gets."""
        return self.get(address, accept="application/json").json()

    def send(self, address: str, fields: Mapping[str, Any], **headers: str) -> Any:
        """Send a form; the answer is not followed."""
        return self.client.post(address, data=dict(fields), headers=headers, follow_redirects=False)


def fields_of(text: str, form: str) -> dict[str, Any]:
    """Names and values of the fields of the form that is sent to an address, as a browser would send them."""
    inner = next(part for part in re.findall(r"<form\b.*?</form>", text, re.DOTALL) if f'action="{form}"' in part)
    found: dict[str, list[str]] = {}
    for attributes in INPUT.findall(inner):
        named = {key: html.unescape(value) for key, value in ATTRIBUTE.findall(attributes)}
        ticked = named.get("type") != "checkbox" or re.search(r"\bchecked\b", attributes)
        if "name" in named and ticked:
            found.setdefault(named["name"], []).append(named.get("value", ""))
    for attributes, options in SELECT.findall(inner):
        name = html.unescape(dict(ATTRIBUTE.findall(attributes))["name"])
        chosen = re.search(r'<option value="([^"]*)" selected', options) or re.search(
            r'<option value="([^"]*)"', options
        )
        found.setdefault(name, []).append(html.unescape(chosen[1]) if chosen else "")
    return {name: values if len(values) > 1 else values[0] for name, values in found.items()}


@contextmanager
def visiting(folder: Path) -> Iterator[Visitor]:
    """The pages of a logbook, served in this process."""
    desk = Desk(folder)
    try:
        with TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}") as client:
            yield Visitor(client)
    finally:
        desk.close()

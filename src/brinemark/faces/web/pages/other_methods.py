"""The page of other methods: their results taken in, and compared with this logbook's readings and with each other."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.pages.uploaded import LOOK, carried, table_of
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused
from brinemark.terms.markers import COLUMNS
from brinemark.terms.wording import opened

if TYPE_CHECKING:
    from brinemark.steps.marker_answers import Compared

TABLE = "table"
MOST_ROWS = 500


def show(visit: Visit) -> Answer:
    """Methods, comparisons, results, and the form that takes in more."""
    return Page("other_methods.html", "Other methods", {**_data(visit), "checked": None, "carried": "", "called": ""})


def send(visit: Visit) -> Answer:
    """Look a table of results through, or take it in when it is all right."""
    name, body = table_of(visit, TABLE, "table")
    corrects, reason = visit.get("corrects") or None, visit.get("reason") or None
    checked = visit.book.check_markers((name, body), corrects, reason)
    if checked.findings or visit.get("do") == LOOK:
        data = {**_data(visit), "checked": checked.to_dict(), "called": name, "reason": reason or ""}
        data |= {"corrects": corrects or "", "carried": carried(body) if checked.sound else ""}
        title = "Not taken in" if checked.findings else "All is right"
        return Page("other_methods.html", title, data, 200 if checked.sound else 422)
    taken = visit.book.add_markers((name, body), corrects, reason)
    told = f"{taken.rows} {'result' if taken.rows == 1 else 'results'} of {taken.title} recorded."
    if not taken.new:
        told = f"Every result of {taken.title} was recorded already; nothing changed."
    warnings = (f"{opened(one)}." for one in taken.warnings)
    return GoTo("/other-methods", " ".join([told, *warnings]))


def empty(_visit: Visit) -> Answer:
    """A table to fill in, with every column."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(COLUMNS)
    return File(text.getvalue().encode(), "text/csv; charset=utf-8", "other-methods.csv")


def _data(visit: Visit) -> dict[str, Any]:
    level = visit.ask("at")
    answer = visit.desk.kept(("markers", level), lambda: visit.book.compare_markers(at=_level(level)))
    rows = visit.desk.kept("marker results", visit.book.marker_results)
    read = visit.desk.kept("samples read", visit.book.samples_read)
    names = ("sample", "fish", "marker", "method", "unit", "value", "limit_of_detection", "u", "measured_at", "note")
    return {
        "unit": answer.unit,
        "at": level,
        "methods": answer.to_dict()["methods"],
        "comparisons": [_compared(one) for one in answer.comparisons],
        "cautions": [one.words for one in answer.cautions],
        "results": [
            {**{name: getattr(row, name) for name in names}, "read": row.sample in read} for row in rows[:MOST_ROWS]
        ],
        "more": max(0, len(rows) - MOST_ROWS),
        "corrects": "",
        "reason": "",
    }


def _level(text: str) -> float | None:
    if not text:
        return None
    try:
        return number_from(text)
    except ValueError:
        raise Refused(f"{text[:40]!r}", "a level", "write it with digits", column="at") from None


def _compared(one: Compared) -> dict[str, Any]:
    plain: Mapping[str, Any] = one.to_dict()
    drawn = one.same_quantity and one.comparison is not None
    asked = urlencode({"first": one.first, "second": one.second})
    return {**plain, "picture": f"/pictures/pairs.svg?{asked}" if drawn else ""}

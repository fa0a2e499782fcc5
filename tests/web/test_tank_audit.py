"""Tank records on the pages that show every entry and every record."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from tank_build import small_consignment, tank_csv
from web.settings_visitor import Visitor, visiting


@pytest.fixture
def visitor(tmp_path: Path) -> Iterator[Visitor]:
    with Logbook.create(tmp_path / "book") as book:
        book.add_tanks(("april.csv", tank_csv(small_consignment()).encode()))
    with visiting(tmp_path / "book") as found:
        yield found


def test_a_tank_record_stands_in_words_and_leads_to_its_file_and_record(visitor: Visitor) -> None:
    entry = visitor.data("/audit")["entries"][0]
    assert (entry["action"], entry["subject"]) == ("tank record added", "april.csv")
    assert visitor.get(entry["address"]).content == tank_csv(small_consignment()).encode()
    links = {part["words"]: part["links"] for part in entry["parts"] if part["links"]}
    (link,) = links["tank records"]
    assert link["words"] == "C1"
    page = visitor.get(link["address"])
    assert page.status_code == 200
    assert "tank record, as recorded" in page.text
    assert 'href="/originals/' in page.text
    assert "12 rows" in visitor.get("/audit").text

"""Pages of reports from invented data: long tables, every statement, one length for many samples, and no clock."""

from __future__ import annotations

import io
import json
import re
import unicodedata
from importlib.resources import files

import jsonschema
import pikepdf
import pypdf
import pytest
from pictured import all_five
from reported import WORDS, asked, calibration_data, hash_of, sample_data

from brinemark.outputs.charts import Spec, shown_unit, statement_strip
from brinemark.outputs.report import Asked, report_pages, set_report, typefaces
from brinemark.outputs.report import document as report_document
from brinemark.outputs.report.setting import CannotSet

PNG = b"\x89PNG\r\n\x1a\n"


def pages(question: Asked, specs: dict[str, Spec] | None = None) -> list[str]:
    """The text of each page, in one form for each character."""
    pdf, _ = set_report(question, specs or {}, typefaces())
    found = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return [unicodedata.normalize("NFKC", " ".join(text.split())) for text in found]


def test_the_invented_data_follow_the_schema() -> None:
    text = (files("brinemark.terms") / "schemas" / "report-results.json").read_text(encoding="utf-8")
    checker = jsonschema.Draft202012Validator(json.loads(text))
    for data in (sample_data(7), calibration_data(3)):
        checker.validate(json.loads(report_document.results(asked(data))))


def test_the_head_of_a_table_of_300_rows_is_repeated_on_every_page() -> None:
    found = pages(asked(calibration_data(300)))
    holding = [text for text in found if re.search(r"C\d{3} B1\.5 bench main", text)]
    assert len(holding) >= 4
    assert [text for text in holding if "electrode batch instrument reading level" not in text] == []
    assert sorted(set(re.findall(r"\bC\d{3}\b", " ".join(found)))) == [f"C{n:03d}" for n in range(300)]


def test_300_samples_are_all_named_with_their_statements_and_way_back() -> None:
    said = " ".join(pages(asked(sample_data(300))))
    assert "Of 300 waters: 60 quantified, 60 detected with the amount uncertain, 60 not detected" in said
    for n in range(300):
        assert f"W{n:03d}" in said
        assert hash_of(f"row W{n:03d}") in said


def test_every_page_has_its_number_and_the_id_of_the_report() -> None:
    question = asked(sample_data(9))
    found = pages(question)
    for number, text in enumerate(found, start=1):
        assert f"page {number} of {len(found)}" in text
        assert question.id in text


@pytest.mark.parametrize("count", [1, 3, 5])
def test_the_answer_comes_first_and_names_the_analyte(count: int) -> None:
    said = " ".join(pages(asked(sample_data(count))))
    for statement in list(WORDS)[:count]:
        words = unicodedata.normalize("NFKC", WORDS[statement].replace("ug/L", shown_unit("ug/L")))
        assert words in said
        assert said.index(words) < said.index("How it was calibrated")


def test_a_choice_that_was_not_blind_is_told_with_what_changed() -> None:
    assert "the choice was blind" in " ".join(pages(asked(sample_data(1))))
    said = " ".join(pages(asked(sample_data(1, blind=False))))
    assert "the choice was not blind" in said
    assert "differs in [signal]" in said


def test_a_name_with_a_dot_keeps_it_where_numbers_have_a_comma() -> None:
    said = " ".join(pages(asked(sample_data(2), "comma")))
    assert "B1.5" in said
    assert "B1,5" not in said
    assert "Quay 1.5" in said
    assert "interval 0,7 to 1,51" in said


def test_a_picture_is_set_with_its_letters_and_the_words_that_stand_for_it() -> None:
    strip = statement_strip(all_five(), "ug/L")
    data = sample_data(5)
    without, with_it = pages(asked(data)), pages(asked(data), {"statements 0": strip})
    assert "Pale bar: working range" in " ".join(with_it)
    assert "Pale bar: working range" not in " ".join(without)
    pdf, _ = set_report(asked(data), {"statements 0": strip}, typefaces())
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        spoken = [str(one.Alt) for one in opened.objects if isinstance(one, pikepdf.Dictionary) and "/Alt" in one]
    assert strip["description"] in spoken


def test_pages_can_be_looked_at_as_png() -> None:
    question = asked(sample_data(2))
    made = report_pages(question, {}, typefaces(), 40.0)
    assert len(made) == len(pages(question))
    assert all(page.startswith(PNG) for page in made)


def test_when_a_word_cannot_be_set_the_report_is_made_with_plain_letters(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []

    def set_once_refused(said: dict[str, str], faces: object, timestamp: int) -> bytes:
        tried.append(said["document"])
        if len(tried) == 1:
            raise CannotSet("a word of them cannot be set")
        return b"%PDF-"

    monkeypatch.setattr(report_document, "set_pdf", set_once_refused)
    data = sample_data(1)
    data["logbook"] = "Ωμ"
    _, notes = set_report(asked(data), {}, typefaces())
    assert "Ωμ" in tried[0]
    assert "[U+03A9][U+03BC]" in tried[1]
    assert "Ωμ" not in tried[1]
    assert "U+03A9" in notes[0]

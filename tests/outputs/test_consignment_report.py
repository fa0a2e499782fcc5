"""Pages of the report of a consignment: answer first, worlds in columns, custody, blanks, sources, other scripts."""

from __future__ import annotations

import io
import json
import re
import unicodedata
from functools import cache
from importlib.resources import files
from typing import Any

import jsonschema
import pypdf
import pytest
from consigned import LONG, consignment_data, read_desk, several_tanks, trial_data
from reported import asked, hash_of

from brinemark.outputs.charts import consignment_overview, tank_timeline
from brinemark.outputs.report import Asked, report_pages, set_report, typefaces
from brinemark.outputs.report import document as report_document
from brinemark.steps.fish_pictures import consignment_picture, timeline_of
from brinemark.steps.interpret import considered

CONVICTING = ("guilty", "cyanide-caught", "caught with cyanide", "cyanide found", "was exposed to cyanide")
STRANGE = {"T1": "Ωμέγα#1*x*", "T2": LONG, "T3": "水槽_y_$z$"}


@cache
def data(count: int, background: bool = True) -> dict[str, Any]:
    return consignment_data(several_tanks(count), background=background)


def text_of(question: Asked, specs: Any = None) -> str:
    pdf, _ = set_report(question, specs or {}, typefaces())
    found = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return unicodedata.normalize("NFKC", " ".join(" ".join(found).split()))


@pytest.mark.parametrize(("count", "background"), [(1, True), (4, False)])
def test_the_invented_data_follow_the_schema(count: int, background: bool) -> None:
    text = (files("brinemark.terms") / "schemas" / "report-results.json").read_text(encoding="utf-8")
    checker = jsonschema.Draft202012Validator(json.loads(text))
    plain = json.loads(report_document.results(asked(data(count, background))))
    checker.validate(plain)
    for more in ({"verdict": "none"}, {"calibration": None}):
        with pytest.raises(jsonschema.ValidationError):
            checker.validate({**plain, "data": {**plain["data"], **more}})
    with pytest.raises(jsonschema.ValidationError):
        checker.validate({**plain, "data": {key: part for key, part in plain["data"].items() if key != "consignment"}})


def test_the_answer_comes_first_and_both_worlds_stand_in_columns() -> None:
    said = text_of(asked(data(2)))
    first = said.index("Tank T1: thiocyanate at or above")
    assert said.index("What was asked") < first < said.index("Fish, tanks and what happened")
    assert said.count("world “released” world “not released”") >= 2
    assert "nothing is averaged" in said
    assert "beyond the background" in said


def test_in_whose_hands_waters_were_is_told_and_what_is_not_recorded_too() -> None:
    said = text_of(asked(data(1)))
    assert "W1.1 not recorded 0.2 μm not recorded; x-9 not recorded 20.5" in said
    assert "not recorded (smokes)" in said
    assert "S night-watch glass; filter not recorded s-1; none" in said
    assert "2031-07-01 08:00 ± 0.5 d" in said


def test_missing_blanks_and_finds_by_chance_are_named() -> None:
    said = text_of(asked(data(2)))
    assert "No filter blank was taken (tanks T1 and T2)." in said
    assert "Thiocyanate counts as found at p of at most 0.01" in said
    assert re.search(r"0\.0\d+ such finds are expected, and at least one with probability 0\.0\d+", said)


def test_without_a_background_there_is_a_table_over_backgrounds_and_no_prior() -> None:
    said = text_of(asked(data(4, False)))
    assert "Over supposed backgrounds" in said and "Least support for" in said
    assert "Over priors" not in said
    assert "Over supposed backgrounds" not in text_of(asked(data(2)))
    assert "The prior is for a court to say" in text_of(asked(data(2)))


def test_sources_stand_with_how_they_were_read() -> None:
    said = text_of(asked(data(1)))
    for doi in ("10.1371/journal.pone.0035355", "10.1371/journal.pone.0196841", "10.7717/peerj.12409"):
        assert doi in said.replace("/ ", "/")
    assert "(assumed)" in said and "(read)" in said


def test_the_way_back_names_records_and_the_file_of_the_tank_record() -> None:
    said = text_of(asked(data(1)))
    for what in ("interpretation", "tanks", "tanks.csv"):
        assert hash_of(what) in said
    assert "typed into a form" in said


def test_it_never_convicts_and_a_negative_never_clears() -> None:
    said = text_of(asked(data(4))).lower()
    assert not [word for word in CONVICTING if word in said]
    assert "does not show that fish were not exposed" in said
    assert "does not convict" in said


def test_a_decimal_comma_is_put_into_numbers_and_not_into_names() -> None:
    said = text_of(asked(data(2), "comma"))
    assert "K1.5" in said and "K1,5" not in said
    assert "W1.1" in said and "W1,1" not in said
    assert "quay1.5" in said and "Quay 1.5" in said
    assert "4,5 L; renewed by 1,5 L/d" in said
    assert "20,5 g" in said
    said = re.sub(r"10\.\d{4}/|Quay 1\.5", "", said)
    assert re.findall(r"(?<![\w./])\d+\.\d+(?![\w./-])", said) == []


def test_names_in_other_scripts_and_very_long_ones_are_set() -> None:
    question = asked(consignment_data(several_tanks(3, STRANGE)))
    said = text_of(question)
    assert "Ωμέγα#1*x*" in said
    assert LONG in said.replace(" ", "").replace("\u200b", "")
    assert said.count("page ") >= 3


def test_of_many_tanks_the_first_answer_is_a_count() -> None:
    said = text_of(asked(data(4)))
    assert re.search(r"Thiocyanate was found in \d of 8 tested waters of 4 tanks\.", said)
    assert "World “released”: support for exposure at capture in no tank." in said


def test_a_number_is_not_parted_from_its_unit() -> None:
    pdf, _ = set_report(asked(data(4)), {}, typefaces())
    lines = [line for page in pypdf.PdfReader(io.BytesIO(pdf)).pages for line in page.extract_text().splitlines()]
    assert not [line for line in lines if re.match(r"\s*([µμ]g/L|/L|%)", unicodedata.normalize("NFKC", line))]


def test_pictures_stand_where_they_belong_and_pages_can_be_looked_at() -> None:
    found = read_desk(several_tanks(1))
    answer = considered(found, "K1.5")
    specs = {
        "tanks 0": consignment_overview(consignment_picture(answer)),
        "timeline 0": tank_timeline(timeline_of(found, "K1.5", answer.tanks[0])),
    }
    said = text_of(asked(data(1)), specs)
    assert "The worlds contradict each other and are not to be averaged" in said
    pages = report_pages(asked(data(1)), specs, typefaces(), 40.0)
    assert all(page.startswith(b"\x89PNG\r\n\x1a\n") for page in pages)


@pytest.mark.parametrize(("exposed", "decimal"), [(0, "point"), (3, "comma")])
def test_a_trial_is_told_with_its_rates_and_each_world_apart(exposed: int, decimal: Any) -> None:
    said = trial_data(exposed)
    text = (files("brinemark.terms") / "schemas" / "report-results.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(json.loads(text)).validate(json.loads(report_document.results(asked(said))))
    page = text_of(asked(said, decimal))
    assert re.search(r"It was not found in \d of 8 tanks \(95 % interval", page)
    assert ("Thiocyanate was found in 3 of 3 tanks" in page) == (exposed == 3)
    assert page.count("Ratios in the world") == 2
    assert ("both are needed" in page) == (exposed == 0)
    assert ("X-3 yes" in page) == (exposed == 3)
    assert not [word for word in CONVICTING if word in page.lower()]

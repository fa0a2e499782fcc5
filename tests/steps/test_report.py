"""Reports of a real logbook: what they say, what is attached, what they are as files, and that they can be checked."""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pikepdf
import pypdf
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.report import Report
from brinemark.terms.canonical import canonical_bytes
from brinemark.terms.errors import Refused

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "examples" / "small"
SCHEMA = ROOT / "src" / "brinemark" / "terms" / "schemas" / "report-results.json"
NAMES = {"W-1": "Ωμέγα 水样 #1 *x* _y_ $z$", "W-2": "ثيوسيانات @a [b] \\c <d> `e`"}
TITLE = "Серия 水 #2 *b*.csv"
NOTE = "= no heading // no remark 号"
KINDS = ("samples", "batch", "calibration")


def small_logbook(folder: Path, sheet: Path = SMALL / "runsheet.csv") -> None:
    """The small example, calibrated and read."""
    Logbook.create(folder).close()
    shutil.copy(SMALL / "logbook.toml", folder / "logbook.toml")
    with Logbook.open(folder) as logbook:
        logbook.add(sheet)
        logbook.calibrate()
        logbook.read()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("reported") / "logbook"
    small_logbook(made)
    return made


@pytest.fixture(scope="module")
def strange(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with names, title and notes in other scripts, and with signs that mean something to a typesetter."""
    root = tmp_path_factory.mktemp("strange")
    shutil.copytree(SMALL, root / "run")
    text = (SMALL / "runsheet.csv").read_text(encoding="utf-8")
    for old, new in NAMES.items():
        text = text.replace(f",{old},", f",{new},")
    lines = [f"{line}{NOTE}" if line.endswith(",") else line for line in text.splitlines()]
    (root / "run" / TITLE).write_text("\n".join(lines) + "\n", encoding="utf-8")
    small_logbook(root / "logbook", root / "run" / TITLE)
    return root / "logbook"


@pytest.fixture
def logbook(folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(folder, tmp_path / "logbook")
    with Logbook.open(tmp_path / "logbook") as opened:
        yield opened


def asked(logbook: Logbook, kind: str, **more: Any) -> Report:
    names = {"samples": (), "batch": ("S3",), "calibration": ()}[kind]
    return logbook.report(kind, *names, **more)  # type: ignore[arg-type]


def text_of(pdf: bytes) -> str:
    """All pages as one line, with one form for each character."""
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return unicodedata.normalize("NFKC", " ".join(" ".join(pages).split()))


def plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text.replace("ug/L", "µg/L"))


def attached(pdf: bytes, name: str = "results.json") -> Any:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return json.loads(opened.attachments[name].get_file().read_bytes())


UNIT = plain("ug/L")


def sha256(value: Any) -> str:
    return hashlib.sha256(canonical_bytes(value)).hexdigest()


def test_a_report_of_samples_says_the_statement_first_with_interval_ids_and_cautions(logbook: Logbook) -> None:
    made = logbook.report("samples")
    said = text_of(made.pdf)
    answers = logbook.read()
    for answer in answers:
        assert plain(f"{answer.sentence}.") in said
        assert answer.id in said
        assert said.index(plain(answer.sentence)) < said.index("How it was calibrated")
    for caution in ("screening result", "accredited laboratory", "thiocyanate, which is not cyanide", "not exposed"):
        assert caution in said
    assert "verdict on a person" in said
    assert "cyanide found" not in said
    assert made.id in said
    assert answers[0].calibration in said


def test_every_signal_of_a_sample_goes_back_to_its_row_sheet_and_original(logbook: Logbook) -> None:
    said = text_of(logbook.report("samples", "W-1").pdf)
    shown = logbook.show("sample:W-1")
    used = {one.id for row in shown.rows for one in row.signals if one.current}
    assert used
    for row in shown.rows:
        assert row.id in said
        assert row.sheet in said
        assert f"row {row.number} of {row.sheet_title}" in said
        for file in row.files:
            assert file.sha256 in said
    assert [one for one in used if one not in said] == []


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_attached_follows_its_schema_and_is_what_the_ids_were_made_from(logbook: Logbook, kind: str) -> None:
    made = asked(logbook, kind)
    results = attached(made.pdf)
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(results)
    assert attached(made.pdf, "results.schema.json") == schema
    assert results["report"] == made.id == sha256(results["recipe"])
    assert results["recipe"]["settings"]["data"] == sha256(results["data"])
    assert hashlib.sha256(made.pdf).hexdigest() == made.pdf_sha256


def test_the_attached_readings_are_those_of_read(logbook: Logbook) -> None:
    results = attached(logbook.report("samples").pdf)
    assert results["data"]["readings"] == json.loads(json.dumps([one.to_dict() for one in logbook.read()]))
    assert results["data"]["calibration"] == json.loads(json.dumps(logbook.calibration().to_dict()))


@pytest.mark.parametrize("kind", KINDS)
def test_the_file_declares_pdf_a_3a_and_ua_1_with_tags_language_and_title(logbook: Logbook, kind: str) -> None:
    with pikepdf.open(io.BytesIO(asked(logbook, kind).pdf)) as pdf:
        with pdf.open_metadata() as said:
            assert said["pdfaid:part"] == "3"
            assert said["pdfaid:conformance"] == "A"
            assert said["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
            assert said["dc:title"]
        assert str(pdf.Root.Lang) == "en"
        assert pdf.Root.MarkInfo.Marked
        figures = [one for one in tags(pdf.Root.StructTreeRoot) if str(one.get("/S", "")) == "/Figure"]
        assert len(figures) >= 2
        assert [one for one in figures if not str(one.get("/Alt", "")).strip()] == []
        assert sum(1 for one in tags(pdf.Root.StructTreeRoot) if str(one.get("/S", "")) == "/TH") >= 4
        fonts = {str(font.BaseFont) for page in pdf.pages for font in page.Resources.Font.values()}
        assert all("NotoSans" in font or "DejaVuSansMono" in font for font in fonts), fonts


def tags(tag: Any) -> Iterator[Any]:
    """Every element of the tree of tags."""
    yield tag
    below = tag.get("/K", [])
    for one in below if isinstance(below, pikepdf.Array) else [below]:
        if isinstance(one, pikepdf.Dictionary) and "/S" in one:
            yield from tags(one)


def test_the_same_question_gives_the_same_record_and_bytes(logbook: Logbook) -> None:
    first = logbook.report("samples", "W-1")
    head = logbook.audit_head()
    again = logbook.report("samples", "W-1")
    assert first.new
    assert not again.new
    assert again.pdf == first.pdf
    assert again.id == first.id
    assert logbook.audit_head() == head
    assert logbook.report("samples", "W-1", decimal="comma").id != first.id


def test_a_preview_shows_the_pages_and_stores_no_report(logbook: Logbook) -> None:
    head = logbook.audit_head()
    pages = logbook.report_preview("samples", "W-1", dots_per_inch=30.0)
    assert logbook.audit_head() == head
    made = logbook.report("samples", "W-1")
    assert len(pages) == len(pypdf.PdfReader(io.BytesIO(made.pdf)).pages)
    assert all(page.startswith(b"\x89PNG") for page in pages)


def test_two_processes_make_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    program = (
        "import sys\nfrom brinemark import Logbook\n"
        "with Logbook.open(sys.argv[1]) as book:\n    sys.stdout.buffer.write(book.report('samples').pdf)"
    )
    made = []
    for place, seed in enumerate(("1", "2")):
        book = tmp_path / str(place)
        shutil.copytree(folder, book)
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": ("UTC", "Asia/Tokyo")[place]}
        done = subprocess.run(
            [sys.executable, "-c", program, str(book)], capture_output=True, check=True, env=environment
        )
        made.append(done.stdout)
    assert made[0] == made[1]
    assert made[0].startswith(b"%PDF-")


def test_its_date_is_that_of_the_youngest_record(logbook: Logbook) -> None:
    made = logbook.report("calibration")
    youngest = attached(made.pdf)["data"]["youngest"]
    found = pypdf.PdfReader(io.BytesIO(made.pdf)).metadata
    assert found is not None
    assert found.creation_date is not None
    assert found.creation_date.isoformat()[:19] == youngest[:19]
    assert youngest in {logbook.record(one).made_at for role, one in made.made_from if role != "row"}


def test_a_report_is_kept_with_its_parents_and_passes_the_check(logbook: Logbook) -> None:
    made = logbook.report("batch", "S3")
    record = logbook.record(made.id)
    assert record.kind == "report"
    assert record.role == "batch"
    assert ("calibration", logbook.calibration().id) in record.parents
    assert logbook.original(made.pdf_sha256)[1] == made.pdf
    assert logbook.audit()[-1].action == "report made"
    assert logbook.verify().faults == ()


def test_a_batch_says_what_one_electrode_can_do_and_what_each_was_used_for(logbook: Logbook) -> None:
    said = text_of(logbook.report("batch", "S3").pdf)
    assert re.search(rf"One electrode.* detects thiocyanate from [\d.]+ {UNIT}", said)
    for row in logbook.rows():
        if row.row.batch == "S3":
            assert row.row.electrode in said
    used = attached(logbook.report("batch", "S1").pdf)["data"]["rows"]
    assert [row["electrode"] for row in used if not row["signals"]] == []
    assert "safety sheet of each lot" in said


def test_a_calibration_tells_its_weaknesses_its_electrodes_and_its_checks(logbook: Logbook) -> None:
    said = text_of(logbook.report("calibration").pdf)
    report = logbook.calibration()
    assert report.calibration.weaknesses
    for weakness in report.calibration.weaknesses:
        assert plain(weakness)[1:] in said
    for electrode in report.calibration.readings.electrode:
        assert electrode in said
    for gate in report.calibration.gates:
        assert gate.name in said


def test_every_definition_that_was_tried_is_told_and_whether_the_choice_was_blind(logbook: Logbook) -> None:
    before = text_of(logbook.report("samples", "W-1").pdf)
    assert "the choice was blind" in before
    assert "No study of definitions" in before
    logbook.signals(quantities=["height"], baselines=["chord", "polynomial"], windows=[(0.42, 0.74)])
    after = text_of(logbook.report("samples", "W-1").pdf)
    tried = logbook.signals_tried()
    assert len(tried) == 3, "the logbook's own definition is always among them"
    for one in tried:
        assert plain(one.words) in after
        assert one.id[:12] in after


@pytest.mark.parametrize("kind", KINDS)
def test_no_script_and_no_sign_in_a_name_breaks_a_report(strange: Path, kind: str) -> None:
    with Logbook.open(strange) as logbook:
        made = asked(logbook, kind)
    said, results = text_of(made.pdf), attached(made.pdf)["data"]
    assert {row["sheet_title"] for row in results["rows"]} == {TITLE}
    assert "Серия [U+6C34] #2 *b*.csv" in said
    assert any("U+6C34" in note for note in made.notes)
    if kind == "samples":
        assert [one["sample"] for one in results["readings"]] == list(NAMES.values())
        assert {row["note"] for row in results["rows"]} == {NOTE}
        assert "Ωμέγα [U+6C34][U+6837] #1 *x* _y_ $z$" in said
        assert "@a [b] \\c <d> `e`" in said
        assert "note: = no heading // no remark [U+53F7]" in said


def test_a_comma_stands_in_every_number_and_in_no_name(logbook: Logbook) -> None:
    said = text_of(logbook.report("samples", decimal="comma").pdf)
    for answer in logbook.read():
        words = re.sub(r"(?<=\d)\.(?=\d)", ",", plain(answer.sentence))
        assert words in said
    assert "doi 10.1071/MA18047" in said
    assert "results.json" in said
    numbers = re.findall(r"(?<![\w./])\d+\.\d+(?![\w./])", said)
    assert numbers == []


def test_the_settings_choose_the_decimal_sign_and_the_option_goes_before_them(logbook: Logbook) -> None:
    settings = logbook.path / "logbook.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + '\n[report]\ndecimal = "comma"\n', encoding="utf-8")
    with Logbook.open(logbook.path) as changed:
        assert re.search(rf"\d,\d+ {UNIT}", text_of(changed.report("samples").pdf))
        assert not re.search(rf"\d,\d+ {UNIT}", text_of(changed.report("samples", decimal="point").pdf))


def test_what_cannot_be_reported_is_refused_in_one_line_and_stores_nothing(logbook: Logbook, tmp_path: Path) -> None:
    head = logbook.audit_head()
    for kind, names in (("samples", ["W-9"]), ("batch", []), ("batch", ["S9"]), ("calibration", ["0000"])):
        with pytest.raises(Refused) as fault:
            logbook.report(kind, *names)  # type: ignore[arg-type]
        assert "\n" not in str(fault.value)
    assert logbook.audit_head() == head
    with Logbook.create(tmp_path / "empty") as empty, pytest.raises(Refused, match="no calibration in this logbook"):
        empty.report("samples")


def test_a_folder_without_fonts_is_refused_by_its_key(logbook: Logbook) -> None:
    settings = logbook.path / "logbook.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + '\n[report]\nfont_folder = "no"\n', encoding="utf-8")
    with Logbook.open(logbook.path) as changed, pytest.raises(Refused, match="font_folder"):
        changed.report("samples")

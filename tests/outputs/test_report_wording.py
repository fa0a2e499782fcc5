"""Words of reports: decimal signs, characters that no font has, names that need two lines, and the fonts themselves."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from brinemark.outputs.fonts import FOLDER
from brinemark.outputs.report.cautions import of_electrodes, of_samples
from brinemark.outputs.report.drawing import lettered
from brinemark.outputs.report.setting import typefaces
from brinemark.outputs.report.wording import PLAIN, Numbers, Readable, breakable, joined
from brinemark.terms.errors import Refused
from brinemark.terms.wording import counted

WATER, FISH, ARABIC = "\u6c34", "\U0001f41f", "ثيوسيانات"


def readable(*texts: str, folder: Path | None = None) -> Readable:
    made = Readable(typefaces(folder))
    made.look_at(texts)
    return made


@pytest.fixture(scope="session")
def own_fonts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a font that has one Chinese character, drawn as a box."""
    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    for corner in ((100, 700), (800, 700), (800, 0)):
        pen.lineTo(corner)
    pen.closePath()
    box, order = pen.glyph(), [".notdef", "water"]
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder(order)
    font.setupCharacterMap({ord(WATER): "water"})
    font.setupGlyf(dict.fromkeys(order, box))
    font.setupHorizontalMetrics(dict.fromkeys(order, (900, 100)))
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": "Boxes", "styleName": "Regular", "psName": "Boxes-Regular"}, mac=False)
    font.setupOS2()
    font.setupPost()
    folder = tmp_path_factory.mktemp("fonts")
    font.save(folder / "boxes.ttf")
    return folder


def test_a_point_between_digits_becomes_a_comma_but_in_no_name_and_no_doi() -> None:
    numbers = Numbers("comma", "ug/L", ("B1.5-3", "run.2"))
    said = "electrode B1.5-3 of run.2: 1.5 ug/L, u = 0.25 (doi 10.1071/MA18047)"
    assert numbers.words(said) == "electrode B1.5-3 of run.2: 1,5 µg/L, u = 0,25 (doi 10.1071/MA18047)"
    assert Numbers("point", "ug/L").words("below 0.1 ug/L") == "below 0.1 µg/L"


def test_numbers_have_a_true_minus_and_a_dash_for_none() -> None:
    numbers = Numbers("comma", "ug/L")
    assert numbers.number(-1.25) == "−1,25"
    assert numbers.amount(None) == "–"
    assert numbers.amount(1500.4) == "1500"
    assert numbers.percent(0.395) == "39,5 %"


def test_signals_of_one_unit_share_one_prefix() -> None:
    numbers = Numbers("point", "ug/L")
    assert numbers.signals([(1.5e-6, 2e-8, "A"), (3e-8, 4e-9, "A")]) == ["1.500 ± 0.020 µA", "0.0300 ± 0.0040 µA"]
    assert numbers.signals([(0.1234, 0.0021, "1")]) == ["0.1234 ± 0.0021"]


def test_greek_cyrillic_arabic_and_hebrew_are_shown_and_what_no_font_has_by_number() -> None:
    text = f"Ωμέγα Жизнь {ARABIC} שלום {WATER} {FISH}"
    made = readable(text)
    assert made.text(text) == f"Ωμέγα Жизнь {ARABIC} שלום [U+6C34] [U+1F41F]"
    assert made.code_points == ["U+6C34", "U+1F41F"]


@pytest.mark.parametrize("sign", ["\u202e", "\u0007", "\ue000", "\ufeff", "\u2066"])
def test_what_nobody_can_see_is_shown_by_number(sign: str) -> None:
    assert readable(f"a{sign}b").text(f"a{sign}b") == f"a[U+{ord(sign):04X}]b"


def test_joiners_of_some_scripts_stay() -> None:
    text = "می\u200cخواهم"
    assert readable(text).text(text) == text


def test_a_folder_of_fonts_adds_its_characters(own_fonts: Path) -> None:
    text = f"{WATER}{FISH}"
    assert readable(text, folder=own_fonts).text(text) == f"{WATER}[U+1F41F]"
    with_own, without = typefaces(own_fonts), typefaces()
    assert "Boxes" in with_own.families
    assert with_own.identity != without.identity


def test_a_folder_without_a_font_that_can_be_used_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="font_folder"):
        typefaces(tmp_path)
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    with pytest.raises(Refused, match="font_folder"):
        typefaces(tmp_path)


def test_a_text_in_a_picture_is_set_in_a_font_that_can_or_shown_by_number(own_fonts: Path) -> None:
    svg = '<svg><text font-family="Noto Sans" font-size="10px">{}</text></svg>'
    assert lettered(svg.format("plain &amp; simple"), typefaces()) == svg.format("plain &amp; simple")
    assert lettered(svg.format("Ωμέγα"), typefaces()) == svg.format("Ωμέγα")
    plainer = '<svg><text font-family="DejaVu Sans Mono" font-size="8.00px">{}</text></svg>'
    assert lettered(svg.format(ARABIC), typefaces()) == plainer.format(ARABIC)
    assert lettered(svg.format(WATER), typefaces()) == svg.format("[U+6C34]")
    assert lettered(svg.format(WATER), typefaces(own_fonts)) == svg.format(WATER)


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=12))
def test_whatever_a_name_holds_what_is_shown_can_be_set(text: str) -> None:
    made = readable(text)
    shown = made.text(text)
    assert typefaces().cannot_show(frozenset(shown) - {"\n"}) == frozenset()
    assert len(shown) >= len(text)


def test_only_long_words_of_names_may_be_parted() -> None:
    assert breakable("short words only, " * 5) == "short words only, " * 5
    assert breakable("x" * 40).replace("\u200b", "") == "x" * 40
    assert "\u200b" in breakable("x" * 40)
    assert breakable("0123456789abcdef" * 4) == "0123456789abcdef" * 4


def test_lists_and_counts_read_as_sentences() -> None:
    assert joined(["a"]) == "a"
    assert joined(["a", "b", "c"]) == "a, b and c"
    assert joined([str(n) for n in range(20)], 3) == "0, 1, 2 and 17 more"
    assert counted(1, "batch") == "1 batch"
    assert counted(2, "batch") == "2 batches"


def test_the_fonts_are_those_that_the_page_beside_them_says() -> None:
    told = (FOLDER / "VENDOR.md").read_text(encoding="utf-8")
    said = dict(re.findall(r"^\| (\S+\.ttf) \|.*\| ([0-9a-f]{64}) \|$", told, re.MULTILINE))
    found = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in FOLDER.glob("*.ttf")}
    assert said == found
    for path in FOLDER.glob("*.ttf"):
        version = str(TTFont(path)["name"].getDebugName(5)).removeprefix("Version ").split(";")[0]
        assert f"| {path.name} | {version} |" in told
    assert "SIL OPEN FONT LICENSE Version 1.1" in (FOLDER / "OFL-noto-sans.txt").read_text(encoding="utf-8")


def test_the_plain_characters_are_in_both_weights() -> None:
    for name in ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"):
        assert frozenset(map(ord, PLAIN)) <= set(TTFont(FOLDER / name).getBestCmap())


def test_cautions_name_the_analyte_and_never_say_that_cyanide_was_found() -> None:
    for texts in (of_samples("thiocyanate"), of_electrodes("thiocyanate", made=True)):
        said = " ".join(texts)
        assert "accredited laboratory" in said
        assert "verdict on a person" in said
        assert not re.search(r"cyanide (was |is )?(found|detected|present)", said)
    assert "thiocyanate" not in " ".join(of_samples("iodide"))

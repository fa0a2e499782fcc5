"""The page Settings: every key as a field, findings beside them, costs before anything is kept, nothing lost."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from brinemark.logbook import Logbook
from brinemark.records.settings_file import SECTIONS
from brinemark.records.settings_keys import keys_of
from web.settings_visitor import Visitor, fields_of, visiting

PAGE = "/settings"
NOTE = "# by hand <b>&amp;</b>\n[stock.K1] # blue\nlevel = 1000.0\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    Logbook.create(tmp_path / "book", "Bench").close()
    with (tmp_path / "book" / "logbook.toml").open("a", encoding="utf-8") as file:
        file.write(NOTE)
    return tmp_path / "book"


@pytest.fixture
def visitor(folder: Path) -> Iterator[Visitor]:
    with visiting(folder) as found:
        yield found


def text_of(folder: Path) -> str:
    return (folder / "logbook.toml").read_text("utf-8")


def form(visitor: Visitor, address: str = PAGE) -> dict[str, Any]:
    return fields_of(visitor.get(address).text, PAGE)


def keep(visitor: Visitor, changes: dict[str, Any], reason: str = "a reason", **more: str) -> Any:
    """Fill in, look, give a reason, keep."""
    looked = visitor.send(PAGE, {**form(visitor), **changes, "do": "look"})
    assert looked.status_code == 200, looked.text
    return visitor.send(PAGE, {**fields_of(looked.text, PAGE), "reason": reason, "do": "keep", **more})


def test_every_key_of_the_documented_file_is_a_field_with_its_meaning(visitor: Visitor) -> None:
    page = visitor.get(PAGE)
    assert page.status_code == 200
    names = set(form(visitor))
    for section in SECTIONS:
        for one in keys_of(section):
            places = [f"{section}.{one.key}", f"new.{section}.{one.key}", f"stock.K1.{one.key}"]
            assert one.fixed or any(name in names for name in places), (section, one.key)
    assert "Probability that a blank is called detected; at most 1 - interval. Default 0.05." in page.text
    assert "Rows of one electrode further apart are two runs" in page.text
    assert '<span class="unit">[V/s]</span>' in page.text
    assert "# by hand &lt;b&gt;&amp;amp;&lt;/b&gt;" in page.text
    assert "<b>" not in page.text


def test_every_field_has_a_label_of_its_own(visitor: Visitor) -> None:
    text = visitor.get(PAGE).text
    fields = re.findall(r'<(?:input|select)\b[^>]*?id="([^"]+)"', text)
    assert len(fields) == len(set(fields))
    assert sorted(fields) == sorted(re.findall(r'<label for="([^"]+)"', text))
    assert all(
        f'id="{one}"' in text for many in re.findall(r'aria-describedby="([^"]+)"', text) for one in many.split()
    )


def test_a_form_with_nothing_changed_writes_nothing(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    answer = visitor.send(PAGE, {**form(visitor), "do": "keep", "reason": "none"})
    assert answer.status_code == 303
    assert "nothing was changed" in visitor.get(answer.headers["location"]).text
    assert text_of(folder) == before
    assert len(visitor.data("/audit")["entries"]) == 1


def test_a_change_is_looked_at_then_kept_with_comments(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    looked = visitor.send(PAGE, {**form(visitor), "decision.alpha": "0,01", "do": "look"})
    assert "<code>decision.alpha</code>: 0.05 → 0.01" in looked.text
    assert "[decision]: counts from the next reading on" in looked.text
    assert text_of(folder) == before
    kept = visitor.send(PAGE, {**fields_of(looked.text, PAGE), "reason": "stricter", "do": "keep"})
    assert (kept.status_code, kept.headers["location"]) == (303, "/settings?kept=2")
    page = visitor.get(kept.headers["location"]).text
    assert "<code>decision.alpha</code>: 0.05 → 0.01" in page
    assert 'href="/audit/2"' in page
    assert 'href="/samples"' in page
    assert text_of(folder) == before.replace("alpha = 0.05", "alpha = 0.01")
    assert "stricter" in visitor.get("/audit/2").text


def test_a_scale_is_filled_in_as_pairs_with_its_source(visitor: Visitor, folder: Path) -> None:
    scale = {"fish.scale": "2 = weak; 10 = moderate"}
    looked = visitor.send(PAGE, {**form(visitor), **scale, "do": "look"})
    assert "a scale without scale_source" in looked.text
    kept = keep(visitor, {**scale, "fish.scale_source": "house rules, edition 2"})
    assert kept.status_code == 303
    assert tomllib.loads(text_of(folder))["fish"]["scale"] == [[2, "weak"], [10, "moderate"]]
    page = visitor.get(PAGE).text
    assert 'value="2 = weak; 10 = moderate"' in page


def test_nothing_is_kept_that_was_not_looked_at(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    looked = visitor.send(PAGE, {**form(visitor), "decision.alpha": "0.01", "do": "look"})
    other = {**fields_of(looked.text, PAGE), "decision.beta": "0.2", "reason": "x", "do": "keep"}
    again = visitor.send(PAGE, other)
    assert again.status_code == 200
    assert "<code>decision.beta</code>: 0.05 → 0.2" in again.text
    assert text_of(folder) == before


def test_a_reason_is_needed_and_what_was_filled_in_stays(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    answer = keep(visitor, {"decision.alpha": "0.01"}, reason=" ")
    assert answer.status_code == 422
    assert "give a reason" in answer.text
    assert fields_of(answer.text, PAGE)["decision.alpha"] == "0.01"
    assert text_of(folder) == before


def test_findings_stand_beside_their_fields_all_at_once(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    wrong = {
        "decision.alpha": "zwei",
        "signal.window_V": ["0.8", "0.4"],
        "logbook.timezone": "No/where",
        "run.control_history": "1.5",
        "stock.K1.level": "-3",
        "new.lot.content": "4",
    }
    answer = visitor.send(PAGE, {**form(visitor), **wrong, "do": "look"})
    assert answer.status_code == 422
    assert "6 findings, nothing was kept." in answer.text
    shown = fields_of(answer.text, PAGE)
    assert {name: shown[name] for name in wrong} == wrong
    for name in ("decision.alpha", "signal.window_V", "logbook.timezone", "run.control_history", "stock.K1.level"):
        assert re.search(rf'name="{re.escape(name)}"[^>]*aria-invalid="true"', answer.text), name
    assert "a new lot of seawater without a name" in answer.text
    assert text_of(folder) == before


def test_an_empty_field_takes_its_key_out(visitor: Visitor, folder: Path) -> None:
    looked = visitor.send(PAGE, {**form(visitor), "decision.beta": "", "run.max_gap_h": "6", "do": "look"})
    assert "<code>decision.beta</code>: 0.05 → 0.05 by default" in looked.text
    assert "<code>run.max_gap_h</code>: 12 by default → 6" in looked.text
    assert keep(visitor, {"decision.beta": "", "decision.max_fold": " "}).status_code == 303
    table = tomllib.loads(text_of(folder))
    assert table["decision"] == {"alpha": 0.05, "interval": 0.95}


def test_sections_are_added_changed_and_taken_out(visitor: Visitor, folder: Path) -> None:
    assert keep(visitor, {"new.stock": "K 2", "new.stock.level": "500"}).status_code == 303
    assert keep(visitor, {"new.lot": "L.7"}).status_code == 303
    assert keep(visitor, {'stock."K 2".rel_u': "0.01"}).status_code == 303
    assert tomllib.loads(text_of(folder))["stock"]["K 2"] == {"level": 500.0, "rel_u": 0.01}
    assert tomllib.loads(text_of(folder))["lot"] == {"L.7": {}}
    assert keep(visitor, {"take_out": ['stock."K 2"', "stock.K1"]}).status_code == 303
    assert "stock" not in tomllib.loads(text_of(folder))
    assert "# blue" in text_of(folder)


def test_a_name_that_is_taken_is_refused(visitor: Visitor) -> None:
    answer = visitor.send(PAGE, {**form(visitor), "new.stock": "K1", "new.stock.level": "5", "do": "look"})
    assert answer.status_code == 422
    assert "a second stock of one name" in answer.text


def test_a_covariate_comes_and_goes_with_its_switch(visitor: Visitor, folder: Path) -> None:
    unsaid = visitor.send(PAGE, {**form(visitor), "covariate.quantity": "height", "do": "look"})
    assert "keys of a covariate that is not wanted" in unsaid.text
    assert keep(visitor, {"covariate": "yes", "covariate.quantity": "height"}).status_code == 303
    assert tomllib.loads(text_of(folder))["covariate"] == {"quantity": "height"}
    assert keep(visitor, {"covariate": "no"}).status_code == 303
    assert "covariate" not in tomllib.loads(text_of(folder))


def test_values_in_the_address_fill_in_and_keep_nothing(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    address = f"{PAGE}?signal.window_V=0.42,0.74&signal.baseline=polynomial&stock.K9.level=5&nonsense=1&x%20y=2"
    shown = form(visitor, address)
    assert shown["signal.window_V"] == ["0.42", "0.74"]
    assert shown["signal.baseline"] == "polynomial"
    assert (shown["new.stock"], shown["new.stock.level"]) == ("K9", "5")
    assert visitor.get(address).text.count("not yet kept") == 3
    assert text_of(folder) == before
    assert keep(visitor, {name: shown[name] for name in shown if name.startswith(("signal", "new"))}).status_code == 303
    assert tomllib.loads(text_of(folder))["signal"]["window_V"] == [0.42, 0.74]


def test_the_second_of_two_tabs_is_refused_and_undoes_nothing(visitor: Visitor, folder: Path) -> None:
    one, two = form(visitor), form(visitor)
    looked = visitor.send(PAGE, {**one, "decision.alpha": "0.01", "do": "look"})
    visitor.send(PAGE, {**fields_of(looked.text, PAGE), "reason": "first", "do": "keep"})
    answer = visitor.send(PAGE, {**two, "decision.beta": "0.2", "do": "look"})
    assert answer.status_code == 422
    assert "changed elsewhere" in answer.text
    shown = fields_of(answer.text, PAGE)
    assert (shown["decision.alpha"], shown["decision.beta"]) == ("0.01", "0.2")
    looked = visitor.send(PAGE, {**shown, "do": "look"})
    assert "decision.alpha" not in re.findall(r"<code>([\w.]+)</code>: ", looked.text)
    assert visitor.send(PAGE, {**fields_of(looked.text, PAGE), "reason": "second", "do": "keep"}).status_code == 303
    assert (
        tomllib.loads(text_of(folder))["decision"] | {"alpha": 0.01, "beta": 0.2}
        == tomllib.loads(text_of(folder))["decision"]
    )


def test_a_definition_after_readings_needs_its_tick(
    visitor: Visitor, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether samples were read is worked out elsewhere and tested there."""
    monkeypatch.setattr("brinemark.steps.change_settings._late", lambda *_: ("[signal]",))
    before = text_of(folder)
    refused = keep(visitor, {"signal.baseline": "polynomial"})
    assert refused.status_code == 422
    assert "samples were read already" in refused.text
    assert text_of(folder) == before
    kept = visitor.send(PAGE, {**fields_of(refused.text, PAGE), "although_read": "yes", "do": "keep"})
    assert kept.status_code == 303
    assert 'href="/calibration">calibrate anew' in visitor.get(kept.headers["location"]).text


def test_decimal_commas_are_shown_and_read(visitor: Visitor, folder: Path) -> None:
    text = visitor.get(PAGE, **{"accept-language": "de"}).text
    shown = fields_of(text, PAGE)
    assert shown["signal.window_V"] == ["0,4", "0,76"]
    answer = visitor.send(PAGE, {**shown, "do": "look"}, **{"accept-language": "de"})
    assert answer.status_code == 303
    assert "nothing was changed" in visitor.get(answer.headers["location"]).text


def test_a_logbook_of_spectra_has_the_fields_of_spectra(visitor: Visitor, folder: Path) -> None:
    (folder / "logbook.toml").write_text(
        '[signal]\nquantity = "band"\nwindow_nm = [425, 475] # by eye\n[instrument.uv]\nstray_light = 0.0005\n', "utf-8"
    )
    shown = form(visitor)
    assert shown["signal.window_nm"] == ["425", "475"]
    assert "signal.window_V" not in shown
    assert shown["instrument.uv.stray_light"] == "0.0005"
    assert "instrument.uv.sign" not in shown
    assert (shown["new.further_covariate.quantity"], shown["covariate.window_nm"]) == ("band", ["", ""])
    unfinished = visitor.send(PAGE, {**shown, "covariate": "yes", "do": "look"})
    assert "no [covariate] window_nm" in unfinished.text
    assert keep(visitor, {"covariate": "yes", "covariate.window_nm": ["402", "462"]}).status_code == 303
    assert tomllib.loads(text_of(folder))["covariate"] == {"quantity": "band", "window_nm": [402.0, 462.0]}
    assert keep(visitor, {"signal.against": "prescan", "prescan.use": "covariate"}).status_code == 303
    assert "# by eye" in text_of(folder)


def test_another_kind_of_curve_shows_its_fields_and_takes_the_old_keys_out(visitor: Visitor, folder: Path) -> None:
    first = visitor.send(PAGE, {**form(visitor), "signal.quantity": "difference", "do": "look"})
    assert first.status_code == 422
    assert "no [signal] wavelengths_nm" in first.text
    shown = fields_of(first.text, PAGE)
    assert shown["signal.quantity"] == "difference"
    looked = visitor.send(PAGE, {**shown, "signal.wavelengths_nm": ["446", "430"], "do": "look"})
    assert looked.status_code == 200, looked.text
    kept = visitor.send(PAGE, {**fields_of(looked.text, PAGE), "reason": "another spectrometer", "do": "keep"})
    assert kept.status_code == 303
    assert tomllib.loads(text_of(folder))["signal"] == {"quantity": "difference", "wavelengths_nm": [446.0, 430.0]}


def test_a_file_that_is_wrong_as_it_is_can_be_mended_on_the_page(visitor: Visitor, folder: Path) -> None:
    wrong = text_of(folder).replace("alpha = 0.05", "alfa = 0.05") + '[funny]\na = 1\n[run]\nmax_gap_h = "x"\n'
    (folder / "logbook.toml").write_text(wrong, "utf-8")
    page = visitor.get(PAGE)
    assert page.status_code == 200
    assert "nearest known key, alpha" in page.text
    assert "the file is wrong as it is" in page.text
    changes = {"take_out": ["decision.alfa", "funny"], "run.max_gap_h": "6"}
    assert keep(visitor, changes).status_code == 303
    table = tomllib.loads(text_of(folder))
    assert ("funny" in table, "alfa" in table["decision"], table["run"]["max_gap_h"]) == (False, False, 6.0)


def test_a_file_that_is_no_toml_is_shown_as_it_is(visitor: Visitor, folder: Path) -> None:
    (folder / "logbook.toml").write_text("[decision\n", "utf-8")
    page = visitor.get(PAGE)
    assert page.status_code == 200
    assert "not TOML" in page.text
    assert "<form" not in page.text


def test_programs_read_and_change_settings(visitor: Visitor, folder: Path) -> None:
    shown = form(visitor)
    data = visitor.data(PAGE)
    window = next(one for slot in data["sections"] for one in slot["fields"] if one["name"] == "signal.window_V")
    assert (window["unit"], window["texts"], window["default"]) == ("V", ["0.4", "0.76"], "0.4 to 0.76")
    sent = {"token": shown["token"], "shown": data["shown"], "decision.alpha": "0.02", "reason": "x", "do": "keep"}
    answer = visitor.send(PAGE, sent, accept="application/json")
    assert answer.json() == {"schema": 1, "see": "/settings?kept=2", "said": ""}
    stale = visitor.send(PAGE, sent, accept="application/json")
    assert (stale.status_code, "changed elsewhere" in stale.json()["error"]) == (422, True)
    assert tomllib.loads(text_of(folder))["decision"]["alpha"] == 0.02


def test_a_form_without_our_token_changes_nothing(visitor: Visitor, folder: Path) -> None:
    before = text_of(folder)
    assert (
        visitor.send(PAGE, {**form(visitor), "token": "x", "decision.alpha": "0.01", "do": "keep"}).status_code == 403
    )
    assert text_of(folder) == before

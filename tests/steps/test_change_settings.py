"""Changing settings: all or nothing, with an audit entry, both texts kept, and what it costs said before."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from brinemark.logbook import Logbook
from brinemark.records.files import store_originals
from brinemark.steps import change_settings as step
from brinemark.steps.change_settings import ACTION, Wish, change_at, present, propose_at
from brinemark.steps.settings_list import listed, typed
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.errors import Refused

NOTE = "# a note by hand\n"
BAND = '[signal]\nquantity = "band"\nwindow_nm = [425, 475] # by eye\n[instrument.uv]\nstray_light = 0.0005\n'


def file_of(book: Logbook) -> Path:
    return book.path / "logbook.toml"


def state(book: Logbook) -> tuple[bytes, str, list[str]]:
    """Everything that a refused change must leave alone."""
    names = sorted(path.name for path in book.path.iterdir() if not path.name.startswith("logbook.db-"))
    return file_of(book).read_bytes(), book.audit_head(), names


def test_a_change_is_made_and_told_in_the_audit_list(book: Logbook) -> None:
    file_of(book).write_text(file_of(book).read_text("utf-8") + NOTE, "utf-8")
    before = file_of(book).read_bytes()
    changed = book.change_settings({"decision.alpha": 0.01, "stock.K1": {}, "stock.K1.level": 500.0}, "stricter")
    assert book.settings.decision.alpha == 0.01
    assert book.settings.stock["K1"].level == 500.0
    assert NOTE in file_of(book).read_text("utf-8")
    entry = book.audit()[-1]
    assert (entry.seq, entry.action, entry.subject) == (changed.entry, ACTION, "logbook.toml")
    detail: Any = entry.detail
    assert detail["changed"] == [
        {"key": "decision.alpha", "old": 0.05, "new": 0.01},
        {"key": "stock.K1.level", "old": None, "new": 500},
    ]
    assert detail["reason"] == "stricter"
    assert book.original(detail["before"])[1] == before
    assert book.original(detail["after"])[1] == file_of(book).read_bytes()
    assert book.verify().sound


def test_another_program_sees_the_change(book: Logbook) -> None:
    book.change_settings({"decision.beta": 0.1}, "looser")
    with Logbook.open(book.path) as other:
        assert other.settings.decision.beta == 0.1


def test_what_holds_already_writes_nothing(book: Logbook) -> None:
    before = state(book)
    changed = book.change_settings({"decision.alpha": 0.05, "prior.widen": None}, "")
    assert (changed.entry, changed.changed) == (None, ())
    assert state(book) == before


def test_wrong_values_are_refused_with_all_findings_and_nothing_written(book: Logbook) -> None:
    before = state(book)
    wrong: dict[str, Any] = {
        "decision.alpha": 2.0,
        "signal.windw_V": [0.1, 0.2],
        "logbook.timezone": "No/where",
        "stock.K1.level": "x",
    }
    with pytest.raises(Refused) as caught:
        book.change_settings(wrong, "a try")
    for words in ("[decision] alpha = 2", "nearest known key, window_V", "'No/where'", '[stock.K1] level = "x"'):
        assert words in str(caught.value)
    assert state(book) == before
    assert book.settings.decision.alpha == 0.05


@pytest.mark.parametrize("reason", ["", "  ", "two\nlines"])
def test_a_change_needs_a_reason_in_one_line(book: Logbook, reason: str) -> None:
    before = state(book)
    with pytest.raises(Refused, match="give a reason"):
        book.change_settings({"decision.alpha": 0.01}, reason)
    assert state(book) == before


def test_the_second_of_two_editors_is_refused(book: Logbook) -> None:
    shown = present(book.path).sha256
    book.change_settings({"decision.alpha": 0.01}, "first", shown=shown)
    before = state(book)
    with pytest.raises(Refused, match="changed by someone else"):
        book.change_settings({"decision.beta": 0.1}, "second", shown=shown)
    assert state(book) == before


def test_two_at_the_same_moment_never_mix(book: Logbook) -> None:
    shown, outcomes = present(book.path).sha256, list[str]()
    start = threading.Barrier(4)

    def change(level: float) -> None:
        start.wait()
        try:
            change_at(book.path, Wish({("decision", "alpha"): level}, "a race", shown))
            outcomes.append("made")
        except Refused:
            outcomes.append("refused")

    threads = [threading.Thread(target=change, args=(0.01 + place / 1000,)) for place in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(outcomes) == ["made", "refused", "refused", "refused"]
    assert [entry.action for entry in book.audit()].count(ACTION) == 1
    assert book.verify().sound


def test_a_file_saved_by_an_editor_meanwhile_is_left_alone(book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def saved_meanwhile(folder: Path, files: Any) -> Any:
        file_of(book).write_text("# mine\n", "utf-8")
        return store_originals(folder, files)

    monkeypatch.setattr("brinemark.steps.change_settings.store_originals", saved_meanwhile)
    head = book.audit_head()
    with pytest.raises(Refused, match="changed by someone else"):
        book.change_settings({"decision.alpha": 0.01}, "late")
    assert file_of(book).read_text("utf-8") == "# mine\n"
    assert book.audit_head() == head


def test_a_fault_while_the_entry_is_kept_puts_the_old_file_back(book: Logbook) -> None:
    before, head = file_of(book).read_bytes(), book.audit_head()

    class Bursting:
        """A database whose transaction fails at its very end."""

        def __getattr__(self, name: str) -> Any:
            return getattr(book._place.database, name)

        def writing(self) -> Any:
            @contextmanager
            def opened() -> Iterator[Any]:
                with book._place.database.writing() as writer:
                    yield writer
                    raise OSError(28, "No space left on device")

            return opened()

    with pytest.raises(OSError, match="No space left"):
        step.change_settings(book.path, Bursting(), Wish({("decision", "alpha"): 0.01}, "x"))  # type: ignore[arg-type]
    assert file_of(book).read_bytes() == before
    assert book.audit_head() == head


def test_settings_that_are_wrong_as_they_are_can_be_mended(book: Logbook) -> None:
    text = file_of(book).read_text("utf-8").replace("alpha = 0.05", "alpha = 5 # oops")
    file_of(book).write_text(text, "utf-8")
    with pytest.raises(Refused, match="alpha"):
        Logbook.open(book.path)
    with pytest.raises(Refused, match=r"\[decision\] alpha = 5"):
        change_at(book.path, Wish({("decision", "beta"): 0.1}, "elsewhere"))
    change_at(book.path, Wish({("decision", "alpha"): 0.05}, "mended"))
    with Logbook.open(book.path) as again:
        assert again.settings.decision.alpha == 0.05
        assert again.verify().sound
    assert "# oops" in file_of(book).read_text("utf-8")


def test_any_value_that_a_file_can_hold_can_be_taken_out(book: Logbook) -> None:
    odd = "[odd]\na = 1979-05-27\nb = nan\nc = 100000000000000000000\nd = [[1, 'x'], {e = inf}]\n"
    file_of(book).write_text(file_of(book).read_text("utf-8") + odd, "utf-8")
    changed = change_at(book.path, Wish({("odd",): None}, "not ours"))
    assert changed.changed[0].old == {
        "a": "1979-05-27",
        "b": "nan",
        "c": "100000000000000000000",
        "d": [[1, "x"], {"e": "inf"}],
    }
    with Logbook.open(book.path) as again:
        assert again.verify().sound


def test_a_mark_before_the_text_stays(book: Logbook) -> None:
    file_of(book).write_bytes(b"\xef\xbb\xbf" + file_of(book).read_bytes())
    book.change_settings({"decision.alpha": 0.01}, "x")
    assert file_of(book).read_bytes().startswith(b"\xef\xbb\xbf# Settings")


def test_what_a_change_costs_is_said_before(calibrated: Logbook) -> None:
    def costs(key: str, value: Any) -> tuple[bool, tuple[str, ...], str]:
        made = propose_at(calibrated.path, {tuple(key.split(".")): value})
        assert made.findings == ()
        return made.renews, made.late, " ".join(made.effects)

    before = state(calibrated)
    renews, late, words = costs("signal.window_V", [0.42, 0.76])
    assert (renews, late) == (True, ())
    assert "[signal]: needs a new calibration" in words
    assert costs("prescan.max_ratio", 3.0)[0]
    assert costs("covariate", None)[0]
    assert costs("instrument.bench.scan_rate_V_per_s", 0.2)[0]
    renews, late, words = costs("decision.alpha", 0.01)
    assert (renews, late) == (False, ())
    assert "[decision]: counts from the next reading on" in words
    assert not costs("prior.widen", 2.0)[0]
    assert state(calibrated) == before


def test_a_definition_changes_after_readings_only_when_that_is_said(calibrated: Logbook) -> None:
    calibrated.read("S-mid")
    before = state(calibrated)
    with pytest.raises(Refused, match=r"samples were read already.*\[signal\]"):
        calibrated.change_settings({"signal.window_V": [0.42, 0.76]}, "sits higher")
    assert state(calibrated) == before
    calibrated.change_settings({"decision.alpha": 0.01}, "needs no word")
    changed = calibrated.change_settings({"signal.window_V": [0.42, 0.76]}, "sits higher", although_read=True)
    assert changed.renews
    detail: Any = calibrated.audit()[-1].detail
    assert detail["not_blind"] == ["[signal]"]
    with pytest.raises(Refused, match="signal definition changed"):
        calibrated.read("S-mid")
    back = calibrated.change_settings({"signal.window_V": [0.40, 0.76]}, "as before")
    assert back.entry == len(calibrated.audit())
    assert calibrated.read("S-mid")[0].statement != ""


def test_logbooks_of_spectra_change_in_the_same_way(book: Logbook) -> None:
    file_of(book).write_text(BAND, "utf-8")
    changed = change_at(book.path, Wish({("signal", "window_nm"): [430.0, 475.0]}, "narrower"))
    assert changed.renews
    assert "window_nm = [430.0, 475] # by eye" in file_of(book).read_text("utf-8")
    with pytest.raises(Refused, match=r"unknown key.*window_nm"):
        change_at(book.path, Wish({("signal", "window_V"): [0.1, 0.2]}, "wrong kind"))
    keys = [one.name for one in listed(book.path)]
    assert "signal.window_nm" in keys
    assert "signal.window_V" not in keys
    assert "instrument.uv.stray_light" in keys


def test_the_list_says_what_holds_and_what_is_written(book: Logbook) -> None:
    found = {one.name: one for one in listed(book.path)}
    assert found["decision.alpha"].written
    assert (found["run.max_gap_h"].written, found["run.max_gap_h"].value) == (False, 12.0)
    assert found["covariate.window_V"].value is None
    assert [one.name for one in listed(book.path, "decision.beta")] == ["decision.beta"]
    assert len(listed(book.path, "stock")) == 2
    with pytest.raises(Refused, match=r"signal\.window_V"):
        listed(book.path, "signal.windw_V")


@pytest.mark.parametrize(
    ("kind", "texts", "value"),
    [
        ("number", ["0,5"], 0.5),
        ("number", ["-1e-7"], -1e-7),
        ("number", ["0,5.1"], "0,5.1"),
        ("number", ["nan"], "nan"),
        ("whole number", ["12"], 12),
        ("whole number", ["1.5"], 1.5),
        ("two numbers", ["−0,3", "0"], [-0.3, 0.0]),
        ("two numbers", ["0.3", ""], [0.3, ""]),
        ("yes or no", ["Yes"], True),
        ("yes or no", ["perhaps"], "perhaps"),
        ("number or word", ["last"], "last"),
        ("number or word", ["3"], 3),
        ("text", ["12"], "12"),
    ],
)
def test_what_people_type_becomes_a_value_or_stays_a_text(kind: str, texts: list[str], value: Any) -> None:
    found = typed(kind, texts)
    assert found == value
    assert type(found) is type(value)


def test_the_check_of_the_whole_logbook_can_be_kept(book: Logbook) -> None:
    assert book.verify().entries == 1
    assert len(book.audit()) == 1
    book.verify(keep=True)
    entry = book.audit()[-1]
    detail: Any = entry.detail
    assert (entry.action, detail["sound"], detail["entries"], detail["fault_count"]) == ("logbook checked", True, 1, 0)
    assert detail["head"] == entry.previous
    assert book.verify().sound


def test_a_check_that_finds_faults_keeps_them(book: Logbook) -> None:
    book.change_settings({"decision.alpha": 0.01}, "x")
    kept = book.path / "originals"
    victim = next(path for path in kept.rglob("*") if path.is_file())
    victim.chmod(0o644)
    victim.write_bytes(b"spoilt")
    report = book.verify(keep=True)
    detail: Any = book.audit()[-1].detail
    assert not report.sound
    assert detail["faults"] == list(report.faults)
    assert sha256_hex(b"spoilt") in detail["faults"][0]

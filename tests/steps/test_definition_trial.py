"""A look at a definition: beside the present one, on known electrodes alone, kept and counted as tried."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.curves import learned_shape, read_signal, remembering_cut
from brinemark.steps.measure import Traces
from brinemark.terms.curves import SignalDefinition
from brinemark.terms.errors import Refused
from season import BLANK, PLACE_V, Season, sample, standard

SEED = 20442
PLAN = [BLANK, BLANK, standard(0.5), standard(2.0), standard(2.0), standard(8.0)]
OWN, BESIDE, OFF = (0.40, 0.76), (0.44, 0.74), (0.10, 0.40)


@pytest.fixture(scope="module")
def known_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches with a sample and a control; nothing was calibrated or tried."""
    root = tmp_path_factory.mktemp("trial")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(SEED))
    with Logbook.create(root / "book") as book:
        for day in range(1, 4):
            extra = [sample("S-mid", 1.5), ("control", 2.0, "C1")] if day == 3 else []
            book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
    return root / "book"


@pytest.fixture
def book(known_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(known_folder, tmp_path / "book")
    with Logbook.open(tmp_path / "book") as made:
        yield made


def test_a_look_reads_every_known_electrode_by_both_definitions(book: Logbook) -> None:
    trial = book.try_definition(BESIDE)
    assert trial.differs and trial.new
    assert trial.present.words == "height above a chord, 0.40 to 0.76 V, anodic, cycle last"
    assert trial.tried.words == "height above a chord, 0.44 to 0.74 V, anodic, cycle last"
    for look in trial.looks:
        assert len(look.read) == len(look.readings) == 19
        assert {one.role for one in look.readings} == {"blank", "standard", "control"}
    assert trial.to_dict()["samples_looked_at"] == 0


def test_no_curve_of_a_sample_is_read(book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    get, opened = Traces.get, Traces.take

    def spy(self: Traces, sha256: str, instrument: str) -> object:
        read.append(sha256)
        return get(self, sha256, instrument)

    def taken(self: Traces, data: bytes, sha256: str, instrument: str, name: str) -> object:
        read.append(sha256)
        return opened(self, data, sha256, instrument, name)

    monkeypatch.setattr(Traces, "get", spy)
    monkeypatch.setattr(Traces, "take", taken)
    book.try_definition((0.38, 0.78), quantity="charge", baseline="polynomial")
    book.definition_tried(BESIDE)
    book.definition_tried()
    book.curves_to_try()
    rows = book.rows()
    hidden = {sha for row in rows if row.row.role == "sample" for sha in (row.trace_sha256, row.prescan_sha256)}
    known = {row.trace_sha256 for row in rows if row.row.role != "sample"}
    assert len(hidden) == 2
    assert hidden.isdisjoint(read)
    assert known <= set(read)


def test_a_look_is_kept_counted_and_listed_as_the_ranking_keeps_its_definitions(book: Logbook) -> None:
    first = book.try_definition(BESIDE)
    assert first.definitions == 2
    assert [one.signal["window_V"] for one in book.signals_tried()] == [list(OWN), list(BESIDE)]
    assert book.audit()[-1].action == "signal definitions tried"
    detail: Any = book.audit()[-1].detail
    assert first.tried.id in detail["tried"]
    assert book.try_definition((0.42, 0.72)).definitions == 3
    study = book.signals(quantities=("height",), baselines=("chord",), windows=(BESIDE,))
    assert {one.id for one in study.definitions} == {first.present.id, first.tried.id}
    assert len(book.signals_tried()) == 3
    assert book.verify().sound


def test_the_first_reading_of_a_sample_tells_how_many_were_looked_at_before(book: Logbook) -> None:
    book.try_definition(BESIDE)
    book.try_definition((0.42, 0.72))
    with (book.path / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write("\n[calibration]\ndraws = 256\n")
    with Logbook.open(book.path) as again:
        again.calibrate()
        (answer,) = again.read("S-mid")
        assert answer.choice is not None
        assert (answer.choice["tried"], answer.choice["blind"]) == (3, True)
        trial = again.try_definition((0.41, 0.73))
        assert trial.seen.locked
        assert trial.to_dict()["readings_of_samples_already"] == 1
        assert trial.seen.warnings == [
            "samples were read already (1 reading): a definition that is chosen now is not chosen blind"
        ]


def test_the_second_look_takes_everything_from_the_logbook_and_writes_nothing(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = book.try_definition(BESIDE)
    entries = len(book.audit())
    monkeypatch.setattr(Traces, "get", lambda *_: pytest.fail("a curve was read again"))
    again = book.try_definition(BESIDE)
    kept = book.definition_tried(BESIDE)
    assert kept is not None
    assert not again.new
    assert len(book.audit()) == entries
    plain = first.to_dict()
    assert again.to_dict() == kept.to_dict() == plain | {"new": False}
    flags = [one["flags"] for one in plain["tried"]["readings"]]
    assert any(flags) and not all(flags)


def test_asking_what_was_tried_stores_nothing_and_reads_only_the_present_definition(book: Logbook) -> None:
    entries = len(book.audit())
    assert book.definition_tried(BESIDE) is None
    present = book.definition_tried()
    assert present is not None
    assert not present.differs
    assert len(present.looks) == 1
    assert len(book.audit()) == entries
    assert book.signals_tried() == ()


def test_a_definition_of_the_ranking_without_flags_gets_them_by_a_look(book: Logbook) -> None:
    study = book.signals(quantities=("height",), baselines=("chord",), windows=(BESIDE,))
    trial = book.try_definition(BESIDE)
    assert not trial.new
    assert trial.tried.id in {one.id for one in study.definitions}
    (flag,) = trial.tried.flags
    signals = [one.signal for one in trial.tried.readings if one.signal]
    assert flag["name"] == "no wave"
    assert flag["count"] == sum(abs(signal.value) <= 3.0 * signal.u for signal in signals) > 0


def test_the_window_that_holds_the_wave_scatters_less_against_its_rise(book: Logbook) -> None:
    trial = book.try_definition(OFF)
    assert OWN[0] < PLACE_V < OWN[1]
    inside, outside = trial.present.to_dict()["scatter_share"], trial.tried.to_dict()["scatter_share"]
    assert inside["share"] < 0.3
    assert outside is None or outside["share"] > 3.0 * inside["share"]
    said = " ".join(trial.sentences)
    assert "It reads 19 (19 by the present one) of 19 curves." in said
    assert "of their rise above the blanks" in said or "do not rise above the blanks" in said


def test_scatter_is_that_of_the_signals_themselves(book: Logbook) -> None:
    look = book.try_definition(BESIDE).tried
    at_two = [one.signal.value for one in look.readings if one.level == 2.0 and one.teaches and one.signal]
    blanks = [one.signal.value for one in look.readings if one.level == 0.0 and one.signal]
    found = next(one for one in look.scatter if one.level == 2.0)
    assert len(at_two) == found.count == 6
    assert found.scatter == pytest.approx(float(np.std(at_two, ddof=1)), rel=1e-12)
    assert found.rise == pytest.approx(float(np.mean(at_two) - np.mean(blanks)), rel=1e-12)


def test_what_cannot_be_read_is_told_with_its_reason(book: Logbook) -> None:
    trial = book.try_definition((0.45, 1.20))
    assert trial.tried.read == ()
    assert "no anodic sweep from 0.45 to 1.2 V" in trial.sentences[1]
    assert book.draw_trial(trial).startswith(b"<svg")


def test_wrong_wishes_are_refused_and_nothing_is_stored(book: Logbook, tmp_path: Path) -> None:
    for wanted, words in (
        ({"window": (0.7, 0.5)}, "low below high"),
        ({"window": BESIDE, "quantity": "area"}, "height or charge"),
        ({"window": BESIDE, "baseline": "spline"}, "one of chord, polynomial, whittaker"),
        ({"window": BESIDE, "sweep": "sideways"}, "anodic"),
    ):
        arguments: dict[str, Any] = {**wanted}
        with pytest.raises(Refused, match=words):
            book.try_definition(**arguments)
    assert book.signals_tried() == ()
    with Logbook.create(tmp_path / "empty") as empty, pytest.raises(Refused, match="no blank, standard or control"):
        empty.try_definition(BESIDE)


def test_the_curves_to_choose_a_window_on_are_the_newest_blanks_and_standards(book: Logbook) -> None:
    curves, reason = book.curves_to_try(most=6)
    assert reason == ""
    assert {one.electrode for one in curves} == {f"B3-{place}" for place in range(1, 7)}
    assert {one.kind for one in curves} == {"blank", "0.5 ug/L", "2 ug/L", "8 ug/L"}
    highest = max(curves, key=lambda one: one.level or 0.0)
    inside = (highest.x > OWN[0]) & (highest.x < OWN[1])
    assert highest.x[inside][np.argmax(highest.y[inside])] == pytest.approx(PLACE_V, abs=0.03)
    down, _ = book.curves_to_try("cathodic", most=6)
    assert not np.allclose(down[0].y, curves[0].y)
    with pytest.raises(Refused, match="sweep 'up'"):
        book.curves_to_try("up")


def test_waves_learned_from_remembered_cuts_are_the_same_to_the_last_bit(book: Logbook) -> None:
    rows = [row for row in book.rows() if row.row.role in ("blank", "standard")]
    cut = remembering_cut()
    with book._place.database.reading() as reader:
        traces = Traces(book._place, reader)
        for window in (OWN, BESIDE):
            for baseline in ("chord", "polynomial", "whittaker"):
                curve = SignalDefinition("height", "anodic", "last", window, baseline)
                seen = {row.id: traces.seen(row, row.trace_sha256 or "", curve) for row in rows}
                standards = [seen[row.id] for row in rows if row.row.role == "standard"]
                blanks = [seen[row.id] for row in rows if row.row.role == "blank"]
                plain, quick = learned_shape(standards, curve, blanks), learned_shape(standards, curve, blanks, cut)
                assert np.array_equal(plain.shape, quick.shape)
                assert read_signal(standards[0], curve, plain) == read_signal(standards[0], curve, quick)

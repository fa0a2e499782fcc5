"""Signal definitions ranked on known electrodes: the better one first, samples hidden, every one kept."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.steps.measure import Traces
from brinemark.steps.study_answers import RankedDefinition, SignalStudy
from brinemark.terms.errors import Refused
from season import BLANK, PLACE_V, Season, curve, sample, standard, write_curve

PLAN = [BLANK, standard(0.5), standard(2.0), standard(8.0)]
ON, BESIDE, OFF = (0.40, 0.76), (0.44, 0.74), (0.10, 0.40)
QUICK = "[calibration]\ndraws = 256\n"


def chords(book: Logbook, *windows: tuple[float, float]) -> SignalStudy:
    """Heights above chords, in these windows beside the logbook's own."""
    return book.signals(quantities=("height",), baselines=("chord",), windows=windows)


def add_to_settings(folder: Path, text: str) -> None:
    with (folder / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(text)


def new_book(folder: Path) -> Logbook:
    Logbook.create(folder).close()
    add_to_settings(folder, QUICK)
    return Logbook.open(folder)


def place_of(study: SignalStudy, window: tuple[float, float]) -> int:
    return next(k for k, one in enumerate(study.definitions) if one.to_dict()["signal"]["window_V"] == list(window))


def of_window(study: SignalStudy, window: tuple[float, float]) -> RankedDefinition:
    return study.definitions[place_of(study, window)]


def set_window(folder: Path, window: tuple[float, float]) -> None:
    settings = folder / "logbook.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("window_V = [0.40, 0.76]", f"window_V = [{window[0]}, {window[1]}]"), "utf-8")


@pytest.fixture(scope="module")
def studied_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five batches, a sample and a control, without covariate; its own window stands beside the wave."""
    root = tmp_path_factory.mktemp("study")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(20441))
    new_book(root / "book").close()
    set_window(root / "book", OFF)
    with Logbook.open(root / "book") as book:
        for day in range(1, 6):
            extra = [sample("S-mid", 1.5), ("control", 2.0, "C1")] if day == 5 else []
            book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
        chords(book, ON, BESIDE)
    return root / "book"


@pytest.fixture
def studied(studied_folder: Path, tmp_path: Path) -> Path:
    import shutil

    shutil.copytree(studied_folder, tmp_path / "studied")
    return tmp_path / "studied"


def test_a_window_that_holds_the_wave_ranks_above_one_beside_it(studied: Path) -> None:
    with Logbook.open(studied) as book:
        study = chords(book, ON, BESIDE)
    assert study.reason is None
    assert study.definitions[-1].candidate.present
    assert place_of(study, OFF) == 2
    present = of_window(study, OFF)
    assert present.told_apart
    assert "reads nearer to the truth than the present one" in study.verdict
    ahead = study.definitions[0].entry["by_curve"]["typical"]
    assert present.entry["by_curve"]["typical"] > 3.0 * ahead


def test_two_windows_that_both_hold_the_wave_are_not_told_apart(studied: Path) -> None:
    with Logbook.open(studied) as book:
        study = chords(book, ON, BESIDE)
    assert not study.definitions[1].told_apart


def test_the_curves_propose_windows_that_hold_the_wave(studied: Path) -> None:
    with Logbook.open(studied) as book:
        study = chords(book)
    assert study.windows is not None
    assert study.windows.place == pytest.approx(PLACE_V, abs=0.02)
    first = study.definitions[0]
    assert first.candidate.window == "proposed"
    low, high = first.to_dict()["signal"]["window_V"]
    assert low < PLACE_V < high
    assert of_window(study, OFF).told_apart


def test_no_curve_of_a_sample_is_read(studied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    get = Traces.get

    def spy(self: Traces, sha256: str, instrument: str) -> object:
        read.append(sha256)
        return get(self, sha256, instrument)

    monkeypatch.setattr(Traces, "get", spy)
    with Logbook.open(studied) as book:
        chords(book, (0.38, 0.78))
        rows = book.rows()
    hidden = {sha for row in rows if row.row.role == "sample" for sha in (row.trace_sha256, row.prescan_sha256)}
    control = {row.trace_sha256 for row in rows if row.row.role == "control"}
    assert len(hidden) == 2
    assert hidden.isdisjoint(read)
    assert control <= set(read)


def test_the_second_run_gives_the_stored_answer_and_writes_nothing(
    studied: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Logbook.open(studied) as book:
        first = chords(book, ON, BESIDE)
        entries = len(book.audit())
        monkeypatch.setattr(Traces, "get", lambda *_: pytest.fail("a curve was read again"))
        again = chords(book, ON, BESIDE)
        assert not again.new
        assert again.to_dict() == first.to_dict()
        assert len(book.audit()) == entries


def test_every_definition_tried_is_kept_and_listed(studied: Path) -> None:
    with Logbook.open(studied) as book:
        before = book.signals_tried()
        assert [one.signal["window_V"] for one in before] == [list(OFF), list(ON), list(BESIDE)]
        study = chords(book, ON, BESIDE)
        assert [one.rank for one in before] == [place_of(study, window) + 1 for window in (OFF, ON, BESIDE)]
        chords(book, (0.38, 0.78))
        after = book.signals_tried()
        assert after[:3] != before  # the present definition was ranked once more
        assert [one.id for one in after[:3]] == [one.id for one in before]
        assert after[3].words == "height above a chord, 0.38 to 0.78 V, anodic, cycle last"
        assert book.audit()[-1].action == "signal definitions tried"
        report = book.verify()
        assert report.sound
        assert report.faults == ()


def test_a_changed_record_of_a_study_is_noticed(studied: Path) -> None:
    import sqlite3

    connection = sqlite3.connect(studied / "logbook.db")
    connection.execute("PRAGMA writable_schema=1")
    names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type='trigger'")]
    for name in names:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("UPDATE record SET results = replace(results, '\"refused\":0', '\"refused\":1') "
                       "WHERE kind = 'signal study' AND role = 'ranking'")  # fmt: skip
    connection.commit()
    connection.close()
    with Logbook.open(studied) as book:
        assert any("signal study" in fault for fault in book.verify().faults)


def test_a_definition_that_cannot_measure_is_listed_with_its_reason(studied: Path) -> None:
    with Logbook.open(studied) as book:
        study = chords(book, ON, (0.45, 1.20))
    last = study.definitions[-1]
    assert not last.is_ranked
    assert last.entry["reason"].startswith("cannot read 21 of 21 curves: no anodic sweep from 0.45 to 1.2 V")
    assert len([one for one in study.definitions if one.is_ranked]) == 2


def test_all_definitions_are_judged_on_the_electrodes_that_all_can_read(season: Season, tmp_path: Path) -> None:
    """One curve ends at 0.8 V: a window beyond that cannot read it, and nobody is judged on it."""
    with new_book(tmp_path / "book") as book:
        for day in range(1, 5):
            path = season.batch(f"B{day}", PLAN, day=day)
            if day == 2:
                shorten(season.folder / "B2-3.csv", 0.80)
            book.add(path)
        narrow = chords(book, BESIDE)
        both = chords(book, BESIDE, (0.36, 0.86))
    assert len(narrow.results["electrodes"]) == 16
    assert len(both.results["electrodes"]) == 15
    assert "B2-3" not in both.results["electrodes"]
    assert of_window(both, (0.36, 0.86)).entry["refused"] == 1
    assert all(one.is_ranked for one in both.definitions)


def shorten(path: Path, highest_V: float) -> None:
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if float(line.partition(",")[0]) <= highest_V]
    path.write_text("\n".join([header, *kept, ""]), encoding="utf-8")


def bowed(path: Path, height_A: float, random: np.random.Generator) -> None:
    """A sweep with the wave on a background whose bow, up to the wave of 1 ug/L, differs between electrodes."""
    from brinemark.science.curve.electrode_theory import surface_confined_shape

    up = np.linspace(0.2, 0.9, 281)
    bow = random.normal(0.0, 1e-5) * (up - PLACE_V) ** 2
    current = 3e-7 + bow + height_A * surface_confined_shape(up, PLACE_V, n=1.2) + random.normal(0.0, 1e-9, up.size)
    write_curve(path, up, current)


def test_where_backgrounds_bow_the_polynomial_ranks_above_the_chord(season: Season, tmp_path: Path) -> None:
    with new_book(tmp_path / "book") as book:
        for day in range(1, 6):
            path = season.batch(f"B{day}", PLAN, day=day)
            for place, (_, level, _) in enumerate(PLAN, start=1):
                film = float(np.exp(season.random.normal(0.0, 0.10)))
                bowed(
                    season.folder / f"B{day}-{place}.csv", 6e-7 * film * (0.03 + level / (2.0 + level)), season.random
                )
            book.add(path)
        study = book.signals(quantities=("height",), baselines=("chord", "polynomial"), windows=(ON,))
    assert study.definitions[0].to_dict()["signal"]["baseline"] == "polynomial"
    assert study.definitions[1].candidate.present
    assert study.definitions[1].told_apart


def test_the_unit_of_the_current_does_not_change_the_ranking(tmp_path: Path) -> None:
    answers = []
    for name, factor in (("small", 1.0), ("large", 1e3)):
        (tmp_path / name).mkdir()
        season = Season(tmp_path / name, np.random.default_rng(20442))
        with new_book(tmp_path / f"{name}-book") as book:
            for day in range(1, 5):
                path = season.batch(f"B{day}", PLAN, day=day)
                for file in season.folder.glob(f"B{day}-*.csv"):
                    table = np.loadtxt(file, delimiter=",", skiprows=1)
                    write_curve(file, table[:, 0], factor * table[:, 1])
                book.add(path)
            answers.append(book.signals(baselines=("chord",), windows=(ON, BESIDE)))
    small, large = answers
    assert [one.to_dict()["words"] for one in small.definitions] == [
        one.to_dict()["words"] for one in large.definitions
    ]
    for one, other in zip(small.definitions, large.definitions, strict=True):
        assert one.entry["by_curve"]["typical"] == pytest.approx(other.entry["by_curve"]["typical"], rel=1e-4)


def test_two_batches_cannot_say_and_nothing_is_stored(season: Season, book: Logbook) -> None:
    for day in (1, 2):
        book.add(season.batch(f"B{day}", PLAN, day=day))
    entries = len(book.audit())
    study = book.signals()
    assert study.verdict.startswith("cannot say: 2 batches with the curve of a blank and of a standard")
    assert study.to_dict()["settings"] is None
    assert len(book.audit()) == entries
    assert book.signals_tried() == ()


def alike(path: Path) -> None:
    potential = np.concatenate([np.linspace(-0.4, 0.9, 240), np.linspace(0.9, -0.4, 240)[1:]])
    write_curve(path, potential, 1e-7 + 0.0 * potential)


def test_curves_that_are_all_alike_cannot_say(season: Season, tmp_path: Path) -> None:
    with new_book(tmp_path / "book") as book:
        for day in range(1, 4):
            path = season.batch(f"B{day}", PLAN, day=day)
            for place in range(1, 5):
                alike(season.folder / f"B{day}-{place}.csv")
            book.add(path)
        study = book.signals(baselines=("chord",))
        assert book.verify().sound
        assert len(book.signals_tried()) == 2
    assert study.windows is not None
    assert str(study.windows.reason).startswith("no wave stands out")
    assert study.verdict == "cannot say: no saturating curve can be laid through the signals of any definition"
    assert study.to_dict()["settings"] is None


def test_standards_of_one_level_cannot_say(season: Season, book: Logbook) -> None:
    for day in range(1, 4):
        book.add(season.batch(f"B{day}", [BLANK, standard(2.0), standard(2.0)], day=day))
    assert book.signals().reason == "blanks and standards at 2 levels, where a curve that saturates needs 3"


def test_an_empty_logbook_and_one_without_blanks_cannot_say(season: Season, book: Logbook) -> None:
    assert book.signals().reason == "no blank, standard or control with a curve"
    for day in range(1, 5):
        book.add(season.batch(f"B{day}", PLAN[1:], day=day))
    assert str(book.signals().reason).startswith("0 batches with the curve of a blank")


def test_rows_without_curves_are_left_out_and_counted(studied: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "old.csv"
    sheet.write_text(
        "electrode,batch,instrument,measured_at,role,level,signal,signal_unit,salinity\n"
        "B9-1,B9,bench,2031-06-01T09:00:00Z,blank,0,2e-8,A,35\n"
        "B9-2,B9,bench,2031-06-01T09:10:00Z,standard,2,3e-7,A,35\n",
        encoding="utf-8",
    )
    with Logbook.open(studied) as book:
        book.add(sheet)
        study = chords(book, ON, BESIDE)
    assert [(one.electrode, one.reason) for one in study.left_out] == [
        ("B9-1", "no curve kept"),
        ("B9-2", "no curve kept"),
    ]
    assert len(study.results["electrodes"]) == 21


def test_curves_without_a_wave_propose_no_window_and_say_so(season: Season, tmp_path: Path) -> None:
    with new_book(tmp_path / "book") as book:
        for day in range(1, 5):
            path = season.batch(f"B{day}", PLAN, day=day)
            for place in range(1, 5):
                curve(season.folder / f"B{day}-{place}.csv", 0.0, season.random)
            book.add(path)
        study = chords(book)
    assert study.windows is not None
    assert str(study.windows.reason).startswith("no wave stands out of the noise")
    assert len(study.definitions) == 1
    assert not study.sees
    assert study.verdict.startswith(("No definition reads nearer than one guess for all", "cannot say: no saturating"))


def test_a_control_is_read_and_counted(studied: Path) -> None:
    with Logbook.open(studied) as book:
        study = chords(book, ON, BESIDE)
    assert study.results["controls"] == 1
    assert "B5-6" in study.results["electrodes"]
    assert "B5-5" not in study.results["electrodes"]


def test_the_settings_block_reads_back_as_the_definition(studied: Path) -> None:
    import tomllib

    with Logbook.open(studied) as book:
        study = chords(book, ON, BESIDE)
    block = tomllib.loads(str(study.to_dict()["settings"]))
    assert block["signal"] == json.loads(json.dumps(study.definitions[0].to_dict()["signal"]))


@pytest.mark.parametrize(
    ("wanted", "phrase"),
    [
        ({"quantities": ("band",)}, "quantity 'band' of voltammograms"),
        ({"windows": ((0.7, 0.5),)}, "a window from 0.7 to 0.5"),
        ({"windows": tuple((0.3 + 0.001 * k, 0.8) for k in range(40))}, "at most 60 at a time"),
    ],
)
def test_what_cannot_be_tried_is_refused(studied: Path, wanted: dict[str, object], phrase: str) -> None:
    with Logbook.open(studied) as book, pytest.raises(Refused, match=phrase):
        book.signals(**wanted)  # type: ignore[arg-type]


def test_other_sweeps_and_cycles_are_tried_when_they_are_named(studied: Path) -> None:
    """The wave of this season is on the anodic sweep of the one cycle that there is."""
    with Logbook.open(studied) as book:
        study = book.signals(
            quantities=("height",), baselines=("chord",), windows=(ON,), sweeps=("anodic", "cathodic"), cycles=("1",)
        )
    found = [(one.to_dict()["signal"]["sweep"], one.to_dict()["signal"]["cycle"]) for one in study.definitions]
    assert sorted(found, key=str) == [("anodic", "last"), ("anodic", 1), ("cathodic", 1)]
    error = {one: study.definitions[k].entry["by_curve"]["typical"] for k, one in enumerate(found)}
    assert error["anodic", 1] < 0.3 * error["cathodic", 1]


def test_a_sweep_of_spectra_is_refused() -> None:
    from brinemark.steps.candidates import Wanted, candidates_of
    from brinemark.terms.settings import BandSection

    with pytest.raises(Refused, match="sweep or cycle of spectra"):
        candidates_of(BandSection(quantity="band", window_nm=(430.0, 470.0)), (), Wanted(sweeps=("anodic",)))

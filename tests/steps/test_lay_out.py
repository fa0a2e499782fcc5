"""A run is laid out, measured as planned, taken in without a word, and read under its codes."""

from __future__ import annotations

import re
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from bench import Bench, Cells
from brinemark.logbook import Logbook
from brinemark.records.making_file import read_making
from brinemark.records.run_request import NAMES as REQUEST_NAMES
from brinemark.records.run_request import checked_request, read_request
from brinemark.science.making.codes import is_code
from brinemark.steps.run_plans import RunPlan
from brinemark.terms.errors import Refused
from brinemark.terms.making import FACTORS

TRUTH = {"Tank 1": 0.0, "Tank 2": 12.0, "QC-one": 1.0}
WANTED: dict[str, object] = {
    "title": "run 14",
    "instrument": "bench",
    "batches": ["L1", "L2", "L3"],
    "blanks": 1,
    "levels": [0.5, 2, 8, 20],
    "standards": 3,
    "sample": [
        {"name": "Tank 1", "electrodes": 2},
        {"name": "Tank 2", "dilution": 4},
        {"name": "Tank 2", "dilution": 2},
    ],
    "control": [{"name": "QC-one", "expected_level": 1}],
    "closing_spike": {"stock": "KSCN-2", "stock_level": 2000, "volume_mL": 1.05},
    "volume_mL": 20,
    "add_to": ["blank", "sample"],
}


def made(book: Logbook, *batches: str, count: int = 6) -> None:
    for batch in batches:
        book.record_making({"batch": batch, "made_on": "2031-05-30", "electrode_count": count})


def laid_out(book: Logbook, seed: int = 5, **more: object) -> RunPlan:
    made(book, *(name for name in ("L1", "L2", "L3") if name not in {one.name for one in book.batches()}))
    return book.lay_out(WANTED | more, seed)


def states(book: Logbook) -> Counter[str]:
    return Counter(one.state for batch in book.batches() for one in batch.electrodes)


def test_a_plan_keeps_seed_rows_and_key_and_its_electrodes_are_laid_out(book: Logbook) -> None:
    plan = laid_out(book)
    assert (plan.state, plan.seed, plan.title, len(plan.electrodes)) == ("open", 5, "run 14", 17)
    assert sorted(plan.key.values()) == ["Tank 1", "Tank 2"]
    assert all(is_code(code) for code in plan.key)
    assert book.sample_names() == plan.key
    assert states(book) == {"laid out": 17, "ready": 1}
    assert book.audit()[-1].action == "run laid out"
    assert book.verify().sound
    assert plan.to_dict()["key"] is None
    assert plan.to_dict(with_key=True)["key"] == plan.key


def test_the_sheet_tells_the_bench_no_name_and_no_file_tells_a_role(book: Logbook) -> None:
    plan = laid_out(book)
    assert "Tank" not in plan.sheet()
    files = [name for row in plan.rows for name in (row.trace, row.prescan) if name]
    assert len(set(files)) == len(files)
    words = ("blank", "standard", "sample", "control", "spike", "addition", "Tank")
    assert [name for name in files if any(word in name for word in words)] == []


def test_whoever_fills_the_cells_is_told_what_to_make_ready(book: Logbook) -> None:
    plan = laid_out(book)
    assert sorted((one.name, one.dilution, one.electrodes) for one in plan.to_fill()) == [
        ("QC-one", 1.0, 1),
        ("Tank 1", 1.0, 2),
        ("Tank 2", 2.0, 1),
        ("Tank 2", 4.0, 1),
    ]
    assert {one.label: one.name for one in plan.to_fill() if one.name != "QC-one"} == plan.key


def test_one_seed_gives_one_run_and_another_gives_another(tmp_path: Path) -> None:
    drawn = []
    for folder, seed in (("a", 5), ("b", 5), ("c", 6)):
        with Logbook.create(tmp_path / folder) as book:
            drawn.append(laid_out(book, seed))
    assert drawn[0].rows == drawn[1].rows
    assert drawn[0].id == drawn[1].id
    assert drawn[0].rows != drawn[2].rows


def test_a_seed_that_nobody_gave_is_drawn_and_kept(book: Logbook) -> None:
    made(book, "L1", "L2", "L3")
    plan = book.lay_out(WANTED)
    assert book.run_plan(plan.id[:8]).seed == plan.seed
    assert plan.seed > 0


def test_a_run_that_was_measured_as_planned_is_taken_in_without_a_word_and_read_by_its_codes(
    book: Logbook, tmp_path: Path
) -> None:
    plan = laid_out(book)
    sheet = Bench(tmp_path / "sheets", TRUTH).read(plan)
    checked = book.check_sheet(sheet)
    assert (checked.findings, checked.remarks) == ((), ())
    added = book.add(sheet)
    assert added.warnings == ()
    (after,) = book.run_plans()
    assert (after.state, after.departures, after.empty, after.sheets) == ("taken in", (), 0, ("run.csv",))
    assert states(book) == {"spent": 17, "ready": 1}
    book.calibrate()
    names = book.sample_names()
    answers = {names[answer.sample]: answer for answer in book.read()}
    assert sorted(answers) == ["Tank 1", "Tank 2"]
    assert answers["Tank 2"].statement in ("quantified", "detected, amount uncertain", "at or above")
    assert sorted(use.dilution for use in answers["Tank 2"].electrodes) == [2.0, 4.0]
    other = "sample,marker,method,unit,value,limit_of_detection\nTank 1,thiocyanate,HPLC,ug/L,not found,1\n"
    taken = book.add_markers(("other.csv", f"{other}{answers['Tank 2'].sample},thiocyanate,HPLC,ug/L,3,1\n".encode()))
    assert (taken.warnings, [row.sample for row in book.marker_results()]) == ((), ["Tank 1", "Tank 2"])
    (beside,) = book.compare_markers().comparisons
    assert beside.comparison is not None and beside.comparison.pairs == 2
    assert book.verify().sound


def test_a_sheet_with_decimal_commas_comes_in_as_well(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book)
    path = Bench(tmp_path / "sheets", TRUTH).read(plan)
    with_points = book.check_sheet(path)
    lines = plan.sheet(comma=True).splitlines()
    times = [row.split(",")[3] for row in path.read_text().splitlines()[1:]]
    filled = [lines[0]]
    for line, moment in zip(lines[1:], times, strict=True):
        cells = line.split(";")
        cells[3] = moment
        filled.append(";".join(cells))
    path.write_text("\n".join(filled), encoding="utf-8")
    with_commas = book.check_sheet(path)
    assert with_commas.findings == ()
    assert with_commas.incoming is not None
    assert with_points.incoming is not None
    assert with_commas.incoming.id == with_points.incoming.id


def test_planned_times_come_one_after_the_other(book: Logbook) -> None:
    plan = laid_out(book, start="2031-06-02T09:00+02:00", minutes=12)
    assert plan.rows[0].measured_at == "2031-06-02T09:00:00+02:00"
    assert plan.rows[2].measured_at == "2031-06-02T09:24:00+02:00"


def test_levels_rise_along_the_life_of_an_electrode_that_reads_several(book: Logbook) -> None:
    plan = laid_out(book, standards=1, levels_per_electrode=3)
    lives: dict[str, list[float]] = {}
    for row in plan.rows:
        if row.role == "standard":
            lives.setdefault(row.electrode, []).append(row.level or 0.0)
    assert len(lives) == 3
    assert all(len(levels) == 3 and levels == sorted(set(levels)) for levels in lives.values())


def test_positions_of_the_making_stand_on_the_sheet(book: Logbook, tmp_path: Path) -> None:
    book.record_making(
        {"batch": "L1", "made_on": "2031-05-30", "electrode_count": 6, "positions": {"L1-2": "door side"}}
    )
    plan = laid_out(book)
    assert {row.position for row in plan.rows if row.electrode == "L1-2"} == {"door side"}
    sheet = Bench(tmp_path / "sheets", TRUTH).read(plan)
    assert book.add(sheet).warnings == ()


def test_a_sample_keeps_its_code_in_later_runs_and_codes_are_not_used_twice(book: Logbook) -> None:
    first = laid_out(book)
    book.withdraw_plan("run 14", "instrument out of order")
    second = laid_out(book, title="run 15", sample=[{"name": "Tank 2"}, {"name": "Tank 3"}])
    assert {name: code for code, name in first.key.items()}["Tank 2"] in second.key
    assert len(book.sample_names()) == 3


def test_samples_may_go_by_their_own_names(book: Logbook) -> None:
    plan = laid_out(book, coded="no")
    assert plan.key == {}
    assert {row.sample for row in plan.rows if row.role == "sample"} == {"Tank 1", "Tank 2"}


def test_a_withdrawn_plan_frees_its_electrodes_and_stays_on_record(book: Logbook) -> None:
    plan = laid_out(book)
    withdrawn = book.withdraw_plan(plan.id[:10], "instrument out of order")
    assert (withdrawn.state, withdrawn.reason) == ("withdrawn", "instrument out of order")
    assert states(book) == {"ready": 18}
    again = laid_out(book)
    assert again.id != plan.id
    assert [one.state for one in book.run_plans()] == ["withdrawn", "open"]
    with pytest.raises(Refused, match="which is withdrawn"):
        book.withdraw_plan(plan.id[:10], "once more")
    with pytest.raises(Refused, match="2 run plans 'run 14'"):
        book.run_plan("run 14")
    with pytest.raises(Refused, match="did you mean"):
        book.run_plan("run 41")
    assert book.verify().sound


def test_electrodes_that_are_not_ready_cannot_be_laid_out(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book)
    last = plan.left[0]
    small: dict[str, object] = {"instrument": "bench", "bracket": False}
    cases = {(plan.electrodes[0],): "which is laid out in run plan", ("L1-9",): "did you mean", ("Z",): "no making"}
    for electrodes, words in cases.items():
        with pytest.raises(Refused, match=words):
            book.lay_out(small | {"electrodes": list(electrodes)})
    book.set_aside(last, "film lifted")
    with pytest.raises(Refused, match="set aside: film lifted"):
        book.lay_out(small | {"electrodes": [last]})
    assert [one.came for one in book.run_findings(small | {"electrodes": [last]})] == [
        f"electrode {last!r}, which is set aside: film lifted"
    ]
    book.add(Bench(tmp_path / "sheets", TRUTH).read(plan))
    with pytest.raises(Refused, match=r"which is spent on .* in run.csv"):
        book.lay_out(small | {"electrodes": [plan.electrodes[0]]})
    with pytest.raises(Refused, match="of which no electrode is ready"):
        book.lay_out(small | {"batches": [next(batch for batch in ("L1", "L2", "L3") if not last.startswith(batch))]})
    with pytest.raises(Refused, match="no making of a batch 'L9'"):
        book.lay_out(small | {"batches": ["L9"]})


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"closing_spike": {"stock": "KSCN-9", "volume_mL": 1}}, "KSCN-9"),
        ({"matrix_lot": "no such water"}, "which nothing describes"),
        ({"minutes": 800, "start": "2031-06-02T09:00Z"}, "second run of electrode"),
        ({"control": [{"name": "Tank 1", "expected_level": 1}]}, "one role for a name"),
        ({"standards": 5}, "expected 23"),
        ({"blank_every": 3}, "at most 3"),
    ],
)
def test_what_would_be_refused_when_it_is_added_is_refused_when_it_is_laid_out(
    book: Logbook, more: dict[str, object], words: str
) -> None:
    made(book, "L1", "L2", "L3")
    before = book._place.database.logical_dump()
    with pytest.raises(Refused) as caught:
        book.lay_out(WANTED | more, 1)
    assert words in str(caught.value)
    assert [one for one in book.run_findings(WANTED | more) if words in one.sentence]
    assert book._place.database.logical_dump() == before


def test_a_correction_of_a_making_may_not_drop_what_is_laid_out(book: Logbook) -> None:
    laid_out(book)
    fewer = {"batch": "L1", "made_on": "2031-05-30", "electrode_count": 1}
    with pytest.raises(Refused, match="withdraw the plan first"):
        book.record_making(fewer, "L1", "there was one only")


def departures(book: Logbook) -> list[tuple[str, str]]:
    (plan,) = book.run_plans()
    return [(one.kind, one.sentence) for one in plan.departures]


def life_of(rows: list[Cells], number: int) -> list[Cells]:
    electrodes = list(dict.fromkeys(row["electrode"] for row in rows))
    return [row for row in rows if row["electrode"] == electrodes[number]]


def test_every_departure_is_told_before_and_after_the_sheet_is_added(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book, add_to=["blank"])
    spare = plan.left[0]
    index = {role: [n for n, row in enumerate(plan.rows) if row.role == role] for role in ("standard", "sample")}
    moved, other, third = (plan.rows[n].electrode for n in index["standard"][:3])
    unread, slip = (plan.rows[n].electrode for n in index["sample"][:2])

    def change(rows: list[Cells]) -> list[Cells]:
        by = {row["electrode"]: row for row in rows}
        by[moved]["measured_at"] = "2031-06-02T08:00:00+00:00"
        by[other]["level"] = "4"
        by[third] |= {"electrode": spare, "batch": spare.split("-")[0], "trace": "curves/spare.csv", "prescan": ""}
        by[slip]["sample"] = by[slip]["sample"][:-2] + by[slip]["sample"][:-3:-1]
        rows.remove(by[unread])
        return rows

    truth = TRUTH | {row.sample or "": 1.0 for row in plan.rows}
    bench = Bench(tmp_path / "sheets", truth)
    typed = next(row.sample for row in plan.rows if row.electrode == slip) or ""
    wrong = typed[:-2] + typed[:-3:-1]
    bench.truth = {**truth, wrong: 1.0}
    sheet = bench.read(plan, change)
    remarks = book.check_sheet(sheet).remarks
    assert book.add(sheet).warnings == remarks
    found = departures(book)
    assert [f"run plan run 14: {sentence}" for _, sentence in found] == list(remarks)
    assert Counter(kind for kind, _ in found) == {
        "order": 1,
        "other reading": 2,
        "other electrode": 1,
        "row missing": 1,
    }
    sentences = " ".join(sentence for _, sentence in found)
    assert f"{moved} was read at another place" in sentences
    assert f"{spare} was read as standard" in sentences
    assert f"{unread}: sample" in sentences
    assert "its check character is wrong" in sentences


def test_a_sheet_of_fewer_than_half_of_the_electrodes_leaves_the_plan_open(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book, add_to=[], closing_spike=None)
    bench = Bench(tmp_path / "sheets", TRUTH)
    book.add(bench.read(plan, lambda rows: rows[:8], "first.csv"))
    (half,) = book.run_plans()
    assert (half.state, half.filled, half.empty, half.departures) == ("open", 8, 9, ())
    assert states(book) == {"spent": 8, "laid out": 9, "ready": 1}
    book.add(bench.read(plan, lambda rows: rows[8:], "second.csv"))
    (whole,) = book.run_plans()
    assert (whole.state, whole.empty, whole.departures) == ("taken in", 0, ())
    assert whole.sheets == ("first.csv", "second.csv")


def test_a_life_that_was_cut_short_or_went_on_is_a_departure(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book)
    long = next(row.electrode for row in plan.rows if row.role == "addition")

    def change(rows: list[Cells]) -> list[Cells]:
        return [row for row in rows if row["electrode"] != long or row["role"] != "addition"]

    book.add(Bench(tmp_path / "sheets", TRUTH).read(plan, change))
    assert departures(book) == [("row missing", f"{long}: addition was planned and not read")]


PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "lay-out-a-run.md"


def test_the_files_of_the_how_to_page_are_taken_as_they_stand(book: Logbook) -> None:
    batch, run, planned = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    for name in ("H16", "H17"):
        book.record_making(read_making(batch.replace("H16", name).encode(), f"{name}.toml"))
    plan = book.lay_out(read_request(run.encode(), "run-14.toml"), 1)
    assert (plan.title, len(plan.electrodes), len(plan.key)) == ("run 14", 10, 1)
    of_plan = read_request(planned.encode(), "run-15.toml")
    assert checked_request({**of_plan, "instrument": "bench"}).plan == "six of June"


def test_the_how_to_page_names_every_factor_and_every_key() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert [factor.name for factor in FACTORS if f"`{factor.name}`" not in text] == []
    plain = {"sample", "control", "addition", "closing_spike"}
    keys = [name for name in REQUEST_NAMES if name not in plain and name not in text]
    assert keys == []


def test_names_that_a_spreadsheet_takes_for_dates_are_told(book: Logbook) -> None:
    book.record_making({"batch": "16", "made_on": "2031-05-30", "electrodes": ["16-1", "16-2", "16-3"]})
    plan = book.lay_out({"instrument": "bench", "batches": ["16"], "blanks": 3}, 1)
    assert plan.remarks == ("a spreadsheet may take names for dates (16-1, 16-2, 16-3): fill the sheet in as text",)


def test_a_sheet_with_other_letters_is_written_so_that_spreadsheets_read_it(book: Logbook) -> None:
    book.record_making({"batch": "電", "made_on": "2031-05-30", "electrodes": ["電-1", "電-2"]})
    plan = book.lay_out({"instrument": "bench", "batches": ["電"], "blanks": 2}, 1)
    assert plan.sheet_bytes().startswith(b"\xef\xbb\xbf")
    assert plan.sheet_bytes().decode("utf-8-sig") == plan.sheet()
    assert all(re.fullmatch(r"curves/00[12]-[12]\.csv", row.trace) for row in plan.rows)


def test_of_many_who_lay_out_the_same_electrodes_at_once_one_succeeds(book: Logbook) -> None:
    made(book, "L1")
    wanted = {"instrument": "bench", "batches": ["L1"], "blanks": 2}

    def one(seed: int) -> str:
        with Logbook.open(book.path) as mine:
            try:
                return mine.lay_out(wanted | {"electrodes": []}, seed).state
            except Refused as refusal:
                return refusal.came

    with ThreadPoolExecutor(4) as people:
        answers = Counter(people.map(one, range(8)))
    assert answers["open"] == 3
    assert len(book.run_plans()) == 3
    assert book.verify().sound


def test_a_corrected_sheet_opens_its_plan_again(book: Logbook, tmp_path: Path) -> None:
    plan = laid_out(book, add_to=[], closing_spike=None)
    bench = Bench(tmp_path / "sheets", TRUTH)
    book.add(bench.read(plan))
    assert book.run_plans()[0].state == "taken in"
    part = bench.read(plan, lambda rows: rows[:8], "part.csv")
    book.add(part, corrects="run.csv", reason="the rest was another day's run")
    (again,) = book.run_plans()
    assert (again.state, again.filled, again.sheets) == ("open", 8, ("part.csv",))
    assert states(book) == {"spent": 8, "laid out": 9, "ready": 1}

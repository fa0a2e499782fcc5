"""The whole line on synthetic curves and on signals from old notebooks: from run sheets to statements."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from brinemark import Logbook
from season import BLANK, Season, sample, standard

SCHEMAS = Path(__file__).resolve().parents[1] / "src" / "brinemark" / "terms" / "schemas"
SEED = 4711
ROUNDING = 1e-6  # relative; the same computation on scaled numbers, up to floating point
TRUTH = {"S-absent": 0.0, "S-low": 0.6, "S-mid": 2.0, "S-full": 120.0}


def valid(name: str, answer: Any) -> Any:
    plain = json.loads(json.dumps(answer, allow_nan=False))
    Draft202012Validator(json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))).validate(plain)
    return plain


def holds(answer: dict[str, Any], level: float) -> bool:
    """Whether what is stated holds a level; "cannot say" holds every level."""
    ends = answer["estimate"]
    if ends is None:
        return True
    return bool(ends["lower"] <= level and (ends["upper"] is None or level <= ends["upper"]))


def test_from_run_sheets_of_two_instruments_to_statements_that_hold_the_truth(tmp_path: Path) -> None:
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    season = Season(sheets, np.random.default_rng(SEED))
    with Logbook.create(tmp_path / "book", name="Harbour bench") as book:
        for day, batch in enumerate(("B1", "B2", "B3", "B4"), start=1):
            plan = [BLANK, standard(0.5 * day), standard(3.0 * day), standard(2.0), BLANK]
            valid("add", book.add(season.batch(batch, plan, day=day, instrument=("bench", "boat")[day % 2])).to_dict())
        plan = [BLANK, standard(2.0), *(sample(name, level) for name, level in TRUTH.items())]
        last = season.batch("B5", plan, day=9)
        book.add(last)
        report = valid("calibrate", book.calibrate().to_dict())
        assert report["electrodes"]["instruments"] == ["boat", "bench"]
        answers = {one["sample"]: one for one in valid("read", [one.to_dict() for one in book.read()])}
        assert list(answers) == list(TRUTH)
        assert all(holds(answers[name], level) for name, level in TRUTH.items())
        assert answers["S-absent"]["statement"] == "not detected"
        assert answers["S-mid"]["detection"]["detected"]
        assert answers["S-full"]["estimate"]["upper"] is None
        for kind in ("B5", "B5-2", "S-mid"):
            valid("show", book.show(kind).to_dict())
    with Logbook.open(tmp_path / "book") as book:
        assert [one.to_dict() for one in book.read("S-mid")] == [answers["S-mid"]]
        correct_a_standard(book, last, answers["S-mid"])


def correct_a_standard(book: Logbook, sheet: Path, before: dict[str, Any]) -> None:
    """A corrected level makes a new calibration and a new reading; the old ones stay."""
    sheet.write_text(sheet.read_text(encoding="utf-8").replace(",standard,2,", ",standard,2.5,"), encoding="utf-8")
    old = book.calibration().id
    assert book.add(sheet, corrects="B5.csv", reason="the stock was 25 % stronger").supersedes
    new = book.calibrate()
    assert (new.new, new.id != old) == (True, True)
    again = book.read("S-mid")[0].to_dict()
    assert again["calibration"] == new.id
    assert again["estimate"] != before["estimate"]
    assert [one.id for one in (book.calibration(old[:12]), book.calibration())] == [old, new.id]
    assert len(book.show("S-mid").readings) == 2
    assert book.verify().faults == ()


@dataclass(frozen=True)
class Scale:
    """Levels times `level` in `level_unit`, signals times `signal` in `signal_unit`."""

    level: float
    level_unit: str
    signal: float
    signal_unit: str


def notebook_sheet(path: Path, scale: Scale) -> Path:
    """Signals read off curves elsewhere: 16 electrodes of four batches, three samples."""
    random = np.random.default_rng(SEED)
    lines = ["electrode,batch,instrument,measured_at,role,level,sample,signal,signal_u,signal_unit"]
    for batch in range(1, 5):
        gain = np.exp(random.normal(0.0, 0.2))
        plans: list[tuple[str, float, str]] = [("blank", 0.0, ""), *(("standard", c, "") for c in (0.5, 2.0, 8.0))]
        plans += [("sample", c, f"S{c:g}") for c in (0.0, 1.0, 50.0)] if batch == 4 else []
        for place, (role, level, name) in enumerate(plans, start=1):
            height = 3e-7 * gain * np.exp(random.normal(0.0, 0.1)) * (0.05 + level / (2.0 + level))
            written = "" if role == "sample" else f"{level * scale.level:g}"
            value = f"{(height + random.normal(0.0, 2e-9)) * scale.signal:.12e},{2e-9 * scale.signal:.12e}"
            when = f"2031-05-0{batch}T09:0{place}:00Z"
            lines.append(f"N{batch}-{place},N{batch},bench,{when},{role},{written},{name},{value},{scale.signal_unit}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def statements(folder: Path, scale: Scale) -> list[dict[str, Any]]:
    folder.mkdir()
    Logbook.create(folder / "book").close()
    settings = folder / "book" / "logbook.toml"
    text = settings.read_text(encoding="utf-8").replace('level_unit = "ug/L"', f'level_unit = "{scale.level_unit}"')
    settings.write_text(text, encoding="utf-8")
    with Logbook.open(folder / "book") as book:
        added = book.add(notebook_sheet(folder / "old.csv", scale))
        assert all([flag["name"] for flag in one.to_dict()["flags"]] == ["no curve kept"] for one in added.signals)
        book.calibrate()
        return [one.to_dict() for one in book.read()]


def test_other_units_of_level_and_signal_change_no_statement_and_no_interval(tmp_path: Path) -> None:
    plain = statements(tmp_path / "plain", Scale(1.0, "ug/L", 1.0, "A"))
    scaled = statements(tmp_path / "scaled", Scale(1e3, "ng/L", 1e6, "uA"))
    assert [one["statement"] for one in plain] == [one["statement"] for one in scaled]
    assert plain[0]["statement"] == "not detected"
    for one, two in zip(plain, scaled, strict=True):
        assert (one["unit"], two["unit"]) == ("ug/L", "ng/L")
        for end in ("median", "lower", "upper"):
            value, other = one["estimate"][end], two["estimate"][end]
            assert (value is None) == (other is None)
            if value is not None:
                assert other == pytest.approx(1e3 * value, rel=ROUNDING)

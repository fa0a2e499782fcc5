"""The verbs batch-plans and fish-plans, and lay-out from a kept plan: listed, told again, carried out by a run."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema

from .conftest import call, schema
from .test_data import data

WISH = "fish = 60\nprevalence = 0.05\nseed = 1\n"
MAKING = 'batch = "S9"\nmade_on = 2026-05-02\nelectrode_count = 3\n'


def test_a_plan_for_a_batch_is_kept_listed_and_told_again(book: Path) -> None:
    none = call("--logbook", book, "batch-plans")
    assert "No plan for a batch was kept" in none.stdout
    words = ("--logbook", book, "plan-batch", "--electrodes", "3", "--level", "1", "--keep", "three of May")
    made = call(*words)
    assert "Kept as 'three of May'" in made.stdout, made.stderr
    again = data("plan-batch", *words)
    (head,) = data("batch-plans", "--logbook", book, "batch-plans")["plans"]
    assert (head["batch_plan"], head["title"]) == (again["batch_plan"], "three of May")
    listed = call("--logbook", book, "batch-plans").stdout
    assert max(map(len, listed.splitlines())) <= 80
    assert head["batch_plan"][:12] in listed
    shown = call("--logbook", book, "batch-plans", "three of May").stdout
    told = made.stdout.partition("Kept as")[0]
    assert told in shown
    one = data("plan-batch", "--logbook", book, "batch-plans", head["batch_plan"][:8])
    assert one == again
    unknown = call("--logbook", book, "batch-plans", "four of May")
    assert (unknown.exit_code, unknown.stdout) == (1, "")


def test_plans_for_fish_are_listed_and_printed_again(book: Path, tmp_path: Path) -> None:
    assert "No plan for a consignment" in call("--logbook", book, "fish-plans").stdout
    wish, first, second = (tmp_path / name for name in ("harbour.toml", "first.txt", "second.txt"))
    wish.write_text(WISH, encoding="utf-8")
    made = data("plan-fish", "--logbook", book, "plan-fish", wish, "--page", first)
    (head,) = data("fish-plans", "--logbook", book, "fish-plans")["plans"]
    assert (head["fish_plan"], head["title"], head["tested"]) == (made["fish_plan"], "harbour", made["tested"])
    again = call("--logbook", book, "fish-plans", "harbour", "--page", second)
    assert (again.exit_code, second.read_bytes()) == (0, first.read_bytes()), again.stderr
    assert f"Test {made['tested']} fish of 60" in again.stdout
    result = call("--logbook", book, "fish-plans", "harbour", "--json")
    jsonschema.Draft202012Validator(schema("plan-fish")).validate(json.loads(result.stdout))
    assert json.loads(result.stdout) == {**made, "new": False}
    assert call("--logbook", book, "fish-plans", "--page", second).exit_code == 2


def test_a_run_is_laid_out_from_a_kept_plan_with_the_names_of_its_samples(book: Path, tmp_path: Path) -> None:
    making, run = tmp_path / "S9.toml", tmp_path / "run.toml"
    making.write_text(MAKING, encoding="utf-8")
    call("--logbook", book, "make", making)
    words = ("--logbook", book, "plan-batch", "--electrodes", "3", "--level", "1", "--keep", "three of May")
    plan = data("plan-batch", *words)
    run.write_text('plan = "three of May"\nbatches = ["S9"]\n\n[[sample]]\nname = "tank 5"\n', encoding="utf-8")
    sheet = tmp_path / "run.csv"
    laid = data("lay-out", "--logbook", book, "lay-out", run, "--to", sheet, "--key")
    assert laid["request"]["plan"] == plan["batch_plan"]
    assert list(laid["key"].values()) == ["tank 5"]
    read = [row["dilution"] for row in laid["rows"] if row["role"] == "sample"]
    assert sorted(read) == sorted(plan["plans"][0]["dilutions"])
    run.write_text('plan = "four of May"\nbatches = ["S9"]\n', encoding="utf-8")
    unknown = call("--logbook", book, "lay-out", run, "--to", tmp_path / "other.csv")
    assert (unknown.exit_code, "did you mean 'three of May'" in unknown.stderr) == (1, True)

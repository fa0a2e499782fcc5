"""study and plan-fish by the command: data of their shapes, text, the page for the bench, and how a stop ends."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.errors import Stopped

from .conftest import call
from .test_data import data

PLAN = """
title = "own electrodes"
batches = 4
batches_per_history = 4
[batch]
electrodes = 4
[samples]
levels = [0, 2]
"""
FISH = """
fish = 100
prevalence = 0.05
seed = 7
[test]
sensitivity = 0.9
false_rate = 0.02
[second_test]
sensitivity = 0.98
[pool]
level = 2
minimum = 0.5
[hold]
minimum = 0.5
volumes_L = [0.5]
holds_d = [0, 2]
[costs]
test = 3
"""


def missed(tested: int) -> float:
    """P(none found) of so many of 100 fish, five affected, each found by both tests with probability .882."""
    ways = [math.comb(5, k) * math.comb(95, tested - k) * 0.118**k for k in range(6)]
    return sum(ways) / math.comb(100, tested)


SIZE = next(n for n in range(6, 96) if missed(n) <= 0.05)


def written(folder: Path, text: str, name: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_study_gives_data_of_its_shape_and_the_same_again(book: Path, tmp_path: Path) -> None:
    plan = written(tmp_path, PLAN, "own.toml")
    made = data("study", "--logbook", book, "study", plan, "--workers", "1")
    assert (made["new"], made["plan"]["title"], made["figures"]["batches"]) == (True, "own electrodes", 4)
    assert made["calibration"] is not None
    again = data("study", "--logbook", book, "study", plan, "--workers", "0")
    assert (again["new"], again["figures"]) == (False, made["figures"])
    text = call("--logbook", book, "study", plan).stdout
    assert "4 batches of 1 histories, 8 samples" in text
    assert "made before" in text
    assert "Monte Carlo standard errors" in text
    assert "fewer than 500 simulated batches" in text
    assert f"chart study:{made['study'][:12]}" in text
    picture = tmp_path / "study.svg"
    drawn = data("chart", "--logbook", book, "chart", f"study:{made['study'][:12]}", "--to", picture)
    assert (drawn["of"], drawn["name"]) == ("study", made["study"][:12])
    assert "own electrodes" in picture.read_text(encoding="utf-8")
    (head,) = data("studies", "--logbook", book, "studies")["studies"]
    assert (head["study"], head["title"], head["batches"]) == (made["study"], "own electrodes", 4)
    assert head["interval"] == made["figures"]["interval"]
    listed = " ".join(call("--logbook", book, "studies").stdout.split())
    assert f"{made['study'][:12]} own" in listed
    assert data("study", "--logbook", book, "studies", made["study"][:12]) == again
    assert "4 batches of 1 histories" in call("--logbook", book, "studies", made["study"][:12]).stdout
    missing = call("--logbook", book, "chart", "study:0123456789ab")
    assert missing.exit_code == 1
    assert "0 studies" in missing.stderr


def test_a_logbook_without_studies_says_how_one_is_made(empty: Path) -> None:
    assert "study PLAN.toml" in call("--logbook", empty, "studies").stdout
    assert data("studies", "--logbook", empty, "studies")["studies"] == []


def test_a_stopped_study_says_that_the_same_command_goes_on(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stops(*_given: object) -> None:
        raise Stopped(2, 4)

    monkeypatch.setattr(Logbook, "study", stops)
    result = call("--logbook", book, "study", written(tmp_path, PLAN, "own.toml"))
    assert result.exit_code == 130
    assert result.stderr == "brinemark: stopped; what is finished is kept, and the same command goes on from there\n"


def test_an_open_scheduler_is_refused_in_one_line(book: Path, tmp_path: Path) -> None:
    plan = written(tmp_path, PLAN, "own.toml")
    result = call("--logbook", book, "study", plan, "--scheduler", "tcp://10.1.2.3:8786")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "behind TLS" in result.stderr


def test_a_plan_for_fish_gives_data_of_its_shape_and_a_page(empty: Path, tmp_path: Path) -> None:
    wish, page = written(tmp_path, FISH, "harbour.toml"), tmp_path / "page.txt"
    made = data("plan-fish", "--logbook", empty, "plan-fish", wish, "--page", page)
    assert (made["new"], made["seed"], made["title"]) == (True, 7, "harbour")
    (pick,) = made["picks"]
    assert len(pick["fish"]) == made["tested"] == made["size"] == SIZE
    assert [one["world"] for one in made["holds"]] == ["released", "not released"]
    text = page.read_text(encoding="utf-8")
    assert text.count("[ ]") == SIZE
    assert "drawn by lot from seed 7" in text
    assert "no finding is no proof that fish were not exposed" in text
    assert data("plan-fish", "--logbook", empty, "plan-fish", wish)["new"] is False
    with Logbook.open(empty) as opened:
        assert opened.verify().sound
        assert opened.record(made["fish_plan"]).seed == 7


def test_the_text_of_a_plan_says_what_to_test_and_what_to_expect(empty: Path, tmp_path: Path) -> None:
    text = " ".join(call("--logbook", empty, "plan-fish", written(tmp_path, FISH, "harbour.toml")).stdout.split())
    assert f"Test {SIZE} fish of 100" in text
    assert "pools of 4" in text
    assert "second tests to expect" in text
    assert "in this world no hold and no number of tests" in text


def test_an_impossible_wish_is_an_answer(empty: Path, tmp_path: Path) -> None:
    result = call("--logbook", empty, "plan-fish", written(tmp_path, "fish = 40\nprevalence = 0", "none.toml"))
    assert result.exit_code == 0
    assert "Not as wished: no number of tests finds a prevalence of 0" in " ".join(result.stdout.split())


def test_a_wish_with_faults_names_them_all(empty: Path, tmp_path: Path) -> None:
    text = "fish = 0\nconfidence = 2\n[pool]\nlevel = 2"
    result = call("--logbook", empty, "plan-fish", written(tmp_path, text, "bad.toml"))
    assert result.exit_code == 1
    for word in ("prevalence", "confidence", "pool.minimum", "fish"):
        assert word in result.stderr


def test_fish_drawn_without_a_seed_keep_the_one_that_was_drawn(empty: Path, tmp_path: Path) -> None:
    wish = written(tmp_path, "fish = 40\nprevalence = 0.1", "own.toml")
    first = data("plan-fish", "--logbook", empty, "plan-fish", wish)
    again = written(tmp_path, f"fish = 40\nprevalence = 0.1\nseed = {first['seed']}", "again.toml")
    assert data("plan-fish", "--logbook", empty, "plan-fish", again)["picks"] == first["picks"]

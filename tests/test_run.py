"""run.py: what it says when it cannot set up, and when it makes the environment anew."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

SCRIPT = Path(__file__).resolve().parents[1] / "run.py"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """run.py working in an empty project folder."""
    spec = importlib.util.spec_from_file_location("run_under_test", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name in ("requirements.lock", "requirements-dev.lock", "pyproject.toml"):
        (tmp_path / name).write_text(name, encoding="utf-8")
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "ENVIRONMENT", tmp_path / ".venv")
    monkeypatch.setattr(module, "STAMP", tmp_path / ".venv" / "stamp.txt")
    return module


def pretend_environment(run: ModuleType, command: str) -> None:
    python = run.environment_python()
    python.parent.mkdir(parents=True)
    python.touch()
    run.STAMP.write_text(run.fingerprint(run.LOCKS[command]) + "\n", encoding="utf-8")


def test_an_old_python_gets_one_line_that_says_what_to_install(run: ModuleType) -> None:
    line = run.missing_part((3, 9), {"venv": True, "ensurepip": True})
    assert "needs Python 3.11 or newer and this is 3.9" in line
    assert "\n" not in line


def test_a_python_without_ensurepip_gets_one_line_that_names_the_package(run: ModuleType) -> None:
    line = run.missing_part((3, 11), {"venv": True, "ensurepip": False})
    assert "no ensurepip" in line
    assert "python3-venv" in line
    assert "\n" not in line


def test_a_whole_python_lacks_nothing(run: ModuleType) -> None:
    assert run.missing_part((3, 14), {"venv": True, "ensurepip": True}) is None


def test_when_nothing_can_be_made_main_prints_one_line_and_answers_1(
    run: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run, "missing_part", lambda *_: "install a newer Python")
    assert run.main(["demo"]) == 1
    assert capsys.readouterr().err == "run.py: install a newer Python\n"
    assert not run.ENVIRONMENT.exists()


def test_an_up_to_date_environment_is_used_again(run: ModuleType) -> None:
    pretend_environment(run, "demo")
    assert run.is_ready("demo")


def test_the_test_environment_serves_the_demo_but_not_the_other_way_round(run: ModuleType) -> None:
    pretend_environment(run, "test")
    assert run.is_ready("demo")
    run.STAMP.write_text(run.fingerprint(run.LOCKS["demo"]), encoding="utf-8")
    assert not run.is_ready("test")


@pytest.mark.parametrize("name", ["requirements.lock", "pyproject.toml"])
def test_a_changed_file_makes_the_environment_anew(run: ModuleType, name: str) -> None:
    pretend_environment(run, "demo")
    (run.ROOT / name).write_text("changed", encoding="utf-8")
    assert not run.is_ready("demo")


def test_line_ends_do_not_make_the_environment_anew(run: ModuleType) -> None:
    (run.ROOT / "pyproject.toml").write_bytes(b"a\nb\n")
    before = run.fingerprint("requirements.lock")
    (run.ROOT / "pyproject.toml").write_bytes(b"a\r\nb\r\n")
    assert run.fingerprint("requirements.lock") == before


def test_a_set_up_that_fails_leaves_no_stamp(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend_environment(run, "demo")

    def fails(what: str, _: list[str]) -> None:
        raise run.CannotSetUp(what)

    monkeypatch.setattr(run, "run_step", fails)
    with pytest.raises(run.CannotSetUp):
        run.make_environment("demo")
    assert not run.is_ready("demo")


def test_arguments_go_to_pytest_alone_and_its_status_comes_back(
    run: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    seen = []

    def pretend(name: str, arguments: tuple[str, ...]) -> tuple[str, int, float]:
        seen.append((name, arguments))
        return name, 5, 0.0

    monkeypatch.setattr(run, "timed", pretend)
    assert run.test(["-k", "layers"]) == 5
    assert seen == [("pytest", (*run.TESTS, "-k", "layers"))]
    assert "left out" in capsys.readouterr().out


def test_one_failing_check_does_not_hide_the_others_and_gives_the_status(
    run: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run, "timed", lambda name, _: (name, 2 if name == "mypy --strict" else 0, 0.0))
    assert run.test([]) == 2
    summary = capsys.readouterr().out
    assert "FAILED  mypy --strict" in summary
    assert "passed  pytest" in summary


def test_without_a_command_it_prints_its_use_and_answers_2() -> None:
    done = subprocess.run([sys.executable, str(SCRIPT)], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "run.py demo" in done.stdout

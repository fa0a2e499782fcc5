"""House limits: sizes of modules and functions, no printing below the faces, no machine in any tracked file."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "brinemark"
MAX_MODULE_LINES = 400
MAX_BODY_LINES = 40
MAX_ARGUMENTS = 6

# Every exception to a limit, by "file" or "file: function", with its reason. An entry that is no longer
# needed fails test_no_exception_outlives_its_need.
MODULE_EXCEPTIONS: dict[str, str] = {}
BODY_EXCEPTIONS: dict[str, str] = {}
ARGUMENT_EXCEPTIONS: dict[str, str] = {
    "src/brinemark/terms/canonical.py: record_id": "the seven parts of a record's identity, all but one by keyword",
}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def sources() -> list[Path]:
    """The program, its benchmarks and run.py. Tests are left out of the function limits: a test takes one
    argument per fixture, and its story from set-up to check reads better in one piece."""
    return [ROOT / "run.py", *sorted(PACKAGE.rglob("*.py")), *sorted((ROOT / "benchmarks").rglob("*.py"))]


def label(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def functions(path: Path) -> Iterator[tuple[str, Function]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, Function):
            yield f"{label(path)}: {node.name}", node


def body_lines(function: Function) -> int:
    """Lines from the first statement after the docstring to the last line."""
    body = function.body[1:] if ast.get_docstring(function, clean=False) is not None else function.body
    return 0 if not body else (body[-1].end_lineno or 0) - body[0].lineno + 1


def argument_count(function: Function) -> int:
    given = function.args
    named = [argument.arg for argument in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
    starred = [argument for argument in (given.vararg, given.kwarg) if argument]
    return len([name for name in named if name not in ("self", "cls")]) + len(starred)


def too_long_modules() -> dict[str, int]:
    counts = {
        label(path): len(path.read_text(encoding="utf-8").splitlines())
        for path in (*sources(), *sorted((ROOT / "tests").rglob("*.py")))
    }
    return {name: lines for name, lines in counts.items() if lines >= MAX_MODULE_LINES}


def too_long_bodies() -> dict[str, int]:
    counts = [(name, body_lines(node)) for path in sources() for name, node in functions(path)]
    return {name: lines for name, lines in counts if lines >= MAX_BODY_LINES}


def too_many_arguments() -> dict[str, int]:
    counts = [(name, argument_count(node)) for path in sources() for name, node in functions(path)]
    return {name: count for name, count in counts if count > MAX_ARGUMENTS}


LIMITS = (
    ("modules", too_long_modules, MODULE_EXCEPTIONS),
    ("bodies", too_long_bodies, BODY_EXCEPTIONS),
    ("arguments", too_many_arguments, ARGUMENT_EXCEPTIONS),
)


def test_modules_are_under_400_lines_tests_included() -> None:
    assert {name: lines for name, lines in too_long_modules().items() if name not in MODULE_EXCEPTIONS} == {}


def test_function_bodies_are_under_40_lines() -> None:
    assert {name: lines for name, lines in too_long_bodies().items() if name not in BODY_EXCEPTIONS} == {}


def test_functions_take_at_most_6_arguments() -> None:
    assert {name: count for name, count in too_many_arguments().items() if name not in ARGUMENT_EXCEPTIONS} == {}


def test_no_exception_outlives_its_need() -> None:
    needless = [name for _, found, exceptions in LIMITS for name in exceptions if name not in found()]
    assert needless == []


def test_the_measures_see_a_function_that_breaks_them() -> None:
    text = 'def f(a, b, *c, d, e, f, **g):\n    """Two\n    lines."""\n' + "    a += 1\n" * 40
    function = ast.parse(text).body[0]
    assert isinstance(function, ast.FunctionDef)
    assert body_lines(function) == 40
    assert argument_count(function) == 7


def calls_of_print(path: Path) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]


@pytest.mark.parametrize("part", ["terms", "science", "records", "outputs", "steps"])
def test_nothing_below_the_faces_prints(part: str) -> None:
    printing = {label(path): lines for path in (PACKAGE / part).rglob("*.py") if (lines := calls_of_print(path))}
    assert printing == {}


# One letter of each word stands in brackets, so that this file does not hold what it looks for.
MACHINE_PATHS = re.compile(r"(?<![\w.:/-])/(?:w[o]rk|h[o]me|r[o]ot|o[p]t|U[s]ers|m[n]t)/[\w.]", re.ASCII)
WINDOWS_PATHS = re.compile(r"(?<!\w)[A-Z]:\\\\?(?:U[s]ers|D[o]cu)")
REGISTRIES = re.compile(
    r"pyp[i]\.org|python[h]osted|npm[j]s\.org|an[a]conda\.org|--(?:extra-)?index[-]url|--find[-]links|file[:]//"
)


def tracked_names() -> list[str]:
    """Tracked files and those not yet ignored, which the next commit could hold; without git, every plain file."""
    if not (ROOT / ".git").exists():
        plain = [path.relative_to(ROOT) for path in sorted(ROOT.rglob("*")) if path.is_file()]
        return [path.as_posix() for path in plain if not any(part.startswith(".") for part in path.parts)]
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True)
    return sorted({entry for entry in listed.stdout.decode("utf-8").split("\0") if entry})


def tracked_text() -> Iterator[tuple[str, str]]:
    for name in tracked_names():
        path = ROOT / name
        if path.is_file():
            yield name, path.read_bytes().decode("utf-8", errors="replace")


def found(pattern: re.Pattern[str]) -> list[str]:
    return [
        f"{name}:{text.count(chr(10), 0, hit.start()) + 1}: {hit.group()}"
        for name, text in tracked_text()
        for hit in pattern.finditer(text)
    ]


@pytest.mark.parametrize("pattern", [MACHINE_PATHS, WINDOWS_PATHS, REGISTRIES], ids=["unix", "windows", "registry"])
def test_no_tracked_file_names_a_machine_or_a_registry(pattern: re.Pattern[str]) -> None:
    assert found(pattern) == []


def test_the_patterns_see_what_they_look_for() -> None:
    def seen(pattern: re.Pattern[str], broken: str) -> bool:
        return pattern.search(broken.replace("~", "")) is not None

    assert seen(MACHINE_PATHS, "see /wo~rk/main for it")
    assert not seen(MACHINE_PATHS, "at example.org/wo~rk/main")
    assert seen(WINDOWS_PATHS, "C:\\Us~ers\\somebody")
    assert seen(REGISTRIES, "https://py~pi.org/simple")
    assert seen(REGISTRIES, "--extra-index~-url somewhere")
    assert seen(REGISTRIES, "file:~//somewhere")


def test_lock_files_hold_only_pinned_names_and_hashes() -> None:
    line = re.compile(r"[a-z0-9-]+==[\w.]+( ; [\w<>=.'\" ()!]+)?( \\)?|    --hash=sha256:[0-9a-f]{64}( \\)?")
    for name in ("requirements.lock", "requirements-dev.lock"):
        lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
        assert [text for text in lines if not line.fullmatch(text)] == []

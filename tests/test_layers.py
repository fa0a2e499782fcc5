"""The import contracts hold, and each of them is seen to catch a planted fault."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "brinemark"
LINT = "from importlinter.cli import lint_imports_command as lint; lint()"

# contract, the file that gets the fault (made when absent), the bad line, words of the report
FAULTS = (
    ("package", "terms/errors.py", "import brinemark.science", "brinemark.terms is not allowed to import"),
    (
        "package",
        "science/__init__.py",
        "import brinemark.records",
        "science is not allowed to import brinemark.records",
    ),
    ("package", "drawer.py", "", "brinemark.drawer"),
    ("science", "science/curve/sweeps.py", "import brinemark.science.amount", "curve is not allowed to import"),
    ("amount", "science/amount/response.py", "import brinemark.science.amount.limits", "response is not allowed to"),
    ("fish", "science/fish/tanks.py", "import brinemark.science.fish.worlds", "tanks is not allowed to import"),
    ("planning", "science/planning/plans.py", "import brinemark.science.planning.gains", "plans is not allowed to"),
    ("curve", "science/curve/sweeps.py", "import brinemark.science.curve.voltammetry", "sweeps is not allowed to"),
    ("records", "records/files.py", "import brinemark.records.database", "files is not allowed to import"),
    ("outputs", "outputs/charts/__init__.py", "import brinemark.outputs.report", "charts is not allowed to import"),
    ("faces", "faces/web/__init__.py", "import brinemark.faces.cli", "web is not allowed to import"),
    ("logbook", "logbook/held.py", "import brinemark.logbook.making", "held is not allowed to import"),
    ("web", "faces/web/work.py", "import brinemark.faces.web.desk", "work is not allowed to import"),
    ("pure", "science/curve/sweeps.py", "import time", "science is not allowed to import time"),
    ("pure", "terms/curves.py", "from pathlib import Path", "terms is not allowed to import pathlib"),
    ("pure", "science/amount/reading.py", "import sqlite3", "science is not allowed to import sqlite3"),
    ("database-door", "steps/calibrate.py", "import sqlalchemy", "steps is not allowed to import sqlalchemy"),
    ("plotting-door", "steps/calibrate.py", "import vl_convert", "steps is not allowed to import vl_convert"),
    ("plotting-door", "steps/calibrate.py", "import typst", "steps is not allowed to import typst"),
    ("outputs", "outputs/fonts/__init__.py", "import brinemark.outputs.charts", "fonts is not allowed to import"),
)
AIMS = {
    "science/amount/response.py": ("science/amount/limits.py",),
    "science/curve/sweeps.py": ("science/curve/voltammetry.py",),
    "science/fish/sampling.py": ("science/fish/surveillance.py",),
    "records/files.py": ("records/database.py",),
}


def contracts() -> list[dict[str, object]]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found: list[dict[str, object]] = settings["tool"]["importlinter"]["contracts"]
    return found


def lint(source: Path, *arguments: str) -> tuple[int, str]:
    """Exit status of the linter on the package inside source, and its report on one line."""
    command = [sys.executable, "-c", LINT, "--no-cache", *arguments, str(ROOT / "pyproject.toml")]
    environment = os.environ | {"PYTHONPATH": str(source), "PYTHONUTF8": "1", "COLUMNS": "400"}
    done = subprocess.run(
        command, cwd=source, env=environment, capture_output=True, text=True, check=False, encoding="utf-8"
    )
    return done.returncode, " ".join((done.stdout + done.stderr).split())


def plant(source: Path, file: str, line: str) -> None:
    """A copy of the package with one bad line at the end of one file."""
    shutil.copytree(PACKAGE, source / "brinemark", ignore=shutil.ignore_patterns("__pycache__"))
    for name in (file, *AIMS.get(file, ())):
        path = source / "brinemark" / name
        path.parent.mkdir(exist_ok=True)
        path.touch()
    with (source / "brinemark" / file).open("a", encoding="utf-8") as text:
        text.write(f"\n{line}\n")


def test_the_package_keeps_every_import_contract() -> None:
    status, report = lint(PACKAGE.parent)
    assert status == 0, report
    assert f"{len(contracts())} kept, 0 broken" in report


@pytest.mark.parametrize(("contract", "file", "line", "words"), FAULTS)
def test_a_planted_fault_is_reported(tmp_path: Path, contract: str, file: str, line: str, words: str) -> None:
    plant(tmp_path, file, line)
    status, report = lint(tmp_path, "--contract", contract)
    assert status == 1, report
    assert words in report


def test_every_contract_has_a_planted_fault() -> None:
    assert {str(contract["id"]) for contract in contracts()} == {fault[0] for fault in FAULTS}


def imported_names(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("." * node.level + (node.module or ""))
    return names


def test_no_module_imports_the_top_package_or_by_dots() -> None:
    # The top package hands out the logbook lazily, so importing it from inside would close a circle unseen.
    guilty = {
        str(path.relative_to(PACKAGE)): sorted(bad)
        for path in sorted(PACKAGE.rglob("*.py"))
        if (bad := {name for name in imported_names(path) if name == "brinemark" or name.startswith(".")})
    }
    assert guilty == {}


def test_importing_the_package_brings_in_no_heavy_library() -> None:
    program = "import sys, brinemark; print(sorted({'numpy', 'scipy', 'sqlalchemy', 'pydantic'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

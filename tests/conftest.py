"""What all tests share: the folder of real curves, and no skipping where CI=true."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

COMPILED = "brinemark.science.amount.compiled"


@pytest.fixture(autouse=True)
def _loops_of_the_module(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test starts with the loops of numpy, or with those that its module asks for, whatever one before it did."""
    yield
    compiled = sys.modules.get(COMPILED)
    if compiled is not None:
        compiled.load() if "compiled_loops" in request.fixturenames else compiled.unload()


@pytest.fixture(scope="module")
def compiled_loops() -> Iterator[None]:
    """Compiled loops for a whole module, where numpy's would take minutes; test_compiled.py holds them to numpy's."""
    compiled = importlib.import_module(COMPILED)
    with compiled.compiled_loops():
        yield


@pytest.fixture(scope="session")
def real_curves() -> Path:
    """The folder of real curves that others measured (see BRINEMARK_REAL in CONTRIBUTING.md)."""
    named = os.environ.get("BRINEMARK_REAL")
    if not named:
        pytest.skip("BRINEMARK_REAL does not name the folder of real curves")
    folder = Path(named)
    if not folder.is_dir():
        pytest.fail(f"BRINEMARK_REAL names {named}, which is no folder")
    return folder


class SkippingFails:
    """Makes a run with skipped tests fail, and names them; an expected failure is no skip."""

    def __init__(self) -> None:
        self.skipped: dict[str, str] = {}

    def _note(self, report: pytest.TestReport | pytest.CollectReport) -> None:
        if report.skipped and not hasattr(report, "wasxfail"):
            reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
            self.skipped[report.nodeid] = reason

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._note(report)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        self._note(report)

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        if self.skipped and session.exitstatus in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if self.skipped:
            terminalreporter.section("skipped, which CI=true does not allow", red=True)
            for test, reason in self.skipped.items():
                terminalreporter.write_line(f"{test}: {reason}", red=True)


def pytest_configure(config: pytest.Config) -> None:
    if os.environ.get("CI") == "true" and not hasattr(config, "workerinput"):
        config.pluginmanager.register(SkippingFails(), "skipping-fails")

"""Four logbooks of the accuracy study with fewer batches and samples; what their figures scatter by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from unittest.mock import patch

import accuracy_cases
from accuracy_cases import PORTABLE, TWO, Case, Logbook
from accuracy_figures import Figures, figures_of
from accuracy_read import Done, Task, one_history

from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, RISING

SEED, NEW = 1, 2
LOGBOOKS = {
    "plain": Logbook(3, batches=5),
    "portable": Logbook(2, truth=PORTABLE, batches=5),
    "both": Logbook(2, batches=4, protocol=PRESCAN_AND_SPIKE, levels=(0.0, 0.0, 2.0, 8.0)),
    "rising": Logbook(
        2, batches=4, protocol=PRESCAN_AND_SPIKE, levels=(0.0, 0.0, 2.0, 8.0), siblings=RISING, waters=(6,)
    ),
}
AT_ENDS = {0.0: 20, 1.0: 20, 2.0: 4, 8.0: 8}
NEAR = {1.5: 1, 2.0: 1, 2.5: 1}
CASES = {
    "burned-2": Case("two burned", "plain", burned=TWO, samples=AT_ENDS),
    "portable": Case("portable noise", "portable", samples={1.0: 20}),
    "both": Case("with pre-scan and closing spike", "both", samples=NEAR),
    "rising": Case("the same, siblings with an addition", "rising", samples=NEAR, costs=True),
}


@dataclass(frozen=True)
class Study:
    """What was made, and its figures by case and who reads."""

    made: tuple[Done, ...]
    figures: Mapping[tuple[str, str], Figures]


@contextmanager
def small_sizes() -> Iterator[None]:
    """The study asks for the small logbooks and cases only."""
    logbooks = patch.dict(accuracy_cases.LOGBOOKS, LOGBOOKS, clear=True)
    cases = patch.dict(accuracy_cases.CASES, CASES, clear=True)
    with logbooks, cases, patch.object(accuracy_cases, "NEW", NEW):
        yield


@contextmanager
def small_study(seed: int = SEED, times: int = 1) -> Iterator[Study]:
    """The figures of a small study, by compiled loops; times : as many histories."""
    with small_sizes():
        tasks = [Task(name, seed, i) for name, logbook in LOGBOOKS.items() for i in range(times * logbook.histories)]
        made = tuple(one_history(task) for task in tasks)
        yield Study(made, {(one.case, one.who): one for one in figures_of(made)})

"""The whole job on the invented season: files, logbook, calibration, statements, charts; then, apart, the truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.demo.pictures import draw_charts
from brinemark.demo.scenario import DEFAULT_SEED, Scenario, write_scenario
from brinemark.logbook import Logbook

if TYPE_CHECKING:
    from brinemark.steps.answers import CalibrationReport, SampleReading
    from brinemark.terms.tanks import Consignment

OnStep = Callable[[int, int], bool]
Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class DemoRow:
    """One line of the table: a sample or control, what was done with it, and what is stated. No truth in it.

    lower, upper : stated ends in level units, None where none is stated; middle : of a quantified amount.
    """

    sample: str
    role: str
    electrodes: int
    dilutions: tuple[float, ...]
    statement: str
    lower: float | None
    middle: float | None
    upper: float | None
    sentence: str


@dataclass(frozen=True, slots=True, eq=False)
class DemoResult:
    """What run_demo leaves: the logbook's folder, the table, the answers behind it and the charts.

    consignments : as their tank records say them, none for a season without fish.
    """

    scenario: Scenario
    logbook: Path
    calibration: CalibrationReport
    readings: tuple[SampleReading, ...]
    rows: tuple[DemoRow, ...]
    charts: tuple[Path, ...]
    consignments: tuple[Consignment, ...] = ()

    @property
    def season(self) -> tuple[DemoRow, ...]:
        """Rows of the season's own waters, without those that are read beside them for the fish."""
        return tuple(row for row in self.rows if row.sample not in self.scenario.beside)


@dataclass(frozen=True, slots=True)
class Comparison:
    """A statement beside the truth. holds is None where nothing was stated that could hold it."""

    sample: str
    statement: str
    truth: float
    holds: bool | None


def run_demo(
    folder: Path,
    seed: int = DEFAULT_SEED,
    on_step: OnStep | None = None,
    tell: Tell | None = None,
    charts: bool = True,
    write: Callable[[Path, int], Scenario] = write_scenario,
) -> DemoResult:
    """Do the whole job under folder: sheets/, truth.json, logbook/ and charts/, and tanks/ for a season with fish.

    write : what invents the season; fish.write_with_fish adds the fish, which doubles the time.
    on_step(done, total) : progress of the calibration, False stops it; tell(line) : hears what happens, in words.
    Raises Refused when folder holds an earlier run, GateFailed, Stopped.
    """
    say = tell or (lambda line: None)
    scenario = write(folder, seed)
    say(f"wrote {len(scenario.sheets)} run sheets with their curves into {scenario.sheets[0].parent}")
    with new_logbook(folder / "logbook", scenario) as logbook:
        for sheet in scenario.sheets:
            say(f"added {logbook.add(sheet)}")
        consignments = _with_tanks(logbook, scenario, say)
        calibration = logbook.calibrate(on_step)
        say(f"made {calibration}")
        readings = tuple(logbook.read(*scenario.samples, *scenario.controls))
        shown = [one for one in readings if one.sample not in scenario.beside]
        drawn = draw_charts(logbook, calibration, shown, folder / "charts") if charts else ()
        if drawn:
            say(f"drew {len(drawn)} charts into {folder / 'charts'}")
        path = logbook.path
    rows = tuple(_row(reading, scenario) for reading in readings)
    return DemoResult(scenario, path, calibration, readings, rows, drawn, consignments)


def _with_tanks(logbook: Logbook, scenario: Scenario, say: Tell) -> tuple[Consignment, ...]:
    """The consignments, once their tank records are added."""
    for record in scenario.tank_files:
        for taken in logbook.add_tanks(record).consignments:
            say(f"added {record.name}: {taken.new} rows of consignment {taken.consignment}")
    return tuple(logbook.consignments()) if scenario.tank_files else ()


def new_logbook(path: Path, scenario: Scenario) -> Logbook:
    """An empty logbook with the scenario's settings."""
    Logbook.create(path).close()
    (path / "logbook.toml").write_text(scenario.settings, encoding="utf-8", newline="\n")
    return Logbook.open(path)


def compare(result: DemoResult) -> tuple[Comparison, ...]:
    """Every statement beside the truth, which only this function opens."""
    truth = json.loads(result.scenario.truth_file.read_text(encoding="utf-8"))["tanks"]
    return tuple(Comparison(row.sample, row.statement, truth[row.sample], _holds(row, truth)) for row in result.rows)


def table(rows: Sequence[DemoRow]) -> str:
    """The rows as plain text for a person, one statement a line."""
    told = [(row.sample, _how(row), row.sentence.removeprefix(f"{row.sample}: ")) for row in rows]
    first, second = (max(len(line[column]) for line in told) for column in (0, 1))
    return "\n".join(f"{name:<{first}}  {how:<{second}}  {sentence}" for name, how, sentence in told)


def _how(row: DemoRow) -> str:
    count = f"{row.electrodes} electrode" + ("" if row.electrodes == 1 else "s")
    diluted = sorted(set(row.dilutions))
    return count if diluted == [1.0] else f"{count} at {', '.join(f'{one:g}' for one in diluted)} times"


def _row(answer: SampleReading, scenario: Scenario) -> DemoRow:
    estimate = answer.reading.estimate
    return DemoRow(
        sample=answer.sample,
        role="control" if answer.sample in scenario.controls else "sample",
        electrodes=len(answer.electrodes),
        dilutions=tuple(use.dilution for use in answer.electrodes),
        statement=answer.statement,
        lower=estimate.lower if estimate else None,
        middle=estimate.median if estimate and answer.statement == "quantified" else None,
        upper=estimate.upper if estimate else None,
        sentence=answer.sentence,
    )


def _holds(row: DemoRow, truth: dict[str, float]) -> bool | None:
    if row.statement == "cannot say":
        return None
    level = truth[row.sample]
    return (row.lower is None or level >= row.lower) and (row.upper is None or level <= row.upper)

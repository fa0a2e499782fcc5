"""The accuracy study: rates, intervals and folds on known truth, beside an oracle and what a chemist would do instead.

    python benchmarks/accuracy.py [--histories N] [--minutes M] [--seed 1] [--logbook ...] [--processes 2] [--quick]
                                  [--keep FOLDER] [--write docs] [--no-worlds]

Base case: nine batches of six electrodes at 0, 0, .5, 1, 2, 8 ug/L in random order, three of a new batch burned at 0,
2, 8, one sample electrode read once, bench noise. Each other case changes something. A logbook is calibrated once for
all its cases; standard errors are clustered by history. What is done is kept in a folder, history by history: a run
that was stopped goes on there (--keep), and --minutes 0 makes only the tables of what there is. Logbooks take turns, so
that a run that is stopped has some histories of each.

--write regenerates accuracy.md and its pictures in a folder, the second half included: worlds that the model does not
contain, by second_half.py, whose output is kept too. The last lines give each target, its figure, the oracle's, and
whether it is met; exit status 0 when all are.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import asdict
from multiprocessing import get_context
from pathlib import Path

from accuracy_cases import LOGBOOKS
from accuracy_figures import Figures, figures_of
from accuracy_limits import limits
from accuracy_page import write_page
from accuracy_read import Done, Task, one_history
from accuracy_targets import targets

HISTORIES, PROTOCOLS = "histories.jsonl", ("single", "lived")
QUICK = 2


def kept(folder: Path) -> list[Done]:
    """The histories that earlier runs have made."""
    path = folder / HISTORIES
    if not path.exists():
        return []
    return [Done(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines() if line]


def to_do(arguments: argparse.Namespace, made: Sequence[Done]) -> list[Task]:
    """What is left, logbooks in turn: the one that has the least part of its histories comes first."""
    there = {(one.logbook, one.seed, one.number) for one in made}
    left = []
    for name in arguments.logbook:
        wanted = arguments.histories or LOGBOOKS[name].histories
        left += [(i / wanted, Task(name, arguments.seed, i)) for i in range(wanted)]
    in_turn = [task for _, task in sorted(left, key=lambda pair: pair[0])]
    return [task for task in in_turn if (task.logbook, task.seed, task.number) not in there]


def run(tasks: Sequence[Task], folder: Path, arguments: argparse.Namespace) -> list[Done]:
    """Make histories until the time is up; each is kept as soon as it is made."""
    start, found, left = time.perf_counter(), list[Done](), iter(tasks)
    end = start + 60.0 * arguments.minutes
    with (
        ProcessPoolExecutor(arguments.processes, mp_context=get_context("spawn")) as pool,
        (folder / HISTORIES).open("a", encoding="utf-8") as file,
    ):
        for one in _as_made(left, pool, arguments.processes, end):
            file.write(json.dumps(asdict(one)) + "\n")
            file.flush()
            found.append(one)
            gone = (time.perf_counter() - start) / 60
            told = f"{len(found)} of {len(tasks)}: {one.logbook} {one.number} in {one.seconds:.0f} s"
            print(f"{told}; {gone:.1f} min", file=sys.stderr, flush=True)
    return found


def _as_made(left: Iterator[Task], pool: Executor, processes: int, end: float) -> Iterator[Done]:
    """Histories in the order they are done; none begins after the end."""
    waiting: set[Future[Done]] = set()
    while True:
        while len(waiting) < processes and time.perf_counter() < end:
            task = next(left, None)
            if task is None:
                break
            waiting.add(pool.submit(one_history, task))
        if not waiting:
            return
        done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
        for future in done:
            yield future.result()


def second_half(folder: Path, arguments: argparse.Namespace) -> list[Path]:
    """What second_half.py prints of worlds that the model does not contain; protocol by protocol, once."""
    paths = [folder / f"worlds-{protocol}.txt" for protocol in PROTOCOLS]
    script = Path(__file__).with_name("second_half.py")
    for path, protocol in zip(paths, PROTOCOLS, strict=True):
        if path.exists() or arguments.no_worlds:
            continue
        command = [sys.executable, str(script), "--protocol", protocol, "--processes", str(arguments.processes)]
        print(f"second half, {protocol}: {time.strftime('%H:%M')}", file=sys.stderr, flush=True)
        made = subprocess.run([*command, *(["--quick"] * arguments.quick)], check=False, capture_output=True, text=True)
        if "rows pass" not in made.stdout:
            raise SystemExit(f"second_half.py stopped: {made.stderr[-500:]}")
        path.write_text(f"made {time.strftime('%Y-%m-%d')}\n{made.stdout}", encoding="utf-8")
    return [path for path in paths if path.exists()]


def told(one: Figures) -> str:
    """One line of plain text."""
    power = "  ".join(f"{rate:.3f} ({error:.3f})" for rate, error in one.power)
    return (
        f"{one.case:<14}{one.who:<16}blank {one.blank[0]:.3f} ({one.blank[1]:.3f})  power {power}  holds "
        f"{one.coverage[0]:.3f} ({one.coverage[1]:.3f}), least {one.worst[0]:.3f} ({one.worst[1]:.3f}) at "
        f"{one.worst[2]:g}  |ln| {one.error:.2f}  fold {one.fold[0]:.3g}  above {one.above[1][0]:.2f}  "
        f"histories {one.histories}, failed {one.failed}"
    )


def parsed() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Blank rate, power, coverage, error and fold, case by case.")
    parser.add_argument("--histories", type=int, help="of each logbook; else as many as accuracy_cases.py asks for")
    parser.add_argument("--minutes", type=float, default=1e6, help="no history begins after so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--logbook", choices=LOGBOOKS, nargs="+", default=list(LOGBOOKS))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help=f"{QUICK} histories of each logbook, four of each world")
    parser.add_argument("--keep", type=Path, default=Path("accuracy-kept"), help="folder of what is done")
    parser.add_argument("--write", type=Path, help="folder of accuracy.md and its pictures")
    parser.add_argument("--no-worlds", action="store_true", help="without worlds that are not kept already")
    arguments = parser.parse_args()
    if arguments.quick:
        arguments.histories = QUICK
    return arguments


def main() -> int:
    """Exit status 0 when every target is met."""
    arguments = parsed()
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    arguments.keep.mkdir(parents=True, exist_ok=True)
    made = kept(arguments.keep)
    if arguments.minutes > 0:
        made += run(to_do(arguments, made), arguments.keep, arguments)
    made = [one for one in made if one.seed == arguments.seed and one.logbook in arguments.logbook]
    found = figures_of(made)
    for one in found:
        print(told(one))
    counts = Counter(one.logbook for one in made)
    print("histories: " + ", ".join(f"{name} {counts[name]}" for name in LOGBOOKS if counts[name]))
    print(f"seed {arguments.seed}; {sum(one.seconds for one in made) / 60:.0f} min of one process\n")
    judged = targets(found, limits(arguments.keep, made))
    if arguments.write:
        worlds = second_half(arguments.keep, arguments)
        write_page(arguments.write, found, judged, f"seed {arguments.seed}", worlds)
    for target in judged:
        print(target.line())
    return 0 if all(target.met for target in judged) else 1


if __name__ == "__main__":
    sys.exit(main())

"""The invented season over many seeds: do the stated intervals hold the truth?

    python benchmarks/demo_seeds.py [first seed] [last seed]

Passes when at least 90 % of the stated intervals and limits hold the truth, no absent tank is quantified, no saturated
tank gets an upper end, and every calibration passes its gates. Seeds 1 to 20 unless told otherwise; none is left out.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from brinemark.demo.run import Comparison, DemoResult, compare, run_demo
from brinemark.terms.errors import GateFailed

WANTED = 0.90
ABSENT = {"K1-tank-1", "K1-tank-2", "QC-clean"}
SATURATED = "K1-tank-7"


def one_seed(seed: int, folder: Path) -> tuple[DemoResult, tuple[Comparison, ...], float] | None:
    """The result, its comparison with the truth and the seconds it took; None when a gate failed."""
    start = time.perf_counter()
    try:
        result = run_demo(folder, seed, charts=False)
    except GateFailed as failed:
        print(f"seed {seed:3d}  {failed}")
        return None
    return result, compare(result), time.perf_counter() - start


def faults_of(result: DemoResult) -> list[str]:
    """What must never happen."""
    found = [f"{row.sample} absent but quantified" for row in result.rows if _quantified(row.sample, row.statement)]
    ends = [row.upper for row in result.rows if row.sample == SATURATED]
    return found + ([f"{SATURATED} has an upper end"] if ends != [None] else [])


def _quantified(sample: str, statement: str) -> bool:
    return sample in ABSENT and statement == "quantified"


def main(first: int, last: int) -> int:
    """Exit status 0 when everything wanted is met."""
    statements: Counter[str] = Counter()
    held: list[bool] = []
    faults: list[str] = []
    for seed in range(first, last + 1):
        with tempfile.TemporaryDirectory() as scratch:
            made = one_seed(seed, Path(scratch) / "demo")
        if made is None:
            faults.append(f"seed {seed}: a gate failed")
            continue
        result, compared, seconds = made
        kinds = Counter(one.statement for one in compared)
        missed = [f"{one.sample} ({one.truth:.3g})" for one in compared if one.holds is False]
        statements += kinds
        held += [one.holds for one in compared if one.holds is not None]
        faults += [f"seed {seed}: {fault}" for fault in faults_of(result)]
        told = ", ".join(missed) or "none"
        print(f"seed {seed:3d}  {seconds:5.1f} s  {len(kinds)} kinds of statement  missed: {told}")
        sys.stdout.flush()
    share = sum(held) / max(len(held), 1)
    print(f"\n{dict(statements)}")
    print(f"{sum(held)} of {len(held)} stated intervals hold the truth: {share:.3f} (wanted {WANTED})")
    print("\n".join(faults) or "nothing that must never happen happened")
    return 0 if share >= WANTED and not faults else 1


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:3]]
    sys.exit(main(*(given if len(given) == 2 else (1, 20))))

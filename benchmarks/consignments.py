"""Interpreting a consignment of 200 tanks: seconds beside those of fitting one background, by kind of consignment.

Small tanks with a lot of fish each; and the same number that all came through one receiving tank, with samples twice.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from brinemark.science.fish.background import fit_background
from brinemark.steps.interpret import considered
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals

TANKS, WANTED_S = 200, 10.0


def plain() -> Consignment:
    """Each lot goes into a tank of its own; one sample a tank."""
    lines = ["2031-07-01T07:00 blank blank=field sample=F"]
    for n in range(TANKS):
        lines += [
            f"2031-07-01T08:00 catch fish=f{n} count=3 mass_g=20 at_u_d=0.3",
            f"2031-07-02T08:00 filled tank=A{n} volume_L=5 system=harbour",
            f"2031-07-02T09:00 in tank=A{n} fish=f{n} carried_L=0.05",
            f"2031-07-03T09:00 sample tank=A{n} sample=S{n}",
        ]
    return consignment("K", "\n".join(lines))


def through_one() -> Consignment:
    """All lots come through one receiving tank; water is renewed and sampled twice; nothing excludes contamination."""
    lines = ["2031-07-01T20:00 filled tank=boat volume_L=2000 renewal_L_per_d=400 system=harbour"]
    for n in range(TANKS):
        lines += [
            f"2031-07-01T08:00 catch fish=f{n} count=3 mass_g=20",
            f"2031-07-01T21:00 in tank=boat fish=f{n}",
            f"2031-07-02T08:00 filled tank=A{n} volume_L=5 system=harbour",
            f"2031-07-02T09:00 in tank=A{n} fish=f{n} carried_L=0.05",
            f"2031-07-02T20:00 renewed tank=A{n} share=0.3",
            f"2031-07-03T09:00 sample tank=A{n} sample=S{n}",
            f"2031-07-04T09:00 sample tank=A{n} sample=Q{n}",
        ]
    return consignment("K", "\n".join(lines))


def main() -> int:
    rng = np.random.default_rng(3)
    signals = lognormal_signals(12, 0.5, 1.7) | {"F": 0.0}
    for n in range(TANKS):
        signals |= {f"S{n}": float(rng.lognormal(0.0, 1.0)), f"Q{n}": float(rng.lognormal(0.0, 1.0))}
    low = np.array([0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 0.9, 1.1, 0.0, 0.0])
    start = time.perf_counter()
    fit_background(low, low + 0.4)
    fit = time.perf_counter() - start
    worst = 0.0
    for name, made in (("a tank for each lot", plain()), ("through one tank, sampled twice", through_one())):
        found = desk([made, controls("harbour", 12)], signals)
        start = time.perf_counter()
        answer = considered(found, "K")
        took = time.perf_counter() - start
        worst = max(worst, took)
        print(f"{name}: {len(answer.tanks)} tanks in {took:.1f} s, {took / fit:.0f} times one background ({fit:.2f} s)")
    print(f"wanted: {TANKS} tanks in {WANTED_S:g} s")
    return 0 if worst <= WANTED_S else 1


if __name__ == "__main__":
    sys.exit(main())

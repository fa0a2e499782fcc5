"""Own spikes and fish of known exposure: how often the intervals of what they measure hold the truth."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "science" / "fish"))

from test_own_experiments import coverage, least_share

HISTORIES = 60


def main() -> int:
    held, told, least = coverage(HISTORIES)
    wanted = least_share(HISTORIES)
    shares = {name: float(np.mean(found)) for name, found in held.items()}
    for name, share in shares.items():
        print(f"{name}: held in {share:.3f} (standard error {math.sqrt(share * (1 - share) / HISTORIES):.3f})")
    print(f"stated ends of {len(told)} measured: held in {np.mean(told):.3f}; least effective draws {least:.0f}")
    print(f"wanted: {wanted:.3f} or more in each")
    return 0 if min(*shares.values(), float(np.mean(told))) >= wanted else 1


if __name__ == "__main__":
    sys.exit(main())

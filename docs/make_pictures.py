"""Draw the pictures of the pages anew: `python docs/make_pictures.py` makes the demo and draws its calibration."""

from __future__ import annotations

import tempfile
from pathlib import Path

from brinemark import Logbook
from brinemark.demo.run import run_demo

PICTURES = Path(__file__).resolve().parent / "pictures"


def main() -> None:
    """The demo of the default seed in a folder that is thrown away, and its calibration as SVG."""
    with tempfile.TemporaryDirectory() as folder:
        result = run_demo(Path(folder) / "demo", charts=False)
        with Logbook.open(result.logbook) as logbook:
            picture = logbook.draw_calibration("svg")
    PICTURES.mkdir(exist_ok=True)
    (PICTURES / "demo-calibration.svg").write_bytes(picture)


if __name__ == "__main__":
    main()

"""Draw the pictures of the pages anew: `python docs/make_pictures.py` makes the demo, its calibration and a life."""

from __future__ import annotations

import tempfile
from pathlib import Path

from brinemark import Logbook
from brinemark.demo.run import run_demo

LIFE = "H15-6"
"""A tank's electrode with a rise and a closing spike."""
PICTURES = Path(__file__).resolve().parent / "pictures"


def main() -> None:
    """The demo of the default seed in a folder that is thrown away, its calibration and an electrode's life as SVG."""
    with tempfile.TemporaryDirectory() as folder:
        result = run_demo(Path(folder) / "demo", charts=False)
        with Logbook.open(result.logbook) as logbook:
            pictures = {"calibration": logbook.draw_calibration("svg"), "life": logbook.draw_life(LIFE)}
    PICTURES.mkdir(exist_ok=True)
    for name, picture in pictures.items():
        (PICTURES / f"demo-{name}.svg").write_bytes(picture)


if __name__ == "__main__":
    main()

"""Named faults and valid oddities of electrodes with several rows, of stocks and of volumes."""

from __future__ import annotations

from build import Row
from spoil_tools import Fault, Oddity, Spoil, cell, rows


def later(row: int, *readings: Row, **first: str) -> Spoil:
    """Write cells into a row, and append readings of its electrode, a minute apart, read off curves elsewhere."""

    def change(run: list[Row]) -> None:
        run[row - 2].update(first)
        for place, cells in enumerate(readings, start=1):
            base = {name: run[row - 2][name] for name in ("electrode", "batch", "instrument")}
            moment = {"measured_at": f"2026-03-01T10:{place:02d}+00:00"}
            run.append(base | moment | {"signal": f"{place}e-7", "signal_u": "2e-9", "signal_unit": "A"} | cells)

    return rows(change)


def standard(level: str, **cells: str) -> Row:
    return {"role": "standard", "level": level} | cells


def rise(level: str, **cells: str) -> Row:
    return {"role": "addition", "level": level} | cells


def volume(added: str, **cells: str) -> Row:
    return {"role": "addition", "added_volume_mL": added, "stock": "K1", "stock_level": "1000"} | cells


SAMPLE = {"role": "sample", "sample": "S9"}
EARLY = "2026-03-01T09:00+00:00"
LATE = "2026-03-01T22:30+00:00"

# The readings that are appended stand in rows 10, 11, ...; row 2 is a blank, 4 a standard of 2, 6 the sample S1, 7 a
# control diluted 2 times.
LIVES = [
    Fault("standard after a sample", later(6, standard("2")), "a standard after the sample of row 6", 10, "role"),
    Fault("blank after a control", later(7, {"role": "blank"}), "a blank after the control of row 7", 10, "role"),
    Fault("standard after an addition", later(2, rise("1"), standard("2")), "after the addition of row 10", 11, "role"),
    Fault("sample after a blank", later(2, SAMPLE), "a sample after the blank of row 2", 10, "role"),
    Fault("sample after a standard", later(4, SAMPLE), "a sample on an electrode of its own", 10, "role"),
    Fault("two samples on one electrode", later(6, SAMPLE), "a second sample on electrode 'B1-5'", 10, "role"),
    Fault("one sample twice", later(6, SAMPLE | {"sample": "S1"}), "which read sample 'S1' in row 6", 10, "role"),
    Fault("sample after its addition", later(6, rise("1"), SAMPLE), "a second sample", 11, "role"),
    Fault("addition before the sample", later(6, rise("1", measured_at=EARLY)), "as the first reading", 10, "role"),
    Fault("falling level", later(4, standard("1")), "level 1 after 2 in row 4", 10, "level"),
    Fault("falling level later", later(4, standard("8"), standard("4")), "4 after 8 in row 10", 11, "level"),
    Fault("blank after a standard", later(4, {"role": "blank"}), "level 0 after 2 in row 4", 10, "level"),
    Fault("level that falls in time", later(4, standard("8", measured_at=EARLY)), "2 after 8 in row 10", 4, "level"),
    Fault("life in two batches", later(6, rise("1", batch="B2")), "in batch B2, in row 6 B1", 10, "batch"),
    Fault("life on two instruments", later(6, rise("1", instrument="field")), "on instrument field", 10, "instrument"),
    Fault("second run", later(6, rise("1", measured_at=LATE)), "12.5 h from row 6", 10, "electrode"),
    Fault("late pre-scan", later(6, rise("1", prescan="a.csv")), "in a later row of electrode", 10, "prescan"),
    Fault("late pre-scan signal", later(6, rise("1", prescan_signal="1e-9")), "first row", 10, "prescan_signal"),
    Fault("late covariate", later(4, standard("8", covariate="1e-6")), "the pre-scan in the first", 10, "covariate"),
    Fault("addition of another sample", later(6, rise("1", sample="S2")), "'S2' for an addition", 10, "sample"),
    Fault("addition to a blank of a sample", later(2, rise("1", sample="S2")), "in row 2 no sample", 10, "sample"),
    Fault("addition of another dilution", later(7, rise("1", dilution="4")), "4 for an addition", 10, "dilution"),
    Fault("expected level of an addition", later(7, rise("1", expected_level="2")), "controls", 10, "expected_level"),
    Fault("another lot in a life", later(4, standard("8", matrix_lot="L8")), "in row 4 none", 10, "matrix_lot"),
]
VOLUMES = [
    Fault("addition of nothing", later(6, {"role": "addition"}), "an empty cell for an addition", 10, "level"),
    Fault("addition of level 0", later(6, rise("0")), "0 for an addition", 10, "level"),
    Fault("addition with rise and volume", later(6, volume("1", level="2")), "follows from the volumes", 10, "level"),
    Fault("negative volume", later(6, volume("-1"), volume_mL="20"), "a number above 0", 10, "added_volume_mL"),
    Fault("volume 0", later(6, volume("0"), volume_mL="20"), "a number above 0", 10, "added_volume_mL"),
    Fault("infinite volume", later(6, volume("inf"), volume_mL="20"), "not a finite", 10, "added_volume_mL"),
    Fault("volume larger than the cell", later(6, volume("21"), volume_mL="20"), "21 mL into", 10, "added_volume_mL"),
    Fault("cell without a volume", later(6, volume("1")), "without volume_mL", 10, "volume_mL"),
    Fault("cell of volume 0", later(6, volume("1"), volume_mL="0"), "a number above 0", 6, "volume_mL"),
    Fault(
        "cell of two volumes", later(6, volume("1", volume_mL="21"), volume_mL="20"), "in row 6 20 mL", 10, "volume_mL"
    ),
    Fault("added volume of a sample", cell(6, added_volume_mL="1"), "only additions have", 6, "added_volume_mL"),
    Fault(
        "stock weaker than the cell",
        later(5, volume("1", stock_level="7"), volume_mL="20"),
        "lowers the level of the cell from 8 to 7.952",
        10,
        "stock_level",
    ),
]
STOCKS = [
    Fault("unknown stock", cell(3, stock="K7"), "'K7', which nothing describes", 3, "stock"),
    Fault("stock almost known", later(6, rise("1", stock="K1", stock_level="10"), stock="KI"), "one, K1", 6, "stock"),
    Fault("unknown lot", cell(2, matrix_lot="L7"), "write [lot.ID] into logbook.toml", 2, "matrix_lot"),
    Fault("level of no stock", cell(3, stock_level="1000"), "'1000' without a stock", 3, "stock"),
    Fault("level of a stock 0", cell(3, stock="K1", stock_level="0"), "a number above 0", 3, "stock_level"),
    Fault(
        "volume of no stock",
        later(6, volume("1", stock="", stock_level=""), volume_mL="20"),
        "an added volume without its stock",
        10,
        "stock_level",
    ),
    Fault(
        "stock of two levels",
        later(6, volume("1"), volume("1", stock_level="1001"), volume_mL="20"),
        "1001 for stock 'K1', in row 10 1000",
        11,
        "stock_level",
    ),
    Fault(
        "stock of two errors",
        later(6, volume("1", level_rel_u="0.01"), volume("1", level_rel_u="0.02"), volume_mL="20"),
        "0.02 for stock 'K1', in row 10 0.01",
        11,
        "level_rel_u",
    ),
]
LIFE_FAULTS = [*LIVES, *VOLUMES, *STOCKS]

LIFE_ODDITIES = [
    Oddity(
        "lives", "blank, standards and an addition", later(2, standard("2"), standard("2"), standard("8"), rise("50"))
    ),
    Oddity("lives", "a sample with two additions", later(6, rise("2"), rise("50", sample="S1"))),
    Oddity("lives", "readings of one minute in sheet order", later(4, standard("8", measured_at="2026-03-01T10:00Z"))),
    Oddity("lives", "an addition that repeats the dilution", later(7, rise("2", dilution="2", sample="C1"))),
    Oddity("volumes", "additions by volume", later(6, volume("0.05"), volume("0.5"), volume_mL="20")),
    Oddity("volumes", "the volume of the cell in a later row", later(6, volume("0.05", volume_mL="20"))),
    Oddity("volumes", "a rise after a volume", later(7, volume("0.05", volume_mL="20"), rise("3", level_rel_u="0.05"))),
    Oddity("stocks", "a volume of a stock without a name", later(6, volume("1", stock="", volume_mL="20"))),
    Oddity("stocks", "a stock with its error", cell(3, stock="K1", stock_level="1000", level_rel_u="0.01")),
]

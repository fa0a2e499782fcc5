"""Builders of tank records for tests: an invented consignment of two kinds of fish in two tanks."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

Cells = dict[str, str]


def happening(what: str, at: str, **cells: str) -> Cells:
    """One row of consignment C1; at : day and time, UTC."""
    return {"consignment": "C1", "at": f"2031-04-{at}+00:00", "what": what, **cells}


def catch(fish: str = "F1", at: str = "01T06:00", **cells: str) -> Cells:
    said = {"species": "blue reef damsel", "count": "12", "mass_g": "4.5", "origin": "north bank", "history": "unknown"}
    return happening("catch", at, **{"fish": fish, **said, **cells})


def sample(name: str = "W1", at: str = "03T10:00", **cells: str) -> Cells:
    """A water sample about which nothing is left to say."""
    said = {"tank": "T1", "taker": "night watch", "smoker": "no", "container": "glass", "filtration_um": "0.2"}
    kept = {"seal": f"{name}-s", "storage": "frozen", "retained_mL": "20", "split_seal": f"{name}-x"}
    return happening("sample", at, **{"sample": name, **said, **kept, **cells})


def small_consignment() -> list[Cells]:
    """Twelve rows, 2 to 13 of the file: every kind that has something to do with thiocyanate."""
    return [
        catch("F1"),
        catch("F2", "01T07:00", count="3", mass_g="20", near="harbour outflow"),
        happening("filled", "02T08:00", tank="T1", volume_L="40", renewal_L_per_d="2.5", system="hall line"),
        happening("filled", "02T08:00", tank="T2", volume_L="100"),
        happening("blank", "02T08:30", sample="BW", blank="source water", system="hall line"),
        happening("in", "02T09:00", tank="T1", fish="F1", carried_L="0.5"),
        happening("in", "02T09:10", tank="T2", fish="F2"),
        happening("out", "02T20:00", tank="T1", fish="F1", count="2", dead="yes"),
        happening("renewed", "02T21:00", tank="T1", share="0.25"),
        sample("W1"),
        sample("W2", "03T10:05", duplicate="W1"),
        sample("W3", "03T11:00", tank="T2"),
    ]


def tank_csv(rows: Sequence[Mapping[str, str]], *, delimiter: str = ",", decimal: str = ".") -> str:
    """Rows as the text of a tank record; decimal "," changes the sign in cells that are numbers."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_cell(row.get(name, ""), decimal) for name in names] for row in rows)
    return text.getvalue()


def _cell(cell: str, decimal: str) -> str:
    try:
        float(cell)
    except ValueError:
        return cell
    return cell.replace(".", decimal)

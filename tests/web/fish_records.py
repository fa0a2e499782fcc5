"""Tank records for the tests of pages: waters that the calibrated logbook has read, in invented tanks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from brinemark.faces.web.guard import TOKEN
from tank_build import Cells, tank_csv
from web.web_bench import HOST, Bench

OTHERS = b"""sample,fish,marker,method,unit,value,limit_of_detection,u
S-mid,,thiocyanate,mass spectrometry,ug/L,1.4,0.6,0.1
S-full,,thiocyanate,mass spectrometry,ug/L,82,0.6,4
S-absent,,thiocyanate,mass spectrometry,ug/L,not found,0.6,
S-mid,wrasse,cyanide in tissue,distillation,mg/kg,0.12,0.05,
"""
"""Results of two other methods on the same samples."""


def happening(consignment: str, what: str, at: str, **cells: str) -> Cells:
    return {"consignment": consignment, "at": f"2031-04-{at}+00:00", "what": what, **cells}


def quay() -> list[Cells]:
    """K1: two lots, tank A small with a sample that was quantified, tank B by an outflow with one that saturated, tank
    C of which no water was taken."""
    return [
        happening(
            "K1", "catch", "01T06:00", fish="wrasse", species="moon wrasse", count="4", mass_g="20", at_u_d="0.5"
        ),
        happening("K1", "catch", "01T07:00", fish="tang", count="2", mass_g="30", near="harbour outflow"),
        happening("K1", "filled", "02T08:00", tank="A", volume_L="4", system="harbour"),
        happening("K1", "filled", "02T08:00", tank="B", volume_L="90", system="harbour"),
        happening("K1", "filled", "02T08:00", tank="C", volume_L="10"),
        happening("K1", "in", "02T09:00", tank="A", fish="wrasse", carried_L="0.1"),
        happening("K1", "in", "02T09:10", tank="B", fish="tang"),
        happening("K1", "out", "02T20:00", tank="A", fish="wrasse", count="1", dead="yes"),
        happening("K1", "renewed", "02T21:00", tank="A", share="0.25"),
        happening("K1", "sample", "03T10:00", tank="A", sample="S-mid", smoker="no"),
        happening("K1", "sample", "03T10:30", tank="B", sample="S-full", smoker="yes"),
        happening("K1", "blank", "03T10:40", sample="S-absent", blank="field", tank="A"),
        happening("K1", "note", "03T11:00", tank="A", note="one <b>pale</b> fish"),
    ]


def known_fish() -> list[Cells]:
    """T1: one tank of bred fish without thiocyanate, one of heavily exposed fish with it."""
    rows = []
    for tank, history, sample in (("U", "captive-bred", "S-absent"), ("X", "heavy exposure", "S-mid")):
        rows += [
            happening("T1", "catch", "01T06:00", fish=f"fish {tank}", count="1", mass_g="8", history=history),
            happening("T1", "filled", "01T07:00", tank=tank, volume_L="2", system="harbour"),
            happening("T1", "in", "01T08:00", tank=tank, fish=f"fish {tank}"),
            happening("T1", "sample", "02T08:00", tank=tank, sample=sample),
        ]
    return rows


def many_tanks(count: int) -> list[Cells]:
    """L1: so many tanks with one fish each; the first has a water that was read."""
    rows = []
    for number in range(1, count + 1):
        rows += [
            happening("L1", "catch", "01T06:00", fish=f"f{number}", count="1", mass_g="8"),
            happening("L1", "filled", "01T07:00", tank=f"T{number}", volume_L="2"),
            happening("L1", "in", "01T08:00", tank=f"T{number}", fish=f"f{number}"),
        ]
    return [*rows, happening("L1", "sample", "02T08:00", tank="T1", sample="S-mid")]


def take_in(bench: Bench, rows: Sequence[Cells]) -> None:
    bench.desk.book.add_tanks(("record.csv", tank_csv(rows).encode()))


def upload(bench: Bench, rows: Sequence[Cells] | bytes, name: str = "record.csv", **fields: str) -> Any:
    """A tank record as the form sends it."""
    body = rows if isinstance(rows, bytes) else tank_csv(rows).encode()
    data = {TOKEN: bench.token(), **fields}
    origin = {"origin": f"http://{HOST}"}
    return bench.client.post("/tank-records", data=data, files=[("record", (name, body))], headers=origin)

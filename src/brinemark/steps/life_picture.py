"""One electrode's life as a picture shows it: what its cell held, its signals and its curves, in order of time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from brinemark.records.reader import Reader
from brinemark.science.amount.scale import is_closing_spike
from brinemark.steps.chosen import current, newest_waves
from brinemark.steps.curves import take_apart
from brinemark.steps.gather import signal_at
from brinemark.steps.identity import Definition, definition_of
from brinemark.steps.lives import ADDITION, Dip, Life, lives_of
from brinemark.steps.measure import PRESCAN, Traces, WaveSet, measure_rows
from brinemark.steps.place import Place
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Dissection
from brinemark.terms.errors import Refused
from brinemark.terms.pictures import DipPicture, LifePicture

QUANTITY = {"A": "height", "C": "charge", "V": "potential", "1": "absorbance"}


def life_picture(place: Place, electrode: str, across: str, statement: str | None = None) -> LifePicture:
    """The readings of an electrode that have a signal at the analyte's own place, with their curves.

    across : title of the x axis; statement : about its sample. Raises Refused for an electrode that no current sheet
    has, and for a curve that cannot be read.
    """
    definition = definition_of(place.settings)
    with place.database.reading() as reader:
        life = life_of(place, reader, electrode)
        waves, _ = newest_waves(place, reader)
        traces = Traces(place, reader)
        signals = measure_rows(life.rows, definition, waves, traces)
        held = held_words(life, place.settings.analyte.level_unit, spike_level(place, reader))
        dips, units = [], []
        for dip, words in zip(life.dips, held, strict=True):
            signal = signal_at(dip, signals)
            if signal is not None:
                curve = _curve(dip, definition, waves, traces)
                dips.append(DipPicture(words, signal.value, signal.u, *curve))
                units.append(signal.unit)
    unit, spectra = units[0], place.settings.of_spectra
    name = QUANTITY.get(unit, "signal")
    return LifePicture(electrode, life.batch, unit, name, across, spectra, tuple(dips), statement)


def life_of(place: Place, reader: Reader, electrode: str) -> Life:
    """The life of one electrode of the current sheets. Raises Refused when it is on none."""
    rows = reader.rows(electrodes=[electrode])
    if not rows:
        raise Refused(f"no electrode {electrode!r} on a current sheet", "an id from a run sheet", "name another")
    return lives_of(rows, place.settings)[0]


def spike_level(place: Place, reader: Reader) -> float | None:
    """Level from which a last reading is a closing spike, as the newest calibration has it; None without one."""
    try:
        results: Any = current(place, reader).record.results
    except Refused:
        return None
    level = results.get("spike_level")
    return None if level is None else float(level)


def held_words(life: Life, unit: str, spike: float | None) -> list[str]:
    """What the cell held at each reading, in the words of a chart.

    unit : of levels; spike : cell level from which the last reading is a closing spike, None when unknown.
    """
    return list(_held(life, unit.replace("ug", "µg"), spike))


def _held(life: Life, unit: str, spike: float | None) -> Iterator[str]:
    before = 0.0
    for dip in life.dips:
        row = dip.row.row
        closing = spike is not None and is_closing_spike(dip.number, life.dips[-1].number, dip.added, spike)
        if dip.role == ADDITION:
            yield f"{'closing spike ' if closing else ''}+ {dip.added - before:.3g} {unit}"
        elif dip.role == PRESCAN:
            yield "clean seawater"
        elif dip.role == "standard":
            yield f"{'closing ' if closing else ''}standard, {row.level:.3g} {unit}"
        else:
            diluted = f", diluted {row.dilution:g} times" if dip.share and row.dilution != 1 else ""
            yield f"{dip.role}{diluted}"
        before = dip.added


def _curve(
    dip: Dip, definition: Definition, waves: WaveSet, traces: Traces
) -> tuple[FloatArray | None, FloatArray | None]:
    """x and y of the dip's curve in the window of the signal; nothing when no curve was kept."""
    sha256 = dip.row.prescan_sha256 if dip.number < 0 else dip.row.trace_sha256
    if sha256 is None:
        return None, None
    seen = traces.seen(dip.row, sha256, definition.curve)
    apart = take_apart(seen, definition.curve, traces.wave(waves.for_row(dip.row)))
    if isinstance(apart, Dissection):
        return apart.potential_V, apart.current_A
    return apart.wavelength_nm, apart.absorbance

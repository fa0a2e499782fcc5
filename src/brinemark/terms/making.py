"""How a batch was made: its electrodes, named before any is used, and the factors behind their scatter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Factor:
    """One thing about a making that may be written down; none is needed.

    unit : as it is printed, "" for text; low, high : a number outside was mistyped or is in another unit, None for
    text; whole : a count; group : the step of the work that it belongs to.
    """

    name: str
    group: str
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    whole: bool = False

    @property
    def is_number(self) -> bool:
        return self.low is not None


PASTE, OVEN, SILANE, DYE, AFTER = "paste", "oven", "silane", "dye", "afterwards"

# Bounds are common practice, no source: wide enough for any film of this kind, narrow enough to show a wrong unit.
FACTORS = (
    Factor("paste_lot", PASTE, "Lot of the oxide paste."),
    Factor("particle_nm", PASTE, "Size of the paste's particles.", "nm", 1, 2000),
    Factor("tape_layers", PASTE, "Layers of tape that set the height of the blade.", "1", 1, 50, whole=True),
    Factor("thickness_um", PASTE, "Thickness of the film as measured.", "um", 0.01, 500),
    Factor("oven", OVEN, "Which oven."),
    Factor("oven_position", OVEN, "Where in the oven the batch lay."),
    Factor("peak_C", OVEN, "Highest temperature of the oven.", "degrees C", 20, 1200),
    Factor("ramp_C_per_min", OVEN, "How fast the oven was heated.", "degrees C/min", 0.01, 500),
    Factor("dwell_min", OVEN, "How long it was held at the highest temperature.", "min", 0, 10_000),
    Factor("cooling", OVEN, "How the films were cooled."),
    Factor("anneal_to_silane_h", SILANE, "Time from the oven to the silane.", "h", 0, 10_000),
    Factor("silane_lot", SILANE, "Lot of the silane."),
    Factor("silane_percent", SILANE, "Silane in its bath, by volume.", "%", 0, 100),
    Factor("silane_min", SILANE, "Time in the silane.", "min", 0, 100_000),
    Factor("silane_cure_C", SILANE, "Temperature at which the silane was cured.", "degrees C", 0, 400),
    Factor("silane_cure_min", SILANE, "How long it was cured.", "min", 0, 100_000),
    Factor("silane_humidity_percent", SILANE, "Relative humidity of the air over the silane.", "%", 0, 100),
    Factor("dye_lot", DYE, "Lot of the porphyrin."),
    Factor("dye_mmol_per_L", DYE, "Porphyrin in its bath.", "mmol/L", 1e-6, 1000),
    Factor("dye_bath_age_d", DYE, "Age of the bath.", "d", 0, 10_000),
    Factor("dye_min", DYE, "Time in the bath.", "min", 0, 100_000),
    Factor("dye_C", DYE, "Temperature of the bath.", "degrees C", -20, 150),
    Factor("rinse", AFTER, "How the films were rinsed."),
    Factor("storage_d", AFTER, "Days in store before the first is used.", "d", 0, 10_000),
    Factor("storage_light", AFTER, "Light in the store."),
    Factor("area_mm2", AFTER, "Coated area that is dipped.", "mm2", 0.01, 100_000),
    Factor("sheet_resistance_ohm", AFTER, "Resistance of the conducting oxide, per square.", "ohm", 0.1, 10_000),
)
BY_NAME: Mapping[str, Factor] = {factor.name: factor for factor in FACTORS}

READY, LAID_OUT, SPENT, SET_ASIDE = "ready", "laid out", "spent", "set aside"
STATES = (READY, LAID_OUT, SPENT, SET_ASIDE)


@dataclass(frozen=True, slots=True)
class Making:
    """A batch as it was made, checked by records.making_file.

    made_on : ISO 8601 date; electrodes : their names in the order of making; positions : where in the batch some of
    them lay; factors : those of FACTORS that were written down; further : any others, by a name of the maker's.
    """

    batch: str
    made_on: str
    electrodes: tuple[str, ...]
    maker: str | None = None
    recipe: str | None = None
    positions: tuple[tuple[str, str], ...] = ()
    factors: tuple[tuple[str, float | str], ...] = ()
    further: tuple[tuple[str, float | str], ...] = ()
    note: str | None = None

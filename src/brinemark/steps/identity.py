"""Who a record is: definitions, ids of what things were made from, and comparison of what was made again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue, content_hash, record_id
from brinemark.terms.curves import CurveDefinition, SignalDefinition, SpectrumDefinition
from brinemark.terms.settings import (
    COVARIATE_SECTIONS,
    SIGNAL_SECTIONS,
    BandCovariateSection,
    CovariateSection,
    CurveSection,
    InstrumentSection,
    PrescanQuantity,
    PrescanSection,
    Settings,
    SignalSection,
    family,
)
from brinemark.terms.stored import Record

# The version of the package and the number of the engine: raised when a computation gives other numbers.
ENGINE = "0.1.0/6"
SCHEMA = 1

# Keys of [instrument.ID] that were added after logbooks had been made, with their defaults.
_CAME_LATER: Mapping[str, JsonValue] = {
    "layout": "long",
    **dict.fromkeys(("wavelength", "absorbance", "transmittance", "max_absorbance", "stray_light")),
}


@dataclass(frozen=True, slots=True)
class Definition:
    """All that decides what a signal and a covariate are, with the unit of levels."""

    signal: SignalSection
    covariate: PrescanQuantity | None
    prescan: PrescanSection
    level_unit: str
    analyte: str
    further: tuple[tuple[str, PrescanQuantity], ...] = ()

    @property
    def curve(self) -> CurveDefinition:
        return signal_definition(self.signal)

    @property
    def identity(self) -> dict[str, JsonValue]:
        """The definition as JSON; two definitions are equal when this is."""
        further: dict[str, JsonValue] = {name: section.model_dump(mode="json") for name, section in self.further}
        return {
            "signal": self.signal.model_dump(mode="json"),
            "covariate": None if self.covariate is None else self.covariate.model_dump(mode="json"),
            "further_covariate": further,
            "prescan": self.prescan.model_dump(mode="json"),
            "level_unit": self.level_unit,
            "analyte": self.analyte,
        }


def definition_of(settings: Settings) -> Definition:
    """The definition that the settings of a logbook ask for now."""
    analyte = settings.analyte
    further = tuple(sorted(settings.further_covariate.items()))
    return Definition(settings.signal, settings.covariate, settings.prescan, analyte.level_unit, analyte.name, further)


def definition_from(identity: Mapping[str, Any]) -> Definition:
    """The definition that a stored record was made with."""
    signal, covariate = identity["signal"], identity["covariate"]
    return Definition(
        SIGNAL_SECTIONS[family(signal)].model_validate(signal),
        None if covariate is None else _covariate_from(covariate),
        PrescanSection.model_validate(identity["prescan"]),
        identity["level_unit"],
        identity["analyte"],
        tuple(sorted((name, _covariate_from(one)) for name, one in identity.get("further_covariate", {}).items())),
    )


def _covariate_from(stored: Mapping[str, Any]) -> PrescanQuantity:
    return COVARIATE_SECTIONS[family(stored)].model_validate(stored)


def signal_definition(section: SignalSection | PrescanQuantity) -> CurveDefinition:
    """A [signal] or [covariate] section as the curve functions take it."""
    if isinstance(section, CurveSection | CovariateSection):
        return SignalDefinition(section.quantity, section.sweep, str(section.cycle), section.window_V, section.baseline)
    against = getattr(section, "against", "nothing")
    if isinstance(section, BandCovariateSection):
        return SpectrumDefinition(section.quantity, section.window_nm, None, section.baseline, against)
    return SpectrumDefinition(section.quantity, None, section.wavelengths_nm, against=against)


def instrument_identity(settings: Settings, instrument: str) -> dict[str, JsonValue]:
    """What the settings say of an instrument; the defaults when they say nothing.

    A key that came later is left out while it has its default, so that ids made before it stay what they were.
    """
    found = settings.instrument.get(instrument, InstrumentSection()).model_dump(mode="json")
    return {key: value for key, value in found.items() if key not in _CAME_LATER or value != _CAME_LATER[key]}


def same_instrument(then: Mapping[str, JsonValue], now: Mapping[str, JsonValue]) -> bool:
    """Whether two identities of an instrument say the same; a key that one of them leaves out has its default."""
    return {**_CAME_LATER, **then} == {**_CAME_LATER, **now}


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """What a step made: results as JSON and arrays by name."""

    results: JsonValue
    arrays: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Recipe:
    """What a record is made from; its id follows from it alone."""

    kind: str
    role: str
    parents: tuple[tuple[str, str], ...]
    settings: JsonValue
    seed: int | None = None

    @cached_property
    def id(self) -> str:
        return record_id(
            self.kind,
            schema=SCHEMA,
            parents=[f"{role} {parent}" for role, parent in self.parents],
            role=self.role,
            settings=self.settings,
            engine=ENGINE,
            seed=self.seed,
        )

    def record(self, made: Made) -> Record:
        """The record of what was made by this recipe."""
        return Record(
            id=self.id,
            kind=self.kind,
            schema=SCHEMA,
            role=self.role,
            parents=self.parents,
            settings=self.settings,
            engine=ENGINE,
            seed=self.seed,
            results=made.results,
            content=content_hash(made.results, made.arrays),
            arrays=made.arrays,
        )


def difference(stored: Record, again: Record) -> str | None:
    """None when a record made again has the same content, else the sentence that says by how much it differs."""
    if stored.content == again.content:
        return None
    where, size = _largest(_numbers(stored), _numbers(again))
    return f"same recipe, differs by {size:.2g} (relative) in {where}; the stored {stored.kind} is kept"


def _numbers(record: Record) -> dict[str, FloatArray]:
    found = {name: np.asarray(values, dtype=np.float64).ravel() for name, values in record.arrays.items()}
    flat: dict[str, list[float]] = {}
    _flatten(record.results, "results", flat)
    return found | {name: np.array(values) for name, values in flat.items()}


def _flatten(value: Any, name: str, into: dict[str, list[float]]) -> None:
    if isinstance(value, Mapping):
        for key in sorted(value, key=str):  # what was stored has lost its order
            _flatten(value[key], str(key), into)
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for part in value:
            _flatten(part, name, into)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        into.setdefault(name, []).append(float(value))


def _largest(stored: dict[str, FloatArray], again: dict[str, FloatArray]) -> tuple[str, float]:
    worst, where = 0.0, "its words"
    for name in sorted(stored.keys() | again.keys()):
        one, two = stored.get(name), again.get(name)
        if one is None or two is None or one.shape != two.shape:
            return name, float("inf")
        scale = np.maximum(np.abs(one), np.abs(two))
        with np.errstate(invalid="ignore", divide="ignore"):
            apart = np.where(one == two, 0.0, np.abs(one - two) / scale)
        size = float(np.nanmax(apart, initial=0.0))
        if size > worst:
            worst, where = size, name
    return where, worst

"""A dilution scheme as an answer: the same data for a terminal, for --json and for a page, with its cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.terms.dilutions import (
    CLEAN,
    DEFAULT_KIT,
    USUAL,
    Diluent,
    Kit,
    SampleDilution,
    Scheme,
    Step,
    Stock,
    Wish,
)

# Sources stand beside the same sentences in docs/safety.md.
CAUTIONS = (
    "Local codes and licensed practice come first. Standards need potassium or sodium thiocyanate only, no cyanide.",
    "Thiocyanate salts are harmful if swallowed (oral LD50 300 to 2,000 mg/kg, ECHA registration dossier 14109).",
    "Never mix thiocyanate with acid, nor with bleach, chlorine, bromine, ozone or peroxide without a written method "
    "of destruction: hydrogen cyanide or cyanogen chloride may form (ASTM D4193).",
    "No mouth near a pipette: a microlitre of saliva in 10 mL adds 2 ug/L of thiocyanate and more.",
)
SAMPLE_CAUTIONS = (
    "No acid and no azide in a sample; filtered, cold and dark, and read soon.",
    "No mouth near a pipette: a microlitre of saliva in 10 mL adds 2 ug/L of thiocyanate and more.",
)
UNKNOWN_STOCK = "the stock is taken as exactly known: give its relative standard uncertainty"
UNKNOWN_LOT = "the diluent is taken as free of the analyte: give what a blank of this lot holds, with its uncertainty"
OTHER_SALT = 0.98  # share of diluent below which the salinity of the stock matters; common practice, no source
FROM_MEMORY = "tolerances of the usual pipettes and flasks are from memory: give your own"


@dataclass(frozen=True, slots=True)
class StandardsPlan:
    """Standards from a stock, with everything they were worked out from."""

    scheme: Scheme
    stock: Stock
    diluent: Diluent
    kit: Kit
    wish: Wish
    unit: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def complete(self) -> bool:
        return all(one.level is not None for one in self.scheme.levels)

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/dilute.json, kind "standards"."""
        scheme = self.scheme
        return {
            **_head("standards", self.unit, self.kit, self.diluent, self.wish),
            "stock": asdict(self.stock),
            "solutions": [_solution(step, "level") for step in scheme.solutions],
            "levels": [
                {
                    "wanted": one.wanted,
                    "level": one.level,
                    "u": one.u,
                    "u_stock": one.u_stock,
                    "u_volumes": one.u_volumes,
                    "u_diluent": one.u_diluent,
                    "level_rel_u": None if one.level is None else one.u_volumes / one.level,
                    "diluent_share": one.diluent_share,
                    "solution": one.steps[-1].name if one.steps else None,
                    "budget": [asdict(line) for line in one.budget],
                    "reason": one.reason,
                }
                for one in scheme.levels
            ],
            "correlation": [list(row) for row in scheme.correlation],
            "diluent_mL": scheme.diluent_mL,
            "stock_mL": scheme.stock_mL,
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """A sample diluted, with everything it was worked out from."""

    dilution: SampleDilution
    diluent: Diluent
    kit: Kit
    wish: Wish
    unit: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...] = SAMPLE_CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/dilute.json, kind "sample"."""
        one = self.dilution
        return {
            **_head("sample", self.unit, self.kit, self.diluent, self.wish),
            "wanted": one.wanted,
            "dilution": one.factor,
            "rel_u": one.rel_u,
            "added": one.added,
            "added_u": one.added_u,
            "solutions": [_solution(step, "share") for step in one.steps],
            "budget": [asdict(line) for line in one.budget],
            "sample_mL": one.sample_mL,
            "diluent_mL": one.diluent_mL,
            "reason": one.reason,
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
        }


def plan_standards(
    stock: Stock,
    wanted: Sequence[float],
    unit: str,
    kit: Kit = DEFAULT_KIT,
    diluent: Diluent = CLEAN,
    wish: Wish = USUAL,
) -> StandardsPlan:
    """Standards of the wanted levels from a stock. Raises Refused as dilution_scheme does."""
    from brinemark.science.amount.dilution_scheme import dilution_scheme

    scheme = dilution_scheme(stock, wanted, kit, diluent, wish)
    warnings = [] if stock.rel_u > 0.0 else [UNKNOWN_STOCK]
    for one in scheme.levels:
        if one.level is not None and one.u_volumes > wish.rel_u * one.level:
            got = f"{one.u_volumes / one.level:.2g}"
            warnings.append(f"level {one.wanted:g}: volumes alone leave {got} where {wish.rel_u:g} was wanted")
        if one.level is not None and one.diluent_share < OTHER_SALT:
            warnings.append(
                f"level {one.wanted:g}: {1.0 - one.diluent_share:.0%} of it is stock; unless the stock is made in this "
                "seawater, the standard differs from it in salinity"
            )
    warnings += _lot_and_kit(kit, diluent)
    return StandardsPlan(scheme, stock, diluent, kit, wish, unit, tuple(warnings))


def plan_sample(
    factor: float,
    unit: str,
    kit: Kit = DEFAULT_KIT,
    diluent: Diluent = CLEAN,
    wish: Wish = USUAL,
    sample_mL: float = math.inf,
) -> SamplePlan:
    """A sample diluted by a factor, with at most sample_mL of it. Raises Refused as sample_dilution does."""
    from brinemark.science.amount.dilution_scheme import sample_dilution

    dilution = sample_dilution(factor, kit, diluent, wish, sample_mL)
    return SamplePlan(dilution, diluent, kit, wish, unit, tuple(_lot_and_kit(kit, diluent)))


def lowest_and_highest_correlation(scheme: Scheme) -> tuple[float, float] | None:
    """Of two different levels; None below two levels."""
    pairs = [value for i, row in enumerate(scheme.correlation) for value in row[:i]]
    return (min(pairs), max(pairs)) if pairs else None


def _lot_and_kit(kit: Kit, diluent: Diluent) -> list[str]:
    found = [] if diluent.level > 0.0 or diluent.u > 0.0 else [UNKNOWN_LOT]
    sources = [*(one.source for one in kit.pipettes), *(one.source for one in kit.flasks)]
    if any("from memory" in source for source in sources):
        found.append(FROM_MEMORY)
    return found


def _head(kind: str, unit: str, kit: Kit, diluent: Diluent, wish: Wish) -> dict[str, Any]:
    return {
        "schema": 1,
        "kind": kind,
        "unit": unit,
        "diluent": asdict(diluent),
        "wish": asdict(wish),
        "smallest_mL": kit.smallest_mL,
        "pipettes": [{"name": one.name, **asdict(one), "u_mL": one.u} for one in kit.pipettes],
        "flasks": [{"name": one.name, **asdict(one), "u_mL": one.u} for one in kit.flasks],
    }


def _solution(step: Step, what: str) -> dict[str, Any]:
    return {
        "name": step.name,
        "source": step.source,
        "pipette": step.pipette.name,
        "volume_mL": step.volume_mL,
        "flask": step.flask.name,
        "flask_mL": step.flask.volume_mL,
        what: step.level,
    }

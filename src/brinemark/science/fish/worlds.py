"""The two published worlds of thiocyanate in holding water, side by side and never averaged.

One study found it in the water for 28 days after a pulse of cyanide; later ones, with two methods and a lower limit,
found none in more than a hundred samples, and saw thiocyanate put into the water of fish disappear within a day. The
two sets of parameters differ only in what these studies dispute: the share that reaches the water, how much of it
leaves slowly, and the loss in the water. What was measured in plasma and blood stands in both.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from brinemark.science.fish.kinetics import Kinetics
from brinemark.science.fish.parameters import (
    ASSUMED,
    FIXED,
    LOG_NORMAL,
    LOG_UNIFORM,
    LOGIT_NORMAL,
    READ,
    Parameter,
    Source,
    draw,
    replaced,
    strata,
)
from brinemark.terms.arrays import FloatArray

RELEASED, NOT_RELEASED, OWN = "released", "not released", "own controls"

FOUND = Source(
    "Excreted Thiocyanate Detects Live Reef Fishes Illegally Collected Using Cyanide - A Non-Invasive and "
    "Non-Destructive Testing Approach",
    "PLoS ONE 2012",
    "10.1371/journal.pone.0035355",
    READ,
)
NOT_FOUND = Source(
    "Can excreted thiocyanate be used to detect cyanide exposure in live reef fish?",
    "PLoS ONE 2018",
    "10.1371/journal.pone.0196841",
    READ,
)
OCELLARIS = Source(
    "On the half-life of thiocyanate in the plasma of the marine fish Amphiprion ocellaris: implications for cyanide "
    "detection",
    "PeerJ 2019",
    "10.7717/peerj.6644",
    READ,
    "doi from memory",
)
CLARKII = Source(
    "The determination of thiocyanate in the blood plasma and holding water of Amphiprion clarkii after exposure to "
    "cyanide",
    "PeerJ 2021",
    "10.7717/peerj.12409",
    READ,
)
TROUT = Source(
    "HPLC determination of plasma thiocyanate concentrations in fish blood: application to laboratory pharmacokinetic "
    "and field-monitoring studies",
    "Ecotoxicol Environ Saf 1995",
    "10.1006/eesa.1995.1034",
    READ,
)
WATERS = Source(
    "Kinetics of Decomposition of Thiocyanate in Natural Aquatic Systems",
    "Environ Sci Technol 2018, 52:1234",
    "10.1021/acs.est.7b04723",
    READ,
)
BLOOD_CN = Source(
    "", "", "", READ, "blood cyanide of A. clarkii, 50 mg/L for 45 s, n = 38: half-life 3.1 +- 2.0 h; seen second-hand"
)
ASSUMPTION = Source("", "", "", ASSUMED)

SPIKE_LOSS_PER_D = math.log(20.0 / 0.6)  # 20 ug/L below the 0.6 ug/L of the method within one day


CAUTIONS = (
    "kinetics were measured in two clownfish only, which differ 4 to 5 times in peak and its time at the same dose; "
    "another species may differ by as much",
    "in the first hours after capture little thiocyanate has been made, and a test then can miss it",
    "the loss in holding water has no known cause; it is far too fast for uptake by the fish",
    "volumes, fish masses and water changes of the published experiments were not read",
)


@dataclass(frozen=True, slots=True)
class World:
    """name : RELEASED, NOT_RELEASED, OWN or another; words : what it holds, in one sentence; parameters by name;
    joint : equally likely values (rows,) of some of them, drawn together in place of their own laws."""

    name: str
    words: str
    parameters: Mapping[str, Parameter]
    joint: Mapping[str, FloatArray] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, slots=True)
class Drawing:
    """count : draws of the parameters; seed : whole number from 0."""

    count: int = 400
    seed: int = 1


def _how(source: Source, how: str) -> Source:
    return replace(source, how="; ".join(part for part in (source.how, how) if part))


COMMON = (
    Parameter(
        "absorbed_dose",
        "mg CN/kg",
        0.5,
        2.5,
        LOG_NORMAL,
        _how(ASSUMPTION, "dose at which plasma peaks at the 0.3-2.3 mg/L measured; no internal dose known for fish"),
    ),
    Parameter(
        "converted",
        "1",
        0.75,
        0.6,
        LOGIT_NORMAL,
        _how(
            ASSUMPTION,
            "80 % in mammals (textbook, second-hand), 54-89 % in rat urine (PubMed 11267707, read); none for fish",
        ),
    ),
    Parameter("conversion_half_life", "d", 3.1 / 24.0, 1.8, LOG_NORMAL, BLOOD_CN),
    Parameter("lag", "d", 1.0 / 24.0, 2.0, LOG_NORMAL, _how(ASSUMPTION, "an hour until thiocyanate is made")),
    Parameter(
        "body_half_life",
        "d",
        0.37,
        2.8,
        LOG_NORMAL,
        _how(
            CLARKII,
            "with PeerJ 2019 (doi 10.7717/peerj.6644): geometric mean, spread of 0.10, 0.13, 0.35, 0.44, 1.01, 1.2 d",
        ),
    ),
    Parameter(
        "slow_half_life",
        "d",
        14.0,
        2.0,
        LOG_NORMAL,
        _how(OCELLARIS, "plasma not back after 41 d; the weeks are assumed"),
    ),
    Parameter(
        "uptake", "L/kg/d", 0.52, 2.0, LOG_NORMAL, _how(TROUT, "0.55 and 0.49 in fresh water; chloride slows it")
    ),
    Parameter(
        "plasma_volume",
        "L/kg",
        0.42,
        1.5,
        LOG_NORMAL,
        _how(ASSUMPTION, "between 0.25 (people, ECHA dossier 14109, read) and 0.7 (body water)"),
    ),
)


def _world(name: str, words: str, *disputed: Parameter) -> World:
    return World(name, words, {parameter.name: parameter for parameter in (*COMMON, *disputed)})


def published_worlds() -> tuple[World, World]:
    """The two published worlds: thiocyanate released and staying, and none released and lost within a day."""
    return RELEASED_WORLD, NOT_RELEASED_WORLD


RELEASED_WORLD = _world(
    RELEASED,
    "exposed fish release thiocyanate into the water, and it stays for weeks",
    Parameter("to_water", "1", 0.9, 1.0, LOGIT_NORMAL, _how(FOUND, "found in the water; the share is assumed")),
    Parameter("slow_share", "1", 0.5, 1.0, LOGIT_NORMAL, _how(FOUND, "found over 28 d; the share is assumed")),
    Parameter(
        "water_loss",
        "1/d",
        0.02,
        3.0,
        LOG_NORMAL,
        _how(WATERS, "half-life in water columns days to years; median of 35 d assumed"),
    ),
)
NOT_RELEASED_WORLD = _world(
    NOT_RELEASED,
    "exposed fish release none that can be found, and thiocyanate in their water is lost within a day",
    Parameter("to_water", "1", 0.0, 1.0, FIXED, _how(NOT_FOUND, "none in more than 100 samples, detected to 0.6 ug/L")),
    Parameter("slow_share", "1", 0.1, 1.0, LOGIT_NORMAL, _how(OCELLARIS, "a residue at 41 d; its size is assumed")),
    Parameter(
        "water_loss",
        "1/d",
        2.0 * SPIKE_LOSS_PER_D,
        2.0,
        LOG_UNIFORM,
        _how(
            CLARKII, "20 ug/L not found after 24 h is 3.5/d or more at 0.6 ug/L; upper end of four times that assumed"
        ),
    ),
)


def with_parameters(world: World, *new: Parameter, name: str | None = None, words: str | None = None) -> World:
    """The world with parameters replaced, as a third column under its own name; raises Refused as replaced() does."""
    names = {parameter.name for parameter in new}
    joint = {each: values for each, values in world.joint.items() if each not in names}
    return World(name or world.name, words or world.words, replaced(world.parameters, *new), joint)


def draw_world(world: World, drawing: Drawing) -> dict[str, FloatArray]:
    """Draws of all parameters of a world, by name, each (count,)."""
    found = draw(world.parameters, drawing.count, drawing.seed)
    probability = strata("joint", drawing.count, drawing.seed)
    return found | {
        name: values[np.floor(len(values) * probability).astype(int)] for name, values in world.joint.items()
    }


def kinetics_of(drawn: Mapping[str, FloatArray]) -> Kinetics:
    """Constants of the compartments from drawn parameters.

    The plasma falls at lambda = ln 2 / body half-life at first, of which the share w goes to the slow pool:
    k_slow = w lambda, k_out = (1 - w) lambda, k_back = ln 2 / slow half-life.
    """
    ln2 = math.log(2.0)
    first = ln2 / drawn["body_half_life"]
    return Kinetics(
        converted=drawn["converted"],
        convert_per_d=ln2 / drawn["conversion_half_life"],
        lag_d=drawn["lag"],
        out_per_d=(1.0 - drawn["slow_share"]) * first,
        to_water=drawn["to_water"],
        to_slow_per_d=drawn["slow_share"] * first,
        from_slow_per_d=ln2 / drawn["slow_half_life"],
        uptake_L_kg_d=drawn["uptake"],
        water_loss_per_d=drawn["water_loss"],
        plasma_volume_L_kg=drawn["plasma_volume"],
    )

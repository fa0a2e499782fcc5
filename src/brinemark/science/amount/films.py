"""Whether an electrode that read a sample is sound, and which of its readings show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from brinemark.science.amount.electrodes import closing_spike
from brinemark.science.amount.joint_likelihood import kind_probabilities
from brinemark.science.amount.response import KINDS
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import FilmDoubt, FilmFinding, SamplePortion

_One = TypeVar("_One")
LIKELY = 0.5  # probability from which on a film is called defective
CLEARED = 0.25  # of the share of a kind among all films: a reading that leaves less of it has cleared the film


def film_doubt(portion: SamplePortion, electrode: Observed, level: float, dips: Sequence[int]) -> FilmDoubt:
    """Probability of each kind given some of an electrode's readings at a sample level.

    dips : places among its laws (0 the main reading); none of them gives the shares among all films.
    """
    if not dips:
        shares = [float(np.exp(kind.log_share).mean()) for kind in electrode.kinds[1:]]
        return FilmDoubt(portion.electrode, *shares)
    found = kind_probabilities(_readings_of(electrode, dips), level)
    return FilmDoubt(portion.electrode, *(float(one) for one in found[1:]))


def _readings_of(electrode: Observed, dips: Sequence[int]) -> Observed:
    def some(values: Sequence[_One]) -> tuple[_One, ...]:
        return tuple(values[dip] for dip in dips)

    kinds = tuple(replace(kind, laws=some(kind.laws)) for kind in electrode.kinds)
    return replace(electrode, laws=some(electrode.laws), signals=some(electrode.signals), kinds=kinds)


def known_dips(portion: SamplePortion, spike_level: float) -> dict[str, int]:
    """Readings whose answer does not depend on the sample: name to place among the electrode's laws."""
    spike = closing_spike(portion.others, spike_level)
    found = {}
    for place, dip in enumerate(portion.others, start=1):
        if dip.share == 0.0:
            found["pre-scan"] = place
        elif dip is spike:
            found["closing spike"] = place
    return found


def film_finding(portion: SamplePortion, electrode: Observed, level: float, spike_level: float) -> FilmFinding:
    """The film of an electrode by its readings at known levels, together and one by one.

    A covariate moves the gain that is expected of an electrode. A kind is what the gain is off by beside that, and the
    model has no law of covariates by kind, so that a usual covariate leaves the shares of the kinds as they are.
    """
    usual = film_doubt(portion, electrode, level, ())
    known = known_dips(portion, spike_level)
    here = film_doubt(portion, electrode, level, tuple(known.values()))
    by = [name for name, place in known.items() if _clears(film_doubt(portion, electrode, level, (place,)), usual)]
    kind = next((k.name for k, share in zip(KINDS, (here.low, here.high), strict=True) if share >= LIKELY), None)
    return FilmFinding(
        portion.electrode,
        here.low,
        here.high,
        usual.low,
        usual.high,
        kind,
        tuple(known),
        () if kind is not None else tuple(by),
        portion.covariate is not None or bool(portion.further),
    )


def _clears(here: FilmDoubt, usual: FilmDoubt) -> bool:
    return here.low < CLEARED * usual.low and here.high < CLEARED * usual.high

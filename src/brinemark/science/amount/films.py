"""Whether an electrode that read a sample is sound, and which of its readings show it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brinemark.science.amount.law import closing_spike
from brinemark.science.amount.likelihood import MixedLikelihood, electrode_likelihood
from brinemark.science.amount.response import KINDS
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import FilmDoubt, FilmNote, SamplePortion

DOUBT_DRAWS = 256
DOUBTFUL = 0.5
CLEARED = 0.25  # of the share of a kind among all films: a reading that leaves less of it has cleared the film


def film_doubt(
    portion: SamplePortion, electrode: Observed, level: float, dips: Sequence[int] | None = None
) -> FilmDoubt:
    """Probability of each kind given an electrode's readings, or some of them, at a sample level.

    dips : places among its laws (0 the main reading); none of them gives the shares among all films.
    """
    if dips is not None and not len(dips):
        shares = [float(np.exp(kind.log_share).mean()) for kind in electrode.kinds[1:]]
        return FilmDoubt(portion.electrode, *shares)
    found = electrode_likelihood(electrode, np.array([level]), DOUBT_DRAWS, dips)
    if not isinstance(found, MixedLikelihood):
        return FilmDoubt(portion.electrode, 0.0, 0.0)
    which = range(len(electrode.laws)) if dips is None else dips
    log_l = found.by_kind(np.array([[electrode.signals[i] for i in which]]))[:, :, 0, 0]
    weight = np.exp(log_l - log_l.max()).mean(axis=1)
    return FilmDoubt(portion.electrode, *(float(w) for w in weight[1:] / weight.sum()))


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


def film_note(portion: SamplePortion, electrode: Observed, level: float, spike_level: float) -> FilmNote:
    """The film of an electrode: doubtful, cleared and by what, or neither."""
    usual, known = film_doubt(portion, electrode, level, ()), known_dips(portion, spike_level)
    here = film_doubt(portion, electrode, level, tuple(known.values()))
    by = [name for name, place in known.items() if _clears(film_doubt(portion, electrode, level, (place,)), usual)]
    return FilmNote(portion.electrode, here.low, here.high, tuple(by), _words(here, usual, tuple(known), by))


def _words(here: FilmDoubt, usual: FilmDoubt, known: Sequence[str], by: Sequence[str]) -> str:
    for kind, share in zip(KINDS, (here.low, here.high), strict=True):
        if share >= DOUBTFUL:
            return f"electrode {here.electrode} answers like a film with {kind.name} (probability {share:.2g})"
    if not known:
        return (
            f"nothing shows that the film of electrode {here.electrode} is sound: low gain with probability "
            f"{usual.low:.2g}, high gain {usual.high:.2g}, as of all films; a pre-scan read at the analyte's "
            "own place and a closing spike would"
        )
    told = f"low gain {here.low:.2g}, high gain {here.high:.2g} (of all films {usual.low:.2g} and {usual.high:.2g})"
    if by:
        verb = "clears" if len(by) == 1 else "clear"
        return f"the {' and the '.join(by)} of electrode {here.electrode} {verb} its film: {told}"
    verb = "does" if len(known) == 1 else "do"
    return f"the {' and the '.join(known)} of electrode {here.electrode} {verb} not clear its film: {told}"


def _clears(here: FilmDoubt, usual: FilmDoubt) -> bool:
    return here.low < CLEARED * usual.low and here.high < CLEARED * usual.high

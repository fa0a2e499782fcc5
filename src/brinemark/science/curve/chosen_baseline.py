"""The baseline that a definition names, for reading a signal and for learning the wave."""

from __future__ import annotations

from brinemark.science.curve.baselines import BASELINES, CHORD, DEGREE, POLYNOMIAL, Polynomial, make_polynomial
from brinemark.science.curve.chord import Chord, make_chord
from brinemark.science.curve.whittaker import SOFTER, STIFFNESS, Whittaker, make_whittaker
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

AnyBaseline = Chord | Polynomial | Whittaker


def check_baseline(name: str) -> None:
    """Raises Refused for a baseline that there is not."""
    if name not in BASELINES:
        known = " or ".join(f'"{known}"' for known in BASELINES)
        raise Refused(f"baseline {name!r}", known, "change the signal's baseline")


def make_baseline(name: str, potential_V: FloatArray, window_V: tuple[float, float], shape: FloatArray) -> AnyBaseline:
    """The named baseline of the window [V] on points potential_V (m,); shape : (m,) the wave, which says where it is.

    Raises Refused when it cannot be drawn there.
    """
    chord = make_chord(potential_V, window_V)
    if name == CHORD:
        return chord
    make = make_polynomial if name == POLYNOMIAL else make_whittaker
    return make(potential_V, window_V, chord.above(shape))


def softer_baselines(
    baseline: AnyBaseline, potential_V: FloatArray, window_V: tuple[float, float], shape: FloatArray
) -> list[AnyBaseline]:
    """A softer curve to compare a stiff one with; none for the others, which moved ends and bows compare with."""
    if not isinstance(baseline, Whittaker):
        return []
    above = make_chord(potential_V, window_V).above(shape)
    return [make_whittaker(potential_V, window_V, above, SOFTER * STIFFNESS)]


def bow_power(baseline: AnyBaseline) -> int:
    """The lowest even power of the potential that the baseline does not follow."""
    return DEGREE + 1 if isinstance(baseline, Polynomial) else 2

"""Keys of the settings that came after the first logbooks leave the ids of those logbooks alone."""

from __future__ import annotations

import hashlib

from brinemark.steps.identity import instrument_identity, same_instrument
from brinemark.terms.canonical import canonical_bytes
from brinemark.terms.settings import InstrumentSection, Settings

FIRST = {
    "sign": "anodic positive",
    "scan_rate_V_per_s": None,
    "reference": None,
    "potential": None,
    "current": None,
    "time": None,
    "cycle": None,
}
"""What the first version took as the identity of an instrument without a section, typed from its settings."""

FIRST_SHA256 = hashlib.sha256(
    b'{"current":null,"cycle":null,"potential":null,"reference":null,"scan_rate_V_per_s":null,'
    b'"sign":"anodic positive","time":null}'
).hexdigest()


def settings(section: InstrumentSection) -> Settings:
    return Settings(instrument={"bench": section})


def test_an_instrument_without_later_keys_is_the_one_it_was() -> None:
    for found in (
        instrument_identity(Settings(), "bench"),
        instrument_identity(settings(InstrumentSection()), "bench"),
    ):
        assert found == FIRST
        assert hashlib.sha256(canonical_bytes(found)).hexdigest() == FIRST_SHA256
    written = instrument_identity(settings(InstrumentSection(layout="long", reference="SCE")), "bench")
    assert written == {**FIRST, "reference": "SCE"}


def test_a_later_key_that_says_something_makes_another_instrument() -> None:
    assert instrument_identity(settings(InstrumentSection(layout="wide")), "bench") == {**FIRST, "layout": "wide"}


def test_instruments_are_the_same_whichever_wrote_out_its_defaults() -> None:
    wide = {**FIRST, "layout": "wide"}
    assert same_instrument({**FIRST, "layout": "long"}, FIRST)
    assert same_instrument(FIRST, {**FIRST, "layout": "long"})
    assert not same_instrument(wide, FIRST)
    assert not same_instrument(FIRST, wide)
    assert not same_instrument({**FIRST, "reference": "SCE"}, FIRST)

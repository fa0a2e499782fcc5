"""The form of the settings against any file: what is not touched is no change, and no file breaks it."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from brinemark.faces.web.numbers import COMMA, POINT
from brinemark.faces.web.pages.settings_form import Form, from_address, number_text, plain
from brinemark.records.settings_edit import edited, same
from brinemark.records.settings_file import SECTIONS, check_settings
from brinemark.steps.change_settings import Present

FLOATS = st.floats(1e-9, 1e9, allow_nan=False)
ENDS = st.tuples(st.floats(-1, 0.1), st.floats(0.2, 1)).map(list)
SD = st.tuples(st.floats(-9, 9), st.floats(1e-3, 9)).map(list)
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=8)
FILES = st.fixed_dictionaries(
    {},
    optional={
        "logbook": st.fixed_dictionaries({}, optional={"schema": st.just(1), "name": WORDS}),
        "signal": st.fixed_dictionaries(
            {"window_V": ENDS}, optional={"cycle": st.one_of(st.just("mean"), st.integers(1, 9))}
        ),
        "covariate": st.fixed_dictionaries({}, optional={"quantity": st.just("charging"), "window_V": ENDS}),
        "instrument": st.dictionaries(WORDS, st.fixed_dictionaries({}, optional={"scan_rate_V_per_s": FLOATS})),
        "stock": st.dictionaries(WORDS, st.fixed_dictionaries({}, optional={"level": FLOATS}), max_size=3),
        "conditions": st.fixed_dictionaries({}, optional={"stirring": st.one_of(FLOATS, WORDS)}),
        "prior": st.fixed_dictionaries({}, optional={"ln_gain": SD, "defects": st.booleans(), "widen": FLOATS}),
        "calibration": st.fixed_dictionaries({}, optional={"seed": st.integers(0, 2**32 - 1)}),
    },
)


def present(table: Any) -> Present:
    text = tomlkit.dumps(table)
    found, findings = check_settings(text)
    return Present(text.encode(), text, tomllib.loads(text), found, findings)


def as_sent(form: Form) -> dict[str, list[str]]:
    """What a browser sends of a form in which nothing was touched."""
    found = {one.name: list(one.texts) for slot in form.slots for one in slot.fields if not one.about.fixed}
    found |= {slot.name: [""] for slot in form.slots if slot.is_new}
    return found | {slot.name: ["yes" if slot.here else "no"] for slot in form.slots if slot.name == "covariate"}


@given(FILES, st.sampled_from([POINT, COMMA]))
@settings(max_examples=40, deadline=None)
def test_a_form_that_nobody_touched_changes_nothing(table: Any, style: str) -> None:
    now = present(table)
    sent = as_sent(Form(now, {}, style))
    form = Form(now, sent, style)
    assert form.changes() == {}
    assert list(form.own_findings()) == []
    assert not any(one["touched"] or field["differs"] for one in plain(form) for field in one["fields"])


@given(FILES, FLOATS, ENDS, st.sampled_from([POINT, COMMA]))
@settings(max_examples=40, deadline=None)
def test_what_is_filled_in_is_the_change_without_loss(table: Any, level: float, ends: list[float], style: str) -> None:
    now = present(table)
    sent = as_sent(Form(now, {}, style))
    sent["run.max_gap_h"] = [number_text(level, style)]
    sent["signal.window_V"] = [number_text(one, style) for one in ends]
    sent["new.lot"] = ["a new one"]
    changes = Form(now, sent, style).changes()
    wanted = {("run", "max_gap_h"): level, ("signal", "window_V"): ends, ("lot", "a new one"): {}}
    was = now.table.get("signal", {}).get("window_V", [0.4, 0.76])
    assert changes == {keys: value for keys, value in wanted.items() if not same(value, 12.0) and not same(value, was)}
    made, findings = check_settings(edited(now.text, changes))
    assert (findings, made is not None and made.run.max_gap_h) == ((), level)


ODD = st.recursive(
    st.one_of(st.booleans(), st.integers(), st.floats(), WORDS, st.dates()),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(WORDS, inner, max_size=3)),
    max_leaves=6,
)
KEYS = st.sampled_from(["quantity", "window_V", "level", "alpha", "name", "bench", "ln_gain", "cycle"])


@given(st.dictionaries(st.sampled_from([*SECTIONS, "odd"]), st.one_of(ODD, st.dictionaries(KEYS, ODD, max_size=3))))
@settings(max_examples=80, deadline=None)
def test_no_file_that_is_toml_breaks_the_form(table: dict[str, Any]) -> None:
    now = present(table)
    form = Form(now, {}, POINT)
    form.put(now.findings)
    shown = plain(form)
    json.dumps(shown)
    told = form.left + [
        text for one in shown for text in [*one["findings"], *(t for f in one["fields"] for t in f["findings"])]
    ]
    assert len(told) == len(now.findings)


@pytest.mark.parametrize("text", ["0.4,0.76", "0.4;0.76", "0,4;0,76"])
def test_two_numbers_in_an_address_may_be_parted_in_several_ways(text: str) -> None:
    now = present({})
    form = Form(now, from_address({"signal.window_V": [text]}, now), POINT)
    window = next(one for slot in form.slots for one in slot.fields if one.name == "signal.window_V")
    assert window.value == [0.4, 0.76]


@pytest.mark.parametrize("name", ["signal", "nothing.here", "stock.level", "a b", "", "said", "signal.window_V.low"])
def test_other_words_in_an_address_fill_in_nothing(name: str) -> None:
    assert from_address({name: ["1"]}, present({})) == {}

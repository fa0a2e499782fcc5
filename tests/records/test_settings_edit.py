"""logbook.toml changed key by key: comments, order and whatever is not changed stay; what cannot stay is refused."""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brinemark.records.settings_edit import comments, dotted, edited, key_of, put_in_place, same
from brinemark.records.settings_file import check_settings, parse_settings
from brinemark.terms.errors import Refused

BOOK = """\
# our bench   # since spring

[logbook]
name = "Quay # 4"            # the name on the door
timezone = "UTC"

[signal]   # how we read
quantity = "height"          # "height" since the pigment changed
window_V = [0.40,  # low end, by eye
            0.76]  # high end
cycle = "last"               # the last cycle
                             # is the calmest

# what is at stake
[decision]
alpha = 0.05                 # agreed in the meeting
#beta = 0.10                 # perhaps later

[stock.K1]                   # the blue bottle
level = 1000                 # as weighed
rel_u = 0.01

# two lots of seawater
[lot.L7]
content = 0.1
u = 0.03
[lot."L 8"]
"""


def changed_lines(old: str, new: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came, as multisets in order."""
    before, after = old.splitlines(), new.splitlines()
    return [line for line in before if line not in after], [line for line in after if line not in before]


@pytest.mark.parametrize(
    ("changes", "went", "came"),
    [
        (
            {"decision.alpha": 0.01},
            ["alpha = 0.05                 # agreed in the meeting"],
            ["alpha = 0.01                 # agreed in the meeting"],
        ),
        (
            {"signal.window_V": [0.42, 0.76]},
            ["window_V = [0.40,  # low end, by eye"],
            ["window_V = [0.42,  # low end, by eye"],
        ),
        ({"signal.sweep": "cathodic"}, [], ['sweep = "cathodic"']),
        (
            {"signal.quantity": None},
            ['quantity = "height"          # "height" since the pigment changed'],
            ['#quantity = "height"          # "height" since the pigment changed'],
        ),
        ({"stock.K1.rel_u": None}, ["rel_u = 0.01"], []),
        ({'lot."L 8".content': 0.5}, [], ["content = 0.5"]),
        ({"lot.L9": {}, "lot.L9.u": 0.0}, [], ["[lot.L9]", "u = 0.0"]),
        ({"prior.ln_gain": [0.0, 0.5]}, [], ["[prior]", "ln_gain = [0.0, 0.5]"]),
        ({'lot."L 8"': None}, ['[lot."L 8"]'], []),
        (
            {"stock.K1": None},
            [
                "[stock.K1]                   # the blue bottle",
                "level = 1000                 # as weighed",
                "rel_u = 0.01",
            ],
            ["#[stock.K1]                   # the blue bottle", "#level = 1000                 # as weighed"],
        ),
    ],
)
def test_a_change_touches_its_own_lines_only(changes: Mapping[str, Any], went: list[str], came: list[str]) -> None:
    new = edited(BOOK, {key_of(key): value for key, value in changes.items()})
    assert changed_lines(BOOK, new) == (went, came)
    assert check_settings(new)[1] == ()


def test_a_new_key_stands_in_its_section_behind_a_comment_that_goes_on() -> None:
    lines = edited(BOOK, {("signal", "sweep"): "cathodic"}).splitlines()
    place = lines.index('sweep = "cathodic"')
    assert lines[place - 1].endswith("# is the calmest")
    assert lines[place + 2] == "# what is at stake"


def test_a_new_section_stands_where_the_documented_file_has_it() -> None:
    lines = edited(BOOK, {("covariate",): {}, ("stock", "K2"): {}}).splitlines()
    headers = [line.partition(" ")[0] for line in lines if line.startswith("[")]
    assert headers == [
        "[logbook]",
        "[signal]",
        "[covariate]",
        "[decision]",
        "[stock.K1]",
        "[stock.K2]",
        "[lot.L7]",
        '[lot."L',
    ]
    assert lines[lines.index("[decision]") - 1] == "# what is at stake"


def test_what_is_said_already_changes_no_byte() -> None:
    same_again: dict[tuple[str, ...], Any] = {
        ("decision", "alpha"): 0.05,
        ("stock", "K1", "level"): 1000.0,
        ("lot", "L7"): {},
        ("prior", "widen"): None,
    }
    assert edited(BOOK, same_again) == BOOK


def test_line_ends_of_the_other_kind_stay() -> None:
    new = edited(BOOK.replace("\n", "\r\n"), {("decision", "alpha"): 0.01, ("run", "max_gap_h"): 6.0})
    assert (
        new.count("\n")
        == new.count("\r\n")
        == edited(BOOK, {("decision", "alpha"): 0.01, ("run", "max_gap_h"): 6.0}).count("\n")
    )


@pytest.mark.parametrize(
    ("text", "changes", "found"),
    [
        ("decision.alpha = 0.05 # a\n", {("decision", "beta"): 0.1}, {"decision": {"alpha": 0.05, "beta": 0.1}}),
        ("decision = {alpha = 0.05} # a\n", {("decision", "alpha"): 0.01}, {"decision": {"alpha": 0.01}}),
        ("stock = {K1 = {level = 1.0}} # a\n", {("stock", "K1"): None}, {}),
        ("[stock]\nK1.level = 1.0\n", {("stock", "K2"): {}}, {"stock": {"K1": {"level": 1.0}, "K2": {}}}),
        ("", {("decision", "beta"): 0.1}, {"decision": {"beta": 0.1}}),
        ("[a]\n", {("a",): None}, {}),
        (
            "[stock]\nK1 = {level = 1}\n",
            {("stock", "K1"): None, ("decision", "beta"): 0.1},
            {"decision": {"beta": 0.1}},
        ),
        ("signal.window_V = [0.4, 0.7]\n", {("signal", "window_V"): None}, {}),
    ],
)
def test_other_ways_of_writing_are_changed_whole_or_refused(text: str, changes: dict[Any, Any], found: Any) -> None:
    try:
        new = edited(text, changes)
    except Refused as refusal:
        assert "change it by hand" in str(refusal)
        return
    assert {key: value for key, value in tomllib.loads(new).items() if value != {}} == found
    assert comments(new) == comments(text)


def test_a_change_that_would_lose_a_comment_is_refused() -> None:
    text = "[prior]\nln_gain = [0.0, # middle\n 1.0]\n"
    with pytest.raises(Refused, match="without losing a comment"):
        edited(text, {("prior", "ln_gain"): [0.0, 1.0, 2.0]})


def test_a_text_that_is_no_toml_is_refused() -> None:
    with pytest.raises(Refused, match=r"not TOML.*by hand"):
        edited("[decision\n", {("decision", "alpha"): 0.1})


def test_a_number_sign_in_a_string_begins_no_comment() -> None:
    assert comments('a = "x # y" # one\nb = \'z # "\' #two\nc = """\n# no\n""" # three\n') == [
        "# one",
        "#two",
        "# three",
    ]


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("decision.alpha", ("decision", "alpha")),
        ("stock.K1.level", ("stock", "K1", "level")),
        ('lot."L 7".u', ("lot", "L 7", "u")),
        ('lot."a.b".u', ("lot", "a.b", "u")),
        ("covariate", ("covariate",)),
        ('lot."µ \\" ü".u', ("lot", 'µ " ü', "u")),
    ],
)
def test_names_with_dots_lead_to_keys_and_back(text: str, keys: tuple[str, ...]) -> None:
    assert key_of(text) == keys
    assert key_of(dotted(keys)) == keys


def test_an_id_with_dots_needs_no_quotes_before_a_key() -> None:
    assert key_of("lot.a.b.u") == ("lot", "a.b", "u")


def test_names_that_are_none_are_refused() -> None:
    with pytest.raises(Refused, match="names with dots"):
        key_of("decision alpha")


PARTS = st.floats(0.01, 0.04)
IDS = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=6)
VALUES: dict[tuple[str, ...], st.SearchStrategy[Any]] = {
    ("decision", "alpha"): PARTS,
    ("decision", "beta"): PARTS,
    ("decision", "max_fold"): st.floats(1.5, 1e6),
    ("signal", "quantity"): st.sampled_from(["height", "charge", "potential", "width"]),
    ("signal", "window_V"): st.tuples(st.floats(-1, 0.1), st.floats(0.2, 1)).map(list),
    ("signal", "cycle"): st.one_of(st.sampled_from(["last", "mean"]), st.integers(1, 9)),
    ("logbook", "name"): st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1),
    ("calibration", "seed"): st.integers(0, 2**32 - 1),
    ("prior", "defects"): st.booleans(),
    ("stock", "K1", "level"): st.floats(1e-9, 1e9),
    ("lot", "L7", "u"): st.floats(0, 0.1),
    ("covariate", "baseline"): st.sampled_from(["chord", "polynomial", "whittaker"]),
    ("conditions", "stirring"): st.one_of(st.floats(0, 1e3), st.just("slow")),
}


@st.composite
def change_sets(draw: st.DrawFn) -> dict[tuple[str, ...], Any]:
    chosen = draw(st.lists(st.sampled_from(sorted(VALUES)), unique=True, max_size=6))
    found = {keys: draw(st.one_of(st.none(), VALUES[keys])) for keys in chosen}
    for name in draw(st.lists(IDS, max_size=2, unique=True)):
        found[("instrument", name)] = {}
        found[("instrument", name, "scan_rate_V_per_s")] = draw(st.floats(1e-3, 10))
    for section in draw(st.lists(st.sampled_from([("stock", "K1"), ("lot", "L 8"), ("prior",)]), unique=True)):
        if not any(keys[: len(section)] == section for keys in found):
            found[section] = None
    return found


@given(change_sets())
@settings(max_examples=150, deadline=None)
def test_any_valid_changes_are_made_with_every_comment_kept(changes: dict[tuple[str, ...], Any]) -> None:
    new = edited(BOOK, changes)
    table = tomllib.loads(new)
    for keys, value in changes.items():
        found: Any = table
        for name in keys:
            found = found.get(name) if isinstance(found, dict) else None
        assert same(found, value) or (value == {} and isinstance(found, dict))
    kept = "\n".join(comments(new))
    assert all(kept.count(one) >= comments(BOOK).count(one) for one in comments(BOOK))
    assert check_settings(new)[1] == ()
    assert edited(new, changes) == new


@st.composite
def odd_texts(draw: st.DrawFn) -> str:
    """The same few settings written in every way that TOML has, with comments anywhere."""
    note = st.sampled_from(["", " # a", "   #b # c"])
    line = st.sampled_from(["", "# on its own", "\t# indented", "#alpha = 1"])
    ways = {
        "decision": [
            "[decision]{n}\n{l}\nalpha = 0.04{n}\n{l}\n",
            "decision = {{alpha = 0.04}}{n}\n",
            "decision.alpha = 4e-2{n}\n",
        ],
        "stock": [
            "[stock.K1]{n}\nlevel = 1{n}\n{l}\n",
            "[stock]{n}\nK1.level = 1{n}\n",
            "[stock]\n{l}\n[stock.K1]\nlevel = 1{n}\n",
            "[stock]\nK1 = {{level = 1, rel_u = 0.1}}{n}\n",
            "stock.'K1'.level = 1{n}\n",
        ],
        "signal": [
            "[signal]\nwindow_V = [{n}\n 0.4, {n}\n{l}\n 0.7,\n]{n}\n",
            '[ signal ]{n}\n"window_V" = [0.4, 0.7]{n}\n{l}\n',
            "signal.window_V = [0.4, 0.7]\n",
        ],
        "lot": ["[lot.L1]\n[lot.L2]{n}\nu = 0.0\n", "", "[lot]\n[lot.'L 3']{n}\n{l}"],
    }
    parts = [draw(st.sampled_from(choices)) for choices in ways.values()]
    parts = [re.sub(r"\{([nl])\}", lambda hit: draw(note if hit[1] == "n" else line), part) for part in parts]
    parts = [part.replace("{{", "{").replace("}}", "}") for part in draw(st.permutations(parts))]
    rooted = [part for part in parts if not part.lstrip().startswith("[")]
    return draw(line) + "\n" + "\n".join([*rooted, *(part for part in parts if part not in rooted)])


@given(odd_texts(), change_sets())
@settings(max_examples=80, deadline=None)
def test_every_way_of_writing_is_changed_with_its_comments_or_refused(text: str, changes: dict[Any, Any]) -> None:
    try:
        new = edited(text, changes)
    except Refused as refusal:
        assert "by hand" in str(refusal)
        return
    kept = "\n".join(comments(new))
    assert all(kept.count(one) >= comments(text).count(one) for one in comments(text))
    table = tomllib.loads(new)
    for keys, value in changes.items():
        found: Any = table
        for name in keys:
            found = found.get(name) if isinstance(found, dict) else None
        assert same(found, value) or (value == {} and isinstance(found, dict))


def test_a_file_is_put_in_place_whole_and_keeps_its_rights(tmp_path: Path) -> None:
    path = tmp_path / "logbook.toml"
    path.write_text(BOOK, encoding="utf-8")
    path.chmod(0o640)
    put_in_place(path, b"[decision]\nalpha = 0.01\n")
    assert parse_settings(path.read_text(encoding="utf-8"), "x").decision.alpha == 0.01
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [one.name for one in tmp_path.iterdir()] == ["logbook.toml"]


def test_a_file_that_the_reader_refuses_never_takes_the_place(tmp_path: Path) -> None:
    path = tmp_path / "logbook.toml"
    path.write_text(BOOK, encoding="utf-8")
    for wrong in (b"[decision]\nalpha = 2\n", b"\xff\xfe", b"[decision\n"):
        with pytest.raises(Refused):
            put_in_place(path, wrong)
    assert path.read_text(encoding="utf-8") == BOOK
    assert [one.name for one in tmp_path.iterdir()] == ["logbook.toml"]


def test_a_link_to_the_file_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.toml").write_text(BOOK, encoding="utf-8")
    link = tmp_path / "logbook.toml"
    link.symlink_to(tmp_path / "real.toml")
    put_in_place(link, b"[decision]\nalpha = 0.02\n")
    assert link.is_symlink()
    assert (tmp_path / "real.toml").read_bytes() == b"[decision]\nalpha = 0.02\n"

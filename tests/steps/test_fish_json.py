"""The data of consignments, trials, exposures and parameters have the committed shape, whatever was read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import jsonschema
import numpy as np
import pytest

from brinemark.steps.exposures import exposures_of
from brinemark.steps.interpret import FishDesk, considered
from brinemark.steps.trial_lines import KeptTrial
from brinemark.steps.trials import trial_of
from brinemark.terms.evidence import Recalibration
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals

BACKGROUND = lognormal_signals(8, 0.5, 1.6)
RICH = """
2031-07-01T08:00 catch fish=wrasse count=2 mass_g=20 at_u_d=0.2 near=sewage_outflow
2031-07-01T09:00 catch fish=bred count=1 mass_g=9 history=captive-bred
2031-07-02T08:00 filled tank=A volume_L=4 system=harbour
2031-07-02T08:10 filled tank=B volume_L=40 renewal_L_per_d=5
2031-07-02T08:20 filled tank=empty volume_L=10
2031-07-02T09:00 in tank=A fish=wrasse carried_L=0.05
2031-07-02T09:00 in tank=B fish=bred
2031-07-02T18:00 fed tank=A substance=pellets amount_g=0.3
2031-07-02T19:00 out fish=wrasse count=1 dead=yes
2031-07-02T20:00 renewed tank=A share=0.3
2031-07-03T09:00 sample tank=A sample=A-1 smoker=yes retained_mL=20 filtration_um=0.2
2031-07-03T15:00 sample tank=A sample=A-2
2031-07-03T09:00 sample tank=B sample=B-1
2031-07-03T09:05 blank blank=field sample=F
2031-07-02T07:00 blank blank=source_water system=harbour sample=S
"""
READINGS: tuple[Mapping[str, float], ...] = (
    {},
    {"A-1": 6.0, "A-2": 5.0, "B-1": 0.1, "F": 0.0, "S": 0.2},
    {"A-1": 62.0, "A-2": 0.0, "S": 3.0},
    {"A-1": 0.0, "B-1": 62.0, "F": 4.0},
)


def check(verb: str, answer: Any) -> Any:
    """The answer as it would be printed, once it has the shape of its verb."""
    schema = json.loads((files("brinemark.terms") / "schemas" / f"{verb}.json").read_text(encoding="utf-8"))
    plain = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(plain)
    return plain


def rich(signals: Mapping[str, float], more: tuple[Consignment, ...] = (), **how: Any) -> FishDesk:
    return desk([consignment("K", RICH), *more], {**BACKGROUND, **signals}, draws=60, **how)


@pytest.mark.parametrize("signals", READINGS)
def test_an_interpretation_has_its_shape_with_and_without_a_background(signals: Mapping[str, float]) -> None:
    bare = check("consignment", considered(rich(signals), "K"))
    line = {"released": Recalibration(-0.2, 0.5, "captive-bred", 12, 15)}
    ratios = {"released": (np.array([0.5, 1.0]), np.array([-0.3, 0.0, 0.2]))}
    trial = KeptTrial("0" * 64, line, ratios, "captive-bred")
    known = check("consignment", considered(rich(signals, (controls("harbour", 8),), trial=trial, hold_h=4.0), "K"))
    assert [one["tank"] for one in bare["tanks"]] == [one["tank"] for one in known["tanks"]] == ["A", "B", "empty"]
    with pytest.raises(jsonschema.ValidationError):
        schema = json.loads((files("brinemark.terms") / "schemas" / "consignment.json").read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator(schema).validate({**known, "verdict": "guilty"})


def exposed(count: int, history: str) -> Consignment:
    lines = []
    for number in range(1, count + 1):
        lines += [
            f"2031-06-01T08:00 catch fish=x{number} count=2 mass_g=20 history={history}",
            f"2031-06-01T09:00 filled tank=X{number} volume_L=4 system=harbour",
            f"2031-06-01T10:00 in tank=X{number} fish=x{number}",
            f"2031-06-02T09:00 sample tank=X{number} sample=X-{history}-{number}",
        ]
    return consignment(f"trial {history}", "\n".join(lines))


@pytest.mark.parametrize("count", [0, 2, 11])
def test_a_trial_has_its_shape_with_few_tanks_and_with_many(count: int) -> None:
    trials = (exposed(count, "light_exposure"), exposed(1, "heavy_exposure")) if count else ()
    signals = {f"X-light_exposure-{n}": 0.3 * n for n in range(1, count + 1)} | {"X-heavy_exposure-1": 60.5}
    found = desk([controls("harbour", 12), *trials], {**lognormal_signals(12, 0.5, 1.6), **signals}, draws=60)
    plain = check("trials", trial_of(found))
    assert (plain["worlds"][0]["result"] is None) == (count == 0)
    assert (plain["worlds"][0]["recalibration"] is None) == (count < 10)


@pytest.mark.parametrize("known", [(), (controls("harbour", 8),)])
def test_exposures_have_their_shape_with_and_without_a_background(known: tuple[Consignment, ...]) -> None:
    found = rich(READINGS[1], known)
    plain = check("exposures", exposures_of(found, "K", "A"))
    assert plain["samples"] == ["A-1", "A-2"]
    assert (plain["no_background"] is None) == bool(known)
    released = plain["worlds"][0]
    assert len(released["log_likelihood"]) == len(released["dose_mg_kg"])
    assert {len(row) for row in released["agrees"]} == {len(released["days_d"])}

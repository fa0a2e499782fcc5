"""The verb demo with --spectra: the small season, invented, read and told, with the truth apart."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema

from brinemark.demo.optical import TANKS

from .conftest import call, schema

SEED = 7


def test_the_season_of_spectra_ends_with_a_statement_for_every_water_and_a_reason_for_what_was_not_read(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "light"
    result = call("demo", "--spectra", "--seed", str(SEED), "--folder", folder, "--json")
    assert result.exit_code == 0, result.stderr
    answer = json.loads(result.stdout)
    jsonschema.Draft202012Validator(schema("demo")).validate(answer)
    jsonschema.Draft202012Validator(schema("read")).validate(answer["readings"])
    assert answer["seed"] == SEED
    assert [Path(sheet).name for sheet in answer["sheets"]] == ["1-spectra.csv", "2-spectra-tanks.csv"]
    read = {one["sample"]: one for one in answer["readings"]}
    assert set(read) == {tank.name for tank in TANKS}
    assert read["F1-tank-1"]["statement"] == "not detected"
    assert read["F1-tank-5"]["statement"] == "cannot say"
    assert "pre-scan failed" in read["F1-tank-5"]["reason"]
    assert all(Path(chart).is_file() for chart in answer["charts"])
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert truth["seed"] == SEED

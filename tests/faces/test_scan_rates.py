"""The verb scan-rates: data of the committed shape, sentences and a table, and a refusal in one line."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import pytest

from .conftest import call, schema
from .test_data import data

STUDY_V = [0.30 + 0.005 * k for k in range(111)]


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Four curves of an invented bound couple, without noise but for the rounding of its file."""
    lines = ["trace,scan_rate_V_per_s"]
    for rate in (0.02, 0.05, 0.1, 0.2):
        rows = [f"{v:.3f},{1e3 * rate * (0.5 + v + 10.0 * bell(v)):.3f}" for v in STUDY_V]
        (tmp_path / f"at-{rate}.csv").write_text("\n".join(["potential_V,current_nA", *rows]), encoding="utf-8")
        lines.append(f"at-{rate}.csv,{rate}")
    (tmp_path / "rates.csv").write_text("\n".join(lines), encoding="utf-8")
    return tmp_path / "rates.csv"


def bell(potential_V: float) -> float:
    return float(
        4.0 / (2.0 + 2.718281828 ** ((potential_V - 0.58) / 0.0257) + 2.718281828 ** ((0.58 - potential_V) / 0.0257))
    )


def test_the_data_has_the_committed_shape_and_the_schema_bites(empty: Path, table: Path) -> None:
    answer = data("scan-rates", "--logbook", empty, "scan-rates", table)
    assert answer["couple"] == "surface-bound"
    assert answer["slope"]["lower"] <= 1.0 <= answer["slope"]["upper"]
    assert [point["trace"] for point in answer["points"]] == [f"at-{rate}.csv" for rate in (0.02, 0.05, 0.1, 0.2)]
    answer["couple"] = "perhaps"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema("scan-rates")).validate(answer)


def test_it_tells_slope_interval_and_couple_in_80_columns(empty: Path, table: Path) -> None:
    result = call("--logbook", empty, "scan-rates", table)
    assert result.exit_code == 0, result.stderr
    assert "4 curves, wave at 0.580 V" in result.stdout
    assert "Slope of log height against log scan rate: 1.000" in result.stdout
    assert "Surface-bound: the interval of the slope holds 1 and not 1/2." in result.stdout
    assert result.stdout.count("\nNext: ") == 1
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert result.stdout.isascii()


def test_a_table_that_is_not_there_is_one_line_and_status_1(empty: Path, tmp_path: Path) -> None:
    result = call("--logbook", empty, "scan-rates", tmp_path / "none.csv")
    assert (result.exit_code, result.stdout) == (1, "")
    assert len(result.stderr.strip().splitlines()) == 1

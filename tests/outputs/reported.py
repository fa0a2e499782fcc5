"""Invented data of reports, of any size and with all five statements."""

from __future__ import annotations

from typing import Any

from brinemark.outputs.report import Asked
from brinemark.outputs.report.wording import Decimal
from brinemark.terms.canonical import canonical_bytes, sha256_hex

STATEMENTS = ("quantified", "detected, amount uncertain", "not detected", "at or above", "cannot say")
WORDS = {
    "quantified": "thiocyanate 1.02 ug/L (95 % interval 0.7 to 1.51)",
    "detected, amount uncertain": "thiocyanate detected, amount uncertain (95 % interval 0.7 to 4.5 ug/L)",
    "not detected": "thiocyanate not detected, less than 0.452 ug/L (95 %, one-sided)",
    "at or above": "thiocyanate at or above 8.53 ug/L (95 %, one-sided)",
    "cannot say": "cannot say: pre-scan failed: 0.07 times the median",
}
FLAG = {"name": "noisy", "value": 0.3, "limit": 0.2, "meaning": "noise is 0.3 of the signal", "severe": False}


def hash_of(what: str) -> str:
    return sha256_hex(what.encode())


def asked(data: dict[str, Any], decimal: Decimal = "point") -> Asked:
    """A report of the data, with the recipe that its id follows from."""
    settings = {
        "decimal": decimal,
        "data": sha256_hex(canonical_bytes(data)),
        "setting": {"layout": hash_of("layout"), "fonts": hash_of("fonts"), "libraries": "none"},
    }
    parents = [f"{role} {one}" for role, one in data["records"]]
    recipe = {
        "kind": "report",
        "schema": 1,
        "parents": parents,
        "role": data["kind"],
        "settings": settings,
        "engine": data["engine"],
        "seed": None,
    }
    return Asked(sha256_hex(canonical_bytes(recipe)), recipe, data, decimal)


def sample_data(count: int, blind: bool = True) -> dict[str, Any]:
    """Of so many samples, one electrode each, the statements in turn."""
    said = [STATEMENTS[n % len(STATEMENTS)] for n in range(count)]
    names = [f"W{n:03d}" for n in range(count)]
    return {
        **_common("samples", names, blind),
        "plans": [],
        "samples": [_sample(name, words) for name, words in zip(names, said, strict=True)],
        "readings": [_reading(name, words) for name, words in zip(names, said, strict=True)],
        "rows": [_row(n, name) for n, name in enumerate(names)],
    }


def calibration_data(electrodes: int) -> dict[str, Any]:
    """Of a calibration with so many electrodes."""
    data = _common("calibration", [hash_of("calibration")], blind=True)
    return {**data, "standards": [_standard(n) for n in range(electrodes)]}


def _common(kind: str, names: list[str], blind: bool) -> dict[str, Any]:
    choice = {"lock": hash_of("lock"), "tried": 3, "changed": [] if blind else ["[signal]"], "blind": blind}
    return {
        "kind": kind,
        "names": names,
        "logbook": "Quay 1.5",
        "analyte": "thiocyanate",
        "unit": "ug/L",
        "youngest": "2031-05-05T09:00:00.250Z",
        "engine": "0.1.0/5",
        "decision": {"alpha": 0.05, "beta": 0.05, "interval": 0.95, "max_fold": 3.0},
        "calibration": _calibration(),
        "definition": {"words": "height above a chord, 0.40 to 0.76 V", "locked": True, "choice": choice},
        "tried": [],
        "runs": [],
        "rows": [],
        "standards": [],
        "records": [["calibration", hash_of("calibration")]],
    }


def _calibration() -> dict[str, Any]:
    limits = {"batch": "B1.5", "instrument": "bench", "protocol": "single", "electrodes": 4, "critical_signal": 1e-8}
    limits |= {"critical_value": 0.11, "minimum_detectable": 0.25, "working_range": {"lower": 0.5, "upper": 5.2}}
    return {
        "schema": 1,
        "calibration": hash_of("calibration"),
        "new": False,
        "analyte": "thiocyanate",
        "unit": "ug/L",
        "signal_unit": "A",
        "interval": 0.95,
        "population": [{"name": "K", "median": 2.03, "lower": 1.6, "upper": 2.64, "unit": "ug/L"}],
        "limits": [limits],
        "electrodes": {"count": 4, "batches": ["B1.5"], "instruments": ["bench"], "left_out": []},
        "waves": [{"id": hash_of("wave"), "role": "of all", "source": "learned", "traces": 9, "place_V": 0.583}],
        "diagnostics": {
            "gates": [{"name": "Pareto k", "value": 0.29, "limit": 0.7, "passed": True}],
            "rounds": 2,
            "total_draws": 4096,
            "kept_draws": 1024,
            "seed": 7,
        },
        "films": [],
        "fit": [],
        "weaknesses": ["1 batch only: how batches differ is poorly known"],
        "warnings": [],
    }


def _sample(name: str, statement: str) -> dict[str, Any]:
    return {
        "sample": name,
        "own_name": None,
        "reading": hash_of(name),
        "made_at": "2031-05-05T09:00:00.250Z",
        "role": "sample",
        "words": WORDS[statement],
        "agreement": None,
        "films": [],
        "straight_lines": [],
    }


def _reading(name: str, statement: str) -> dict[str, Any]:
    two_sided = {"median": 1.02, "lower": 0.7, "upper": 1.51, "level": 0.95, "sides": 2}
    below = {"median": 0.0, "lower": 0.0, "upper": 0.452, "level": 0.95, "sides": 1}
    above = {"median": None, "lower": 8.53, "upper": None, "level": 0.95, "sides": 1}
    estimate = {"cannot say": None, "not detected": below, "at or above": above}.get(statement, two_sided)
    seen = statement not in ("cannot say", "not detected")
    line = {"row": 2, "role": "sample", "cell_level": None, "signal": 1e-7, "u": 2e-9, "unit": "A", "flags": [FLAG]}
    use = {"electrode": f"E{name}", "batch": "B1.5", "instrument": "bench", "dilution": 1.0, "share": 1.0}
    return {
        "schema": 1,
        "sample": name,
        "statement": statement,
        "reason": WORDS[statement][12:] if statement == "cannot say" else None,
        "unit": "ug/L",
        "detection": None if statement == "cannot say" else {"detected": seen, "p_value": 0.02, "alpha": 0.05},
        "estimate": estimate,
        "lower_limit": {"value": 8.53, "level": 0.95, "sides": 1} if statement == "at or above" else None,
        "upper_limit": {"value": 0.452, "level": 0.95, "sides": 1} if statement == "not detected" else None,
        "working_range": None,
        "electrodes": [{**use, "readings": [line]}],
        "calibration": hash_of("calibration"),
        "films": [],
        "warnings": ["conditions not recorded"],
        "straight_lines": [],
        "choice": {"lock": hash_of("lock"), "tried": 3, "changed": [], "blind": True},
    }


def _row(number: int, sample: str) -> dict[str, Any]:
    file = {"role": "trace", "name": f"{sample}.csv", "sha256": hash_of(f"file {sample}"), "path": "x", "size": 9}
    return {
        "id": hash_of(f"row {sample}"),
        "number": number + 2,
        "sheet": hash_of("sheet"),
        "sheet_title": "run.csv",
        "superseded": False,
        "electrode": f"E{sample}",
        "batch": "B1.5",
        "instrument": "bench",
        "measured_at": "2031-05-05T08:00:00+00:00",
        "role": "sample",
        "level": None,
        "sample": sample,
        "dilution": 1.0,
        "conditions": {},
        "note": None,
        "files": [{**file, "role": "sheet", "name": "run.csv", "sha256": hash_of("run")}, file],
        "signals": [],
    }


def _standard(number: int) -> dict[str, Any]:
    place = {"electrode": f"C{number:03d}", "batch": "B1.5", "instrument": "bench", "dip": 0, "level": 2.0}
    return {**place, "signal": 1e-7, "u": 2e-9, "unit": "A"}

"""Records of the terms as JSON and arrays for the database, and back."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from brinemark.steps.identity import Made
from brinemark.terms.amounts import (
    Calibration,
    ConfidenceCurve,
    CovariateScale,
    Detection,
    ElectrodeReadings,
    Estimate,
    FilmDoubt,
    FilmFinding,
    FitCheck,
    Gate,
    Limits,
    LimitValue,
    NormalPrior,
    Reading,
    Summary,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import Band, Flag, Shape, Signal, Wave
from brinemark.terms.stored import Record


def pack_wave(wave: Shape) -> Made:
    if isinstance(wave, Band):
        of_band: dict[str, JsonValue] = {"place_nm": wave.place_nm, "source": wave.source, "traces": wave.spectra}
        return Made(of_band, {"wavelength_nm": wave.wavelength_nm, "shape": wave.shape})
    results: dict[str, JsonValue] = {"place_V": wave.place_V, "source": wave.source, "traces": wave.traces}
    return Made(results, {"potential_V": wave.potential_V, "shape": wave.shape})


def unpack_wave(record: Record) -> Shape:
    results: Any = record.results
    arrays = record.arrays
    source, traces = results["source"], results["traces"]
    if "place_nm" in results:
        return Band(arrays["wavelength_nm"], arrays["shape"], results["place_nm"], source, traces)
    return Wave(arrays["potential_V"], arrays["shape"], results["place_V"], source, traces)


def pack_signal(signal: Signal) -> Made:
    return Made(_json(asdict(signal)), {})


def unpack_signal(record: Record) -> Signal:
    results: Any = record.results
    flags = tuple(Flag(**flag) for flag in results["flags"])
    return Signal(results["value"], results["u"], results["unit"], flags, results["u_noise"], results["u_baseline"])


def pack_calibration(calibration: Calibration, context: dict[str, JsonValue]) -> Made:
    """results hold everything but the draws and the numbers of the readings, which are arrays.

    context : what the step knows beside the science (signal unit, electrodes left out, remarks).
    """
    readings = calibration.readings
    results: dict[str, JsonValue] = {
        "names": list(calibration.names),
        "signal_ref": calibration.signal_ref,
        "covariates": list(calibration.covariates.names),
        "further": list(readings.further),
        "films": [_json(asdict(film)) for film in calibration.films],
        "fit": [_json(asdict(check)) for check in calibration.fit],
        "instruments": list(calibration.instruments),
        "highest_level": calibration.highest_level,
        "electrode": list(readings.electrode),
        "batch": list(readings.batch),
        "instrument": list(readings.instrument),
        "priors": [_json(asdict(one)) for one in calibration.priors],
        "summaries": [_json(asdict(one)) for one in calibration.summaries],
        "gates": [_json(asdict(one)) for one in calibration.gates],
        "rounds": calibration.rounds,
        "total_draws": calibration.total_draws,
        "weaknesses": list(calibration.weaknesses),
        "seed": calibration.seed,
        "stocks": list(readings.stocks),
        "spike_level": calibration.spike_level if math.isfinite(calibration.spike_level) else None,
        "matrix_K_sd": calibration.matrix_K_sd,
        "context": context,
    }
    return Made(results, _calibration_arrays(calibration))


def _calibration_arrays(calibration: Calibration) -> dict[str, FloatArray]:
    readings = calibration.readings
    return {
        "draws": calibration.draws,
        "covariate": readings.covariate,
        "unit": readings.unit.astype(np.float64),
        "signal": readings.signal,
        "u": readings.u,
        "level": readings.level,
        "dip": readings.dip.astype(np.float64),
        "level_u": readings.level_u,
        "stock_part": readings.stock_part,
        "stock_rel_u": readings.stock_rel_u,
        "salinity": readings.salinity,
        "kept": readings.kept,
        "further_covariate": readings.further_covariate,
        "covariate_reference": calibration.covariates.reference,
        "covariate_center": calibration.covariates.center,
        "covariate_cov": calibration.covariates.cov,
    }


def unpack_calibration(record: Record) -> Calibration:
    results: Any = record.results
    arrays = record.arrays
    return Calibration(
        names=tuple(results["names"]),
        draws=arrays["draws"],
        signal_ref=results["signal_ref"],
        covariates=CovariateScale(
            tuple(results["covariates"]),
            arrays["covariate_reference"],
            arrays["covariate_center"],
            arrays["covariate_cov"],
        ),
        instruments=tuple(results["instruments"]),
        highest_level=results["highest_level"],
        readings=_unpacked_readings(results, arrays),
        priors=tuple(NormalPrior(**one) for one in results["priors"]),
        summaries=tuple(Summary(**one) for one in results["summaries"]),
        gates=tuple(Gate(**one) for one in results["gates"]),
        rounds=results["rounds"],
        total_draws=results["total_draws"],
        weaknesses=tuple(results["weaknesses"]),
        seed=results["seed"],
        spike_level=math.inf if results["spike_level"] is None else results["spike_level"],
        matrix_K_sd=results["matrix_K_sd"],
        films=tuple(FilmDoubt(**film) for film in results["films"]),
        fit=tuple(FitCheck(**check) for check in results["fit"]),
    )


def _unpacked_readings(results: Any, arrays: Mapping[str, FloatArray]) -> ElectrodeReadings:
    return ElectrodeReadings(
        electrode=tuple(results["electrode"]),
        batch=tuple(results["batch"]),
        instrument=tuple(results["instrument"]),
        covariate=arrays["covariate"],
        unit=arrays["unit"].astype(np.int64),
        signal=arrays["signal"],
        u=arrays["u"],
        level=arrays["level"],
        dip=arrays["dip"].astype(np.int64),
        level_u=arrays["level_u"],
        stocks=tuple(results["stocks"]),
        stock_part=arrays["stock_part"],
        stock_rel_u=arrays["stock_rel_u"],
        salinity=arrays["salinity"],
        kept=arrays["kept"],
        further=tuple(results["further"]),
        further_covariate=arrays["further_covariate"],
    )


def pack_limits(limits: Sequence[Limits]) -> Made:
    return Made({"limits": [_json(asdict(one)) for one in limits]}, {})


def unpack_limits(record: Record) -> tuple[Limits, ...]:
    results: Any = record.results
    return tuple(Limits(**one) for one in results["limits"])


def pack_reading(reading: Reading, context: dict[str, JsonValue]) -> Made:
    """context : what the step knows beside the science (unit, electrodes, warnings)."""
    results: dict[str, JsonValue] = {
        "statement": reading.statement,
        "reason": reading.reason,
        "detection": _json(reading.detection and asdict(reading.detection)),
        "estimate": _json(reading.estimate and asdict(reading.estimate)),
        "lower_limit": _json(reading.lower_limit and asdict(reading.lower_limit)),
        "upper_limit": _json(reading.upper_limit and asdict(reading.upper_limit)),
        "working_range": _json(reading.working_range),
        "shares": list(reading.shares),
        "warnings": list(reading.warnings),
        "two_sided": _json(reading.two_sided and asdict(reading.two_sided)),
        "monte_carlo_error": _json(reading.monte_carlo_error),
        "agreement": reading.agreement,
        "at_infinity": None if reading.curve is None else reading.curve.at_infinity,
        "context": context,
    }
    if reading.films:  # left out where there are none, so that readings made before films were told stay what they were
        results["films"] = [_json(asdict(film)) for film in reading.films]
    arrays = {}
    if reading.curve is not None:
        arrays = {"level": reading.curve.level, "probability": reading.curve.probability}
    return Made(results, arrays)


def unpack_reading(record: Record) -> Reading:
    results: Any = record.results
    curve = None
    if "level" in record.arrays:
        curve = ConfidenceCurve(record.arrays["level"], record.arrays["probability"], results["at_infinity"])
    return Reading(
        statement=results["statement"],
        reason=results["reason"],
        detection=results["detection"] and Detection(**results["detection"]),
        estimate=results["estimate"] and Estimate(**results["estimate"]),
        lower_limit=results["lower_limit"] and LimitValue(**results["lower_limit"]),
        upper_limit=results["upper_limit"] and LimitValue(**results["upper_limit"]),
        working_range=results["working_range"] and tuple(results["working_range"]),
        shares=tuple(results["shares"]),
        warnings=tuple(results["warnings"]),
        curve=curve,
        two_sided=results["two_sided"] and Estimate(**results["two_sided"]),
        monte_carlo_error=results["monte_carlo_error"] and tuple(results["monte_carlo_error"]),
        agreement=results.get("agreement"),
        films=tuple(_film_from(film) for film in results.get("films", ())),
    )


def _film_from(plain: dict[str, Any]) -> FilmFinding:
    tuples = {name: tuple(plain[name]) for name in ("looked_at", "cleared_by")}
    return FilmFinding(**{**plain, **tuples})


def _json(value: Any) -> JsonValue:
    """Plain Python numbers, lists and dicts, as canonical JSON wants them."""
    if isinstance(value, dict):
        return {key: _json(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_json(part) for part in value]
    if isinstance(value, np.generic):
        return _json(value.item())
    return value  # type: ignore[no-any-return]

"""What a calibration's draw holds electrodes to be, as a truth to simulate from.

The truth has a plateau and a covariate of its own, so signals and covariates are brought to the calibration's scale
afterwards. What the draw does not know (scatter of K between electrodes, drift) takes the defaults that reading holds;
an error of a stock and an effect of salinity are left out, a new batch being read in the standards' own seawater.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.response import DEFAULT_DRIFT_SD, DEFAULT_ELECTRODE_K_SD, KINDS
from brinemark.science.amount.simulate import BENCH, Truth
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.errors import Refused


@dataclass(frozen=True, slots=True)
class Units:
    """From a truth's own units to a calibration's: factor [signal unit], covariate reference, instrument, and the u(y)
    that is told of every signal [signal unit]."""

    signal: float = 1.0
    covariate: float = 1.0
    instrument: str = BENCH
    u: float = 0.0

    def readings(self, found: ElectrodeReadings) -> ElectrodeReadings:
        """Calibration electrodes in the calibration's units."""
        return replace(
            found,
            instrument=(self.instrument,) * len(found.electrode),
            covariate=self.covariate * found.covariate,
            signal=self.signal * found.signal,
            u=np.full(found.signal.size, self.u),
        )

    def portion(self, found: SamplePortion) -> SamplePortion:
        """An electrode that read a sample in the calibration's units."""
        others = tuple(self._dip(dip) for dip in found.others)
        covariate = None if found.covariate is None else self.covariate * found.covariate
        signal = self.signal * found.signal
        return replace(found, instrument=self.instrument, covariate=covariate, signal=signal, u=self.u, others=others)

    def _dip(self, dip: OtherDip) -> OtherDip:
        return replace(dip, signal=self.signal * dip.signal, u=self.u)


PLAIN = Units()


def drawn_truth(calibration: Calibration, draw: int) -> tuple[Truth, Units]:
    """The population that one stored draw holds, with the electrodes of the calibration's first instrument.

    Raises Refused for a calibration with more than one covariate, which a simulated electrode does not have.
    """
    row = dict(zip(calibration.names, calibration.draws[draw].tolist(), strict=True))
    slopes = [name for name in row if name.startswith("slope:")]
    if slopes:
        came = f"a calibration with the further covariates {', '.join(name[6:] for name in slopes)}"
        raise Refused(came, "one with at most the covariate of [covariate]", "name the population in the plan instead")
    instrument = calibration.instruments[0]
    gain = float(np.exp(row["ln_gain"]))
    reference = calibration.covariate_ref or 1.0
    u = float(np.median(calibration.readings.u))
    share = 1.0 / (1.0 + np.exp(-row["logit_share"]))
    tau = float(np.exp(row["ln_electrode_sd"]))
    noise = float(np.hypot(np.exp(row[f"ln_noise:{instrument}"]), u / calibration.signal_ref)) / gain
    found = Truth(
        batch_sd=float(np.exp(row["ln_batch_sd"])),
        electrode_sd=tau * float(np.sqrt(1.0 - share)),
        slope=row.get("slope", 0.0),
        covariate_sd=_covariate_sd(calibration, reference),
        ln_K=row["ln_K"],
        ln_K_sd=float(np.exp(row["ln_K_sd"])),
        h=float(np.exp(row["ln_h"])),
        floor=float(np.exp(row["ln_floor"])),
        noise=noise,
        cv=tau * float(np.sqrt(share)),
        floor_batch_sd=float(np.exp(row["ln_floor_batch_sd"])),
        floor_sd=float(np.exp(row["ln_floor_sd"])),
    )
    return _with_life(found, row), Units(gain * calibration.signal_ref, reference, instrument, u)


def _with_life(truth: Truth, row: dict[str, float]) -> Truth:
    """What several readings on one electrode add, and defective films."""
    drift = row.get("dip_drift", 0.0)
    top = float(np.exp(row.get("spike_shift", drift) - drift))
    odds = [float(np.exp(row.get(kind.parameter, -np.inf))) for kind in KINDS]
    low, high = (one / (1.0 + sum(odds)) for one in odds)
    return replace(
        truth,
        electrode_K_sd=float(np.exp(row["ln_own_K_sd"])) if "ln_own_K_sd" in row else DEFAULT_ELECTRODE_K_SD,
        drift=drift,
        drift_sd=float(np.exp(row["ln_drift_sd"])) if "ln_drift_sd" in row else DEFAULT_DRIFT_SD,
        prescan_shift=row.get("prescan_shift", 0.0),
        prescan_sd=float(np.exp(row["ln_drift_sd"])) if "ln_drift_sd" in row else DEFAULT_DRIFT_SD,
        plateau=max((truth.floor + 1.0) * top - truth.floor, 0.0),
        low_share=low,
        high_share=high,
    )


def _covariate_sd(calibration: Calibration, reference: float) -> float:
    """Scatter of ln covariate among the calibration electrodes; 0 where there is none."""
    if calibration.covariate_ref is None:
        return 0.0
    known = calibration.readings.covariate[np.isfinite(calibration.readings.covariate)]
    return float(np.std(np.log(known / reference), ddof=1)) if known.size > 1 else 0.0

"""What a better batch would buy, as people and programs get it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from brinemark.science.planning.figures import SIGMAS
from brinemark.science.planning.gains import MORE, MORE_ELECTRODES, TODAY, Gain
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.plan_batch_answers import BatchPlanned, figure_dict, told

SUPPOSED = (
    "each row supposes one part better and all else as it is, with the same plan (more electrodes are planned anew), "
    "on the same simulated batches; whether it can be made better is not said"
)


@dataclass(frozen=True, slots=True)
class Helps:
    """planned : the plan that is looked at; factor : by which a part falls; gains : today's figures, then the parts."""

    planned: BatchPlanned
    factor: float
    gains: tuple[Gain, ...] = ()

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if not self.gains:
            return self.planned.sentence
        today, *better = self.gains
        sure = [one for one in better if one.gain.value > SIGMAS * one.gain.error]
        if not sure:
            return f"no part, better by a factor of {self.factor:g}, changes the figures beyond their Monte Carlo error"
        best = sure[0]
        what = f"{MORE} more electrodes" if best.part == MORE_ELECTRODES else f"{best.part} divided by {self.factor:g}"
        return f"{what} would buy most: {self._outcome(best)} instead of {self._outcome(today)}"

    def _outcome(self, one: Gain) -> str:
        seen, unit = one.figures, self.planned.unit
        if self.planned.wish.aim == "power":
            return f"power {', '.join(told(f) for f in seen.power)}"
        if self.planned.wish.aim == "narrow":
            return f"fold {', '.join(told(f) for f in seen.fold)}"
        if self.planned.wish.aim == "cost":
            return f"a minimum detectable value of {told(seen.detectable)} {unit}"
        return f"{electrodes_per_answer(one)} electrodes for a sample answered to a fold of {self.planned.max_fold:g}"

    def remarks(self) -> Iterator[str]:
        """What has to be said beside it."""
        if self.gains:
            yield SUPPOSED
        yield from self.planned.remarks()

    def __str__(self) -> str:
        return self.sentence

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `what-helps --json`."""
        plan = self.planned.plans[0].to_dict() if self.planned.plans else None
        return {
            "schema": ANSWER_SCHEMA,
            "calibration": self.planned.calibration,
            "unit": self.planned.unit,
            "electrodes": self.planned.electrodes,
            "levels": list(self.planned.wish.levels),
            "aim": self.planned.wish.aim,
            "factor": self.factor,
            "plan": plan,
            "parts": [
                {
                    "part": "today" if one.part == TODAY else one.part,
                    "electrodes": one.electrodes,
                    "fold": [figure_dict(f) for f in one.figures.fold],
                    "power": [figure_dict(f) for f in one.figures.power],
                    "minimum_detectable": figure_dict(one.figures.detectable),
                    "answers_per_electrode": figure_dict(one.figures.per_electrode),
                    "gain": figure_dict(one.gain),
                }
                for one in self.gains
            ],
            "sentence": self.sentence,
            "reason": self.planned.reason,
            "remarks": list(self.remarks()),
        }


def electrodes_per_answer(one: Gain) -> str:
    """Electrodes made for each sample that is answered, in text."""
    per = one.figures.per_electrode.value
    return f"{1.0 / per:.3g}" if per > 0 and math.isfinite(per) else "no number of"

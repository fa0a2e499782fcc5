"""The map of exposures that agree with the waters of a tank, as it is shown."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts import Kind, exposures_map, render
from brinemark.science.fish.mass_balance import LETHAL_MG_KG
from brinemark.steps.exposures import ExposuresAnswer
from brinemark.terms.fish_pictures import ExposurePanel, ExposuresPicture
from brinemark.terms.wording import opened

LEVEL = 0.95
"""Of the region that exposures_that_agree marks."""
LETHAL = "kills half of rats by mouth, none is known for fish"


def draw_exposures(answer: ExposuresAnswer, kind: Kind) -> bytes:
    """Doses and times that agree with the waters of a tank, world by world."""
    return render(exposures_map(exposures_picture(answer)), kind)


def exposures_picture(answer: ExposuresAnswer) -> ExposuresPicture:
    """An answer as its chart takes it: what is impossible has no likelihood."""
    panels = tuple(
        ExposurePanel(
            one.world, np.where(np.isnan(one.log_likelihood), -np.inf, one.log_likelihood), np.asarray(one.agrees)
        )
        for one in answer.worlds
    )
    first = answer.worlds[0]
    cautions = tuple(dict.fromkeys(f"{opened(text)}." for one in answer.worlds for text in one.cautions))
    return ExposuresPicture(
        f"Tank {answer.tank}: exposures that agree with its waters",
        first.dose_mg_kg,
        first.days_d,
        panels,
        LEVEL,
        ((LETHAL_MG_KG, LETHAL),),
        cautions,
    )

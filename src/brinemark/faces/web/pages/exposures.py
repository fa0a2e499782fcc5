"""The page of exposures that agree with the waters of a tank: doses and times, world by world, beside none."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.pages.considered import consignment_of, tank_name_of
from brinemark.faces.web.visit import Visit

if TYPE_CHECKING:
    from brinemark.steps.exposures import ExposuresAnswer


def exposures_of(visit: Visit, consignment: str, tank: str) -> ExposuresAnswer:
    """What agrees with the waters of a tank now. Raises Refused."""
    one = consignment_of(visit, consignment)
    name = tank_name_of(visit, one, tank)
    return visit.desk.kept(("exposures", one.name, name), lambda: visit.book.exposures(one.name, name))


def show(visit: Visit) -> Answer:
    """Words, map and cautions of one tank."""
    answer = exposures_of(visit, visit.path["name"], visit.path["tank"])
    asked = urlencode({"consignment": answer.consignment, "tank": answer.tank})
    data = {
        "exposures": answer.to_dict(),
        "worlds": [{"world": one.world, "words": one.words, "cautions": list(one.cautions)} for one in answer.worlds],
        "picture": f"/pictures/exposures.svg?{asked}",
    }
    return Page("exposures.html", f"Exposures that agree with tank {answer.tank}", data)

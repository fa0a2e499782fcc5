"""Long work: how far it is, how it ended, and a way to stop it."""

from __future__ import annotations

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.jobs import Job
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused


def table(visit: Visit) -> Answer:
    return Page("jobs.html", "Long work", {"jobs": [job.to_dict() for job in visit.desk.jobs.all()]})


def one(visit: Visit) -> Answer:
    job = _job(visit)
    return Page("job_state.html" if visit.part else "job.html", job.title, {"job": job.to_dict()})


def stop(visit: Visit) -> Answer:
    job = _job(visit)
    visit.desk.jobs.stop(job.id)
    return GoTo(f"/jobs/{job.id}")


def _job(visit: Visit) -> Job:
    found = visit.desk.jobs.get(visit.path["id"])
    if found is None:
        raise Refused(
            f"no work {visit.path['id']!r} since these pages were started", "one of the list", "see the list of work"
        )
    return found

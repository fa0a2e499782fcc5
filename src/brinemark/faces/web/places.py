"""Every address of the pages, and what answers there."""

from __future__ import annotations

from brinemark.faces.web.app import Place
from brinemark.faces.web.pages import about, audit, calibration, electrodes, first, jobs, pictures, samples, settings

PLACES = (
    Place("/", first.home),
    Place("/calibration", calibration.show, calibration.begin),
    Place("/samples", samples.table, samples.read_all),
    Place("/samples/{name}", samples.one, samples.read_one),
    Place("/electrodes/{name}", electrodes.one),
    Place("/settings", settings.show, settings.keep),
    Place("/audit", audit.entries, audit.verify),
    Place("/audit/entries.{kind}", audit.export),
    Place("/audit/{number}", audit.entry),
    Place("/records/{id}", audit.record),
    Place("/originals/{sha256}", audit.original),
    Place("/pictures/{name}.{kind}", pictures.picture),
    Place("/jobs", jobs.table),
    Place("/jobs/{id}", jobs.one),
    Place("/jobs/{id}/stop", None, jobs.stop),
    Place("/about", about.show, about.choose),
)

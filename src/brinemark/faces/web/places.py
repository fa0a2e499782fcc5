"""Every address of the pages, and what answers there."""

from __future__ import annotations

from brinemark.faces.web.app import Place
from brinemark.faces.web.pages import (
    about,
    audit,
    batches,
    calibration,
    curves,
    electrodes,
    first,
    jobs,
    pictures,
    runs,
    samples,
    settings,
    window,
)

PLACES = (
    Place("/", first.home),
    Place("/batches", batches.table),
    Place("/batches/{name:path}", batches.one, batches.set_aside),
    Place("/batch-making", batches.form, batches.record),
    Place("/labels/{name:path}", batches.labels),
    Place("/runs", runs.table),
    Place("/runs/{id}", runs.sheet),
    Place("/take-in", runs.form, runs.take_in),
    Place("/run-controls", runs.controls, runs.judge),
    Place("/curves", curves.table),
    Place("/curves/window", window.show, window.begin),
    Place("/curves/definitions", window.tried, window.rank),
    Place("/curves/{row_id}", curves.one),
    Place("/calibration", calibration.show, calibration.begin),
    Place("/samples", samples.table, samples.read_all),
    Place("/samples/{name:path}", samples.one, samples.read_one),
    Place("/electrodes/{name:path}", electrodes.one),
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

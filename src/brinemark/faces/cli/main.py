"""The command line: `brinemark VERB`. Each verb parses, calls the logbook once, and tells what came of it."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from brinemark.faces.cli.session import Session, Verbs, show_version

# Checking settings needs no plugins, and looking through all installed packages for some takes a fifteenth of a read.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

PLACES = {
    "demo": ("season", "demo"),
    "new": ("books", "new"),
    "next": ("coming", "next_"),
    "make": ("makings", "make"),
    "batches": ("makings", "batches"),
    "set-aside": ("makings", "set_aside"),
    "plan-batch": ("planning", "plan_batch"),
    "batch-plans": ("kept_plans", "batch_plans"),
    "what-helps": ("planning", "what_helps"),
    "lay-out": ("plans", "lay_out"),
    "plans": ("plans", "plans"),
    "add": ("books", "add"),
    "calibrate": ("amounts", "calibrate"),
    "read": ("amounts", "read"),
    "one-more": ("supposing", "one_more"),
    "plan-sample": ("planning_samples", "plan_sample"),
    "tanks": ("tanks", "tanks"),
    "consignments": ("tanks", "consignments"),
    "consignment": ("interpreting", "consignment"),
    "exposures": ("kinetics", "exposures"),
    "kinetics": ("kinetics", "kinetics"),
    "trials": ("known_fish", "trials"),
    "markers": ("marking", "markers"),
    "survey": ("surveying", "survey"),
    "holds": ("surveying", "holds"),
    "controls": ("controls", "controls"),
    "show": ("ways", "show"),
    "chart": ("pictures", "chart"),
    "report": ("reports", "report"),
    "dilute": ("dilutions", "dilute"),
    "scan-rates": ("rates", "scan_rates"),
    "signals": ("signals", "signals"),
    "plan-fish": ("fish_plans", "plan_fish"),
    "fish-plans": ("kept_plans", "fish_plans"),
    "study": ("studying", "study"),
    "studies": ("studying", "studies"),
    "serve": ("serving", "serve"),
    "check": ("coming", "check"),
    "set": ("setting", "set_key"),
}
"""Verbs in the order of the work: module and name of each."""


@click.group(
    cls=Verbs,
    places=PLACES,
    context_settings={"max_content_width": 80},
    epilog="`brinemark VERB --help` explains one verb, with an example.",
)
@click.option(
    "--logbook",
    type=click.Path(path_type=Path),
    metavar="DIRECTORY",
    help="The logbook to work on. Not needed inside a logbook's directory, or when BRINEMARK_LOGBOOK names one.",
)
@click.option("--version", is_flag=True, is_eager=True, callback=show_version, help="Print the version and stop.")
@click.pass_context
def brinemark(context: click.Context, logbook: Path | None, version: bool) -> None:
    """From uneven, one-use electrodes to an amount with an honest interval.

    \b
    brinemark demo                                   see the whole job first
    brinemark new my-logbook                         make a logbook
    brinemark --logbook my-logbook add run.csv       put a run sheet into it
    brinemark --logbook my-logbook calibrate
    brinemark --logbook my-logbook read S001

    It screens; an accredited laboratory confirms.
    """
    context.obj = Session(logbook)


def main() -> None:
    """Entry point of the command. A character that the terminal cannot show is printed as a question mark."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    brinemark.main(prog_name="brinemark")


if __name__ == "__main__":
    main()

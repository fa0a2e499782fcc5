"""The verb trials: how the method did on tanks of fish whose history is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import as_sentence, counted

if TYPE_CHECKING:
    from brinemark.steps.trials import TrialAnswer, WorldTrial
    from brinemark.terms.evidence import Rate, RatioBin, TrialResult

FOUND = {True: "yes", False: "no", None: "cannot say"}


@click.command(short_help="How ratios did on fish of known history.")
@click.option("--keep", is_flag=True, help="Keep the result; interpretations use what it says of ratios from then on.")
@json_option
@click.pass_obj
def trials(session: Session, keep: bool, as_json: bool) -> None:
    """Judge every tank of fish with a known history as if it were not known, and compare.

    Captive-bred fish and fish of a permitted trial, light and heavy exposures apart: how often thiocyanate was found,
    with exact intervals, and how far ratios of each world can be trusted. Nothing is kept without --keep.

    \b
    Examples:
      brinemark --logbook my-logbook trials
      brinemark --logbook my-logbook trials --keep
    """
    with session.open() as logbook, working("weighing"):
        answer = logbook.judge_trials() if keep else logbook.consider_trials()
    if as_json:
        say_json(answer.to_dict())
        return
    _tell(answer)
    say_next(session.line("consignments") if answer.id else session.line("trials", "--keep"))


def _tell(answer: TrialAnswer) -> None:
    kept = f"Kept as {answer.id[:12]}." if answer.id else "Nothing was kept."
    say(f"{counted(len(answer.tanks), 'tank')} of fish whose history is known. {kept}")
    worlds = [one.world for one in answer.worlds]
    head = ("consignment", "tank", "history", "found", *(f"log10 ratio, '{name}'" for name in worlds))
    rows = []
    for one in answer.tanks:
        ratios = dict(one.ratios)
        cells = ["none" if ratios.get(name) is None else f"{ratios[name]:.2f}" for name in worlds]
        rows.append((one.consignment, one.tank, one.history, FOUND[one.found], *cells))
    say_table(head, rows, right=range(4, 4 + len(worlds)))
    click.echo()
    say(f"Thiocyanate found, at alpha {answer.alpha:g}, with exact intervals:")
    counts = [(f"with {name}", _share(rate)) for name, rate in answer.rates]
    say_table(("tanks", "share"), [*counts, ("not found, without exposure", _share(answer.specificity))])
    for world in answer.worlds:
        click.echo()
        _tell_world(world)
    click.echo()
    cap = answer.cap
    say(
        f"What held-out tanks of unexposed fish ({cap.population}) support: ratios from {cap.floor:.2g} to "
        f"{cap.ratio:.2g}, and nothing beyond."
    )
    for text in (*([cap.caution] if cap.caution else []), *answer.cautions):
        say(as_sentence(text), 2)


def _share(rate: Rate) -> str:
    """5 of 8: 0.62 (0.24 to 0.91)."""
    if rate.value is None:
        return "none tried"
    sides = "" if rate.sides == 2 else ", one-sided"
    ends = f"{rate.level:.0%}: {rate.lower:.2g} to {rate.upper:.2g}{sides}"
    return f"{rate.count} of {rate.of}: {rate.value:.2g} ({ends})"


def _tell_world(one: WorldTrial) -> None:
    if one.result is None:
        say(f"World '{one.world}': {one.reason}.")
        return
    found = one.result
    say(
        f"World '{one.world}': {found.exposed} tanks of exposed and {found.unexposed} of unexposed fish; area under "
        f"the ROC curve {found.roc.area:.2f}; cost of the ratios (Cllr) {found.cost:.2f} bits, of which "
        f"{found.least_cost:.2f} stay after the best rising recalibration (0 = perfect, 1 = useless)."
    )
    _tell_bins(found)
    for wrong in found.misleading:
        say(
            f"Wrong by a factor of {wrong.factor:g} or more: exposed {_share(wrong.exposed)}; unexposed "
            f"{_share(wrong.unexposed)}{_bound(wrong.bound)}.",
            2,
        )
    if one.recalibration is None:
        say("Too few tanks, or ratios that are all the same: no line through the ratios.", 2)
        return
    line = one.recalibration
    say(
        f"Recalibrated: log10 ratio becomes {line.shift:.2f} + {line.slope:.2f} times it; cost then "
        f"{one.recalibrated_cost:.2f} bits, on the same tanks.",
        2,
    )


def _bound(bound: float) -> str:
    return f"; true ratios stay below {bound:.2g} in both" if bound < 1.0 else ""


def _tell_bins(found: TrialResult) -> None:
    """In each bin of ratios, how often they occurred; where the two agree, ratios mean what they say."""
    rows = [_bin(one) for one in found.bins if one.exposed + one.unexposed]
    head = ("log10 ratio", "exposed", "unexposed", "as frequencies have it (95 %)", "agrees")
    say_table(head, rows, right=(1, 2))


def _bin(one: RatioBin) -> tuple[str, ...]:
    ends = f"{_log(one.low)} to {_log(one.high)}"
    seen = f"{_log(one.log10_observed)} ({_log(one.log10_lower)} to {_log(one.log10_upper)})"
    return ends, str(one.exposed), str(one.unexposed), seen, "yes" if one.agrees else "NO"


def _log(value: float) -> str:
    if math.isnan(value):
        return "none"
    return f"{value:.2f}" if math.isfinite(value) else "no end"

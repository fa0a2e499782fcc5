"""The verb signals: which signal definition gives the amount with the smallest error."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.study_answers import RankedDefinition, SignalStudy, TriedDefinition

Ends = tuple[float, float]


def _cycle(given: str) -> str:
    if given in ("last", "mean") or (given.isdecimal() and int(given) > 0):
        return given
    raise click.BadParameter(f"{given!r} is neither last, mean nor a number from 1 on")


@click.command(short_help="Which signal gives the amount best?")
@click.option(
    "--quantity",
    "quantities",
    multiple=True,
    type=click.Choice(["height", "charge", "band"]),
    help="Try this quantity only; may be given again.",
)
@click.option(
    "--baseline",
    "baselines",
    multiple=True,
    type=click.Choice(["chord", "polynomial", "whittaker"]),
    help="Try this baseline only; may be given again.",
)
@click.option(
    "--window",
    "windows",
    multiple=True,
    nargs=2,
    type=float,
    metavar="LOW HIGH",
    help="Try this window [V or nm] instead of those the curves propose; may be given again.",
)
@click.option(
    "--sweep",
    "sweeps",
    multiple=True,
    type=click.Choice(["anodic", "cathodic"]),
    help="Try this sweep instead of the logbook's own; may be given again.",
)
@click.option(
    "--cycle",
    "cycles",
    multiple=True,
    metavar="CYCLE",
    callback=lambda _context, _option, given: tuple(_cycle(one) for one in given),
    help="Try last, mean or a number instead of the logbook's own; may be given again.",
)
@click.option("--tried", is_flag=True, help="List every definition that was ever tried here, and try none.")
@json_option
@click.pass_obj
def signals(
    session: Session,
    /,
    tried: bool,
    as_json: bool,
    windows: tuple[Ends, ...],
    **names: tuple[str, ...],
) -> None:
    """Rank signal definitions by the error of the amount: each batch of blanks, standards and controls is read by what
    the other batches teach.

    Samples stay hidden. Every definition tried is kept and listed. The present one is always among them; without
    options all quantities and baselines are tried, in its window and in those that the curves propose, on its sweep and
    cycle.

    \b
    Examples:
      brinemark --logbook my-logbook signals
      brinemark --logbook my-logbook signals --baseline chord --window 0.42 0.74
      brinemark --logbook my-logbook signals --sweep anodic --sweep cathodic
      brinemark --logbook my-logbook signals --tried
    """
    if tried:
        if windows or any(names.values()):
            raise click.UsageError("--tried stands alone: it tries no definition")
        _list(session, as_json)
        return
    with session.open() as logbook, working("looking for the wave") as work:
        study = logbook.signals(windows=windows, on_work=work.now, **names)
    if as_json:
        say_json(study.to_dict())
        return
    _tell(study)
    if study.first is None:
        say_next(session.line("add", "RUNSHEET.csv"))
    elif study.first.candidate.present:
        say_next(session.line("signals", "--tried"), session.line("calibrate"))
    else:
        say_next(session.line("signals", "--tried"), f"after a change of [signal]: {session.line('calibrate')}")


def _list(session: Session, as_json: bool) -> None:
    with session.open() as logbook:
        found = logbook.signals_tried()
    if as_json:
        say_json({"schema": 1, "tried": [one.to_dict() for one in found]})
        return
    say(f"{counted(len(found), 'definition')} tried in this logbook." if found else "No definition was tried yet.")
    if found:
        head = ("tried", "definition", "electrodes", "error", "rank then")
        say_table(head, [_tried_row(one) for one in found], right=(2, 3))
    say_next(session.line("signals"))


def _tried_row(one: TriedDefinition) -> tuple[str, ...]:
    error = "" if one.typical is None else f"{one.typical:.3f}"
    rank = "not ranked" if one.rank is None else f"{one.rank} of {one.of}"
    return one.made_at.partition("T")[0], one.words, str(one.electrodes), error, rank


def _tell(study: SignalStudy) -> None:
    for text in study.seen.warnings:
        say(f"warning: {text}")
    if study.first is not None:
        _tell_ranking(study)
    _tell_unranked(study)
    _tell_windows(study)
    say(f"{study.verdict}.")
    _tell_block(study)
    _tell_left_out(study)
    _tell_hidden(study)


def _tell_ranking(study: SignalStudy) -> None:
    results = study.results
    ranked = [one for one in study.definitions if one.is_ranked]
    electrodes, batches = counted(len(results["electrodes"]), "electrode"), counted(results["batches"], "batch")
    say(
        f"{counted(len(ranked), 'definition')}, all judged on the same {electrodes} of {batches}, "
        f"{counted(results['controls'], 'control')} among them; each batch was read by what the others teach."
    )
    apart = len({_where(one.candidate.section.model_dump(mode="json")) for one in ranked}) > 1
    head = ("", "quantity", "baseline", "window", "", "error", "by curve", "above", "")
    say_table(head, [_row(place, one, apart) for place, one in enumerate(ranked, start=1)], right=(0, 5, 6, 7))
    scaled = ", signals divided by the covariate" if results["scaled_by_covariate"] else ""
    typical = ranked[0].shown["typical"]
    say(
        f"Error: mean of |ln((read + d)/(true + d))|, d = {results['step']:.3g} {study.unit}; {typical:.2f} is a "
        f"factor of {math.exp(typical):.2f}, and one guess for all gives {results['guess']:.2f}. The best few and the "
        "present one are read by the response model and stand first; the others by one curve for "
        f"all{scaled}. Above: share read as above the plateau.",
        2,
    )
    click.echo()


def _where(section: dict[str, Any]) -> str:
    """Sweep and cycle of a definition, none of a spectrum's."""
    return f" {section['sweep']}, {section['cycle']}" if "sweep" in section else ""


def _row(place: int, one: RankedDefinition, apart: bool) -> tuple[str, ...]:
    """apart : whether the definitions differ in sweep or cycle."""
    section = one.candidate.section.model_dump(mode="json")
    window = next(section[key] for key in ("window_V", "window_nm", "wavelengths_nm") if key in section)
    digits = 2 if "window_V" in section else 0
    model, curve = one.entry["by_model"], one.entry["by_curve"]
    remarks = [word for word, holds in (("present", one.candidate.present), ("worse", one.told_apart)) if holds]
    return (
        str(place),
        f"{section['quantity']}{_where(section) if apart else ''}",
        section.get("baseline", ""),
        f"{window[0]:.{digits}f} {window[1]:.{digits}f}",
        one.candidate.window,
        "" if model is None else f"{model['typical']:.3f}",
        f"{curve['typical']:.3f}",
        f"{one.shown['open_share']:.0%}",
        ", ".join(remarks),
    )


def _tell_unranked(study: SignalStudy) -> None:
    from brinemark.steps.candidates import definition_words

    for one in study.definitions:
        if one.entry["reason"] is not None:
            say(f"not ranked: {definition_words(one.candidate.section)}: {one.entry['reason']}", 2)
        if one.entry["model_reason"] is not None:
            say(f"not read by the model: {definition_words(one.candidate.section)}: {one.entry['model_reason']}", 2)


def _tell_windows(study: SignalStudy) -> None:
    from brinemark.steps.study_answers import LEAKAGE, proposal_words

    if study.windows is None:
        return
    unit = (
        "nm" if study.definitions and study.definitions[0].candidate.section.quantity in ("band", "difference") else "V"
    )
    say(proposal_words(study.windows, unit))
    if study.windows.windows:
        say(f"{LEAKAGE.capitalize()}.", 2)
    click.echo()


def _tell_block(study: SignalStudy) -> None:
    from brinemark.steps.candidates import settings_block
    from brinemark.steps.study_answers import whole_curve_words

    first = study.first
    if first is None:
        return
    say(whole_curve_words(study.results["whole_curve"]), 2)
    alike = [one for one in study.definitions[1:] if one.is_ranked and not one.told_apart]
    if alike:
        say(
            f"{counted(len(alike), 'other definition')} cannot be told apart from the first: chance alone gives such "
            "differences, paired over electrodes, in more than 5 % of such studies. The first of many looks better "
            "than it is.",
            2,
        )
    if study.sees and not first.candidate.present:
        click.echo()
        say("The first one as it stands in logbook.toml:")
        click.echo()
        for line in settings_block(first.candidate.section).splitlines():
            click.echo(f"    {line}")
    click.echo()


def _tell_left_out(study: SignalStudy) -> None:
    reasons = Counter(
        one.reason if not one.reason.startswith("pre-scan") else "pre-scan failed" for one in study.left_out
    )
    for reason, count in reasons.items():
        say(f"{counted(count, 'electrode')} of known level left out: {reason}.")


def _tell_hidden(study: SignalStudy) -> None:
    from brinemark.steps.study_answers import HIDDEN

    say(HIDDEN)
    if study.seen.locked:
        say("The present definition is locked: a sample was read by it.")

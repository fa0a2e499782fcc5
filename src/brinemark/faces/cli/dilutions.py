"""The verb dilute: standards from a stock, or a sample diluted, with what is at hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.dilutions import DEFAULT_KIT, USUAL, Diluent, Flask, Kit, Pipette, Stock, Wish
from brinemark.terms.errors import Refused
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.dilute import SamplePlan, StandardsPlan
    from brinemark.terms.dilutions import BudgetLine, Step

Section = TypeVar("Section")
MOST = 5  # lines of a budget that are printed; --json has all


@click.command(short_help="Dilute a stock or a sample, with a budget.")
@click.option("--stock-level", type=float, metavar="LEVEL", help="Level of the stock that standards are made from.")
@click.option("--stock-rel-u", type=float, metavar="SHARE", help="Its relative standard uncertainty.")
@click.option("--stock", metavar="ID", help="A stock of the logbook's settings instead of these two.")
@click.option("--to", type=float, multiple=True, metavar="LEVEL", help="A level to make; once for each.")
@click.option("--by", type=float, metavar="FACTOR", help="Dilute a sample by this factor instead.")
@click.option("--sample-volume", type=float, metavar="ML", help="The most that may be taken of the sample.")
@click.option("--lot-level", type=float, metavar="LEVEL", help="What the seawater to dilute with holds.")
@click.option("--lot-u", type=float, metavar="LEVEL", help="Standard uncertainty of that.")
@click.option("--lot", metavar="ID", help="A lot of the logbook's settings instead of these two.")
@click.option("--unit", metavar="UNIT", help="Unit of every level; ug/L, or the logbook's with --stock or --lot.")
@click.option(
    "--pipette", multiple=True, metavar="ML:TOL", help="A pipette, as 10:0.02 or 0.1-1:0.008:0.003; once for each."
)
@click.option("--flask", multiple=True, metavar="ML:TOL", help="A flask, as 100:0.1; once for each.")
@click.option("--smallest", type=float, metavar="ML", help="Pipette nothing below this volume.")
@click.option("--volume", type=float, metavar="ML", help="Least volume of each finished solution.")
@click.option("--rel-u", type=float, metavar="SHARE", help="Relative uncertainty wanted from volumes alone.")
@click.option("--steps", type=int, metavar="N", help="Most new solutions for one level.")
@json_option
@click.pass_obj
def dilute(session: Session, /, as_json: bool, **given: Any) -> None:
    """Find dilutions that lead to the wanted levels, with the budget of their uncertainty.

    ML:TOL is a volume with the half width of its tolerance, both in mL; a pipette that is set has a range of volumes.
    A third number is the scatter of one delivery or filling. u before the tolerance: it is a standard uncertainty.
    Without --pipette or --flask the usual sizes are taken, with tolerances from memory. Only --stock and --lot need a
    logbook.

    \b
    Examples:
      brinemark dilute --stock-level 1000000 --stock-rel-u 0.002 \\
          --to 0.5 --to 2 --to 8 --lot-level 0.05 --lot-u 0.01
      brinemark dilute --by 10 --sample-volume 5 --flask 25:0.04 \\
          --pipette 0.5-5:0.03
    """
    _check_use(given)
    stock, diluent, unit = _solutions(session, given)
    kit, wish = kit_of(given), _wish(given)
    if given["by"] is not None:
        from brinemark.steps.dilute import plan_sample

        most = math.inf if given["sample_volume"] is None else given["sample_volume"]
        sample = plan_sample(given["by"], unit, kit, diluent, wish, most)
        _answer(as_json, sample.to_dict, lambda: tell_sample(sample))
        return
    from brinemark.steps.dilute import plan_standards

    standards = plan_standards(stock, given["to"], unit, kit, diluent, wish)
    _answer(as_json, standards.to_dict, lambda: tell_standards(standards))


def tell_standards(plan: StandardsPlan) -> None:
    """What to make in which order, the levels, where their uncertainty comes from, and the cautions."""
    scheme, unit = plan.scheme, plan.unit
    say(
        f"{counted(len(scheme.levels), 'standard')} from a stock of {amount(plan.stock.level)} {unit}: "
        f"{amount(scheme.stock_mL)} mL of stock, {amount(scheme.diluent_mL)} mL of seawater."
    )
    click.echo()
    say("Make, in this order, each flask filled up with seawater:")
    _tell_solutions(scheme.solutions, f"level, {unit}")
    click.echo()
    say(f"Levels ({unit}), with standard uncertainty and its relative parts:")
    _tell_levels(plan)
    for one in scheme.levels:
        if one.reason is not None:
            say(f"{one.wanted:g} {unit}: not reached; {one.reason}.", 2)
    for one in scheme.levels:
        if one.level is not None:
            click.echo()
            say(f"Uncertainty of {amount(one.level)} {unit} comes from:")
            _tell_budget(one.budget, unit)
    click.echo()
    _tell_shared(plan)
    _tell_remarks(plan.warnings, plan.cautions)
    if plan.complete:
        say_next(
            "into the run sheet: level as reached, level_rel_u its part of volumes;",
            "the stock's own error belongs in [stock.ID], the seawater's in [lot.ID]",
        )


def tell_sample(plan: SamplePlan) -> None:
    """How to dilute, the factor reached, and what the seawater brings."""
    one, unit = plan.dilution, plan.unit
    if one.factor is None or one.rel_u is None:
        say(f"A dilution by {one.wanted:g} is not reached: {one.reason}.")
        _tell_remarks(plan.warnings, plan.cautions)
        return
    say(
        f"Dilution {one.factor:.6g}, relative standard uncertainty {one.rel_u:.2g}: {amount(one.sample_mL)} mL of "
        f"sample, {amount(one.diluent_mL)} mL of seawater."
    )
    say(f"The seawater adds {amount(one.added)} +- {one.added_u:.2g} {unit} to the cell, whatever the sample holds.")
    click.echo()
    say("Make, in this order, each flask filled up with seawater:")
    _tell_solutions(one.steps, "share of sample")
    click.echo()
    say("Uncertainty of the dilution comes from:")
    _tell_budget(one.budget, "")
    click.echo()
    _tell_remarks(plan.warnings, plan.cautions)
    say_next(f"into the run sheet: dilution = {one.factor:.6g}, the seawater's id as matrix_lot")


def _tell_solutions(steps: Sequence[Step], what: str) -> None:
    rows = [
        (
            one.name,
            f"{one.volume_mL:g} mL",
            one.source,
            one.pipette.name.removeprefix("pipette "),
            one.flask.name.removeprefix("flask "),
            f"{one.level:.4g}",
        )
        for one in steps
    ]
    say_table(("to make", "take", "of", "with the pipette", "in the flask", what), rows, right=(1, 4, 5))


def _tell_levels(plan: StandardsPlan) -> None:
    rows: list[tuple[str, ...]] = []
    for one in plan.scheme.levels:
        if one.level is None or one.u is None:
            rows.append((f"{one.wanted:g}", "none", "", "", "", "", ""))
            continue
        parts = (one.u, one.u_stock, one.u_volumes, one.u_diluent)
        shares = [f"{100.0 * part / one.level:.2g} %" for part in parts]
        rows.append((f"{one.wanted:g}", f"{one.level:.4g}", *shares, one.steps[-1].name))
    head = ("wanted", "level", "u", "of stock", "of volumes", "of seawater", "in")
    say_table(head, rows, right=(0, 1, 2, 3, 4, 5))


def _tell_budget(lines: Sequence[BudgetLine], unit: str) -> None:
    rows = [
        (
            line.quantity,
            "" if line.rel_u is None else f"{100.0 * line.rel_u:.2g} %",
            f"{line.contribution:.2g}",
            f"{line.share:.1%}",
        )
        for line in lines[:MOST]
    ]
    rest = sum(line.share for line in lines[MOST:])
    if rest > 0.0:
        rows.append((counted(len(lines) - MOST, "smaller input"), "", "", f"{rest:.1%}"))
    contribution = f"contribution, {unit}" if unit else "contribution"
    say_table(("input", "its own u", contribution, "share of u^2"), rows, right=(1, 2, 3))


def _tell_shared(plan: StandardsPlan) -> None:
    from brinemark.steps.dilute import lowest_and_highest_correlation

    ends = lowest_and_highest_correlation(plan.scheme)
    if ends is not None:
        say(f"Errors of two levels go together: correlation {ends[0]:.2f} to {ends[1]:.2f}.", 2)


def _tell_remarks(warnings: Sequence[str], cautions: Sequence[str]) -> None:
    for text in warnings:
        say(f"warning: {text}", 2)
    click.echo()
    say("Cautions (docs/safety.md):")
    for text in cautions:
        say(text, 2)


def _answer(as_json: bool, data: Callable[[], Any], tell: Callable[[], None]) -> None:
    if as_json:
        say_json(data())
    else:
        tell()


def _check_use(given: dict[str, Any]) -> None:
    from_stock = given["stock_level"] is not None or given["stock"] is not None
    if given["by"] is None and not (from_stock and given["to"]):
        raise click.UsageError("write --stock-level (or --stock) and --to for standards, or --by for a sample")
    if given["by"] is not None and (from_stock or given["to"]):
        raise click.UsageError("--by dilutes a sample; --stock-level and --to make standards: write one of the two")
    for named, numbers in (("stock", ("stock_level", "stock_rel_u")), ("lot", ("lot_level", "lot_u"))):
        if given[named] is not None and any(given[number] is not None for number in numbers):
            raise click.UsageError(f"--{named} names one of the settings: leave its numbers out")
    if given["sample_volume"] is not None and given["by"] is None:
        raise click.UsageError("--sample-volume belongs to --by")


def _solutions(session: Session, given: dict[str, Any]) -> tuple[Stock, Diluent, str]:
    """Stock, seawater and unit as given, or as the logbook's settings have them."""
    stock = Stock(given["stock_level"] or 0.0, given["stock_rel_u"] or 0.0)
    diluent = Diluent(given["lot_level"] or 0.0, given["lot_u"] or 0.0)
    if given["stock"] is None and given["lot"] is None:
        return stock, diluent, given["unit"] or "ug/L"
    with session.open() as logbook:
        settings = logbook.settings
    if given["unit"] not in (None, settings.analyte.level_unit):
        raise click.UsageError(f"levels of this logbook are in {settings.analyte.level_unit}: leave --unit out")
    if given["stock"] is not None:
        found = _named(settings.stock, "stock", given["stock"])
        if found.level is None:
            raise Refused(f"stock {given['stock']!r} without a level", "[stock.ID] level", "add it to logbook.toml")
        stock = Stock(found.level, found.rel_u or 0.0)
    if given["lot"] is not None:
        lot = _named(settings.lot, "lot", given["lot"])
        diluent = Diluent(lot.content, lot.u)
    return stock, diluent, settings.analyte.level_unit


def _named(sections: Mapping[str, Section], kind: str, name: str) -> Section:
    if name not in sections:
        there = ", ".join(sections) or "none"
        raise Refused(f"no {kind} {name!r} in logbook.toml", f"one of its {kind} sections ({there})", "check the id")
    return sections[name]


def kit_of(given: Mapping[str, Any]) -> Kit:
    """The usual vessels, or those of --pipette, --flask and --smallest."""
    kit = DEFAULT_KIT
    if given["pipette"]:
        kit = replace(kit, pipettes=tuple(_pipette(text) for text in given["pipette"]))
    if given["flask"]:
        kit = replace(kit, flasks=tuple(_flask(text) for text in given["flask"]))
    return kit if given["smallest"] is None else replace(kit, smallest_mL=given["smallest"])


def _wish(given: dict[str, Any]) -> Wish:
    wanted = {"volume_mL": given["volume"], "rel_u": given["rel_u"], "steps": given["steps"]}
    return replace(USUAL, **{name: value for name, value in wanted.items() if value is not None})


def _pipette(text: str) -> Pipette:
    try:
        span, tolerance, repeat, shape = _parts(text, "rectangular")
        low, _, high = span.rpartition("-")
        return Pipette(float(high), tolerance, repeat, float(low) if low else None, shape)
    except ValueError:
        raise click.BadParameter(
            f"{text!r} should be like 10:0.02, 0.1-1:0.008 or 0.1-1:0.008:0.003", param_hint="--pipette"
        ) from None


def _flask(text: str) -> Flask:
    try:
        volume, tolerance, repeat, shape = _parts(text, "triangular")
        return Flask(float(volume), tolerance, repeat, shape)
    except ValueError:
        raise click.BadParameter(f"{text!r} should be like 100:0.1 or 100:0.1:0.02", param_hint="--flask") from None


def _parts(text: str, shape: str) -> tuple[str, float, float, str]:
    volume, tolerance, *more = text.split(":")
    if len(more) > 1:
        raise ValueError(text)
    normal = tolerance.startswith("u")
    repeat = float(more[0]) if more else 0.0
    return volume, float(tolerance.removeprefix("u")), repeat, "normal" if normal else shape

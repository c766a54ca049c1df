"""The commands for a day or a night out: does it stay powered, and which tasks fit?"""

from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from energy.cli.options import (
    AllCautions,
    Asked,
    Battery,
    Csv,
    Date,
    Done,
    Force,
    Json,
    Now,
    OpenIt,
    PlanPath,
    Plot,
    Set,
    Write,
    amounts,
    moment,
    percent,
    save_picture,
    wrong_input_in_lines,
)

if TYPE_CHECKING:
    from energy.plan import Plan


def check(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    csv: Csv = None,
    plot: Plot = None,
    open_it: OpenIt = False,
    now: Now = None,
    battery: Battery = None,
    done: Done = None,
    skies: Annotated[
        bool, typer.Option("--skies", help="Also under a clear, a broken and an overcast sky.")
    ] = False,
    no_fixes: Annotated[
        bool, typer.Option("--no-fixes", help="Do not look for changes that make it a yes.")
    ] = False,
    all_cautions: AllCautions = False,
    force: Force = False,
) -> None:
    """Does this day of work, or this night out, stay powered?"""
    asked = Asked(plan, date, given, json, all_cautions, force)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check import words
        from energy.answers.check.check import check as ask
        from energy.answers.fix.fix import Fixes, fixes
        from energy.answers.fix.words import fix_lines
        from energy.show import files

        read = asked.read(csv, plot)
        at, charge, was_done = moment(now, read), percent(battery), amounts(done)
        answer = ask(read, now=at, battery_percent=charge, done=was_done, skies=skies)
        warned, own = cautions(answer.budget), asked.own(read)
        fixed = Fixes((), ()) if no_fixes else fixes(answer.budget)
        if csv is not None:
            files.write_timeline(answer, csv)
        save_picture(lambda: answer.plot(warned), plot, open_it)
        asked.tell(
            answer.as_dict() | {"fixes": [fix.as_dict() for fix in fixed.found]},
            lambda out: words.show_check(
                answer,
                out,
                None if no_fixes else fix_lines(fixed),
                demo=asked.demo,
                own=() if own is None else own.tools,
            ),
            warned,
            read,
        )
        asked.written(csv, plot)
    raise typer.Exit(0 if answer.yes else 1)


def choose(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    sky: Annotated[
        str | None, typer.Option(metavar="SKY", help="Under another sky: overcast, broken, ...")
    ] = None,
    how_many: Annotated[
        str | None,
        typer.Option("--how-many", metavar="TOOL", help="Only: how many more of a tool fit."),
    ] = None,
    now: Now = None,
    battery: Battery = None,
    done: Done = None,
    calendar: Annotated[
        Path | None,
        typer.Option("--calendar", metavar="FILE.ics", help="The timetable as iCalendar."),
    ] = None,
    effort: Annotated[
        int,
        typer.Option(min=1, max=6, help="How far to search: each more tries three times as much."),
    ] = 1,
    all_cautions: AllCautions = False,
    force: Force = False,
) -> None:
    """Which tasks fit, when to run each, and what is left out?"""
    asked = Asked(plan, date, given, json, all_cautions, force)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.rest import rest_of, under
        from energy.answers.choose import words
        from energy.answers.choose.choose import choose as ask
        from energy.answers.choose.how_many import how_many as ask_how_many
        from energy.plan import PlanError
        from energy.show.console import console
        from energy.show.progress import progress

        read = asked.read(write, plot, calendar)
        if how_many is not None and (write or plot or calendar or open_it):
            raise PlanError(
                ["--how-many only counts: leave out --write, --plot, --open and --calendar"]
            )
        day = moment(now, read), percent(battery), amounts(done)
        changes = under(read, sky)
        so_far = _so_far(asked, read.replace(**changes), *day, choosing=how_many is None)
        if how_many is not None:
            more = ask_how_many(read.replace(**changes), how_many, *day)
            show, care = partial(words.show_how_many, more), cautions(more.budget)
            asked.tell(more.as_dict() | so_far, show, care, read)
            raise typer.Exit(0 if more.count else 1)
        changes |= rest_of(read, *day)
        read = read.replace(**changes)
        with progress(console(errors=True), "choices") as ticker:
            answer = ask(read, effort=effort, progress=ticker)
        if answer.possible:
            asked.write_plan(write, changes | answer.change)
            if calendar is not None:
                words.write_calendar(answer, calendar)
        save_picture(answer.plot, plot, open_it)
        show, care = partial(words.show_choice, answer), cautions(answer.budget)
        asked.tell(answer.as_dict() | so_far, show, care, read)
        why = "" if answer.possible else "there is no choice to put into it"
        asked.written(write, calendar, but=why)
        asked.written(plot)
    raise typer.Exit(0 if answer.yes else 1)


def _so_far(
    asked: Asked,
    read: "Plan",
    at: datetime | None,
    charge_percent: float | None,
    done: dict[str, float | str],
    *,
    choosing: bool,
) -> dict[str, Any]:
    """How a day under way runs against its plan, in words at once, and for `--json`; nothing
    without a time."""
    if at is None:
        return {}
    from energy.answers.check.check import check as ask
    from energy.answers.check.words import show_now
    from energy.show.console import console

    under_way = ask(read, now=at, battery_percent=charge_percent, done=done)
    if not asked.json:
        show_now(under_way, console(), choosing=choosing)
    return {"now": under_way.as_dict()["now"]}

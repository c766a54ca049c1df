"""The commands: read, ask, show. Each is a function of a few lines; the answers live below.

Those about kit, plan files and weather are in `cli_kit`.
"""

import gc
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from energy.cli.kit import learn, new, tools, weather
from energy.cli.options import (
    DEMO,
    AllCautions,
    Battery,
    Csv,
    Done,
    Json,
    Now,
    OpenIt,
    PlanPath,
    Plot,
    Write,
    amounts,
    charge_picture,
    draw,
    moment,
    own_of,
    percent,
    say_care,
    say_not_written,
    say_written,
    with_care,
    write_plan,
    wrong_input_in_lines,
)

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Will a day of work or a night out, away from the mains, stay powered?",
    epilog="Exit status: 0 yes, 1 no, 2 the input is wrong, 3 something it needs is not there.",
)


def _version(wanted: bool) -> None:
    if wanted:
        from energy import __version__

        typer.echo(f"energy {__version__}")
        raise typer.Exit


@app.callback()
def energy(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Say nothing of what is under way.")
    ] = False,
) -> None:
    """Will a day of work or a night out, away from the mains, stay powered?"""
    if quiet:
        os.environ["ENERGY_QUIET"] = "1"


@app.command()
def check(
    plan: PlanPath = None,
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
) -> None:
    """Does this day of work, or this night out, stay powered?"""
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import check as ask
        from energy.answers.check.check import words as text
        from energy.answers.fix.fix import Fixes, fixes
        from energy.plan import Plan
        from energy.show import files

        files.refuse_the_same(plan, csv, plot)
        read = Plan.read(plan or DEMO)
        answer = ask(
            read,
            now=moment(now, read),
            battery_percent=percent(battery),
            done=amounts(done),
            skies=skies,
        )
        warned = cautions(answer.budget)
        fixed = Fixes((), ()) if no_fixes else fixes(answer.budget)
        if csv is not None:
            files.write_timeline(answer, csv)
        draw(lambda: charge_picture(answer.budget, warned), plot, open_it)
        if json:
            beside = {"fixes": [fix.as_dict() for fix in fixed.found]}
            typer.echo(
                files.as_json(with_care(answer.as_dict() | beside, own_of(read, plan), warned))
            )
        else:
            own = own_of(read, plan)
            tools = () if own is None else own.tools
            text.show_check(answer, text.console(), fixed, demo=plan is None, own=tools)
            say_care(own, warned, all_cautions)
            say_written(csv, plot)
    raise typer.Exit(0 if answer.yes else 1)


@app.command()
def choose(
    plan: PlanPath = None,
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
) -> None:
    """Which tasks fit, when to run each, and what is left out?"""
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import check as ask_check
        from energy.answers.check.check import words as text
        from energy.answers.check.rest import rest_of, under
        from energy.answers.choose.choose import choose as ask
        from energy.answers.choose.choose import words as timetable
        from energy.answers.choose.how_many import how_many as ask_how_many
        from energy.answers.size.size import words as sizes
        from energy.plan import Plan, PlanError
        from energy.show import files

        files.refuse_the_same(plan, write, plot, calendar)
        if how_many is not None and (write or plot or calendar or open_it):
            raise PlanError(
                ["--how-many only counts: leave out --write, --plot, --open and --calendar"]
            )
        read = Plan.read(plan or DEMO)
        at, charge, was_done = moment(now, read), percent(battery), amounts(done)
        other, beside = under(read, sky), {}
        if at is not None:
            checked = ask_check(
                read.replace(**other), now=at, battery_percent=charge, done=was_done
            )
            beside = {"now": checked.as_dict()["now"]}
            if not json:
                text.show_now(checked, text.console(), choosing=how_many is None)
        if how_many is not None:
            many = ask_how_many(read.replace(**other), how_many, at, charge, was_done)
            warned = cautions(many.budget)
            if json:
                typer.echo(
                    files.as_json(with_care(many.as_dict() | beside, own_of(read, plan), warned))
                )
            else:
                timetable.show_how_many(many, text.console())
                say_care(own_of(read, plan), warned, all_cautions)
            raise typer.Exit(0 if many.count else 1)
        changes = other | rest_of(read, at, charge, was_done)
        read = read.replace(**changes)
        with sizes.progress(text.console(errors=True), "choices") as told:
            answer = ask(read, effort=effort, progress=told)
        if write is not None and answer.possible:
            write_plan(write, plan, changes | answer.change)
        if calendar is not None and answer.possible:
            timetable.write_calendar(answer, calendar)
        draw(answer.plot, plot, open_it)
        warned = cautions(answer.budget)
        if json:
            typer.echo(
                files.as_json(with_care(answer.as_dict() | beside, own_of(read, plan), warned))
            )
        else:
            timetable.show_choice(answer, text.console())
            say_care(own_of(read, plan), warned, all_cautions)
            if answer.possible:
                say_written(write, calendar)
            else:
                say_not_written("there is no choice to put into it", write, calendar)
            say_written(plot)
    raise typer.Exit(0 if answer.yes else 1)


@app.command()
def size(
    plan: PlanPath = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    season: Annotated[
        str, typer.Option(metavar="job|year", help="year: for a shed that stays, whole years.")
    ] = "job",
    all_cautions: AllCautions = False,
) -> None:
    """How large must panels and pack be for this job, or for a shed that stays?"""
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import words as text
        from energy.answers.size.candidates import read_candidates
        from energy.answers.size.kits import kits
        from energy.answers.size.size import size as ask
        from energy.answers.size.size import words as sizes
        from energy.answers.size.size import year_words as year_text
        from energy.answers.size.worksheet import worksheet
        from energy.answers.size.year_size import YearSize, year_size
        from energy.plan import Plan, PlanError
        from energy.show import files
        from energy.simulation.budget import budget

        if season not in ("job", "year"):
            raise PlanError([f'--season must be job or year (got "{season}")'])
        files.refuse_the_same(plan, plot, write)
        read = Plan.read(plan or DEMO)
        file = read.size.candidates if read.size is not None and season == "job" else None
        listed = None if file is None else read_candidates(file)
        with sizes.progress(text.console(errors=True), "sizes") as told:
            answer = ask(read, told) if season == "job" else year_size(read, told)
            bought = None if listed is None else kits(answer.designs, listed, told)
        sheet = worksheet(answer.designs.groups[0])
        warned = cautions(answer.budget or budget(read))
        draw(answer.plot, plot, open_it)
        if write is not None and answer.yes:
            write_plan(write, plan, answer.change)
        if json:
            notes = answer.kit_notes if isinstance(answer, YearSize) else ()
            beside = {
                "kits": [] if bought is None else [kit.as_dict() for kit in bought.found],
                "kit_notes": notes if bought is None else (*bought.out, *bought.notes),
                "worksheet": sheet.as_dict(),
            }
            typer.echo(
                files.as_json(with_care(answer.as_dict() | beside, own_of(read, plan), warned))
            )
        else:
            if isinstance(answer, YearSize):
                year_text.show_years(answer, text.console(), demo=plan is None)
            else:
                sizes.show_size(answer, sheet, text.console(), bought, demo=plan is None)
            say_care(own_of(read, plan), warned, all_cautions)
            say_written(plot, write if answer.yes else None)
            if not answer.yes:
                say_not_written("there is no size to put into it", write)
    raise typer.Exit(0 if answer.yes else 1)


@app.command()
def aim(
    plan: PlanPath = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    all_cautions: AllCautions = False,
) -> None:
    """Where should the panels point, and is turning them worth getting up for?"""
    with wrong_input_in_lines():
        from energy.answers.aim.aim import aim as ask
        from energy.answers.aim.aim import words as aiming
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import words as text
        from energy.plan import Plan
        from energy.show import files

        files.refuse_the_same(plan, plot, write)
        read = Plan.read(plan or DEMO)
        answer = ask(read)
        draw(answer.plot, plot, open_it)
        if write is not None:
            write_plan(write, plan, answer.change)
        warned = cautions(answer.plan.budget)
        if json:
            typer.echo(files.as_json(with_care(answer.as_dict(), own_of(read, plan), warned)))
        else:
            aiming.show_aim(answer, text.console())
            say_care(own_of(read, plan), warned, all_cautions)
            say_written(write, plot)


@app.command()
def wire(
    plan: PlanPath = None,
    json: Json = False,
    lowest_c: Annotated[
        float | None,
        typer.Option("--lowest-c", metavar="DEG", help="The place's record-low air, degrees C."),
    ] = None,
    all_cautions: AllCautions = False,
) -> None:
    """Which cable and which fuse for each run, and do the panels' strings suit the input?"""
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import words as text
        from energy.answers.wire.strings import with_record_low
        from energy.answers.wire.wire import wire as ask
        from energy.answers.wire.wire import words as wiring
        from energy.plan import Plan
        from energy.show import files
        from energy.simulation.budget import budget

        read = Plan.read(plan or DEMO)
        if lowest_c is not None:
            read = with_record_low(read, lowest_c)
        found = budget(read)
        answer, warned = ask(found), cautions(found)
        if json:
            typer.echo(files.as_json(with_care(answer.as_dict(), own_of(read, plan), warned)))
        else:
            wiring.show_wire(answer, text.console(), demo=plan is None)
            say_care(own_of(read, plan), warned, all_cautions)
    raise typer.Exit(0 if answer.yes else 1)


for command in (learn, tools, new, weather):
    app.command()(command)


def main() -> None:
    """The entry point: what speeds up a short run, then the commands."""
    gc.disable()  # a short run frees its memory by ending
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no arrays here are large enough for two
    try:
        app(prog_name="energy")
        status = 0
    except SystemExit as ending:
        status = ending.code if isinstance(ending.code, int) else int(ending.code is not None)
    except KeyboardInterrupt:
        status = 130
    leave(status)


def leave(status: int) -> None:
    """End at once: all files are closed, and taking the libraries apart would cost 0.1 s."""
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:  # whoever read the output has gone
        status = status or 1
    os._exit(status)

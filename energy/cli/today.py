"""The commands for a day or a night out: does it stay powered, and which tasks fit?"""

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from energy.cli.options import (
    All,
    Asked,
    Battery,
    Care,
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
    refuse_picture,
    save_picture,
    wanted,
    wrong_input_in_lines,
)

if TYPE_CHECKING:
    from energy.answers.check.check import Check
    from energy.answers.fix.fix import Fixes
    from energy.show.layout import Part, Sheet


def check(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    csv: Csv = None,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    number: Annotated[
        int | None,
        typer.Option("--fix", metavar="N", min=1, help="Of the changes, the one for --write."),
    ] = None,
    now: Now = None,
    battery: Battery = None,
    done: Done = None,
    skies: Annotated[
        bool, typer.Option("--skies", help="Also under a clear, a broken and an overcast sky.")
    ] = False,
    tasks: Annotated[bool, typer.Option("--tasks", help="Each task: what it takes.")] = False,
    energy: Annotated[bool, typer.Option("--energy", help="Where the energy went.")] = False,
    every_fix: Annotated[
        bool, typer.Option("--fixes", help="Every change that makes it a yes, and what does not.")
    ] = False,
    no_fixes: Annotated[
        bool, typer.Option("--no-fixes", help="Do not look for changes that make it a yes.")
    ] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """Does this day of work, or this night out, stay powered?

    The table says what the pack's display should show on a middling and on a dull day, and below
    which reading the rest of the plan misses its goal. Changes that make it a yes were all run
    through every weather. With --now and --battery the rest of a day under way is judged: what was
    planned until then counts as done, but for what --done says, in the unit in which the task is
    stated. What is undone comes in what is left of its window, else it is left out. --write takes
    the first of the changes, or the one that --fix names.

    --csv: the first row is the start, then one row a segment's end: time, charge_percent of the
    middling day, charge_low_percent and charge_high_percent (10th and 90th percentile of the
    weathers), and the segment's mean watts: solar_w used, spilled_w, charger_w, load_w asked at the
    outlets, delivered_w, idle_w.
    """
    details = wanted(tasks=tasks, energy=energy, fixes=every_fix, care=care, all=everything)
    asked = Asked(plan, date, given, json, force, details)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import check as ask
        from energy.answers.check.words import sheet, some_runs
        from energy.plan import PlanError
        from energy.show import files
        from energy.show.console import console
        from energy.show.progress import progress

        refuse_picture(plot, open_it)
        read = asked.read(csv, plot, write)
        if number is not None and write is None:
            raise PlanError(["--fix says which change --write takes: give --write FILE too"])
        if write is not None and no_fixes:
            raise PlanError(["--write takes one of the changes: leave out --no-fixes"])
        if write is not None and now is not None:
            raise PlanError(
                ["--write is for a whole plan; energy choose --now writes what is left"]
            )
        at, charge, was_done = moment(now, read), percent(battery), amounts(done)
        with progress(console(errors=True), "check"):
            answer = ask(read, now=at, battery_percent=charge, done=was_done, skies=skies)

        @cache
        def changes() -> "Fixes":
            from energy.answers.fix.fix import fixes

            with progress(console(errors=True), "changes", writes=False) as ticker:
                return fixes(answer.budget, ticker)

        not_written = ""
        if write is not None:
            not_written = _write_fix(asked, write, answer, changes(), number or 1)

        warned, own = cautions(answer.budget), asked.own(read)
        if csv is not None:
            files.write_timeline(answer, csv)
        save_picture(lambda: answer.plot(warned), plot, open_it)

        def as_dict() -> dict[str, Any]:
            if no_fixes:
                return answer.as_dict() | {"fixes": [], "fixes_cut_short": False}
            sought = changes()
            changes_found = [fix.as_dict() for fix in sought.found]
            return answer.as_dict() | {"fixes": changes_found, "fixes_cut_short": sought.cut_short}

        def in_words(width: int, drawings: bool) -> "Sheet":
            def fixed() -> "Part":
                from energy.answers.fix.words import fix_part

                clash, every = some_runs(answer.budget), asked.wants("fixes")
                return fix_part(changes(), width, every=every, clash=clash)

            return sheet(
                answer,
                width,
                None if no_fixes else fixed,
                demo=asked.demo,
                drawn=drawings,
                every=asked.wants("all"),
                own=() if own is None else own.tools,
            )

        asked.tell(as_dict, in_words, warned, read)
        asked.written(csv, plot)
        asked.written(write, but=not_written)
    raise typer.Exit(0 if answer.yes else 1)


def _write_fix(asked: Asked, target: Path, answer: "Check", sought: "Fixes", number: int) -> str:
    """Write the plan with the change of a number; or why there is nothing to write."""
    from energy.plan import PlanError

    if answer.yes:
        return "the plan is a yes as it is"
    if not sought.found:
        return "no change that was tried makes it a yes"
    if number > len(sought.found):
        raise PlanError([f"--fix must be at most {len(sought.found)}, the last of the changes"])
    asked.write_plan(target, sought.found[number - 1].change)
    return ""


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
    left_out: Annotated[
        bool, typer.Option("--left-out", help="All that is left out, and why.")
    ] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """Which tasks fit, when to run each, and what is left out?

    What must run comes first, then priority 1 before any number of 2; within a priority the choice
    serves most of value times the share of each task that runs. Tasks with flexible = true move
    inside their window, in at most two blocks a day; others may do less of what is planned. after
    keeps a task behind another, with keeps two together. The simulation in all weathers judges
    every choice; where something may be missing, the answer says at which priority and how much at
    most, and --effort looks further. The same plan and effort give the same answer anywhere.

    With --now a repeat that is under way goes on whole or not at all, and what is undone is offered
    again. --how-many counts in the unit in which the task is planned, and says why no more fit.
    """
    details = wanted(left_out=left_out, care=care, all=everything)
    asked = Asked(plan, date, given, json, force, details)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.check.check import check as ask_check
        from energy.answers.check.rest import rest_of, under
        from energy.answers.check.words import now_part
        from energy.answers.choose import words
        from energy.answers.choose.choose import choose as ask
        from energy.answers.choose.how_many import how_many as ask_how_many
        from energy.plan import PlanError
        from energy.show.console import console
        from energy.show.layout import Sheet, show
        from energy.show.progress import progress

        refuse_picture(plot, open_it)
        read = asked.read(write, plot, calendar)
        if how_many is not None and (write or plot or calendar or open_it):
            raise PlanError(
                ["--how-many only counts: leave out --write, --plot, --open and --calendar"]
            )
        day = moment(now, read), percent(battery), amounts(done)
        changes = under(read, sky)
        before = None
        if (at := day[0]) is not None:
            under_way = read.replace(**changes)
            before = ask_check(under_way, now=at, battery_percent=day[1], done=day[2])
        so_far = {} if before is None else {"now": before.as_dict()["now"]}

        def said_before(width: int) -> "Part | None":
            return None if before is None else now_part(before, width, choosing=how_many is None)

        if how_many is not None:
            with progress(console(errors=True), "counts"):
                more = ask_how_many(read.replace(**changes), how_many, *day)
            asked.tell(
                lambda: more.as_dict() | so_far,
                lambda width, drawings: words.how_many_sheet(more, width, said_before(width)),
                cautions(more.budget),
                read,
            )
            raise typer.Exit(0 if more.count else 1)
        try:
            changes |= rest_of(read, *day)
        except PlanError:  # nothing is left: what was taken as done says why
            if before is not None and not asked.json:
                out = console()
                show(Sheet([now_part(before, out.width, choosing=True)]), out)
            raise
        read = read.replace(**changes)
        with progress(console(errors=True), "choices") as ticker:
            answer = ask(read, effort=effort, progress=ticker)
        if answer.possible:
            asked.write_plan(write, changes | answer.change)
            if calendar is not None:
                words.write_calendar(answer, calendar)
        warned = cautions(answer.budget)
        save_picture(lambda: answer.plot(warned), plot, open_it)

        def in_words(width: int, drawings: bool) -> "Sheet":
            every = asked.wants("left_out")
            return words.sheet(answer, width, said_before(width), demo=asked.demo, every=every)

        asked.tell(lambda: answer.as_dict() | so_far, in_words, warned, read)
        why = "" if answer.possible else "there is no choice to put into it"
        asked.written(write, calendar, but=why)
        asked.written(plot)
    raise typer.Exit(0 if answer.yes else 1)

"""The command about the day: today, or wait? Which weeks of the year?"""

from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from energy.cli import clock
from energy.cli.options import (
    All,
    Asked,
    Care,
    Force,
    Json,
    OpenIt,
    PlanPath,
    Plot,
    Set,
    Write,
    refuse_picture,
    save_picture,
    wanted,
    wrong_input_in_lines,
)

if TYPE_CHECKING:
    from energy.plan import Plan
    from energy.show.layout import Sheet


def when(
    plan: PlanPath = None,
    first: Annotated[
        str | None,
        typer.Option("--from", "--date", metavar="DATE", help="The first start day asked."),
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="The last start day asked.")
    ] = None,
    year: Annotated[
        bool, typer.Option("--year", help="A year, every 5th day: its seasons.")
    ] = False,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    days: Annotated[bool, typer.Option("--days", help="Every start day, a row each.")] = False,
    every_fix: Annotated[
        bool, typer.Option("--fixes", help="All that the hardest month would need.")
    ] = False,
    no_fixes: Annotated[
        bool, typer.Option("--no-fixes", help="Do not look what the hardest month would need.")
    ] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """Which day should it be: today, or wait? Which weeks of the year does it work at all?

    The plan is asked for each start day, at its own clock times, from today at its place on (a
    built-in one, or one that starts later than in 14 days, from its own start on): as many days as
    a forecast knows, else 14. All days see the same draws of chance, and the same shifts and years
    of a record: they differ by their sun, not by luck. Each day's answer is that of energy check
    --date; a day that check refuses is a no. The best day is a yes rather than almost and almost
    rather than no, then works in most weathers, then keeps most charge.

    --year says from when to when a start works, and what the hardest month would need. --write
    gives the plan moved to the best day. Exit status: 0 when any day is a yes.
    """
    details = wanted(days=days, fixes=every_fix, care=care, all=everything)
    asked = Asked(plan, None, given, json, force, details)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.when.dullest import Dullest, dullest
        from energy.answers.when.when import YEAR_STEP
        from energy.answers.when.when import when as ask
        from energy.answers.when.words import sheet
        from energy.plan.dates import starting
        from energy.show.console import console
        from energy.show.progress import progress

        refuse_picture(plot, open_it)
        read = asked.read(plot, write)
        start, end = _dates(read, first, last, year)
        with progress(console(errors=True), "start days") as ticker:
            answer = ask(read, start, end, YEAR_STEP if year else 1, ticker)
        warned = cautions(answer.budget)
        asked.write_plan(write, starting(read, answer.best.start))
        save_picture(lambda: answer.plot(warned), plot, open_it)

        def needed() -> Dullest | None:
            return None if no_fixes else dullest(answer)

        def as_dict() -> dict[str, Any]:
            most = needed()
            return answer.as_dict() | {"dullest": None if most is None else most.as_dict()}

        def in_words(width: int, _: bool) -> "Sheet":
            return sheet(
                answer,
                width,
                needed,
                demo=asked.demo,
                every=asked.wants("all"),
                every_day=asked.wants("days"),
                every_fix=asked.wants("fixes"),
            )

        asked.tell(as_dict, in_words, warned, answer.budget.plan)
        asked.written(write, plot)
    raise typer.Exit(0 if answer.yes else 1)


def _dates(
    read: "Plan", first: str | None, last: str | None, year: bool
) -> tuple[date, date | None]:
    """The first start day asked, and the last, None for as many as there are."""
    from energy.answers.when.when import AHEAD, YEAR_DAYS
    from energy.plan import PlanError
    from energy.plan.dates import start_date, to_choose_from

    now, zone = clock.now(), read.place.timezone
    if year and last is not None:
        raise PlanError(["--year asks a whole year from --from on: leave out --to"])
    start = read.span.start.date()
    if first is not None:
        start = start_date(first, now, zone, "--from")
    elif not read.origin.startswith("builtin:"):
        start = to_choose_from(read, now, AHEAD)
    if year:
        return start, start + timedelta(YEAR_DAYS - 1)
    return start, None if last is None else start_date(last, now, zone, "--to")

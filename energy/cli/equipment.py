"""The commands about equipment: how large, where to point it, which cables and fuses."""

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from energy.answers.size.kits import Kits
    from energy.answers.size.size import Size
    from energy.plan import Plan
    from energy.show.layout import Sheet

from energy.cli.options import (
    All,
    Asked,
    Care,
    Date,
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


def size(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    season: Annotated[
        str, typer.Option(metavar="job|year", help="year: for a shed that stays, whole years.")
    ] = "job",
    frontier: Annotated[
        bool, typer.Option("--frontier", help="The smallest pack for each size of panel.")
    ] = False,
    steps: Annotated[
        bool, typer.Option("--sheet", help="The same by the classical sheet, step by step.")
    ] = False,
    kits: Annotated[bool, typer.Option("--kits", help="Every kit of the list.")] = False,
    months: Annotated[bool, typer.Option("--months", help="Whole years: each month.")] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """How large must panels and pack be for this job, or for a shed that stays?

    For panels of many sizes the smallest pack is found that reaches 80, 90, 95 and 99 % in the
    weathers of energy check; the pick has the best of weight and price together. What a pack gives
    and takes, its weight and its price grow with its size; what the plan does not state is common
    practice. Each size is a yes of energy check, the next smaller of the list a no. [size] sets the
    ranges; its candidates (a CSV with name, kind, rated_w or capacity_wh, inverter_w, surge_w,
    solar_max_w, charge_max_w, discharge_max_w, kg, price, count_max) are combined: the cheapest
    and lightest that reach the goal come first and decide the answer, --write takes the first of
    them, and what the others lack is told. Several packs count as one for what they hold, but a
    tool runs on one alone, and of their inverters the smallest counts; never wire unlike packs
    together.

    --season year runs whole years of the plan's days: how often the load is lost, by month.
    """
    details = wanted(
        frontier=frontier, sheet=steps, kits=kits, months=months, care=care, all=everything
    )
    asked = Asked(plan, date, given, json, force, details)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.size.kits import Kits
        from energy.answers.size.words import sheet
        from energy.answers.size.worksheet import worksheet
        from energy.plan import PlanError

        if season not in ("job", "year"):
            raise PlanError([f'--season must be job or year (got "{season}")'])
        refuse_picture(plot, open_it)
        read = asked.read(plot, write)
        answer, bought = _sizes(read, season)
        advised = answer if bought is None else bought  # a list of kits is asked about first
        if advised.yes:
            asked.write_plan(write, advised.change)
        save_picture(lambda: answer.plot(bought), plot, open_it)
        years, by_hand = answer.whole_years, worksheet(answer.designs.groups[0])
        listed = bought or Kits((), notes=() if years is None else years.notes)

        def in_words(width: int, _: bool) -> "Sheet":
            shown, every = None if season == "year" else by_hand, asked.wants("all")
            return sheet(answer, width, shown, bought, demo=asked.demo, every=every)

        asked.tell(
            lambda: answer.as_dict() | listed.as_dict() | {"worksheet": by_hand.as_dict()},
            in_words,
            cautions(advised.budget or read),
            read,
        )
        asked.written(plot)
        none = "there is no size to put into it" if bought is None else "no kit does"
        asked.written(write, but="" if advised.yes else none)
    raise typer.Exit(0 if advised.yes else 1)


def _sizes(read: "Plan", season: str) -> "tuple[Size, Kits | None]":
    """The sizes for the plan's own days or for whole years, and the kits of a list."""
    from energy.answers.size.candidates import read_candidates
    from energy.answers.size.kits import kits
    from energy.answers.size.size import size
    from energy.answers.size.year_size import year_size
    from energy.show.console import console
    from energy.show.progress import progress

    file = None if read.size is None or season == "year" else read.size.candidates
    listed = None if file is None else read_candidates(file)
    with progress(console(errors=True), "sizes") as ticker:
        answer = (year_size if season == "year" else size)(read, ticker)
        return answer, None if listed is None else kits(answer.designs, listed, ticker)


def aim(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    turns: Annotated[bool, typer.Option("--turns", help="Every way to turn them.")] = False,
    hours: Annotated[bool, typer.Option("--hours", help="The watts in each hour.")] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """Where should the panels point, and is turning them worth getting up for?

    The pose gives most in the plan's own hours and weathers, with horizon and shade. "A day" is the
    mean of the whole local days of the plan, else all the sun of the dates that it touches.
    Bearings
    are true: a compass needs the local declination. On a boat that swings only the tilt is chosen.
    """
    asked = Asked(
        plan, date, given, json, force, wanted(turns=turns, hours=hours, care=care, all=everything)
    )
    with wrong_input_in_lines():
        from energy.answers.aim.aim import aim as ask
        from energy.answers.aim.words import sheet
        from energy.answers.caution.cautions import cautions
        from energy.show.console import console
        from energy.show.progress import progress

        refuse_picture(plot, open_it)
        read = asked.read(plot, write)
        with progress(console(errors=True), "poses"):
            answer = ask(read)
        save_picture(answer.plot, plot, open_it)
        asked.write_plan(write, answer.change)
        asked.tell(
            answer.as_dict,
            lambda width, _: sheet(answer, width, demo=asked.demo, every=asked.wants("all")),
            cautions(answer.plan.budget),
            read,
        )
        asked.written(write, plot)


def wire(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    lowest_c: Annotated[
        float | None,
        typer.Option("--lowest-c", metavar="DEG", help="The place's record-low air, degrees C."),
    ] = None,
    runs: Annotated[bool, typer.Option("--runs", help="Every run with its rules.")] = False,
    care: Care = False,
    everything: All = False,
) -> None:
    """Which cable and which fuse for each run, and do the panels' strings suit the input?

    [[run]] names a cable; its smallest cross-section is found, or the one that it states is judged.
    A mains lead found has 1.5 mm2 at least (common practice on site); it is judged at
    pack.inverter.volts, else at the usual voltage of the country, the lower where there are two. A
    run from pack to inverter bears the inverter's rating on an empty battery. Tables end at 95 mm2
    and 300 A. Strings are judged in the lowest air that the place is likely ever to have: its
    record (place.lowest_c or --lowest-c), else 8 K below a weather record of a year or more, else
    18 to 30 K below the coldest of twelve monthly means, else -40 C.
    """
    asked = Asked(plan, date, given, json, wanted=wanted(runs=runs, care=care, all=everything))
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.wire.strings import with_record_low
        from energy.answers.wire.wire import wire as ask
        from energy.answers.wire.words import sheet
        from energy.show.console import console
        from energy.show.progress import progress
        from energy.show.title import title_part
        from energy.simulation.budget import budget

        read = asked.read()
        if lowest_c is not None:
            read = with_record_low(read, lowest_c)
        with progress(console(errors=True), "wires"):
            judged = budget(read)
            answer = ask(judged)

        def in_words(width: int, _: bool) -> "Sheet":
            title = title_part(judged, width, demo=asked.demo)
            return sheet(answer, title, width, every=asked.wants("all"))

        asked.tell(answer.as_dict, in_words, cautions(judged), read)
    raise typer.Exit(0 if answer.yes else 1)

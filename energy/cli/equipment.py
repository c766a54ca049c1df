"""The commands about equipment: how large, where to point it, which cables and fuses."""

from typing import Annotated, Any

import typer

from energy.cli.options import (
    AllCautions,
    Asked,
    Date,
    Force,
    Json,
    OpenIt,
    PlanPath,
    Plot,
    Set,
    Write,
    save_picture,
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
    all_cautions: AllCautions = False,
    force: Force = False,
) -> None:
    """How large must panels and pack be for this job, or for a shed that stays?"""
    asked = Asked(plan, date, given, json, all_cautions, force)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.size.worksheet import worksheet
        from energy.plan import PlanError

        if season not in ("job", "year"):
            raise PlanError([f'--season must be job or year (got "{season}")'])
        read = asked.read(plot, write)
        answer, show, more_keys = (_for_a_job if season == "job" else _for_years)(asked, read)
        if answer.yes:
            asked.write_plan(write, answer.change)
        save_picture(answer.plot, plot, open_it)
        asked.tell(
            answer.as_dict()
            | more_keys
            | {"worksheet": worksheet(answer.designs.groups[0]).as_dict()},
            show,
            cautions(answer.budget or read),
            read,
        )
        asked.written(plot)
        asked.written(write, but="" if answer.yes else "there is no size to put into it")
    raise typer.Exit(0 if answer.yes else 1)


def _for_a_job(asked: Asked, read: Any) -> Any:
    """The sizes for the plan's own days, how they are shown, and the kits of the listed pieces."""
    from energy.answers.size.candidates import read_candidates
    from energy.answers.size.kits import kits
    from energy.answers.size.size import size as ask
    from energy.answers.size.words import show_size
    from energy.answers.size.worksheet import worksheet
    from energy.show.console import console
    from energy.show.progress import progress

    file = None if read.size is None else read.size.candidates
    listed = None if file is None else read_candidates(file)
    with progress(console(errors=True), "sizes") as ticker:
        answer = ask(read, ticker)
        bought = None if listed is None else kits(answer.designs, listed, ticker)
    sheet = worksheet(answer.designs.groups[0])
    more_keys = {
        "kits": [] if bought is None else [kit.as_dict() for kit in bought.best],
        "kit_notes": () if bought is None else (*bought.out, *bought.notes),
    }
    return answer, lambda out: show_size(answer, out, sheet, bought, demo=asked.demo), more_keys


def _for_years(asked: Asked, read: Any) -> Any:
    """The sizes for whole years, how they are shown, and what stands in place of kits."""
    from energy.answers.size.words import show_size
    from energy.answers.size.year_size import year_size
    from energy.show.console import console
    from energy.show.progress import progress

    with progress(console(errors=True), "sizes") as ticker:
        answer = year_size(read, ticker)
    notes = () if answer.whole_years is None else answer.whole_years.notes
    more_keys = {"kits": [], "kit_notes": notes}
    return answer, lambda out: show_size(answer, out, demo=asked.demo), more_keys


def aim(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Write = None,
    all_cautions: AllCautions = False,
    force: Force = False,
) -> None:
    """Where should the panels point, and is turning them worth getting up for?"""
    asked = Asked(plan, date, given, json, all_cautions, force)
    with wrong_input_in_lines():
        from energy.answers.aim.aim import aim as ask
        from energy.answers.aim.words import show_aim
        from energy.answers.caution.cautions import cautions

        read = asked.read(plot, write)
        answer = ask(read)
        save_picture(answer.plot, plot, open_it)
        asked.write_plan(write, answer.change)
        asked.tell(
            answer.as_dict(),
            lambda out: show_aim(answer, out),
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
    all_cautions: AllCautions = False,
) -> None:
    """Which cable and which fuse for each run, and do the panels' strings suit the input?"""
    asked = Asked(plan, date, given, json, all_cautions)
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.wire.strings import with_record_low
        from energy.answers.wire.wire import wire as ask
        from energy.answers.wire.words import show_wire
        from energy.simulation.budget import budget

        read = asked.read()
        if lowest_c is not None:
            read = with_record_low(read, lowest_c)
        judged = budget(read)
        answer = ask(judged)
        asked.tell(
            answer.as_dict(),
            lambda out: show_wire(answer, out, demo=asked.demo),
            cautions(judged),
            read,
        )
    raise typer.Exit(0 if answer.yes else 1)

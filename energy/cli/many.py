"""The command for many plans, or one plan at many places."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from energy.cli import clock
from energy.cli.ending import INTERRUPTED
from energy.cli.options import (
    All,
    Asked,
    Care,
    Date,
    Force,
    Json,
    OpenIt,
    Plot,
    Set,
    refuse_picture,
    remark,
    save_picture,
    wanted,
    wrong_input_in_lines,
)

if TYPE_CHECKING:
    from energy.answers.caution.cautions import Caution
    from energy.answers.many.asking import Named
    from energy.plan import Plan
    from energy.show.layout import Sheet

NEEDS_MANY = "needs a plan with --places PLACES.csv, or a folder of plans"
KEEPS = "--to ROWS.csv keeps the rows of a run that is stopped"
GOES_ON = "the same command goes on from there"


def many(
    plan: Annotated[
        str | None,
        typer.Argument(
            metavar="[PLAN|FOLDER]", help="A plan for all --places; or a folder of plans."
        ),
    ] = None,
    places: Annotated[
        Path | None,
        typer.Option(
            "--places", metavar="PLACES.csv", help="A table: name, latitude, longitude, plan keys."
        ),
    ] = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    to: Annotated[
        Path | None,
        typer.Option(
            "--to", "--csv", metavar="ROWS.csv", help="Keep each row here; go on where it ends."
        ),
    ] = None,
    plot: Plot = None,
    open_it: OpenIt = False,
    workers: Annotated[
        int | None,
        typer.Option(metavar="N", min=1, help="So many at once; left out: one a core."),
    ] = None,
    rows: Annotated[bool, typer.Option("--rows", help="Every row, in the order given.")] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """Where does a kit keep its job running, and which of many plans stay powered?

    Each plan is checked in all its weathers, several at once: one plan at every place of a table
    (columns name, latitude, longitude in degrees, and any plan key, such as pack.capacity_wh), or
    every plan of a folder. What is wrong in the table is told at once, before any is checked: exit
    status 2. A plan that fails is a row with its problem: 1, and 0 where every row is an answer,
    whichever.

    --to: a row a plan in the order given: name, latitude, longitude, answer, chance, low, high,
    lowest (percent), error, warning, why (what overloads), fingerprint. The same command goes on
    where the file ends. A row is known again by its place in the order and by the fingerprint of
    its plan, the files and fetched weather it rests on, and the question; --force begins the file
    anew.
    """
    asked = Asked(plan, date, given, json, force, wanted(rows=rows, care=care, all=everything))
    with wrong_input_in_lines():
        import gc

        from energy.answers.check.check import check
        from energy.answers.many.many import many as ask
        from energy.answers.many.words import sheet, weather_words
        from energy.show import files
        from energy.show.console import console
        from energy.show.progress import progress

        refuse_picture(plot, open_it)
        asking = _at_places(asked, places) if places is not None else _in_folder(asked)
        inputs = [*asking.inputs, *(asking.named_files() if force else ())]
        files.refuse_outputs([plot], inputs, force=force)
        files.refuse_outputs([to], filter(None, [*inputs, plot]), force=True)
        gc.enable()  # a long run must free what it no longer needs
        with progress(console(errors=True), "plans", rate=True) as ticker:
            answer = ask(check, asking.plans, workers, to, progress=ticker, force=force)
        weather = weather_words(asking.plan, answer.rows)
        below = [f"Weather: {weather}", *asking.notes]
        save_picture(partial(answer.plot, asking.title, below), plot, open_it)

        def in_words(width: int, _: bool) -> "Sheet":
            goes_on = [] if answer.complete else [KEEPS if to is None else GOES_ON]
            notes = [*goes_on, *(asking.notes if answer.plans else ())]
            every = asked.wants("rows")
            return sheet(answer, asking.title, weather, width, notes=notes, every=every)

        asked.tell(answer.as_dict, in_words, _cautions(asking.plan) if answer.plans else None)
        asked.written(to, plot)
    if not answer.complete:
        raise typer.Exit(INTERRUPTED)
    raise typer.Exit(1 if answer.problems else 0)


@dataclass(frozen=True)
class _Asking:
    """The plans that are asked, what they are called together, the files that are read for them,
    what is to be remarked, and the plan that they are all made from, if one."""

    plans: "Iterable[Named]"
    title: str
    inputs: Sequence[Path]
    notes: Sequence[str] = ()
    plan: "Plan | None" = None

    def named_files(self) -> Iterator[Path]:
        """Every file that one of the plans reads: what must not be replaced."""
        from energy.plan import PlanError

        for _, plan in self.plans:
            yield from () if isinstance(plan, PlanError) else plan.files


def _at_places(asked: Asked, places: Path) -> _Asking:
    """A plan at every place of a table."""
    from energy.answers.many.places import PlansAt, keys_that_differ, read_places
    from energy.answers.many.words import at_sea_lines
    from energy.plan import PlanError
    from energy.plan.dates import over
    from energy.plan.words import and_list
    from energy.show.moments import day_name

    if asked.source is not None and os.path.isdir(asked.source):
        raise PlanError(["--places is for one plan; give that plan instead of a folder"])
    plan = asked.plan()
    plans = PlansAt(plan, read_places(places, plan))
    remark(at_sea_lines(plans.places, afloat="afloat" in plan.place.around))
    if asked.date is None and not asked.demo and (past := over(plan, clock.now())):
        remark([past])
    title = f"{plan.name}, at the places of {places.name}"
    keys = keys_that_differ(plans.places)
    if not any(key.startswith("span") for key in keys):
        days = dict.fromkeys(day_name(end) for end in (plan.span.start, plan.span.end))
        title += f", {' to '.join(days)}"
    also = f"not the same plan at each place: {places.name} sets {and_list(keys)}"
    return _Asking(plans, title, [*plan.files, places], [also] if keys else [], plan)


def _in_folder(asked: Asked) -> _Asking:
    """Every plan of a folder."""
    from energy.answers.many.places import PlansOf, plan_files
    from energy.plan import PlanError

    folder = Path(asked.source or "")
    if asked.source is None or not os.path.isdir(asked.source):
        name = "energy many" if asked.source is None else asked.source
        raise PlanError([f"{name}: {NEEDS_MANY}"])
    files, others = plan_files(folder)
    notes = [f"{', '.join(file.name for file in others)}: no plan, passed over"] if others else []
    plans = PlansOf(files, lambda file: replace(asked, source=str(file)).plan())
    return _Asking(plans, f"The plans in {asked.source}", [*files, *others], notes)


def _cautions(plan: "Plan | None") -> "Sequence[Caution]":
    """What to take care of where the plan is at home; nothing of plans that differ, or where that
    place has no weather."""
    from energy.answers.caution.cautions import cautions
    from energy.plan import PlanError

    try:
        return () if plan is None else cautions(plan)
    except PlanError:
        return ()

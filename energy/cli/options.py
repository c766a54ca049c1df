"""What the commands share: their options, errors as lines, what they draw and write.

The commands themselves are in `cli`.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution
    from energy.answers.learn.own_figures import Own
    from energy.plan import Plan
    from energy.simulation.budget import Budget

DEMO = "builtin:cloudy-repair"

Changes = dict[str, Any]
PlanPath = Annotated[
    str | None, typer.Argument(metavar="[PLAN]", help="The plan file; left out: the built-in demo.")
]
Json = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="FILE", help="Draw it: .png, .svg or .pdf.")
]
Write = Annotated[
    Path | None, typer.Option("--write", metavar="FILE", help="Write the plan so changed.")
]
Now = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="Judge from this time on: 13:20 or 2026-09-14T13:20."),
]
Battery = Annotated[
    str | None, typer.Option(metavar="PERCENT", help="The charge measured at --now: 45 or 45%.")
]
Done = Annotated[
    list[str] | None,
    typer.Option(
        metavar="TASK=AMOUNT",
        help="What was done by --now, in the task's unit, or all or none; for each task once.",
    ),
]
AllCautions = Annotated[
    bool, typer.Option("--all-cautions", help="Show every caution that applies.")
]
OpenIt = Annotated[bool, typer.Option("--open", help="Show the picture that --plot draws.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the time series.")]


@contextmanager
def wrong_input_in_lines() -> Iterator[None]:
    """Turn wrong input (exit status 2) and missing data (3) into one line a problem."""
    from energy.plan import PlanError

    try:
        yield
    except PlanError as error:
        for problem in error.problems:
            typer.echo(problem, err=True)
        raise typer.Exit(error.status) from None


def charge_picture(budget: "Budget", warned: "Sequence[Caution]") -> "Figure":
    from energy.answers.check.check import picture as plots

    return plots.charge(budget, warned)


def own_of(read: "Plan", plan: str | None) -> "Own | None":
    """What a plan takes from the kits it names; None where it names none."""
    if not read.profiles:
        return None
    from energy.answers.learn.own_figures import own

    return own(read, Path(plan or "").parent)


def say_care(own: "Own | None", warned: "Sequence[Caution]", every: bool) -> None:
    """The end of an answer: which figures are the person's own, and what to take care of."""
    from rich.text import Text

    from energy.answers.check.check import words as text

    out = text.console()
    if own is not None:
        from energy.answers.learn.words import lines_of_own

        for line in lines_of_own(own):
            out.print(Text(line))
    text.show_cautions(warned, out, every=every)


def with_care(answer: Changes, own: "Own | None", warned: "Sequence[Caution]") -> Changes:
    """An answer as `--json` prints it, with the owner's figures and the cautions."""
    of_kit = {"own_figures": [], "usual_error": None} if own is None else own.as_dict()
    return answer | of_kit | {"cautions": [asdict(caution) for caution in warned]}


def prompt(question: str, default: str, reading: Callable[[str], Any]) -> Any:
    """Ask until the answer can be read."""
    from energy.plan import PlanError

    while True:
        try:
            return reading(typer.prompt(question, default=default))
        except PlanError as error:
            typer.echo(error.problems[0], err=True)


def write_plan(target: Path, plan: str | None, changes: Changes) -> None:
    """Write a plan with some keys changed and its comments kept; what named a task that is gone
    goes with it."""
    from energy.plan import Plan
    from energy.plan.write import write_changes
    from energy.show import files

    source = plan or DEMO
    origin = source if source.startswith("builtin:") else Path(source)
    before = Plan.read(source)
    after = before.replace(**changes).source
    changes = changes | {"task": after["task"]} if "task" in changes else changes
    if after.get("run") != before.source.get("run"):
        changes = changes | {"run": after["run"]}
    files.write_text(target, write_changes(origin, changes), replace=True)


def say_written(*targets: Path | None) -> None:
    for target in filter(None, targets):
        typer.echo(f"Wrote {target}")


def say_not_written(why: str, *targets: Path | None) -> None:
    for target in filter(None, targets):
        typer.echo(f"{target} is not written: {why}.")


def draw(figure: Callable[[], "Figure"], plot: Path | None, open_it: bool) -> None:
    """Save a picture where it is wanted, and show it if that is wanted too."""
    from energy.plan import PlanError

    if plot is None and open_it:
        raise PlanError(["--open shows the picture of --plot: give --plot FILE too"])
    if plot is not None:
        from energy.answers.check.check import picture as plots

        plots.save(figure(), plot)
        if open_it:
            typer.launch(str(plot))


def percent(text: str | None) -> float | None:
    """The charge as a person says it: 45, 45 % or 45%."""
    from energy.plan import PlanError
    from energy.plan.kit import number
    from energy.plan.words import shown

    if text is None:
        return None
    bare = text.strip().removesuffix("%").strip()
    try:
        found = number(float(bare))
    except ValueError:
        found = None
    if found is None:
        raise PlanError([f"--battery must be a percentage, such as 45 (got {shown(text)})"])
    if 0.0 < found < 1.0 and "%" not in text:
        raise PlanError([f"--battery is in percent (got {bare}): did you mean {100.0 * found:g}?"])
    return found


def amounts(said: "Sequence[str] | None") -> dict[str, float | str]:
    """What was done, by the task's name: "TASK=AMOUNT", each once."""
    from energy.plan import PlanError
    from energy.plan.words import shown

    found: dict[str, float | str] = {}
    for text in said or ():
        name, _, amount = (part.strip() for part in text.rpartition("="))
        if not name:
            raise PlanError([f'--done must be TASK=AMOUNT, such as "tea=0" (got {shown(text)})'])
        if name in found:
            raise PlanError([f"--done names {shown(name)} twice"])
        found[name] = amount
    return found


def moment(text: str | None, plan: "Plan") -> datetime | None:
    from energy.plan.moments import moment_in_span

    return None if text is None else moment_in_span(text, plan.span.start)

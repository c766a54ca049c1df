"""What the commands share: their options, errors as lines, how an answer is told, what is written.

The commands themselves lie beside this file.
"""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from energy.cli import clock

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from energy.answers.caution.cautions import Caution
    from energy.answers.learn.own_figures import Own
    from energy.plan import Plan
    from energy.show.layout import Sheet

DEMO = "builtin:cloudy-repair"

Changes = dict[str, Any]  # of a plan, as `Plan.replace` takes them
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
Care = Annotated[
    bool, typer.Option("--care", "--all-cautions", help="Show every caution that applies.")
]
Date = Annotated[
    str | None,
    typer.Option(metavar="DATE", help="Ask for another start: 2026-10-20, today or tomorrow."),
]
Set = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Another value for this once; none takes the plan's own away.",
    ),
]
All = Annotated[bool, typer.Option("--all", help="Show everything, however long.")]
OpenIt = Annotated[bool, typer.Option("--open", help="Show the picture that --plot draws.")]
Force = Annotated[bool, typer.Option("--force", help="Replace files that energy did not write.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the time series.")]


def wanted(**options: bool) -> frozenset[str]:
    """The details that a command is asked for, by their options' names."""
    return frozenset(name for name, given in options.items() if given)


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


@dataclass(frozen=True)
class Asked:
    """A plan file that a command is asked about, None for the demo, for which date and with which
    keys given for once; and how it is to answer: in JSON, or else with which details, by the names
    of their options."""

    source: str | None
    date: str | None = None
    given: Sequence[str] | None = None
    json: bool = False
    force: bool = False
    wanted: frozenset[str] = frozenset()

    @property
    def demo(self) -> bool:
        """Whether no plan was given."""
        return self.source is None

    @property
    def folder(self) -> Path:
        """Where the plan's own files lie."""
        return Path(self.source or "").parent

    def read(self, *outputs: Path | None, inputs: Sequence[Path] = ()) -> "Plan":
        """The plan; raises PlanError where it is wrong, or where an output would replace what it
        reads, one of the other `inputs`, or what is not this tool's to replace."""
        from energy.show import files

        read = self.plan()
        files.refuse_outputs(outputs, [*read.files, *inputs], force=self.force)
        return read

    def plan(self) -> "Plan":
        """The plan as asked. Raises PlanError."""
        from energy.plan import Plan

        read = Plan.read(self.source or DEMO)
        return read.replace(**changes) if (changes := self._changes(read)) else read

    def _changes(self, read: "Plan") -> Changes:
        """What the date and the keys given for once change in a plan as it was read."""
        changes: Changes = {}
        if self.given:
            from energy.plan.assignments import assignments

            changes = assignments(self.given, read)
            read = read.replace(**changes)
        if self.date is not None:
            from energy.plan.dates import start_date, starting

            changes |= starting(read, start_date(self.date, clock.now(), read.place.timezone))
        return changes

    def differences(self) -> str:
        """What is asked otherwise than the file has it, in a line; empty where nothing is."""
        from energy.plan.words import visible

        words = [
            visible(" = ".join(part.strip() for part in text.split("=", 1)) + self._left(text))
            for text in self.given or ()
        ]
        values = f"With {', '.join(words)}" if words else ""
        start = "" if self.date is None else f"starting {self._start()}"
        text = ", ".join(filter(None, (values, start)))
        return f"{text[0].upper()}{text[1:]}." if text else ""

    def _left(self, text: str) -> str:
        """What counts once a key is taken away, its profile's or the usual; empty where nothing
        does, for a folder of plans, and where an item of a list goes too."""
        if text.rpartition("=")[2].strip() != "none" or os.path.isdir(self.source or ""):
            return ""
        from energy.plan import Plan
        from energy.plan.assignments import assignments, counting

        read = Plan.read(self.source or DEMO)
        changes = assignments(self.given or (), read)
        if any(value is None and key[-1].isdigit() for key, value in changes.items()):
            return ""
        counts = counting(read.replace(**changes), next(iter(assignments([text], read))))
        return f" ({counts} counts)" if counts else ""

    def _start(self) -> str:
        """The date that is asked for; of a folder of plans as it was given."""
        from energy.plan.words import visible

        if self.source is not None and os.path.isdir(self.source):
            return visible(self.date or "")
        return str(self.plan().span.start.date())

    def remarks(self, read: "Plan") -> Iterator[str]:
        """What is to be said of a plan of one's own beside its answer, a line each."""
        from energy.plan.dates import over
        from energy.plan.places import at_sea, may_be_misplaced

        if read.origin.startswith("builtin:"):
            return
        place = read.place
        at, afloat = (place.latitude_deg, place.longitude_deg), "afloat" in place.around
        doubtful = may_be_misplaced(place.longitude_deg, place.timezone, read.span.start)
        if doubtful and (line := at_sea(*at, afloat=afloat)):
            yield line
        if self.date is None and (line := over(read, clock.now())):
            yield line

    def own(self, read: "Plan") -> "Own | None":
        """What the plan takes from the kit files it names; None where it names none."""
        if not read.profiles:
            return None
        from energy.answers.learn.own_figures import own

        return own(read, self.folder)

    def wants(self, detail: str) -> bool:
        """Whether a detail is to be shown, by its option's name."""
        return detail in self.wanted or "all" in self.wanted

    def tell(
        self,
        answer: Callable[[], dict[str, Any]],
        sheet: Callable[[int, bool], "Sheet"],
        warned: "Sequence[Caution] | None",
        read: "Plan | None" = None,
    ) -> None:
        """Print an answer as JSON, or as a sheet in words, with the cautions, None where nothing is
        answered; of a plan `read` also which of its figures are the owner's.

        sheet: of a width [columns], with drawings or without.
        """
        from energy.show.console import console

        own = None if read is None else self.own(read)
        remarks = [] if read is None else remark(self.remarks(read))
        for problem in () if own is None else own.problems:
            typer.echo(problem, err=True)
        if self.json:
            from energy.show.files import as_json

            nothing: dict[str, Any] = (
                {} if read is None else {"own_figures": [], "usual_error": None}
            )
            figures = nothing if own is None else own.as_dict()
            care = {"cautions": [asdict(caution) for caution in warned or ()]}
            typer.echo(as_json(answer() | figures | care))
            return
        from energy.answers.caution.words import care_part
        from energy.show.layout import LINES, Sheet, folded, part, show, show_details

        out = console()
        drawings = out.is_terminal and (out.encoding or "").startswith("utf")
        in_words, given = sheet(out.width, drawings), self.differences()
        closing = []
        if warned is not None:
            closing.append(care_part(warned, out.width, every=self.wants("care")))
        if own is not None:
            from energy.answers.learn.words import own_part

            closing.insert(0, own_part(own, out.width, every=self.wants("all")))
        room = 10**6 if self.wanted else LINES - len(remarks)
        opening = [part(folded(given, out.width, 2))] if given else []
        show(Sheet([*opening, *in_words.parts, *closing]), out, room=room)
        details = [make for name, make in in_words.details.items() if self.wants(name)]
        show_details(details, out)

    def written(self, *targets: Path | None, but: str = "") -> None:
        """Say what was written, or why it was not; nothing beside JSON."""
        from energy.plan.words import visible

        for target in () if self.json else filter(None, targets):
            name = visible(str(target))
            typer.echo(f"{name} is not written: {but}." if but else f"Wrote {name}")

    def write_plan(self, target: Path | None, changes: Changes) -> None:
        """Write the plan with some keys changed and its comments kept; what named a task that is
        gone goes with it."""
        if target is None:
            return
        from energy.plan import Plan
        from energy.plan.write import moved_paths, whole_changes, write_changes
        from energy.show import files

        source = self.source or DEMO
        plan = Plan.read(source)
        text: str | Path = source if source.startswith("builtin:") else Path(source)
        mark = f"# Written by {files.MARK}, from {plan.origin}.\n"
        for step in (self._changes(plan), changes):
            after = plan.replace(**step)
            text = write_changes(text, whole_changes(plan.source, after.source, step))
            plan = after
        text = write_changes(text, moved_paths(plan.source, plan.folder, target.parent))
        files.write_text(target, text if files.MARK in text else mark + text)


def remark(lines: Iterable[str]) -> list[str]:
    """Say what is to be remarked beside an answer, on the stream for errors; the rows it takes."""
    from energy.show.console import console
    from energy.show.layout import folded

    width = console(errors=True).width
    rows = [row for line in lines for row in folded(line, width, 2)]
    for row in rows:
        typer.echo(row, err=True)
    return rows


def refuse_picture(plot: Path | None, open_it: bool) -> None:
    """Raise PlanError where a picture that is wanted cannot be one: before what takes long, and
    before anything is written."""
    from energy.plan import PlanError
    from energy.show.files import picture_kind

    if plot is None and open_it:
        raise PlanError(["--open shows the picture of --plot: give --plot FILE too"])
    if plot is not None:
        picture_kind(plot)


def save_picture(figure: Callable[[], "Figure"], plot: Path | None, open_it: bool) -> None:
    """Save a picture where it is wanted, and show it if that is wanted too."""
    if plot is not None:
        from energy.show import files
        from energy.show.labels import letters_lacking

        drawn = figure()
        files.save(drawn, plot)
        if lacking := letters_lacking(drawn):
            line = f"{plot}: boxes stand for letters that the picture's font lacks: {lacking}"
            typer.echo(line, err=True)
        if open_it:
            typer.launch(str(plot))


def prompt(question: str, default: str, reading: Callable[[str], Any]) -> Any:
    """Ask until the answer can be read."""
    from energy.plan import PlanError

    while True:
        try:
            return reading(typer.prompt(question, default=default))
        except PlanError as error:
            typer.echo(error.problems[0], err=True)


def percent(text: str | None) -> float | None:
    """The charge as a person says it: 45, 45 % or 45%."""
    from energy.plan.percent import percent_of

    return None if text is None else percent_of(text, "--battery")


def amounts(said: "Sequence[str] | None") -> dict[str, float | str]:
    """What was done, by the task's name: "TASK=AMOUNT", each once."""
    from energy.plan import PlanError
    from energy.plan.words import shown

    done: dict[str, float | str] = {}
    for text in said or ():
        name, _, amount = (part.strip() for part in text.rpartition("="))
        if not name:
            raise PlanError([f'--done must be TASK=AMOUNT, such as "tea=0" (got {shown(text)})'])
        if name in done:
            raise PlanError([f"--done names {shown(name)} twice"])
        done[name] = amount
    return done


def moment(text: str | None, plan: "Plan") -> datetime | None:
    """A time in the plan's span: 13:20, or with its date, and with its offset from UTC."""
    from energy.plan.moments import moment_in_span

    return None if text is None else moment_in_span(text, plan.span.start, plan.place.timezone)

"""`energy learn`: what a person's own kit really takes and gives, a subcommand a question."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from energy.cli import clock
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
    refuse_picture,
    save_picture,
    wanted,
    wrong_input_in_lines,
)

if TYPE_CHECKING:
    from energy.answers.learn.kit_file import KitFile


class _Questions(TyperGroup):
    """The subcommands; a plan given in the place of one is told which of them reads it."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        if args[0].startswith("builtin:") or args[0].endswith(".toml"):
            ctx.fail(f"say which question: energy learn readings {' '.join(args)}")
        return super().resolve_command(ctx, args)


app = typer.Typer(
    cls=_Questions,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="What does your own kit really take and give?",
)
PlanFile = Annotated[str, typer.Argument(metavar="PLAN", help="The plan of the day.")]
Readings = Annotated[
    Path, typer.Argument(metavar="READINGS", help="A CSV of what was read, and when.")
]
WriteKit = Annotated[
    Path | None,
    typer.Option("--write", metavar="KIT.toml", help="Add it to this file of your own kit."),
]


@app.command("readings")
def readings(
    plan: PlanFile,
    readings: Readings,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: WriteKit = None,
    figures: Annotated[bool, typer.Option("--figures", help="Every figure.")] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """What do readings of the pack's display teach about the kit?

    Write down the time, the percentage and how many cuts were done since the last row: columns
    time, battery_percent, and as seen solar_w, solar_wh, load_w, tool and count, sky, charger_w
    (mean watts of any other charger since the row before), panel (covered, flat, as planned, or
    percent of its light, until the next row). Where nothing ran since the row before, write nothing
    under tool, or inverter where it idled. Times are on the plan's clock, or carry their offset
    from UTC; readings that fit another hour far better teach nothing. Name the kit file in a plan,
    profiles = ["my-kit.toml"], and every answer rests on it. The same readings count once.
    """
    asked = Asked(
        plan, date, given, json, force, wanted(figures=figures, care=care, all=everything)
    )
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.learn.kit_file import named_by
        from energy.answers.learn.learn import learn
        from energy.answers.learn.words import learned_sheet

        refuse_picture(plot, open_it)
        read = asked.read(plot, inputs=[readings])
        with _kit_alone(write, readings, Path(plan), plot):
            answer = learn(read, readings, named_by(read, asked.folder, write))
            save_picture(answer.plot, plot, open_it)
            _write(write, answer.kit_file)
        warned = cautions(answer.day.budget)
        every = asked.wants("all")
        asked.tell(
            answer.as_dict, lambda width, _: learned_sheet(answer, width, every=every), warned
        )
        asked.written(write, plot)


@app.command("next")
def what_next(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    kit: Annotated[
        Path | None,
        typer.Option("--kit", metavar="KIT.toml", help="What your own kit has taught so far."),
    ] = None,
    care: Care = False,
    everything: All = False,
) -> None:
    """Which three readings would teach most on the next day?"""
    asked = Asked(plan, date, given, json, wanted=wanted(care=care, all=everything))
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.learn.kit_file import named_by
        from energy.answers.learn.next_reading import as_dict, what_to_read
        from energy.answers.learn.words import suggestions_sheet

        read = asked.read()
        answer = what_to_read(read, named_by(read, asked.folder, kit).posterior)
        asked.tell(
            lambda: as_dict(answer),
            lambda width, _: suggestions_sheet(answer, width),
            cautions(read),
        )


@app.command("score")
def score(
    plan: PlanFile,
    readings: Readings,
    date: Date = None,
    given: Set = None,
    json: Json = False,
    write: WriteKit = None,
    every_reading: Annotated[bool, typer.Option("--readings", help="Every reading.")] = False,
    care: Care = False,
    everything: All = False,
    force: Force = False,
) -> None:
    """The day after: how far off was the prediction?"""
    asked = Asked(
        plan, date, given, json, force, wanted(readings=every_reading, care=care, all=everything)
    )
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.learn.kit_file import named_by
        from energy.answers.learn.score import score as ask
        from energy.answers.learn.words import score_sheet

        read = asked.read(inputs=[readings])
        with _kit_alone(write, readings, Path(plan)):
            answer = ask(read, readings, named_by(read, asked.folder, write))
            _write(write, answer.kit_file)
        every, care_of = asked.wants("all"), cautions(read)
        asked.tell(
            answer.as_dict, lambda width, _: score_sheet(answer, width, every=every), care_of
        )
        asked.written(write)


@app.command("meter")
def meter(
    log: Annotated[Path, typer.Argument(metavar="METER.csv", help="A meter's log of one tool.")],
    tool: Annotated[str, typer.Option(metavar="NAME", help="Which tool was logged.")],
    count: Annotated[
        int | None, typer.Option(metavar="N", help="How many bursts the log holds.")
    ] = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: WriteKit = None,
    everything: All = False,
    force: Force = False,
) -> None:
    """What does a plug-in meter's log show of one tool?"""
    asked = Asked(str(log), json=json, wanted=wanted(all=everything))
    with wrong_input_in_lines():
        from energy.answers.learn.kit_file import read_kit_file
        from energy.answers.meter.kit_entry import with_trace
        from energy.answers.meter.trace import trace
        from energy.answers.meter.words import sheet
        from energy.show import files

        refuse_picture(plot, open_it)
        files.refuse_outputs([plot], [log], force=force)
        with _kit_alone(write, log, plot):
            answer = trace(log, tool, count)
            save_picture(answer.plot, plot, open_it)
            if write is not None:
                today = clock.now().astimezone().date()
                _write(write, with_trace(read_kit_file(write), answer, today))
        every = asked.wants("all")
        asked.tell(answer.as_dict, lambda width, _: sheet(answer, width, every=every), ())
        asked.written(write, plot)


@contextmanager
def _kit_alone(kit: Path | None, *others: Path | None) -> Iterator[None]:
    """Hold the kit file to be added to; PlanError where it is another file of the command."""
    from energy.show import files

    files.refuse_outputs([kit], filter(None, others), force=True)
    with files.held_alone(kit):
        yield


def _write(target: Path | None, kit_file: "KitFile") -> None:
    from energy.answers.learn.kit_file import as_toml
    from energy.show import files

    if target is not None:
        files.write_text(target, as_toml(kit_file, target.name))

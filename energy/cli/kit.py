"""The commands about what a plan rests on: one's own kit, load profiles, plan files, weather.

They are registered in `cli`, beside those that answer about a plan.
"""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from energy.cli.options import (
    DEMO,
    AllCautions,
    Json,
    OpenIt,
    PlanPath,
    Plot,
    draw,
    prompt,
    say_written,
    wrong_input_in_lines,
)


def learn(
    plan: PlanPath = None,
    readings: Annotated[
        Path | None, typer.Argument(metavar="[READINGS]", help="A CSV of what was read, and when.")
    ] = None,
    json: Json = False,
    plot: Plot = None,
    open_it: OpenIt = False,
    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="KIT.toml", help="Add it to this file of your own kit."),
    ] = None,
    score: Annotated[
        bool, typer.Option("--score", help="The day after: how far off was the prediction?")
    ] = False,
    what_to_read: Annotated[
        bool, typer.Option("--what-to-read", help="Which readings would teach most?")
    ] = False,
    trace: Annotated[
        Path | None,
        typer.Option("--trace", metavar="METER.csv", help="A meter's log of one tool instead."),
    ] = None,
    tool: Annotated[
        str | None, typer.Option("--tool", metavar="NAME", help="Which tool was logged.")
    ] = None,
    count: Annotated[
        int | None, typer.Option("--count", metavar="N", help="How many bursts the log holds.")
    ] = None,
    all_cautions: AllCautions = False,
) -> None:
    """What does your own kit really take and give? From the pack's display, or a meter's log."""
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import Caution, cautions
        from energy.answers.check.check import words as text
        from energy.answers.learn.asked import of_a_log, of_a_plan, one_question
        from energy.answers.learn.kit_file import as_toml
        from energy.answers.learn.learn import words as learning
        from energy.plan import Plan
        from energy.show import files
        from energy.simulation.budget import budget

        one_question(
            {
                "PLAN": plan,
                "READINGS": readings,
                "--write": write,
                "--plot": plot,
                "--score": score,
                "--what-to-read": what_to_read,
                "--trace": trace,
                "--tool": tool,
                "--count": count,
            }
        )
        for source in (plan, readings, trace):
            files.refuse_the_same(None if source is None else str(source), write, plot)
        warned: tuple[Caution, ...] = ()
        if trace is not None:
            answer, kit = of_a_log(trace, tool, count, write)
        else:
            asked = {"score": score, "what_to_read": what_to_read}
            read, folder = Plan.read(plan or DEMO), Path(plan or "").parent
            answer, kit = of_a_plan(read, folder, readings, write, **asked)
            warned = cautions(budget(read))
        draw(lambda: learning.picture_of(answer), plot, open_it)
        if write is not None and kit is not None:
            files.write_text(write, as_toml(kit, write.name))
        if json:
            beside = {"cautions": [asdict(caution) for caution in warned]}
            typer.echo(files.as_json(learning.as_dict(answer) | beside))
        else:
            learning.show(answer, text.console())
            text.show_cautions(warned, text.console(), every=all_cautions)
            say_written(write, plot)


def tools(
    word: Annotated[str | None, typer.Argument(help="Part of a profile's name or group.")] = None,
    json: Json = False,
    add: Annotated[
        Path | None,
        typer.Option(
            "--add", metavar="FILE", help="Add a profile of your own, WORD, to this file."
        ),
    ] = None,
    given: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="A key of it; without any: questions."),
    ] = None,
) -> None:
    """List the load profiles, show one with all its figures, or add one of your own."""
    with wrong_input_in_lines():
        from energy.answers.check.check import words as text
        from energy.answers.start import words as lists
        from energy.answers.start.tools import tools as ask
        from energy.plan import PlanError
        from energy.show import files

        if add is not None:
            from energy.answers.start.own_tool import (
                asked,
                own_tool,
                pairs,
                refuse_taken,
                start_missing,
            )

            if word is None:
                raise PlanError(["--add needs a name: energy tools my-saw --add my-tools.toml"])
            before = add.read_text(encoding="utf-8") if add.exists() else ""
            refuse_taken(word, before)
            keys = pairs(given) if given else asked(prompt)
            files.write_text(add, own_tool(word, keys, before).rstrip() + "\n")
            typer.echo(f'Added "{word}". In a plan beside it: profiles = ["{add.name}"]')
            if start_missing(keys):
                typer.echo("It has no start_w, so no start is judged: motors take 2 to 3 times.")
            return
        if given:
            raise PlanError(["--set gives the keys of a profile of your own: give --add FILE too"])
        found = ask(word)
        if json:
            typer.echo(files.as_json(found))
        else:
            lists.show_tools(found, text.console())


def new(
    file: Annotated[Path, typer.Argument(help="The plan to write; it must not exist yet.")],
    demo: Annotated[
        str, typer.Option(help="Start from cloudy-repair, two-night-trip or january-job.")
    ] = "cloudy-repair",
    at: Annotated[
        str | None,
        typer.Option(metavar='"LAT,LON"', help="The place: fills in time zone and elevation."),
    ] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask a few questions instead.")] = False,
) -> None:
    """Write a plan with comments, to be changed."""
    with wrong_input_in_lines():
        from energy.answers.start.new import from_demo, from_questions
        from energy.show import files

        written = from_questions(prompt, at) if ask else from_demo(demo, at)
        files.write_text(file, written, replace=False)
    if at is not None and '\nkind = "sky"' in written and not ask:
        typer.echo(
            "The climate table does not reach that place: the plan's sky, broken, is a mere guess."
        )
    typer.echo(f"Wrote {file}. Change what differs, then: energy check {file}")


def weather(
    plan: PlanPath = None,
    history: Annotated[
        bool, typer.Option("--history", help="Fetch past years at the plan's place.")
    ] = False,
    forecast: Annotated[
        bool, typer.Option("--forecast", help="Fetch the coming days at the plan's place.")
    ] = False,
    years: Annotated[int, typer.Option(min=1, max=25, help="How many years of history.")] = 10,
) -> None:
    """Show what weather is held on this machine, or fetch some: the only command with a network."""
    with wrong_input_in_lines():
        from energy.answers.check.check import words as text
        from energy.answers.start import words as lists
        from energy.weather.fetched.cache import held

        out = text.console()
        if history or forecast:
            from energy.plan import Plan, PlanError
            from energy.weather.fetched import online

            if plan is None:
                raise PlanError(["--history and --forecast need a plan: weather of which place?"])
            place = Plan.read(plan).place
            at = (place.latitude_deg, place.longitude_deg)
            if history:
                typer.echo(f"Fetching {online.what_history(*at, years)}.")
                online.fetch_history(*at, years, progress=text.progress)
            if forecast:
                typer.echo(f"Fetching {online.what_forecast(*at)}.")
                online.fetch_forecast(*at, progress=text.progress)
        lists.show_held(held(), out)

"""The commands about files: load profiles, plan files, and the weather on this machine."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from energy.cli import clock
from energy.cli.options import All, Asked, Date, Json, PlanPath, Set, prompt, wrong_input_in_lines


def tools(
    word: Annotated[
        str | None, typer.Argument(help="A profile, a family or group of them; pack or panel.")
    ] = None,
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
    everything: All = False,
) -> None:
    """List the load, pack and panel profiles, show one whole, or add a load of your own."""
    with wrong_input_in_lines():
        from energy.answers.start import words
        from energy.answers.start.tools import tools as ask
        from energy.plan import PlanError
        from energy.show import files
        from energy.show.console import console
        from energy.show.layout import LINES, show

        if add is not None:
            from energy.answers.start.own_tool import (
                asked,
                own_tool,
                pairs,
                refuse_taken,
                start_missing,
            )
            from energy.plan.documents import is_there, read_text
            from energy.plan.words import visible

            if word is None:
                raise PlanError(["--add needs a name: energy tools my-saw --add my-tools.toml"])
            refuse_taken(word, read_text(add) if is_there(add) else "")
            keys = pairs(given) if given else asked(prompt)
            with files.held_alone(add):  # others may have added theirs while questions were asked
                before = read_text(add) if is_there(add) else ""
                files.write_text(add, own_tool(word, keys, before).rstrip() + "\n")
            typer.echo(f'Added "{word}". In a plan beside it: profiles = ["{visible(add.name)}"]')
            if start_missing(keys):
                typer.echo("It has no start_w, so no start is judged: motors take 2 to 3 times.")
            return
        if given:
            raise PlanError(["--set gives the keys of a profile of your own: give --add FILE too"])
        matching = ask(word)
        if json:
            typer.echo(files.as_json(matching))
        else:
            out = console()
            sheet = words.tools_sheet(word, matching, out.width, every=everything)
            show(sheet, out, room=10**6 if everything else LINES)


def new(
    file: Annotated[Path, typer.Argument(help="The plan to write; it must not exist yet.")],
    demo: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Copy cloudy-repair, two-night-trip or january-job, with its dates.",
        ),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option(
            metavar="PLACE",
            help='The place, as "59.35, 17.2" or "59 21 N, 17 12 E": gives zone and elevation.',
        ),
    ] = None,
    date: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="The start: 2026-10-20, today; left out: tomorrow."),
    ] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask a few questions instead.")] = False,
) -> None:
    """Write a plan with comments, to be changed."""
    with wrong_input_in_lines():
        from energy.answers.start.new import from_demo, from_questions
        from energy.plan.words import visible
        from energy.show import files

        now = clock.now()
        if ask:
            written = from_questions(prompt, now, at, date)
        else:
            day = date if date or demo else "tomorrow"
            written = from_demo(demo or "cloudy-repair", at, day, now)
        files.write_text(file, written, replace=False)
    if at is not None and '\nkind = "sky"' in written and not ask:
        typer.echo("The climate table lacks that place: the plan's sky, broken, is a mere guess.")
    name = visible(str(file))
    typer.echo(f"Wrote {name}. Change what differs, then: energy check {name}")


def help_(
    context: typer.Context,
    topic: Annotated[
        str | None, typer.Argument(help="keys, a key or a table of the plan, skies; or a command.")
    ] = None,
    json: Json = False,
) -> None:
    """Tell the plan's keys: all of them (keys), or one of them in full."""
    with wrong_input_in_lines():
        from energy.answers.start import key_words
        from energy.plan.keys import keys
        from energy.show.console import console
        from energy.show.files import as_json
        from energy.show.layout import show

        program = context.parent
        assert program is not None
        commands = getattr(program.command, "commands", {})
        if topic is None:
            typer.echo(program.get_help())
        elif topic in commands and topic not in ("size", "weather"):
            way = type(context)(commands[topic], info_name=topic, parent=program)
            typer.echo(commands[topic].get_help(way))
        elif json:
            named = keys() if topic == "keys" else key_words.keys_named(topic)
            typer.echo(as_json([asdict(key) for key in named]))
        else:
            out = console()
            sheets = {"keys": key_words.all_keys_sheet, "skies": key_words.skies_sheet}
            make = sheets.get(topic)
            if make is None:
                show(key_words.keys_sheet(key_words.keys_named(topic), out.width), out)
            else:
                show(make(out.width), out)


def weather(
    plan: PlanPath = None,
    date: Date = None,
    given: Set = None,
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
        from energy.answers.start import words
        from energy.show.console import console, status
        from energy.show.layout import show
        from energy.weather.fetched.cache import cached

        out = console()
        if history or forecast:
            from energy.plan import PlanError
            from energy.weather.fetched import online

            if plan is None:
                raise PlanError(["--history and --forecast need a plan: weather of which place?"])
            place = Asked(plan, date, given).plan().place
            at = (place.latitude_deg, place.longitude_deg)
            if history:
                typer.echo(f"Fetching {online.what_history(*at, years)}.")
                online.fetch_history(*at, years, progress=status)
            if forecast:
                typer.echo(f"Fetching {online.what_forecast(*at)}.")
                online.fetch_forecast(*at, progress=status)
        show(words.cached_sheet(cached(), out.width), out, room=10**6)

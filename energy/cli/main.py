"""The table of commands, and how the program starts and ends."""

import gc
import os
from typing import Annotated

import typer

from energy.cli import learn
from energy.cli.ending import leave, open_streams, silence_libraries, status_of
from energy.cli.equipment import aim, size, wire
from energy.cli.files import help_, new, tools, weather
from energy.cli.many import many
from energy.cli.page import page
from energy.cli.today import check, choose
from energy.cli.when import when

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Will a day of work or a night out, away from the mains, stay powered?",
    epilog="Exit status: 0 yes, 1 almost or no, 2 the input is wrong, 3 something it needs is not"
    " there, 70 a fault of the tool, 130 interrupted.",
)


def _version(wanted: bool) -> None:
    if wanted:
        from energy.version import __version__

        typer.echo(f"energy {__version__}")
        raise typer.Exit


@app.callback()
def energy(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Say nothing of what is under way.")
    ] = False,
) -> None:
    """Will a day of work or a night out, away from the mains, stay powered?"""
    if quiet:
        os.environ["ENERGY_QUIET"] = "1"


for command in (check, choose, when, page, size, aim, wire, many, tools, new, weather):
    app.command()(command)
app.command("help")(help_)
app.add_typer(learn.app, name="learn")


def main() -> None:
    """The entry point: what speeds up a short run, then the commands."""
    gc.disable()  # a short run frees its memory by ending
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no arrays here are large enough for two
    open_streams()
    silence_libraries()
    leave(status_of(lambda: app(prog_name="energy", standalone_mode=False)))

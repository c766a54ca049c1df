"""The table of commands, and how the program starts and ends."""

import gc
import os
import sys
from typing import Annotated

import typer

from energy.cli import learn
from energy.cli.equipment import aim, size, wire
from energy.cli.files import new, tools, weather
from energy.cli.today import check, choose

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Will a day of work or a night out, away from the mains, stay powered?",
    epilog="Exit status: 0 yes, 1 no, 2 the input is wrong, 3 something it needs is not there.",
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


for command in (check, choose, size, aim, wire, tools, new, weather):
    app.command()(command)
app.add_typer(learn.app, name="learn")


def main() -> None:
    """The entry point: what speeds up a short run, then the commands."""
    gc.disable()  # a short run frees its memory by ending
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no arrays here are large enough for two
    try:
        app(prog_name="energy")
        status = 0
    except SystemExit as ending:
        status = ending.code if isinstance(ending.code, int) else int(ending.code is not None)
    except KeyboardInterrupt:
        status = 130
    leave(status)


def leave(status: int) -> None:
    """End at once: all files are closed, and taking the libraries apart would cost 0.1 s."""
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:  # whoever read the output has gone
        status = status or 1
    os._exit(status)

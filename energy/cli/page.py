"""The command for the page to take along."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from energy.cli.options import Asked, Care, Date, Force, PlanPath, Set, wanted, wrong_input_in_lines

if TYPE_CHECKING:
    from energy.answers.page.page import Page
    from energy.show.layout import Sheet

SUFFIXES = (".html", ".htm")
NEEDS_FILE = "a file to write is needed, or --serve: energy page my-plan.toml my-plan.html"


def page(
    plan: PlanPath = None,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE.html]", help="Where to; needed without --serve."),
    ] = None,
    date: Date = None,
    given: Set = None,
    serve: Annotated[
        bool, typer.Option("--serve", help="Offer it on this network until Ctrl-C.")
    ] = False,
    care: Care = False,
    force: Force = False,
) -> None:
    """Write the plan as one page to take along on a telephone.

    The page shows the plan and answers again without a network: what the display reads now, what
    was done, what the sky does, what still fits. It prints on paper, and its log gives the readings
    that energy learn takes. With --serve it is offered on this network: anyone there who has the
    address can read it.
    """
    if file is None and plan is not None and plan.lower().endswith(SUFFIXES):
        file, plan = Path(plan), None  # of the demo
    asked = Asked(plan, date, given, force=force, wanted=wanted(care=care))
    with wrong_input_in_lines():
        from energy.answers.caution.cautions import cautions
        from energy.answers.page.page import page as ask
        from energy.answers.page.words import sheet
        from energy.plan import PlanError
        from energy.show import files
        from energy.show.console import console
        from energy.show.progress import progress

        if file is None and not serve:
            raise PlanError([NEEDS_FILE])
        if file is not None and file.suffix.lower() not in SUFFIXES:
            raise PlanError([f"{file}: a page's name must end in .html"])
        read = asked.read(file)
        with progress(console(errors=True), "page"):
            answer = ask(read)
        if file is not None:
            files.write_text(file, answer.html)

        def in_words(width: int, drawings: bool) -> "Sheet":
            return sheet(answer, width, demo=asked.demo)

        asked.tell(dict, in_words, cautions(answer.budget), read)
        asked.written(file)
        if serve:
            _serve(answer)
    raise typer.Exit(0 if answer.yes else 1)


def _serve(answer: "Page") -> None:
    """Offer the page until Ctrl-C."""
    from energy.answers.page.server import offered
    from energy.answers.page.words import served_lines
    from energy.show.console import console

    out = console()
    with offered(answer.html) as (address, server):
        for line in served_lines(address, code=out.is_terminal):
            out.print(line, soft_wrap=True)
        out.file.flush()
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            typer.echo()

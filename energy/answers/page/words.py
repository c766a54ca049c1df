"""What `energy page` says in the terminal; the page's own words lie in `page.html`."""

from collections.abc import Iterator

from rich.text import Text

from energy.answers.caution.words import warning_part
from energy.answers.check.words import what_decides
from energy.answers.page.page import Page
from energy.answers.page.server import code_lines
from energy.show.layout import Sheet
from energy.show.title import answer_part, title_part, weather_part

CODE = "bright_white on black"  # whatever the terminal's own colours


def sheet(answer: Page, width: int, *, demo: bool) -> Sheet:
    """The answer that the page shows.

    width: columns. demo: the plan is the built-in one.
    """
    result = answer.budget
    return Sheet(
        [
            title_part(result, width, demo=demo),
            answer_part(answer.answer.upper(), f"{what_decides(answer.check)}.", width),
            warning_part(result, width),
            weather_part(result, width),
        ]
    )


def served_lines(address: str, *, code: bool) -> Iterator[Text]:
    """Where the page is offered, for a terminal with its code, and who can read it."""
    if code:
        yield from (Text(line, CODE) for line in code_lines(address))
    yield Text(address, "bold")
    yield Text("Anyone on this network who has this address can read the page. Ctrl-C ends it.")

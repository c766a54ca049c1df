"""The plan as one page to take along: the answer of `energy page`.

The page is the plan for eyes and paper without a script, and answers again with it. What it carries
is for `carried`; its words lie in `page.html`, the script in `script`.
"""

import json
import re
from base64 import b64encode
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any

from energy.answers.caution.cautions import CLOSING, cautions
from energy.answers.caution.words import LABEL_WORDS, warning
from energy.answers.check.check import Check
from energy.answers.check.checkpoints import Checkpoint
from energy.answers.check.words import turn_back_words, what_decides
from energy.answers.page.carried import Carried, carried
from energy.answers.page.data import rounding_words
from energy.answers.page.picture import picture
from energy.answers.page.timetable import timetable
from energy.plan import Plan
from energy.show import files
from energy.show.layout import tied
from energy.show.moments import short_clock
from energy.show.title import span_words, weather_words
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget_of

STYLES = ("page.css", "picture.css", "print.css")
SCRIPTS = (
    *("calendar", "demand", "limits", "progress", "layout", "battery", "simulate"),
    *("judge", "checkpoints", "how_many", "words"),
    *("state", "changed_tasks", "history", "export"),
    *("elements", "curve", "now_view", "tasks_view", "more_view", "log_view", "keeping", "view"),
)
# What would end the data's element, or a line inside it, is written as JSON's escapes.
ESCAPES = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"}


@dataclass(frozen=True)
class Page(Answered):
    """The page, with the check that it shows.

    html is the whole file: its style, script and data are inside, and it asks for nothing else.
    """

    check: Check
    html: str

    @property
    def budget(self) -> Budget:
        """The budget of the plan."""
        return self.check.budget

    def write(self, path: Path | str, *, force: bool = False) -> None:
        """Write the page to a file; one that energy wrote is replaced.

        path: where to; its folder must be there.
        force: replace any file.

        Raises PlanError with one line where it cannot be written or may not be replaced.
        """
        path = Path(path)
        files.refuse_outputs([path], self.budget.plan.files, force=force)
        files.write_text(path, self.html)


def page(plan: Plan | Budget) -> Page:
    """The page of a plan: its answer, charge, timetable, checkpoints and cautions, which answers
    again on a telephone without a network.

    plan: a Plan, or the Budget of a whole one. The same plan gives the same bytes.

    Raises PlanError as `budget` does, and for the budget of a day under way.

    >>> made = page(Plan.read("builtin:cloudy-repair"))
    >>> made.answer, "ALMOST" in made.html, "http://" in made.html
    ('almost', True, False)
    """
    along = carried(budget_of(plan))
    return Page(along.check, _html(along))


def as_data(tables: dict[str, Any]) -> str:
    """Tables as JSON that may stand inside a page, whatever their words are.

    >>> as_data({"name": "</script>"})
    '{"name":"\\\\u003c/script\\\\u003e"}'
    """
    text = json.dumps(tables, separators=(",", ":"), allow_nan=False)
    for letter, escape in ESCAPES.items():
        text = text.replace(letter, escape)
    return text


def _html(along: Carried) -> str:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    style = _joined(STYLES)
    script = _without_comments(_joined(f"script/{name}.js" for name in SCRIPTS))
    template = Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=StrictUndefined
    ).from_string(_text("page.html"))
    return template.render(
        _words(along),
        mark=files.MARK,
        policy=_policy(style, script),
        style=Markup(style),
        script=Markup(script),
        data=Markup(as_data(along.data())),
    )


def _words(along: Carried) -> dict[str, Any]:
    """What stands on the page without a script."""
    result, answer = along.full, along.check
    return {
        "title": result.plan.name,
        "span": span_words(result),
        "answer": answer.answer,
        "sentence": tied(f"{what_decides(answer)}."),
        "label": LABEL_WORDS,
        "warning": tied(warning(result)),
        "drawn": picture(result, answer.checkpoints),
        "checkpoints": [_checkpoint(answer, point) for point in answer.checkpoints],
        "rows": timetable(answer),
        "cautions": cautions(result),
        "closing": CLOSING,
        "weather": weather_words(result),
        "notes": result.notes,
        "rounding": rounding_words(along),
    }


def _checkpoint(answer: Check, point: Checkpoint) -> dict[str, Any]:
    return {
        "when": short_clock(answer.budget.calendar, point.at.timestamp()),
        "expected": f"{point.expected_percent:.0f} %",
        "dull": f"{point.dull_percent:.0f} %",
        "least": turn_back_words(point),
        "lowest": point.lowest,
    }


def _policy(style: str, script: str) -> str:
    """What the page may do: its own style and script, and nothing from anywhere else."""
    allowed = {"style-src": style, "script-src": script}
    rules = ["default-src 'none'", "base-uri 'none'", "form-action 'none'"]
    rules += [f"{rule} '{_hash(text)}'" for rule, text in allowed.items()]
    return "; ".join(rules)


def _hash(text: str) -> str:
    return f"sha256-{b64encode(sha256(text.encode()).digest()).decode()}"


def _joined(names: Iterable[str]) -> str:
    """Files of this folder one after the other."""
    return "\n".join(map(_text, names))


def _without_comments(script: str) -> str:
    """A script without the comments that have lines of their own, which would be a third of it.

    >>> _without_comments("// one\\n/** two\\n * lines */\\na = 1; // kept\\n")
    'a = 1; // kept\\n'
    """
    return re.sub(r"^[ \t]*(?:/\*\*.*?\*/|//[^\n]*)[ \t]*\n|^\n", "", script, flags=re.M | re.S)


def _text(name: str) -> str:
    file = package_files("energy.answers.page").joinpath(*name.split("/"))
    return file.read_text(encoding="utf-8")

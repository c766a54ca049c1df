"""Many plans' rows as lines for a terminal or a pipe: how many of each answer, then the worst.

What a row holds is `row`'s.
"""

from collections.abc import Sequence
from dataclasses import replace
from heapq import nsmallest
from itertools import chain

from rich.cells import cell_len
from rich.text import Text

from energy.answers.caution.words import LABEL_WORDS
from energy.answers.many.many import Many
from energy.answers.many.places import Place
from energy.answers.many.row import PROBLEM, Row
from energy.plan import Plan
from energy.plan.places import at_sea
from energy.plan.words import and_list, visible
from energy.show.chance import percents
from energy.show.layout import Part, Sheet, ended, folded, labelled, listed, part, texts
from energy.show.numbers import whole_percent
from energy.show.table import Column
from energy.show.table import rows as table_rows
from energy.weather.synthetic.climate import UNTRIED_SOUTH

MOST_SHOWN, LEAST_SHOWN = 16, 3
FEW_PROBLEMS = 2  # shown beside answers
MOST_AT_SEA = 5
AT_EACH_PLACE = {
    "climate": "drawn from the climate table at each place, which is rough{south}: a yes needs the"
    " goal at the dull end of the doubt about the place",
    "history": "the past years held for each place",
    "forecast": "the forecast held for each place",
    "sky": "the plan's stated sky at each place",
    "clear": "a clear sky at each place",
}
WARNED = "!"
EACH_ITS_OWN = "what each plan states"


def sheet(
    answer: Many,
    title: str,
    weather: str,
    width: int,
    *,
    notes: Sequence[str] = (),
    every: bool = False,
) -> Sheet:
    """How many plans are a yes, almost, no or a problem, and the worst of them.

    title: of the plan, or where the plans lie. weather: what the answers rest on. width: columns.
    notes: remarks without full stops. every: all rows instead of the worst, in the order given.
    """
    rows, warned = answer.rows, []
    for words in warning_words(answer):
        warned += [*labelled(LABEL_WORDS, words, width), ""]
    table = part([*chain(*row_lines(rows, width))]) if every else _worst(rows, width)
    parts = [
        Part([[Text(line, "bold") for line in folded(visible(title), width)] + [Text()]]),
        part([*folded(headline(answer), width, 2), ""], "bold"),
        part(warned, "bold red"),
        ended(table, "") if rows else part([]),
        part(labelled("Weather", weather, width) if rows else [], "dim"),
        part([line for note in notes for line in labelled("Note", f"{note}.", width)]),
    ]
    return Sheet(parts)


def _worst(rows: Sequence[Row], width: int) -> Part:
    """All rows from the worst where there is room; else a few problems, which must not hide the
    answers, and the worst of these, with the first line of each reason."""
    in_order = nsmallest(MOST_SHOWN + 1, rows, key=lambda row: row.badness)
    answers = [row for row in rows if row.kind != PROBLEM]
    problems = [row for row in in_order if row.kind == PROBLEM]
    few = problems[: FEW_PROBLEMS if answers else MOST_SHOWN]
    worst = [*few, *nsmallest(MOST_SHOWN - len(few), answers, key=lambda row: row.badness)]
    heading, *items = row_lines(worst, width, brief=True)
    if len(worst) < len(rows):
        items.append([])  # stands for all that is not even listed

    def more(out: int) -> str:
        return f"{len(rows) - len(items) + out} more, --rows shows all in their order"

    table = listed(heading, items, more, most=len(worst), least=LEAST_SHOWN, gives=2)
    if len(rows) > MOST_SHOWN:
        return table
    whole = texts(chain(*row_lines(in_order, width)))
    return replace(table, versions=[whole, *table.versions])


def weather_words(plan: Plan | None, rows: Sequence[Row] = ()) -> str:
    """What answers rest on: of a plan at many places, or of many plans where it is None.

    >>> weather_words(None)
    'what each plan states'
    """
    if plan is None:
        return EACH_ITS_OWN
    south = any(row.latitude is not None and row.latitude < 0.0 for row in rows)
    words = AT_EACH_PLACE.get(plan.weather.kind, EACH_ITS_OWN)
    return words.format(south=f", and {UNTRIED_SOUTH}" * south)


def at_sea_lines(places: Sequence[Place], *, afloat: bool = False) -> list[str]:
    """The places that are open water, with the land that was probably meant: the first few;
    afloat those alone for which there is such land.

    >>> from energy.plan.assignments import moved_to
    >>> at_sea_lines([Place("hut", moved_to(60.4, -5.3))])
    ['hut: 60.4, -5.3 is open water: did you mean 60.4, 5.3?']
    """
    lines = []
    for place in places:
        at = (place.changes[f"place.{key}_deg"] for key in ("latitude", "longitude"))
        if line := at_sea(*at, afloat=afloat):
            lines.append(f"{visible(place.name)}: {line}")
    more = len(lines) - MOST_AT_SEA
    return [*lines[:MOST_AT_SEA], *([f"and {more} more places in open water"] if more > 0 else [])]


def headline(answer: Many) -> str:
    """How many plans there are of each answer.

    >>> counts = {"yes": 4, "almost": 0, "no": 1, "problem": 1}
    >>> headline(Many("check", counts, complete=True, total=6))
    '6 plans: 4 yes, 1 no and 1 problem.'
    >>> headline(Many("check", counts, complete=False, total=20))
    'Stopped at 6 of 20 plans: 4 yes, 1 no and 1 problem.'
    """
    words = []
    for kind, count in answer.counts.items():
        if count:
            several = "s" if kind == "problem" and count > 1 else ""
            words.append(f"{count} {kind or 'answered'}{several}")
    plans = f"{answer.plans} plan{'' if answer.plans == 1 else 's'}"
    if not answer.complete:
        reached = plans if answer.total is None else f"{answer.plans} of {answer.total} plans"
        plans = f"Stopped at {reached}"
    return f"{plans}: {and_list(words) or 'none answered'}."


def warning_words(answer: Many, shown: str = f"marked {WARNED}") -> list[str]:
    """What is not to be connected as it is, in how many plans, and how those are shown; the most
    frequent first.

    >>> row = Row("hut", answer="yes", warning="Do not connect it.")
    >>> counts = {"yes": 1, "almost": 0, "no": 0, "problem": 0}
    >>> warning_words(Many("check", counts, complete=True, kept=(row,)))
    ['1 of 1 plan, marked !: Do not connect it.']
    """
    plans = f"{answer.plans} plan{'' if answer.plans == 1 else 's'}"
    return [
        f"{count} of {plans}, {shown}: {words}" for words, count in answer.warnings.most_common()
    ]


def row_lines(rows: Sequence[Row], width: int, *, brief: bool = False) -> list[list[str]]:
    """The table's heading, then the lines of each row; below it what is wrong, or turned away, in
    brief its first line alone."""
    columns = [
        Column("plan", [visible(row.name) for row in rows]),
        Column("at", [_at(row) for row in rows], right=True, drop=1),
        Column("answer", [f"{row.kind}{f' {WARNED}' * bool(row.warning)}" for row in rows]),
        Column("chance", [_percent(row.chance) for row in rows], right=True),
        Column("between", [_between(row) for row in rows], right=True, drop=2),
        Column("lowest", [_percent(row.lowest) for row in rows], right=True),
    ]
    heading, *lines = table_rows(columns, width) if rows else [[]]
    reasons = [row.error or row.why for row in rows]
    below = [folded(f"  {reason}", width, 2) if reason else [] for reason in reasons]
    if brief:
        below = [_first(lines, width) for lines in below]
    return [heading, *([*row, *reason] for row, reason in zip(lines, below, strict=True))]


def _first(lines: list[str], width: int) -> list[str]:
    """The first of some lines, with an ellipsis where more follow.

    >>> _first(["no data near", "the coast"], 12)
    ['no data…']
    """
    if len(lines) < 2:
        return lines
    line = lines[0]
    return [f"{line.rpartition(' ')[0] if cell_len(line) == width else line}…"]


def _at(row: Row) -> str:
    if row.latitude is None or row.longitude is None:
        return ""
    return f"{row.latitude:.2f}, {row.longitude:.2f}"


def _percent(value: float | None) -> str:
    return "" if value is None else f"{whole_percent(value)} %"


def _between(row: Row) -> str:
    return "" if row.low is None or row.high is None else percents(row.low, row.high)

"""The answer of `energy size` as words and tables: pick, points, frontier, kits, sheet by hand.

The map is drawn in `picture`; what whole years add is worded in `year_words`.
"""

from collections.abc import Iterator, Sequence

from rich.text import Text

from energy.answers.size.bundles import in_words
from energy.answers.size.figures import size_text
from energy.answers.size.kits import Kits
from energy.answers.size.size import GOALS, Size
from energy.answers.size.worksheet import Worksheet
from energy.answers.size.year_words import GENERATOR, month_lines, worst_month, years_lines
from energy.plan.words import and_list
from energy.show.chance import chance_line
from energy.show.layout import Detail, Part, Sheet, folded, labelled, listed, notes_part, part
from energy.show.numbers import watt_hours
from energy.show.table import Column, rows
from energy.show.title import answer_part, title_part

MOST_ROWS = 10  # panel sizes shown of the frontier
WIRING = (
    "other sizes mean other volts and amps: ask energy wire anew, and leave fixed wiring to"
    " licensed people"
)
SEVERAL_PACKS = (
    "Several packs count as one: what they hold, charge and discharge adds up, and somebody shares"
    " out panels and tools between them. Of their inverters the smallest counts, so that any tool"
    " runs on any pack. Join them by wire only where their makers allow it, and never unlike ones."
)
UNLIKE_PANELS = (
    "Unlike panels count for what each gives alone, laid as the plan's. Joined to one input they"
    " may pull each other down: see energy wire."
)


def sheet(
    answer: Size,
    width: int,
    by_hand: Worksheet | None = None,
    kits: Kits | None = None,
    *,
    demo: bool = False,
    every: bool = False,
) -> Sheet:
    """The pick, the few sizes worth considering and the kits of the list, and its details.

    by_hand and kits are shown where they are given: neither belongs to whole years. demo: the plan
    is the built-in one. every: every kit and remark.
    """
    word, text = headline(answer)
    parts = [title_part(answer.designs.groups[0], width, demo=demo), answer_part(word, text, width)]
    if kits is not None:
        parts += [kits_part(kits, width, every=every)]
    remarks = [line for words in summary(answer) for line in folded(words, width)]
    parts += [part([*remarks, ""] if remarks else [])]
    if answer.points:
        parts += [points_part(answer, width)]
    parts += [part(labelled("Weather", _weather_line(answer), width), "dim")]
    parts += [notes_part([*_assumed(answer), WIRING], width, every)]
    return Sheet(parts, dict(_details(answer, by_hand, kits)))


def _details(
    answer: Size, by_hand: Worksheet | None, kits: Kits | None
) -> Iterator[tuple[str, Detail]]:
    if not answer.designs.overloads:
        yield (
            "frontier",
            lambda width: [
                *(points_part(answer, width).lines if answer.points else ()),
                *_as_text(frontier_lines(answer, width)),
            ],
        )
    if kits is not None:
        yield "kits", lambda width: kits_part(kits, width, every=True).lines
    if answer.whole_years is not None:
        years = answer.whole_years
        yield (
            "months",
            lambda width: _as_text([*month_lines(years, width), *folded(GENERATOR, width)]),
        )
    if by_hand is not None:
        yield "sheet", lambda width: _as_text(sheet_lines(by_hand, width))


def _as_text(lines: Sequence[str]) -> list[Text]:
    return [Text(line) for line in lines]


def headline(answer: Size) -> tuple[str, str]:
    """Whether some size does, and the pick or why there is none."""
    if answer.pick is None:
        return "NO", f"{answer.why}."
    sizes, years = both(*answer.pick.sizes), answer.whole_years
    if years is not None:
        worst = worst_month(years)
        return "YES", f"To stay, take {sizes} (goal {answer.goal:g} % of all days){worst}."
    reached = ""
    if answer.budget is not None and answer.budget.chance.scenarios > 1:
        chance = answer.budget.chance
        reached = f": works in {chance.worked} of {chance.scenarios} weathers"
    return "YES", f"Take {sizes}{reached}; the goal is {answer.goal:g} %."


def both(panel_w: float, battery_wh: float) -> str:
    """Panel and pack in words.

    >>> both(200.0, 1000.0), both(0.0, 500.0)
    ('200 W of panel and a pack of 1000 Wh', 'no panel and a pack of 500 Wh')
    """
    panel = f"{size_text(panel_w)} W of panel" if panel_w > 0.0 else "no panel"
    return f"{panel} and a pack of {size_text(battery_wh)} Wh"


def summary(answer: Size) -> Iterator[str]:
    """Why the pick, and what limits it."""
    years = answer.whole_years
    if years is None:
        yield from _beyond_the_input(answer)
    if answer.pick is not None:
        yield f"{answer.why}."
    if answer.limit is not None and (years is not None or answer.pick is not None):
        yield f"{answer.limit[0].upper()}{answer.limit[1:]}."
    if years is not None:
        yield from years_lines(years)


def _assumed(answer: Size) -> Iterator[str]:
    """What was taken for granted, without its full stop."""
    if answer.whole_years is not None:
        yield from answer.whole_years.notes
    elif answer.costs.assumed and answer.pick is not None:
        assumed = and_list(list(answer.costs.assumed))
        yield f"by common practice, not the plan's: {assumed} (prices in US dollars)"


def _weather_line(answer: Size) -> str:
    """Which weathers the sizes were run through."""
    own, years = answer.designs.groups[0], answer.whole_years
    text = own.weather.source
    if years is not None:
        count = "one whole year" if years.own.years == 1 else f"{years.own.years} whole years"
        return f"{text}; {count}, the plan's days repeated over and over"
    if answer.budget is not None:
        return f"{text}: with that it {chance_line(answer.budget.chance)}"
    return f"{text}: {own.success.size} weathers tried"


def _beyond_the_input(answer: Size) -> Iterator[str]:
    """Panels of which the solar input does not take all, and how they are joined behind PWM."""
    designs, most_w = answer.designs, float(answer.frontier.panel_w[-1])
    panel_w = most_w if answer.pick is None else answer.pick.panel_w
    takes = designs.takes_w(panel_w)
    if answer.pick is not None and panel_w > takes:
        yield (
            f"That is more than the {takes:.0f} W the solar input takes: the rest helps in dull"
            " light only. Ask its maker whether it bears such panels."
        )
    elif (takes := designs.takes_w(most_w)) < most_w:
        yield f"The solar input takes {takes:.0f} W: more panel than that helps in dull light only."
    for note in designs.joined_words(panel_w):
        yield f"{note}."


def points_part(answer: Size, width: int) -> Part:
    """The few sizes worth considering."""
    points = answer.points
    columns = (
        Column("worth considering", [point.why for point in points]),
        Column("panel", [f"{size_text(point.panel_w)} W" for point in points], right=True),
        Column("pack", [f"{size_text(point.battery_wh)} Wh" for point in points], right=True),
        Column("reaches", [f"{point.goal:g} %" for point in points], right=True),
        Column("weighs", [kilograms(point.kg) for point in points], right=True, drop=1),
        Column("price", [watt_hours(point.price) for point in points], right=True, drop=2),
    )
    heading, *items = rows(columns, width)
    shown = listed(heading, items, lambda n: f"{n} more: --frontier", most=8, least=3, gives=2)
    return Part([[*version, Text()] for version in shown.versions], shown.gives)


def kilograms(kg: float | None) -> str:
    """A weight, empty where it is not known.

    >>> kilograms(9.26), kilograms(19.6), kilograms(None)
    ('9.3 kg', '20 kg', '')
    """
    if kg is None:
        return ""
    return f"{kg:.0f} kg" if kg >= 10.0 else f"{kg:.1f} kg"


def frontier_lines(answer: Size, width: int) -> list[str]:
    """The smallest pack for panels of some sizes, at each goal."""
    frontier = answer.frontier
    count = frontier.panel_w.size
    step = max(1, -(-count // MOST_ROWS))
    shown = range((count - 1) % step, count, step)
    packs = {goal: frontier.battery_wh(goal) for goal in GOALS}
    columns = [Column("panel", [f"{size_text(frontier.panel_w[k])} W" for k in shown], right=True)]
    for goal, sizes in packs.items():
        packs_of = [sizes[k] for k in shown]
        cells = ["none" if wh is None else f"{size_text(wh)} Wh" for wh in packs_of]
        columns.append(Column(f"pack for {goal:g} %", cells, right=True))
    lines = [line for row in rows(columns, width) for line in row]
    if any(None in sizes for sizes in packs.values()):
        lines.append(f"none: not with a pack up to {size_text(frontier.sizes_wh[-1])} Wh")
    if frontier.floor_wh is not None:
        least = f"{size_text(frontier.floor_wh)} Wh"
        lines.append(f"{least}: the smallest looked at, smaller ones may do")
    return lines


def kits_part(kits: Kits, width: int, *, every: bool) -> Part:
    """The best kits of the list of candidates, why some packs are out, and what several are taken
    for; a few of them, or all."""
    if not kits.best:
        reaches = "was found that reaches" if kits.notes else "of the list reaches"
        heading, items = [f"No kit {reaches} the goal."], []
    else:
        heading, *items = kit_rows(kits, width)
    remarks = [*kits.out, *kits.notes]
    if any(sum(count for _, count in kit.packs) > 1 for kit in kits.best):
        remarks.append(SEVERAL_PACKS)
    if any(len(kit.panels) > 1 for kit in kits.best):
        remarks.append(UNLIKE_PANELS)
    items += [folded(f"- {line}", width, 2) for line in remarks]
    if every:
        return part([*heading, *(line for item in items for line in item), ""])
    shown = listed(heading, items, lambda n: f"{n} more lines: --kits", most=6, least=2, gives=1)
    return Part([[*version, Text()] for version in shown.versions], shown.gives)


def kit_rows(kits: Kits, width: int) -> list[list[str]]:
    """The kits that reach the goal, with what they are best by."""
    best = kits.best
    names = [f"{in_words(kit.packs)}, {in_words(kit.panels) or 'no panel'}" for kit in best]
    prices = [kit.total("price") for kit in best]
    columns = (
        Column("kits that reach the goal", names),
        Column("panel", [f"{size_text(kit.panel_w)} W" for kit in best], right=True, drop=1),
        Column("pack", [f"{size_text(kit.battery_wh)} Wh" for kit in best], right=True, drop=2),
        Column("weighs", [kilograms(kit.total("kg")) for kit in best], right=True),
        Column("price", ["" if p is None else f"{p:.0f}" for p in prices], right=True),
        Column("best by", [", ".join(kit.best) for kit in best]),
    )
    return rows([column for column in columns if any(column.cells)], width)


def sheet_lines(by_hand: Worksheet, width: int) -> list[str]:
    """The classical sheet, step by step."""
    steps = by_hand.steps
    values = [
        watt_hours(step.value) if abs(step.value) >= 20.0 else f"{step.value:.2f}" for step in steps
    ]
    columns = (
        Column("the same by hand", [step.what for step in steps]),
        Column("value", values, right=True),
        Column("unit", [step.unit for step in steps]),
        Column("how", [step.how for step in steps]),
    )
    lines = [line for row in rows(columns, width) for line in row]
    return [*lines, *folded(by_hand.why, width)]

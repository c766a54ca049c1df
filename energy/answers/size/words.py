"""The answer of `energy size` as words and tables: pick, points, frontier, kits, sheet by hand.

The map is drawn in `picture`; what whole years add is worded in `year_words`.
"""

from collections.abc import Iterator

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.size.bundles import in_words
from energy.answers.size.figures import size_text
from energy.answers.size.kits import Kits
from energy.answers.size.size import GOALS, Size
from energy.answers.size.worksheet import Worksheet
from energy.answers.size.year_words import GENERATOR, month_table, years_lines
from energy.show.chance import chance_line
from energy.show.numbers import watt_hours

MOST_ROWS = 10  # panel sizes shown of the frontier
WIRING = (
    "Other sizes mean other volts and amps: check cables, fuses and the solar input anew (energy"
    " wire), keep to the rules of the place, and leave fixed wiring to licensed people."
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


def show_size(
    answer: Size,
    out: Console,
    sheet: Worksheet | None = None,
    kits: Kits | None = None,
    *,
    demo: bool = False,
) -> None:
    """Print the whole answer; `demo` says that the plan is the built-in one.

    sheet and kits are shown where they are given: neither belongs to whole years.
    """
    if demo:
        out.print("No plan given: this is the built-in demo, an invented example.")
    out.print(Text(answer.plan.title or answer.plan.origin, style="bold"))
    out.print(headline(answer))
    for line in summary(answer):
        out.print(Text(line))
    if answer.points:
        out.print(points_table(answer))
    if not answer.designs.overloads:
        out.print(frontier_table(answer))
    if kits is not None:
        show_kits(kits, out)
    if answer.whole_years is not None:
        if (months := month_table(answer.whole_years)) is not None:
            out.print(months)
        out.print(Text(GENERATOR))
    if sheet is not None:
        out.print(sheet_table(sheet))
        out.print(Text(sheet.why))
    out.print(Text(WIRING))


def headline(answer: Size) -> Text:
    """The pick, or that there is none, in a line."""
    if answer.pick is None:
        return Text(answer.why + ".", style="bold red")
    sizes = both(*answer.pick.sizes)
    text = f"Take {sizes} (goal {answer.goal:g} %)."
    if answer.whole_years is not None:
        text = f"To stay, take {sizes} (goal {answer.goal:g} % of all days)."
    return Text(text, style="bold green")


def both(panel_w: float, battery_wh: float) -> str:
    """Panel and pack in words.

    >>> both(200.0, 1000.0), both(0.0, 500.0)
    ('200 W of panel and a pack of 1000 Wh', 'no panel and a pack of 500 Wh')
    """
    panel = f"{size_text(panel_w)} W of panel" if panel_w > 0.0 else "no panel"
    return f"{panel} and a pack of {size_text(battery_wh)} Wh"


def summary(answer: Size) -> Iterator[str]:
    """What the pick rests on, why it, and what was taken for granted."""
    years = answer.whole_years
    if years is None:
        yield from _beyond_the_input(answer)
    if answer.pick is not None:
        if years is None and answer.budget is not None:
            yield f"With that it {chance_line(answer.budget.chance)}."
        yield f"{answer.why}."
    if answer.limit is not None and (years is not None or answer.pick is not None):
        yield f"{answer.limit[0].upper()}{answer.limit[1:]}."
    if years is not None:
        yield from (f"{note}." for note in years.notes)
    yield _weather_line(answer)
    if years is not None:
        yield from years_lines(years)
    elif answer.costs.assumed and answer.pick is not None:
        *others, last = answer.costs.assumed
        words = f"{', '.join(others)} and {last}" if others else last
        yield f"By common practice, not the plan's: {words} (prices in US dollars)."


def _weather_line(answer: Size) -> str:
    """Which weathers the sizes were run through."""
    own, years = answer.designs.groups[0], answer.whole_years
    text = f"Weather: {own.weather.source}"
    if years is not None:
        count = "one whole year" if years.own.years == 1 else f"{years.own.years} whole years"
        return f"{text}; {count}, the plan's days repeated over and over."
    if own.plan.weather.kind in ("file", "history"):
        which = "all" if answer.plan.weather.futures is None else "the plan's"
        return f"{text}, {which} {own.success.size} windows of the season."
    return f"{text}."


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


def points_table(answer: Size) -> Table:
    """The few sizes worth considering."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("worth considering", overflow="fold")
    for heading in ("panel, W", "pack, Wh", "reaches", "kg", "price"):
        table.add_column(heading, justify="right")
    for point in answer.points:
        table.add_row(
            point.why,
            size_text(point.panel_w),
            size_text(point.battery_wh),
            f"{point.goal:g} %",
            f"{point.kg:.0f}" if point.kg >= 10.0 else f"{point.kg:.1f}",
            watt_hours(point.price),
            style="bold" if point is answer.points[0] else None,
        )
    return table


def frontier_table(answer: Size) -> Table:
    """The smallest pack for panels of some sizes, at each goal."""
    frontier = answer.frontier
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("panel, W", justify="right")
    for goal in GOALS:
        table.add_column(f"pack for {goal:g} %, Wh", justify="right")
    count = frontier.panel_w.size
    step = max(1, -(-count // MOST_ROWS))
    columns = [frontier.battery_wh(goal) for goal in GOALS]
    for k in range((count - 1) % step, count, step):
        sizes = (column[k] for column in columns)
        cells = ("none" if size is None else size_text(size) for size in sizes)
        table.add_row(size_text(frontier.panel_w[k]), *cells)
    captions = []
    if any(None in column for column in columns):
        captions.append(f"none: not with a pack up to {size_text(frontier.sizes_wh[-1])} Wh")
    if frontier.floor_wh is not None:
        captions.append(
            f"{size_text(frontier.floor_wh)}: the smallest looked at, smaller ones may do"
        )
    if captions:
        table.caption, table.caption_justify = "\n".join(captions), "left"
    return table


def show_kits(kits: Kits, out: Console) -> None:
    """The best kits of the list of candidates, why some packs are out, and what several are taken
    for."""
    if kits.best:
        table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
        table.add_column("kits that reach the goal", overflow="fold")
        for heading in ("panel, W", "pack, Wh", "kg", "price"):
            table.add_column(heading, justify="right")
        table.add_column("best by", overflow="fold")
        for kit in kits.best:
            kg, price = kit.total("kg"), kit.total("price")
            table.add_row(
                Text(f"{in_words(kit.packs)}, {in_words(kit.panels) or 'no panel'}"),
                size_text(kit.panel_w),
                size_text(kit.battery_wh),
                "" if kg is None else f"{kg:.1f}",
                "" if price is None else f"{price:.0f}",
                ", ".join(kit.best),
            )
        out.print(table)
    else:
        reaches = "was found that reaches" if kits.notes else "of the list reaches"
        out.print(Text(f"No kit {reaches} the goal.", style="bold"))
    for line in (*kits.out, *kits.notes):
        out.print(Text(f"- {line}"))
    if any(sum(count for _, count in kit.packs) > 1 for kit in kits.best):
        out.print(Text(SEVERAL_PACKS))
    if any(len(kit.panels) > 1 for kit in kits.best):
        out.print(Text(UNLIKE_PANELS))


def sheet_table(sheet: Worksheet) -> Table:
    """The classical sheet, step by step."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("the same by hand", overflow="fold")
    table.add_column("value", justify="right")
    table.add_column("unit")
    table.add_column("how", overflow="fold")
    for step in sheet.steps:
        value = watt_hours(step.value) if abs(step.value) >= 20.0 else f"{step.value:.2f}"
        result = step.what in ("battery", "panel")
        table.add_row(
            Text(step.what), value, step.unit, Text(step.how), style="bold" if result else None
        )
    return table

"""Whole years as words and tables: the sizes that serve so many days, months and worst spell.

The same for a job is in `words`.
"""

from collections.abc import Iterator

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.size.size import figure
from energy.answers.size.words import WIRING, both, frontier_table, points_table
from energy.answers.size.year_size import Through, YearSize
from energy.show.numbers import watt_hours

GENERATOR = (
    "The last few percent of days ask for much more battery or panel: a second source for the worst"
    " spell is often the smaller thing (common practice)."
)


def show_years(answer: YearSize, out: Console, *, demo: bool = False) -> None:
    """Print the whole answer; `demo` says that the plan is the built-in one."""
    if demo:
        out.print("No plan given: this is the built-in demo, an invented example.")
    out.print(Text(answer.plan.title or answer.plan.origin, style="bold"))
    if answer.pick is None:
        out.print(Text(f"{answer.why}.", style="bold red"))
    else:
        out.print(
            Text(
                f"To stay, take {both(answer.pick.panel_w, answer.pick.battery_wh)}"
                f" (goal {answer.goal:g} % of all days).",
                style="bold green",
            )
        )
    for line in summary(answer):
        out.print(Text(line))
    if answer.points:
        out.print(points_table(answer))
    if not answer.designs.overloads:
        out.print(frontier_table(answer))
    if answer.picked is not None or not answer.own_limit:
        out.print(month_table(answer))
    out.print(Text(GENERATOR))
    out.print(Text(WIRING))


def summary(answer: YearSize) -> Iterator[str]:
    """What was run, why the pick, and the worst spells."""
    if answer.pick is not None:
        yield f"{answer.why}."
    if answer.limit is not None:
        yield f"{answer.limit[0].upper()}{answer.limit[1:]}."
    for note in answer.kit_notes:
        yield f"{note}."
    number = answer.own.years
    years = "one whole year" if number == 1 else f"{number} whole years"
    yield (
        f"Weather: {answer.designs.groups[0].weather.source}; {years}, the plan's days repeated"
        " over and over."
    )
    for words, one, limit in (
        ("The plan's own", answer.own, answer.own_limit),
        ("The pick", answer.picked, None),
    ):
        if one is not None:
            sizes = f"{figure(one.panel_w)} W and {figure(one.battery_wh)} Wh"
            yield f"{words}, {sizes}: {f'will not do: {limit}' if limit else worst_line(one)}."


def worst_line(one: Through) -> str:
    """How often the load is lost, and the worst spell with its dates."""
    spell = one.worst
    form = "{0.day} {0:%B %Y}" if one.dated else "{0.day} {0:%B}"
    first, last = form.format(spell.first), form.format(spell.last)
    if one.lost_percent == 0.0:
        return f"never loses the load; lowest {spell.lowest_percent:.0f} % on {first}"
    days = f"{spell.days} days on end, {first} to {last}"
    if spell.days == 1:
        days = f"one day, {first}"
    return (
        f"loses the load on {one.lost_percent:.1f} % of days; the worst spell is {days},"
        f" {watt_hours(spell.unmet_wh)} Wh short"
    )


def month_table(answer: YearSize) -> Table:
    """Days on which the load is lost, month by month."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("load lost on % of days")
    sizes = [] if answer.own_limit else [("own", answer.own)]
    sizes += [] if answer.picked is None else [("pick", answer.picked)]
    for words, _ in sizes:
        table.add_column(words, justify="right")
        table.add_column("short, Wh/day", justify="right")
    for k, month in enumerate(answer.own.months):
        cells = []
        for _, one in sizes:
            here = one.months[k]
            cells.append(f"{here.lost_percent:.0f}" if here.lost_percent else "")
            cells.append(watt_hours(here.unmet_wh_per_day) if here.unmet_wh_per_day >= 0.5 else "")
        table.add_row(month.name, *cells)
    whole = [cell for _, one in sizes for cell in (f"{one.lost_percent:.1f}", "")]
    table.add_row("whole year", *whole, style="bold")
    return table

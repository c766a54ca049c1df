"""What whole years add to the words of `energy size`: months and worst spell of a size.

The sizes themselves are worded in `words`.
"""

from collections.abc import Iterator

from rich import box
from rich.table import Table

from energy.answers.size.figures import size_text
from energy.answers.size.through import Through, WholeYears
from energy.show.numbers import watt_hours

GENERATOR = (
    "The last few percent of days ask for much more battery or panel: a second source for the worst"
    " spell is often the smaller thing (common practice)."
)


def years_lines(years: WholeYears) -> Iterator[str]:
    """How the plan's own size and the pick fare: a line each."""
    for words, through, limit in (
        ("The plan's own", years.own, years.own_limit),
        ("The pick", years.pick, None),
    ):
        if through is not None:
            sizes = f"{size_text(through.panel_w)} W and {size_text(through.battery_wh)} Wh"
            fares = f"will not do: {limit}" if limit else worst_line(through)
            yield f"{words}, {sizes}: {fares}."


def worst_line(through: Through) -> str:
    """How often the load is lost, and the worst spell with its dates."""
    spell = through.worst
    form = "{0.day} {0:%B %Y}" if through.dated else "{0.day} {0:%B}"
    first, last = form.format(spell.first), form.format(spell.last)
    if through.lost_percent == 0.0:
        return f"never loses the load; lowest {spell.lowest_percent:.0f} % on {first}"
    days = f"{spell.days} days on end, {first} to {last}"
    if spell.days == 1:
        days = f"one day, {first}"
    return (
        f"loses the load on {through.lost_percent:.1f} % of days; the worst spell is {days},"
        f" {watt_hours(spell.unmet_wh)} Wh short"
    )


def month_table(years: WholeYears) -> Table | None:
    """Days on which the load is lost, month by month; None where no size can do the work."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("load lost on % of days")
    sizes = [] if years.own_limit else [("own", years.own)]
    sizes += [] if years.pick is None else [("pick", years.pick)]
    if not sizes:
        return None
    for words, _ in sizes:
        table.add_column(words, justify="right")
        table.add_column("short, Wh/day", justify="right")
    for k, month in enumerate(years.own.months):
        cells = []
        for _, through in sizes:
            lost, short_wh = through.months[k].lost_percent, through.months[k].unmet_wh_per_day
            cells.append(f"{lost:.0f}" if lost else "")
            cells.append(watt_hours(short_wh) if short_wh >= 0.5 else "")
        table.add_row(month.name, *cells)
    totals = [cell for _, through in sizes for cell in (f"{through.lost_percent:.1f}", "")]
    table.add_row("whole year", *totals, style="bold")
    return table

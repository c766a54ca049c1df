"""What whole years add to the words of `energy size`: months and worst spell of a size.

The sizes themselves are worded in `words`.
"""

from collections.abc import Iterator

from energy.answers.size.figures import size_text
from energy.answers.size.through import Through, WholeYears
from energy.show.numbers import watt_hours, whole_percent
from energy.show.table import Column, lines

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
        f" {watt_hours(spell.unmet_wh)} Wh missing"
    )


def worst_month(through: Through, what: str) -> str:
    """How often a size loses the load, and the month that is worst, in the words of a first line.

    what: the size in words.
    """
    worst = max(through.months, key=lambda month: (month.lost_percent, month.unmet_wh_per_day))
    if worst.lost_percent <= 0.0:
        return f"{what} never loses the load"
    return (
        f"{what} loses the load on {whole_percent(through.lost_percent)} % of days, and in"
        f" {worst.name}, the worst month, on {whole_percent(worst.lost_percent)} %"
    )


def month_lines(years: WholeYears, width: int) -> list[str]:
    """Days on which the load is lost, month by month; nothing where no size can do the work."""
    sizes = [] if years.own_limit else [("own", years.own)]
    sizes += [] if years.pick is None else [("pick", years.pick)]
    names = [month.name for month in years.own.months]
    columns = [Column("load lost on so many days", [*names, "whole year"])]
    for words, through in sizes:
        lost = [
            f"{month.lost_percent:.0f} %" if month.lost_percent else "" for month in through.months
        ]
        missing = [month.unmet_wh_per_day for month in through.months]
        each = [f"{watt_hours(wh)} Wh" if wh >= 0.5 else "" for wh in missing]
        columns.append(Column(words, [*lost, f"{through.lost_percent:.1f} %"], right=True))
        columns.append(Column("missing a day", [*each, ""], right=True))
    return lines(columns, width) if sizes else []

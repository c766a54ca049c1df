"""Where to point the panels, in words: the pose, how to set it up, what other ways give.

What is said is worked out in the answer; its picture is drawn in `picture`.
"""

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.aim.aim import Aim, Setting, enough_for
from energy.plan.kit import Panel, compass_word
from energy.plan.words import and_list
from energy.show.moments import day_name
from energy.show.numbers import loss_percent, watt_hours

GAIN_SHARE = 0.01  # turns that give less more than the best pose are not shown
CURTAILED_SHARE = 0.05  # less of the yield is not worth a word


def show_aim(answer: Aim, out: Console) -> None:
    """Print the best pose, how to set it up, what others cost, and what turning is worth."""
    result = answer.plan.budget
    out.print(Text(result.plan.title or result.plan.origin, style="bold"))
    out.print(Text(f"{finding(answer)}.", style="bold"))
    if answer.follow.own_wh > 0.0:
        for line in advice(answer):
            out.print(Text(line))
        out.print(settings_table(answer))
        for line in remarks(answer):
            out.print(Text(line))
        out.print(hours_table(answer))
    for note in result.notes:
        out.print(Text(f"Note: {note}."))


def finding(answer: Aim) -> str:
    """The best pose in a sentence.

    >>> from energy.answers.aim.aim import aim
    >>> from energy.plan import Plan
    >>> finding(aim(Plan.read("builtin:two-night-trip"))).split(":")[0]
    'Lay what swings with the boat flat'
    """
    if answer.follow.own_wh <= 0.0:
        return "No sun reaches the panels in the plan's hours: no pose helps"
    which = "what swings with the boat" if answer.azimuth_deg is None else _them(answer)
    if answer.tilt_deg == 0.0:
        pose = f"Lay {which} flat"
    elif answer.azimuth_deg is None:
        pose = f"Tilt {which} {answer.tilt_deg:.0f} degrees"
    else:
        bearing = f"{answer.azimuth_deg:.0f} degrees true ({compass_word(answer.azimuth_deg)})"
        pose = f"Point {which} at {bearing}, tilted {answer.tilt_deg:.0f} degrees"
    return f"{pose}: {watt_hours(answer.best.wh_per_day)} Wh a day, {_gain(answer)}"


def _gain(answer: Aim) -> str:
    """What the best pose gives more a day; a plan of a morning may gain what a day loses."""
    more, own = answer.more_wh(answer.best), answer.best.own_wh - answer.plan.own_wh
    if round(own) < 0:
        return f"{watt_hours(-more)} less than planned, but without turning"
    if round(more) > 0:
        return f"{watt_hours(more)} more than planned"
    if round(own) > 0:
        return f"and {watt_hours(own)} more than planned in the plan's own hours"
    return "as much as planned"


def advice(answer: Aim) -> list[str]:
    """How to set the best pose up by hand, and what missing it costs."""
    lines: list[str] = []
    if answer.tilt_deg > 0.0:
        rise_cm = 100.0 * answer.prop_height_m(1.0)
        props = [f"Prop the raised edge {rise_cm:.0f} cm up for every metre along the slope"]
        for panel in {panel.name: panel for panel in _panels(answer)}.values():
            if panel.length_m is not None:
                high = f"{answer.prop_height_m(panel.length_m):.2f} m"
                props.append(f'{high} where the {panel.length_m:g} m of "{panel.name}" slope')
        lines.append("; ".join(props) + ".")
        if answer.azimuth_deg is not None:
            lines.append(
                "A compass shows magnetic north: take an easterly local declination off the true"
                " bearing, add a westerly one."
            )
    if answer.azimuth_deg is None:
        lines.append(
            "A boat at anchor turns as it likes: only the tilt can be chosen, judged over all"
            " headings."
        )
        if len(answer.aimed) < len(answer.plan.budget.plan.panel):
            lines[-1] += " The panels that do not swing stay as planned."
    costs = [
        f"a tilt {off} degrees wrong {loss_percent(answer.lost_percent(off, 0))}"
        for off in (10, 20)
    ]
    if answer.azimuth_deg is not None:
        costs += [
            f"a facing {off} degrees wrong {loss_percent(answer.lost_percent(0, off))}"
            for off in (30, 60)
        ]
    lines.append(f"What it costs, to the worse side: {', '.join(costs)}.")
    return lines


def settings(answer: Aim) -> list[tuple[str, Setting]]:
    """The settings in words, from lying flat to following the sun.

    Turns that give no more than the best pose are left out.
    """
    facing = "" if answer.azimuth_deg is None else f", facing {answer.azimuth_deg:.0f}"
    least = (1.0 + GAIN_SHARE) * answer.best.own_wh
    return [
        ("flat", answer.flat),
        ("as planned", answer.plan),
        (f"best: tilt {answer.tilt_deg:.0f}{facing}", answer.best),
        *(
            (f"best, turned at {and_list(turns.at)}", turns)
            for turns in answer.re_aim
            if turns.own_wh >= least
        ),
        ("square to the sun all day", answer.follow),
    ]


def settings_table(answer: Aim) -> Table:
    """The settings with what they give a day, what of the gain the pack takes, and its worth."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("how the panels stand", overflow="fold")
    for heading in ("Wh a day", "more than planned", "of it the pack takes"):
        table.add_column(heading, justify="right")
    table.add_column("enough for", overflow="fold")
    for words, setting in settings(answer):
        gain, taken = answer.more_wh(setting), answer.more_taken_wh(setting)
        table.add_row(
            Text(words),
            watt_hours(setting.wh_per_day),
            *(["", ""] if setting is answer.plan else [watt_hours(gain), watt_hours(taken)]),
            Text(enough_for(answer.plan.budget, taken)),
        )
    return table


def hours_table(answer: Aim) -> Table:
    """The mean watts in each hour of the clock, for the settings worth comparing."""
    columns = [("flat", answer.flat), ("as planned", answer.plan), ("best", answer.best)]
    turns = turned(answer)
    if turns is not None:
        columns.append((f"turned at {and_list(turns.at)}", turns))
    columns.append(("square to the sun", answer.follow))
    hourly = np.stack([s.watts().reshape(24, -1).mean(axis=1) for _, s in columns], axis=1)
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("W, mean from")
    for heading, _ in columns:
        table.add_column(heading, justify="right")
    for hour in np.flatnonzero(hourly.max(axis=1) >= 0.5):
        table.add_row(f"{hour:02d}:00", *(f"{watts:.0f}" for watts in hourly[hour]))
    return table


def turned(answer: Aim) -> Setting | None:
    """The turns to show: those that are worth it, else those that give most; None for a boat."""
    if not answer.re_aim:
        return None
    return answer.worth_turning or max(answer.re_aim, key=lambda turns: turns.own_wh)


def remarks(answer: Aim) -> list[str]:
    """Whether turning is worth it, and what the figures rest on."""
    result, lines = answer.plan.budget, []
    worth = answer.worth_turning
    if worth is not None:
        lines.append(
            f"Worth getting up for: turn {_them(answer)} square to the sun at {and_list(worth.at)},"
            " each day; a pen held upright on it then throws no shadow. It stays so overnight."
        )
    elif answer.re_aim:
        most = max(turns.taken_wh for turns in answer.re_aim)
        more = round(most - answer.best.taken_wh)
        lines.append(
            "Turning during the day is not worth getting up for: the pack would take"
            f" {f'{more} Wh a day' if more > 0 else 'no'} more."
        )
    curtailed = answer.plan.curtailed_wh
    if curtailed > CURTAILED_SHARE * answer.plan.own_wh:
        lines.append(
            f"As planned {watt_hours(curtailed)} Wh a day are spilled, when the pack is full: more"
            " sun then is worth nothing, work moved to those hours is."
        )
    weathers = (
        "one weather" if result.chance.scenarios == 1 else f"{result.chance.scenarios} weathers"
    )
    lines.append(f"Means of {weathers}, horizon and shade counted: {result.weather.source}.")
    return [*lines, day_in_words(answer)]


def day_in_words(answer: Aim) -> str:
    """Which days a day's figures are the mean of.

    >>> from energy.answers.aim.aim import aim
    >>> from energy.plan import Plan
    >>> day_in_words(aim(Plan.read("builtin:january-job")))
    'A day here is the mean of the whole days of the plan, Tue 12 Jan to Thu 14 Jan.'
    """
    day = answer.plan.daylight
    first, last = (day_name(date) for date in (day.first, day.last))
    dates, mean, days = f"{first} to {last}", "the mean of ", "days"
    if day.days == 1:
        dates, mean, days = first, "", "day"
    if day.counts == "whole-days":
        return f"A day here is {mean}the whole {days} of the plan, {dates}."
    if day.counts == "touched-days":
        return (
            f"A day here is {mean}all the sun of {dates}, from midnight to midnight; the pose and"
            " what the pack takes are for the plan's own hours."
        )
    return f"A day here is {mean}{dates} in the plan's own hours: the weather held covers no more."


def _panels(answer: Aim) -> list[Panel]:
    return [answer.plan.budget.plan.panel[k] for k in answer.aimed]


def _them(answer: Aim) -> str:
    return "the panel" if sum(panel.count for panel in _panels(answer)) == 1 else "the panels"

"""Where to point the panels, in words: the pose, how to set it up, what other ways give.

What is said is worked out in the answer; its picture is drawn in `picture`.
"""

from collections.abc import Sequence

import numpy as np
from rich.text import Text

from energy.answers.aim.aim import Aim, Setting, enough_for
from energy.answers.caution.words import warning_part
from energy.plan.kit import compass_word
from energy.plan.words import and_list
from energy.show import table
from energy.show.layout import Part, Sheet, folded, labelled, notes_part, part, texts
from energy.show.moments import day_name
from energy.show.numbers import loss_percent, watt_hours
from energy.show.table import Column
from energy.show.title import title_part

GAIN_SHARE = 0.01  # turns that give less more than the best pose are not shown
CURTAILED_SHARE = 0.05  # less of the yield is not worth a word


def sheet(answer: Aim, width: int, *, demo: bool = False, every: bool = False) -> Sheet:
    """The best pose, what others give, how to set it up, and its details by option.

    width: columns. demo: the plan is the built-in one. every: all notes.
    """
    result = answer.plan.budget
    head = [Text(line, "bold") for line in folded(f"{finding(answer)}.", width)]
    parts = [
        title_part(result, width, demo=demo),
        Part([[*head, Text()]]),
        warning_part(result, width),
    ]
    if answer.follow.own_wh <= 0.0:
        return Sheet([*parts, notes_part(result.notes, width, every)])
    few = [*_settings_lines(answer, _few(answer), width, worth=False), ""]
    parts += [part(few)]
    basis = labelled("Weather", f"{sun_words(answer)}; a day: {_dates(answer)}", width)
    turning, unused, costs = (
        [Text(line) for line in folded(words, width, 2)] if words else []
        for words in (turning_words(answer), unused_words(answer), costs_off(answer))
    )
    setup = [Text(line) for words in advice(answer) for line in folded(words, width, 2)]
    by_hand = Part(
        [
            [*turning, *unused, *setup, *costs, Text()],
            [*turning, *unused, *setup, Text()],
            [*turning, *setup, Text()],
        ],
        gives=1,
    )
    parts += [by_hand, part(basis, "dim"), notes_part(result.notes, width, every)]
    return Sheet(
        parts,
        {
            "turns": lambda width: texts(_settings_lines(answer, settings(answer), width)),
            "hours": lambda width: texts(
                [
                    *hours_lines(answer, width),
                    *folded(costs_off(answer), width),
                    *folded(day_in_words(answer), width),
                ]
            ),
        },
    )


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
    """How to set the best pose up by hand."""
    lines: list[str] = []
    if answer.tilt_deg > 0.0:
        steep = f"{100.0 * answer.prop_height_m(1.0):.0f} cm up for each metre of slope"
        props = [
            f'"{panel.name}" {answer.prop_height_m(panel.length_m):.2f} m'
            for panel in {panel.name: panel for panel in answer.panels}.values()
            if panel.length_m is not None
        ]
        lines.append(f"Prop the raised edge {steep}{': ' * bool(props)}{and_list(props)}.")
        if answer.azimuth_deg is not None:
            lines.append(
                "A compass shows magnetic north: take easterly declination off, add westerly."
            )
    if answer.azimuth_deg is None:
        lines.append(
            "A boat at anchor turns as it likes: only the tilt can be chosen, judged over all"
            " headings."
        )
        if len(answer.aimed) < len(answer.plan.budget.plan.panel):
            lines[-1] += " The panels that do not swing stay as planned."
    return lines


def costs_off(answer: Aim) -> str:
    """What missing the best pose costs, to the worse side."""
    costs = [_wrong(off, answer.lost_percent(off, 0)) for off in (10, 20)]
    text = f"A tilt {', '.join(costs)}"
    if answer.azimuth_deg is not None:
        costs = [_wrong(off, answer.lost_percent(0, off)) for off in (30, 60)]
        text += f"; a facing {', '.join(costs)}"
    return text + "."


def _wrong(off_deg: int, lost: float) -> str:
    return f"{off_deg} degrees off costs {loss_percent(lost)}"


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
            if turns.own_wh >= least and answer.gives_no_less(turns)
        ),
        ("square to the sun all day", answer.follow),
    ]


def _few(answer: Aim) -> list[tuple[str, Setting]]:
    """Of the turns only those worth showing first."""
    shown = turned(answer)
    return [
        (words, setting)
        for words, setting in settings(answer)
        if setting not in answer.re_aim or setting is shown
    ]


def _settings_lines(
    answer: Aim, shown: Sequence[tuple[str, Setting]], width: int, *, worth: bool = True
) -> list[str]:
    """The settings with what they give a day, what of the gain the pack takes, and its worth."""
    gains, enough = [], []
    for _, setting in shown:
        taken = setting.taken_wh - answer.plan.taken_wh
        figures = (answer.more_wh(setting), taken)
        planned = setting is answer.plan
        gains.append(["", ""] if planned else [f"{watt_hours(wh)} Wh" for wh in figures])
        enough.append(enough_for(answer.plan.budget, taken))
    days = [f"{watt_hours(setting.wh_per_day)} Wh" for _, setting in shown]
    columns = [
        Column("how the panels stand", [words for words, _ in shown]),
        Column("a day", days, right=True),
        Column("more", [more for more, _ in gains], right=True),
        Column("pack takes", [taken for _, taken in gains], right=True),
    ]
    if worth:
        columns.append(Column("enough for", enough, drop=1))
    return table.lines(columns, width)


def hours_lines(answer: Aim, width: int) -> list[str]:
    """The mean watts in each hour of the clock, for the settings worth comparing."""
    shown = [("flat", answer.flat), ("as planned", answer.plan), ("best", answer.best)]
    turns = turned(answer)
    if turns is not None:
        shown.append((f"turned at {and_list(turns.at)}", turns))
    shown.append(("square to the sun", answer.follow))
    hourly = np.stack([s.watts().reshape(24, -1).mean(axis=1) for _, s in shown], axis=1)
    lit = np.flatnonzero(hourly.max(axis=1) >= 0.5)
    columns = [Column("mean from", [f"{hour:02d}:00" for hour in lit])]
    for k, (heading, _) in enumerate(shown):
        columns.append(Column(heading, [f"{hourly[hour, k]:.0f} W" for hour in lit], right=True))
    return table.lines(columns, width)


def turned(answer: Aim) -> Setting | None:
    """The turns to show: those that are worth it, else those that give most; None for a boat."""
    if not answer.re_aim:
        return None
    return answer.worth_turning or max(answer.re_aim, key=lambda turns: turns.own_wh)


def turning_words(answer: Aim) -> str:
    """Whether turning is worth getting up for; empty where there is no turning."""
    worth = answer.worth_turning
    if worth is not None:
        return (
            f"Worth getting up for: turn {_them(answer)} square to the sun at {and_list(worth.at)}"
            " each day, till a pen held upright on it throws no shadow."
        )
    if not answer.re_aim:
        return ""
    most = max(turns.taken_wh for turns in answer.re_aim)
    more = round(most - answer.best.taken_wh)
    return (
        "Turning during the day is not worth getting up for: the pack would take"
        f" {f'{more} Wh a day' if more > 0 else 'no'} more."
    )


def unused_words(answer: Aim) -> str:
    """How much the full pack does not take; empty where that is little."""
    unused = answer.plan.curtailed_wh
    if unused <= CURTAILED_SHARE * answer.plan.own_wh:
        return ""
    return (
        f"As planned {watt_hours(unused)} Wh a day go unused, the pack being full: work moved to"
        " those hours takes it."
    )


def sun_words(answer: Aim) -> str:
    """Which sun the figures are means of."""
    result = answer.plan.budget
    weathers = (
        "one weather" if result.chance.scenarios == 1 else f"{result.chance.scenarios} weathers"
    )
    return f"means of {weathers}, {result.weather.source}"


def _dates(answer: Aim) -> str:
    """The dates whose mean a day is."""
    day = answer.plan.daylight
    first, last = day_name(day.first), day_name(day.last)
    return first if day.days == 1 else f"{first} to {last}"


def day_in_words(answer: Aim) -> str:
    """Which days a day's figures are the mean of.

    >>> from energy.answers.aim.aim import aim
    >>> from energy.plan import Plan
    >>> day_in_words(aim(Plan.read("builtin:january-job")))
    'A day here is the mean of the whole days of the plan, Tue 12 Jan to Thu 14 Jan.'
    """
    day, dates = answer.plan.daylight, _dates(answer)
    mean, days = ("", "day") if day.days == 1 else ("the mean of ", "days")
    if day.counts == "whole-days":
        return f"A day here is {mean}the whole {days} of the plan, {dates}."
    if day.counts == "touched-days":
        return (
            f"A day here is {mean}all the sun of {dates}, from midnight to midnight; the pose and"
            " what the pack takes are for the plan's own hours."
        )
    return f"A day here is {mean}{dates} in the plan's own hours: the weather held covers no more."


def _them(answer: Aim) -> str:
    return "the panel" if sum(panel.count for panel in answer.panels) == 1 else "the panels"

"""Changes to the kit and how it stands: inverter, panels, the charge at the start, other sources.

Changes to the tasks are in `tasks`, what helps against a limit in `overloaded`.
"""

import math
from collections.abc import Callable

import numpy as np

from energy.answers.aim.poses import Search, search
from energy.answers.choose.coarse import Coarse, deciding_scenario
from energy.answers.fix.ladder import Change, Ladder
from energy.model import Array
from energy.model.battery import FREEZING_C
from energy.model.timeline import Interval
from energy.plan.kit import compass_word
from energy.plan.words import and_list
from energy.show.numbers import minutes
from energy.simulation.budget import Budget
from energy.simulation.result import FULL_PERCENT

SOURCE_W = 100.0  # what a vehicle's 12 V socket gives for hours (common practice, no source)
SOURCE_MOST_MIN = 480
MOST_WINDOWS = 600  # hours by the clock, some forty days: a source is looked for in no more
CELLS_AT_ONCE = 10_000_000  # windows x slots x scenarios: bounds the memory
SOURCE_TRIED_MIN = (30, 120, SOURCE_MOST_MIN)
EARLIEST_H, LATEST_H = 6, 21  # nobody tends a charger earlier or later
SAME_POSE_DEG = 5.0  # nobody props a panel up more nearly (common practice, no source)
WARM_C = 10.0  # as in a hut or cabin that is used, not heated much (common practice, no source)
MOST_PANEL_W, MOST_PACK = 3000.0, 8.0  # more is another plan: watts added, times the capacity


def inverter_off(result: Budget) -> Ladder | None:
    inverter = result.plan.pack.inverter
    if inverter is None or inverter.on == "only-in-use":
        return None
    return Ladder(
        kind="inverter-off-between-tasks",
        free=True,
        change=lambda _: {"pack.inverter.on": "only-in-use"},
        words=lambda _: "Switch the inverter off whenever nothing runs on it.",
    )


def warmer_pack(result: Budget) -> Ladder | None:
    """The pack kept where frost does not come, where it stands in it."""
    coldest_c, _ = result.case.coldest_hottest_c
    if result.plan.pack.temperature is not None or coldest_c >= FREEZING_C:
        return None
    return Ladder(
        kind="warmer-pack",
        free=True,
        change=lambda _: {"pack.temperature": WARM_C},
        words=lambda _: (
            f"Keep the pack at {WARM_C:.0f} degrees or warmer: inside, or in a box that holds"
            " warmth."
        ),
    )


def better_pose(result: Budget, is_enough: Callable[[Change], bool]) -> Ladder | None:
    """The panels that stand still, set up the best way for the days and the weather; where that is
    not enough, for the hours in which the pack empties."""
    panels = result.plan.panel
    if not panels or any(panel.aim in ("re-aimed", "follow") for panel in panels):
        return None
    sought = search(result)
    pose = sought.yields().best()
    best = _standing(result, sought, pose, ": energy aim says how")
    if is_enough(best.change(1.0)):
        return best
    early = sought.yields(_emptying(result.low_end)).best()
    if _nearly(pose, early):
        return best
    emptying = _standing(result, sought, early, ", for the hours in which the pack empties")
    return emptying if is_enough(emptying.change(1.0)) else best


def _nearly(pose: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two tilts and azimuths are one to whoever props a panel up.

    >>> _nearly((30.0, 358.0), (33.0, 2.0)), _nearly((30.0, 358.0), (33.0, 10.0))
    (True, False)
    """
    away = (np.subtract(pose, other) + 180.0) % 360.0 - 180.0
    return bool((np.abs(away) <= SAME_POSE_DEG).all())


def _emptying(result: Budget) -> Interval:
    """From when the pack is full for the last time before its lowest charge, or from the start, to
    that lowest charge, in the scenario that decides [UTC s]."""
    scenario = deciding_scenario(result)
    lowest_s = result.lowest(scenario).at_s
    full = (result.charge_percent[:, scenario] >= FULL_PERCENT) & (result.time_s < lowest_s)
    return float(result.time_s[full][-1]) if full.any() else float(result.time_s[0]), lowest_s


def _standing(result: Budget, sought: Search, pose: tuple[float, float], why: str) -> Ladder:
    """The panels that stand still, at a tilt and an azimuth."""
    tilt, azimuth = pose
    facing = (
        "" if sought.swings else f", facing {azimuth:.0f} degrees true ({compass_word(azimuth)})"
    )
    several = len(sought.aimed) > 1
    name = "the panels" if several else f'"{result.plan.panel[sought.aimed[0]].name}"'
    return Ladder(
        kind="better-pose",
        free=True,
        change=lambda _: sought.change(sought.standing, pose),
        words=lambda _: f"Prop {name} up at {tilt:.0f} degrees{facing}{why}.",
    )


def re_aim(result: Budget) -> Ladder | None:
    """Turn what stands still at the sun, up to three times a day."""
    panels = [k for k, panel in enumerate(result.plan.panel) if panel.aim in ("fixed", "flat")]
    if not panels:
        return None
    rise, fall = result.calendar.sun_times(result.calendar.first)
    out = result.plan.panel[panels[0]].out_between
    window = result.calendar.window(out, result.calendar.first) if out is not None else None
    if window is not None:
        rise, fall = max(rise, window[0]), min(fall, window[1])
    if fall - rise < 2.0 * 3600.0:
        return None

    def times(number: float) -> list[str]:
        part = (fall - rise) / number
        moments = (rise + (k + 0.3) * part for k in range(int(number)))
        return [f"{result.local(round(t / 1800.0) * 1800.0):%H:%M}" for t in moments]

    def change(number: float) -> Change:
        keys: Change = {"aim": "re-aimed", "re_aim_at": times(number)}
        return {f"panel.{k + 1}.{key}": value for k in panels for key, value in keys.items()}

    name = "the panels" if len(panels) > 1 else f'"{result.plan.panel[panels[0]].name}"'
    return Ladder(
        kind="re-aim",
        free=True,
        most=3.0,
        change=change,
        words=lambda n: f"Turn {name} square to the sun at {and_list(times(n))}, each day.",
    )


def fuller_start(result: Budget) -> Ladder | None:
    start = result.plan.pack.start_percent
    if start >= 100.0:
        return None
    return Ladder(
        kind="fuller-start",
        free=True,
        most=100.0 - start,
        whole=False,
        change=lambda more: {"pack.start_percent": round(min(start + more, 100.0), 4)},
        words=lambda more: f"Start at {math.ceil(start + more)} % instead of {start:.0f} %.",
    )


def another_source(result: Budget, is_enough: Callable[[Change], bool]) -> Ladder | None:
    """Minutes of 100 W that end at the hour of the day, and on the day, at which they help most."""
    sources = [_source_until(result, ends_s, most) for ends_s, most in _best_ends(result)]
    enough = (s for s in sources if is_enough(s.change(s.most)))
    return next(enough, sources[-1]) if sources else None


def _source_until(result: Budget, ends_s: float, most: float) -> Ladder:
    """Up to so many minutes of 100 W until a moment."""
    at = result.local(ends_s)
    day = (at.date() - result.calendar.first).days + 1
    others = result.plan.source.get("charger", [])

    def starts(minutes: float) -> str:
        return f"{result.local(ends_s - 60.0 * minutes):%H:%M}"

    def change(minutes: float) -> Change:
        source = {
            "name": "another source",
            "watts": SOURCE_W,
            "between": [starts(minutes), f"{at:%H:%M}"],
            "days": [day],
        }
        return {"charger": [*others, source]}

    return Ladder(
        kind="another-source",
        free=False,
        most=most,
        change=change,
        words=lambda lasting_min: (
            f"{SOURCE_W:.0f} W from another source, such as a vehicle's socket, for"
            f" {minutes(lasting_min)}, from {starts(lasting_min)} to {at:%H:%M} on day {day}."
        ),
    )


def _best_ends(result: Budget) -> list[tuple[float, float]]:
    """Until when a source helps most [UTC s], and for how many minutes before that it could run:
    for each of a few lengths, the short ones first, from one that seems to be enough.

    Roughly, by what is left in the store; of equal hours the latest, for by then the day has shown
    what it gives. In a long span those nearest before the lowest charge are looked at.
    """
    windows = [
        (ends_s, min(float(SOURCE_MOST_MIN), (ends_s - opens_s) // 60.0))
        for opens_s, closes_s in _tended(result)
        for ends_s in [*np.arange(opens_s + 3600.0, closes_s, 3600.0).tolist(), closes_s]
    ]
    if not windows:
        return []
    if len(windows) > MOST_WINDOWS:
        _, lowest_s = _emptying(result.low_end)
        until = max(sum(ends_s <= lowest_s for ends_s, _ in windows), MOST_WINDOWS)
        windows = windows[until - MOST_WINDOWS : until]
    coarse = Coarse(result.low_end)
    asked = coarse.asked_by(result.bursts)
    best_windows, seems_enough = [], []
    for length in SOURCE_TRIED_MIN:
        given = [(ends_s - 60.0 * min(length, most), ends_s) for ends_s, most in windows]
        margin = _margins(coarse, asked, given)
        best = max(range(len(windows)), key=lambda n: (round(float(margin[n]), 3), windows[n]))
        best_windows.append(windows[best])
        seems_enough.append(margin[best] >= 0.0)
    first = seems_enough.index(True) if any(seems_enough) else len(best_windows) - 1
    return list(dict.fromkeys(best_windows[first:]))


def _margins(coarse: Coarse, asked_wh: Array, given: list[Interval]) -> Array:
    """How far above the floor the store stays with 100 W in each of some intervals, as a share of
    it (c,); in blocks, which bound the memory. asked_wh (t, s)."""
    at_once = max(CELLS_AT_ONCE // asked_wh.size, 1)
    margins = []
    for first in range(0, len(given), at_once):
        given_wh = [SOURCE_W * coarse.hours(each) for each in given[first : first + at_once]]
        margins.append(coarse.judge(asked_wh - np.stack(given_wh)[:, :, None])[0])
    return np.concatenate(margins)


def _tended(result: Budget) -> list[Interval]:
    """When somebody could tend a charger, day by day inside the span, in whole minutes [UTC s]."""
    tended = []
    for day in result.calendar.days(None):
        opens, closes = (
            result.calendar.at(("clock", 60.0 * h), day) for h in (EARLIEST_H, LATEST_H)
        )
        opens_s = math.ceil(max(opens, float(result.time_s[0])) / 60.0) * 60.0
        closes_s = min(closes, float(result.time_s[-1])) // 60.0 * 60.0
        if closes_s - opens_s >= 60.0:
            tended.append((opens_s, closes_s))
    return tended


def more_panel(result: Budget) -> Ladder:
    panels = result.plan.panel
    if not panels:
        return Ladder(
            kind="more-panel",
            free=False,
            most=MOST_PANEL_W,
            whole=False,
            change=lambda more: {"panel": [{"rated_w": more}]},
            words=lambda more: f"A panel of {math.ceil(more)} W.",
        )
    largest = max(range(len(panels)), key=lambda k: panels[k].rated_w * panels[k].count)
    old, count = panels[largest].rated_w, panels[largest].count
    total = sum(panel.rated_w * panel.count for panel in panels)
    own = result.plan.source["panel"][largest]
    amps = {key: value for key in ("i_mp", "i_sc") if (value := own.get(key)) is not None}

    def change(more: float) -> Change:
        rated_w = round(old + more / count, 4)
        larger = {key: round(value * rated_w / old, 4) for key, value in amps.items()}
        keys = {"rated_w": rated_w, **larger}  # a profile's amps follow by themselves
        return {f"panel.{largest + 1}.{key}": value for key, value in keys.items()}

    return Ladder(
        kind="more-panel",
        free=False,
        most=MOST_PANEL_W,
        whole=False,
        likely=total,
        change=change,
        words=lambda more: (
            f"{math.ceil(more)} W more panel, set up the same: {math.ceil(total + more)} W in all."
        ),
    )


def more_pack(result: Budget) -> Ladder:
    old = result.plan.pack.capacity_wh
    return Ladder(
        kind="more-pack",
        free=False,
        most=(MOST_PACK - 1.0) * old,
        whole=False,
        likely=old,
        change=lambda more: {"pack.capacity_wh": round(old + more, 4)},
        words=lambda more: f"{math.ceil(more)} Wh more pack: {math.ceil(old + more)} Wh in all.",
    )

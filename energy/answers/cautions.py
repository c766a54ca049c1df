"""What can hurt someone or strand them in this plan: cautions, most serious first.

Each is raised only by what is in the plan, its `around`, its kit, and how the middle weather goes.
They never replace local codes and licensed practice, and the closing line says so.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from energy.budget import Budget
from energy.model.battery import LITHIUM
from energy.plan.schema import Task

CLOSING = (
    "Local codes, the makers' instructions and licensed practice come before anything said here."
)
HOT_C = 45.0  # above this lithium should not be charged (common practice)
SAG_PERCENT = 10.0  # below this real packs cut out under a surge (common practice)
NEAR_SURGE = 0.8  # share of the inverter's surge rating that leaves little room
NEAR_RESERVE = 10.0  # points of charge above the reserve
FAR_KM, FAR_M = 50.0, 300.0
ENGINES = ("generator", "engine", "vehicle", "alternator", "car", "motor", "genset")
LIFELINES = ("light", "lamp", "pump", "radio", "vhf", "beacon")


@dataclass(frozen=True)
class Caution:
    """One caution: its id, one or two plain sentences, what in the plan raised it, and the
    published rule behind it where there is one."""

    id: str
    text: str
    about: str
    rule: str = ""


def cautions(budget: Budget) -> tuple[Caution, ...]:
    """Every caution that the plan raises, most serious first.

    >>> from energy.budget import budget
    >>> from energy.plan import Plan
    >>> [c.id for c in cautions(budget(Plan.read("builtin:cloudy-repair")))][0]
    'mains-outdoors'
    """
    found = (raised(budget) for raised in _BY_DANGER)
    return tuple(caution for caution in found if caution is not None)


def _named(tasks: list[Task]) -> str:
    """Tasks as the plan calls them, the first few.

    >>> _named([])
    ''
    """
    names = [f'task "{task.name}"' for task in tasks[:3]]
    more = len(tasks) - len(names)
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")


def _mains_outdoors(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.supply == "ac"]
    where = [w for w in ("outdoors", "wet", "afloat") if w in b.plan.place.around]
    if not tasks or not where:
        return None
    return Caution(
        "mains-outdoors",
        "Mains tools outdoors or in the wet: use an RCD/GFCI that trips at 30 mA, and keep every"
        " plug, lead and the pack dry and off the ground.",
        f"{_named(tasks)} ({', '.join(where)})",
        "30 mA residual current protection for outdoor outlets: IEC 60364-4-41 (from memory)",
    )


def _carbon_monoxide(b: Budget) -> Caution | None:
    engines = [c for c in b.plan.charger if set(ENGINES) & set(c.name.casefold().split())]
    if not engines:
        return None
    text = "An engine makes carbon monoxide: run it in the open, away from doors, tents and cabins."
    if "enclosed" in b.plan.place.around:
        text = (
            "An engine makes carbon monoxide, which kills in an enclosed space: never run it"
            " inside, and keep an alarm where people sleep."
        )
    return Caution("carbon-monoxide", text, ", ".join(f'charger "{c.name}"' for c in engines))


def _medical(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.medical]
    if not tasks:
        return None
    return Caution(
        "medical-load",
        "A medical device hangs on this pack: have a second source ready, and do not rest on this"
        " answer alone.",
        _named(tasks),
    )


def _hydrogen(b: Budget) -> Caution | None:
    charged = bool(b.plan.panel or b.plan.charger)
    if b.plan.pack.chemistry in LITHIUM or not charged:
        return None
    return Caution(
        "hydrogen",
        "Lead-acid batteries give off hydrogen while charging: ventilate them, and keep flames and"
        " sparks away.",
        f"[pack] chemistry = {b.plan.pack.chemistry}",
    )


def _sparks(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.sparks]
    if not tasks:
        return None
    if "fuel" in b.plan.place.around:
        text = (
            "Sparks near fuel: move one or the other well away, and have an extinguisher at hand"
            " before the first cut."
        )
    else:
        text = "Sparks fly far: turn them away from the pack, the panels and anything that burns."
    return Caution("sparks", text, _named(tasks))


def _dark_boat(b: Budget) -> Caution | None:
    lifelines = [
        task
        for task in b.plan.task
        if task.must
        and any(
            word in f"{task.name} {task.tool or ''} {task.group}".casefold() for word in LIFELINES
        )
    ]
    if "afloat" not in b.plan.place.around or not lifelines:
        return None
    lowest = b.lowest().spare_wh / float(b.capacity_wh[b.middle]) * 100.0
    must = b.chance.must_percent
    if lowest > NEAR_RESERVE and (must is None or must >= b.chance.goal):
        return None
    return Caution(
        "lifeline-near-reserve",
        "On the water a light, pump or radio that must run comes close to the reserve: carry one"
        " with cells of its own.",
        _named(lifelines),
        "Lights from sunset to sunrise: COLREGS rule 20",
    )


def _rotating(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.rotating]
    if not tasks:
        return None
    alone = (
        " Alone, tell someone when you will call, and keep the radio within reach."
        if "alone" in b.plan.place.around
        else ""
    )
    return Caution(
        "rotating-tools",
        "Rotating tools: guard on, eyes and ears covered, both hands on the tool, and the plug"
        f" out before the disc or bit is touched.{alone}",
        _named(tasks),
    )


def _live_panel(b: Budget) -> Caution | None:
    if not b.plan.panel:
        return None
    return Caution(
        "live-panel",
        "A panel is live whenever there is light: fold or cover it before plugging, and never pull"
        " a plug under load.",
        ", ".join(f'panel "{panel.name}"' for panel in b.plan.panel[:3]),
    )


def _pack_temperature(b: Budget) -> np.ndarray:
    """The pack's temperature in the middle weather, at the segments of the span."""
    temperature = b.case.temp_pack
    lane = b.middle if temperature.shape[1] > 1 else 0
    return np.asarray(temperature[b.case.temp_row, lane])


def _assumed_air(b: Budget) -> bool:
    return b.plan.pack.temperature is None and not b.weather.temperature_stated


def _cold_charge(b: Budget) -> Caution | None:
    pack, charged = b.plan.pack, bool(b.plan.panel or b.plan.charger)
    coldest = float(_pack_temperature(b).min())
    if pack.chemistry not in LITHIUM or pack.heated or not charged or coldest >= 0.0:
        return None
    return Caution(
        "charging-below-freezing",
        "Below 0 degrees C lithium must not be charged: what the sun gives then is lost here, and a"
        " pack without its own cut-off is damaged.",
        f"[pack] at {coldest:.0f} degrees C",
    )


def _hot_pack(b: Budget) -> Caution | None:
    hottest = float(_pack_temperature(b).max())
    if b.plan.pack.chemistry not in LITHIUM or hottest <= HOT_C:
        return None
    return Caution(
        "hot-pack",
        "Above 45 degrees C lithium should rest: keep the pack in moving air and out of the sun.",
        f"[pack] at {hottest:.0f} degrees C",
    )


def _frost_not_judged(b: Budget) -> Caution | None:
    charged = bool(b.plan.panel or b.plan.charger)
    if not _assumed_air(b) or b.plan.pack.chemistry not in LITHIUM or not charged:
        return None
    latitude, month = b.plan.place.latitude_deg, b.calendar.first.month
    winter_half = month in (10, 11, 12, 1, 2, 3) if latitude >= 0 else 4 <= month <= 9
    if abs(latitude) < 25.0 or not (winter_half or abs(latitude) > 60.0):
        return None
    return Caution(
        "frost-not-judged",
        "No air temperature was given, so 15 degrees C is assumed and frost is not judged: give"
        " temp_air_c, for lithium takes no charge below 0.",
        "[weather] without temp_air_c",
    )


def _near_surge(b: Budget) -> Caution | None:
    inverter = b.plan.pack.inverter
    if inverter is None:
        return None
    turned_away = {r.burst.task for r in b.refusals}
    near = [
        task
        for k, task in enumerate(b.plan.task)
        if task.supply == "ac"
        and k not in turned_away
        and NEAR_SURGE * inverter.surge_w < task.start_w <= inverter.surge_w
    ]
    if not near:
        return None
    return Caution(
        "surge-near-limit",
        f"A start comes close to the {inverter.surge_w:.0f} W the inverter surges to: start that"
        " tool with nothing else running, and expect it to trip now and then.",
        _named(near),
    )


def _surge_when_low(b: Budget) -> Caution | None:
    charge = b.charge_percent[:, b.middle]
    low: list[Task] = []
    for burst in b.bursts:
        task = b.plan.task[burst.task]
        starts = [p.start_s for p in burst.pieces if p.starts]
        surges = task.supply == "ac" and task.start_w > 1.2 * burst.pieces[0].working_w
        if surges and task not in low:
            at = charge[np.searchsorted(b.time_s, starts)]
            if (at < SAG_PERCENT).any():
                low.append(task)
    if not low:
        return None
    return Caution(
        "surge-when-low",
        "A tool starts with the pack below about 10 %: real packs sag and cut out then, which is"
        " not in this answer.",
        _named(low),
    )


def _follows_air(b: Budget) -> Caution | None:
    temperature = _pack_temperature(b)
    if b.plan.pack.temperature is not None or _assumed_air(b):
        return None
    if float(temperature.min()) >= 5.0 and float(temperature.max()) <= 35.0:
        return None
    return Caution(
        "pack-follows-air",
        "The pack's temperature follows the air at once here; a real pack lags by hours. Give"
        " temperature where it is kept in a cabin or a shed.",
        f"[pack] in air from {temperature.min():.0f} to {temperature.max():.0f} degrees C",
    )


def _far_weather(b: Budget) -> Caution | None:
    km, m = b.weather.distance_km, b.weather.height_difference_m
    if km <= FAR_KM and m <= FAR_M:
        return None
    return Caution(
        "weather-from-afar",
        f"The weather is that of a place {km:.0f} km away"
        + (f" and {m:.0f} m higher or lower" if m > FAR_M else "")
        + ": hills and coasts between make their own sky.",
        f"[weather] file: {b.weather.source}",
    )


def _not_a_promise(b: Budget) -> Caution | None:
    if b.chance.futures > 1:
        text = "A chance is not a promise: the day you get may be the one in ten."
    elif b.plan.weather.kind in ("sky", "clear") and b.plan.panel:
        text = "One stated sky is an example, not a chance: try a duller one before you rely on it."
    else:
        return None
    return Caution("not-a-promise", text, f"[weather] kind = {b.plan.weather.kind}")


_BY_DANGER: tuple[Callable[[Budget], Caution | None], ...] = (
    _mains_outdoors,
    _carbon_monoxide,
    _medical,
    _hydrogen,
    _sparks,
    _dark_boat,
    _rotating,
    _cold_charge,
    _hot_pack,
    _live_panel,
    _frost_not_judged,
    _surge_when_low,
    _near_surge,
    _follows_air,
    _far_weather,
    _not_a_promise,
)

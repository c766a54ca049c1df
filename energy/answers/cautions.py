"""What can hurt someone or strand them in this plan: cautions, most serious first.

Each is raised only by what is in the plan, its `around`, its kit, and how the middle weather goes.
They never replace local codes and licensed practice, and the closing line says so.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import numpy as np

from energy.budget import Budget
from energy.model import Array
from energy.model.battery import LITHIUM
from energy.model.demand import Burst
from energy.plan.schema import Task
from energy.weather.recorded import FAR_KM, FAR_M

CLOSING = (
    "Local codes, the makers' instructions and licensed practice come before anything said here."
)
HOT_C = 45.0  # above this lithium should not be charged (common practice)
SAG_PERCENT = 10.0  # below this real packs cut out under a surge (common practice)
NEAR_SURGE = 0.8  # a larger share of the inverter's surge rating leaves little room (our choice)
NEAR_RESERVE = 10.0  # points of charge above the reserve (our choice)
MILD_C = (5.0, 35.0)  # air in which a pack that lags behind it changes little (our choice)
# One degree of latitude cools like 110 m of height: 6.5 K a km against some 0.7 K a degree.
M_PER_DEGREE = 110.0
ENGINE = re.compile(
    r"generator|genset|engine|alternator|vehicle|motor|outboard|tractor|petrol|gasoline|diesel"
    r"|\b(?:cars?|vans?|trucks?|lorry|lorries)\b"
)
NO_ENGINE = re.compile(
    r"(?:wind|hydro|pedal|crank(?:ed)?)[ -]*(?:generator|alternator)"
    r"|electric (?:car|van|truck|vehicle)"
)
LIGHT = r"\w*lights?|\w*lighting|(?:\w*[^c\W])?lamps?|\w*lanterns?"  # but no clamp
LIFELINE = re.compile(rf"\b(?:{LIGHT}|\w*pumps?|\w*radios?|vhf|ais|transponders?|beacons?)\b")


@dataclass(frozen=True)
class Caution:
    """One caution: its id, one or two plain sentences, what in the plan raised it, and the
    published rule behind it where there is one."""

    id: str
    text: str
    about: str
    rule: str = ""


def cautions(budget: Budget) -> tuple[Caution, ...]:
    """Every caution that the plan raises: danger to life first, then to gear, then to trust.

    >>> from energy.budget import budget
    >>> from energy.plan import Plan
    >>> [c.id for c in cautions(budget(Plan.read("builtin:cloudy-repair")))][0]
    'mains-in-the-wet'
    """
    found = (raised(budget) for raised in _BY_DANGER)
    return tuple(caution for caution in found if caution is not None)


def _first(names: list[str]) -> str:
    """The first three of some names, and how many more there are.

    >>> _first(["a", "b", "c", "d"])
    'a, b, c and 1 more'
    """
    more = len(names) - 3
    return ", ".join(names[:3]) + (f" and {more} more" if more > 0 else "")


def _named(tasks: Iterable[Task]) -> str:
    return _first([f'task "{task.name}"' for task in tasks])


def _charged(b: Budget) -> bool:
    return bool(b.plan.panel or b.plan.charger)


def _engines(b: Budget) -> str:
    """The chargers whose names tell of an engine."""
    names = {c.name: c.name.casefold().replace("_", " ") for c in b.plan.charger}
    found = [name for name, plain in names.items() if ENGINE.search(NO_ENGINE.sub("", plain))]
    return _first([f'charger "{name}"' for name in found])


def _monoxide(b: Budget, enclosed: bool) -> Caution | None:
    engines = _engines(b)
    if not engines or enclosed != ("enclosed" in b.plan.place.around):
        return None
    where = "run it in the open, well away from doors, windows, tents and cabins."
    if enclosed:
        where = (
            "in an enclosed space it kills, without a smell. Never run it inside or beside an"
            " opening, and keep an alarm where people work and sleep."
        )
    return Caution(
        "carbon-monoxide-enclosed" if enclosed else "carbon-monoxide",
        f"An engine makes carbon monoxide: {where}",
        engines + " (enclosed)" * enclosed,
    )


def _mains_in_the_wet(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.supply == "ac"]
    where = [w for w in ("outdoors", "wet", "afloat") if w in b.plan.place.around]
    if not tasks or not where:
        return None
    return Caution(
        "mains-in-the-wet",
        "Mains tools outdoors or in the wet: use a 30 mA RCD (GFCI) and keep plugs, leads and pack"
        " dry and off the ground. On an inverter without an earthed neutral an RCD may not trip:"
        " ask the inverter's maker or an electrician.",
        f"{_named(tasks)} (ac, {', '.join(where)})",
        "30 mA residual current protection outdoors: IEC 60364-4-41, 411.3.3",  # from memory
    )


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


SPARKS = {
    "sparks-near-fuel": "Sparks near fuel: move one or the other well away and let vapour clear,"
    " with an extinguisher at hand before the first spark.",
    "sparks-near-lead-acid": "A spark can set off the gas above a lead-acid battery, which then"
    " bursts and throws acid: make sparks well away from it, never while it charges.",
    "sparks": "Sparks fly far: turn them away from the pack, the panels and anything that burns.",
}


def _sparks(b: Budget, caution: str) -> Caution | None:
    tasks = [task for task in b.plan.task if task.sparks]
    near = {
        "sparks-near-fuel": "fuel" in b.plan.place.around,
        "sparks-near-lead-acid": b.plan.pack.chemistry not in LITHIUM,
    }
    near["sparks"] = not any(near.values())
    if not tasks or not near[caution]:
        return None
    return Caution(caution, SPARKS[caution], _named(tasks))


def _hydrogen(b: Budget) -> Caution | None:
    if b.plan.pack.chemistry in LITHIUM or not _charged(b):
        return None
    return Caution(
        "hydrogen",
        "Lead-acid batteries give off hydrogen while charging: air the place well, and keep flames"
        " and sparks away.",
        f"[pack] chemistry = {b.plan.pack.chemistry}",
        "ventilation of stationary batteries: IEC 62485-2",  # from memory
    )


def _lifeline(b: Budget) -> Caution | None:
    must_run = [task for task in b.plan.task if task.must]
    words = [f"{t.name} {t.tool or ''} {t.group}".casefold().replace("_", " ") for t in must_run]
    lifelines = [t for t, word in zip(must_run, words, strict=True) if LIFELINE.search(word)]
    if "afloat" not in b.plan.place.around or not lifelines:
        return None
    points = b.lowest().spare_wh / float(b.capacity_wh[b.middle]) * 100.0
    must = b.chance.must_percent
    if points > NEAR_RESERVE and (must is None or must >= b.chance.goal):
        return None
    lit = re.search(rf"\b(?:{LIGHT})\b", " ".join(words))
    return Caution(
        "lifeline-near-reserve",
        "On the water this leaves little in hand for a light, pump or radio that must run: carry a"
        " spare that does not hang on this pack.",
        _named(lifelines),
        "lights from sunset to sunrise, and their range: COLREGS rules 20 and 22" if lit else "",
    )


def _rotating(b: Budget) -> Caution | None:
    tasks = [task for task in b.plan.task if task.rotating]
    if not tasks:
        return None
    alone = "alone" in b.plan.place.around
    return Caution(
        "rotating-tools",
        "Rotating tools: guard on, eyes, ears and hands protected, nothing loose near the shaft,"
        " both hands on a hand-held tool, unplugged before the bit or disc is touched."
        + (" You are alone: agree when you will call, and keep a way to call on you." * alone),
        _named(tasks) + " (alone)" * alone,
    )


def _pack_temperature(b: Budget) -> Array:
    """The pack's temperature in the middle weather, deg C, (segments,)."""
    temperature = b.case.temp_pack
    lane = b.middle if temperature.shape[1] > 1 else 0
    return np.asarray(temperature[b.case.temp_row, lane])


def _cold_charge(b: Budget) -> Caution | None:
    if b.plan.pack.chemistry not in LITHIUM or b.plan.pack.heated:
        return None
    case, temperature = b.case, _pack_temperature(b)
    offered = case.charger_w > 0.0
    lit = case.solar_row >= 0
    offered[lit] |= case.solar_w[case.solar_row[lit], b.middle] > 0.0
    frozen = temperature[offered & (temperature < 0.0)]
    if frozen.size == 0:
        return None
    return Caution(
        "charging-below-freezing",
        "Lithium must not be charged below 0 degrees C: here it takes nothing then, but a pack"
        " without a cut-off of its own is damaged and may later catch fire.",
        f"[pack] down to {frozen.min():.1f} degrees C while sun or charger would charge it",
    )


def _hot_pack(b: Budget) -> Caution | None:
    hottest = float(_pack_temperature(b).max())
    if b.plan.pack.chemistry not in LITHIUM or hottest <= HOT_C:
        return None
    return Caution(
        "hot-pack",
        "Above 45 degrees C lithium should rest and not be charged: keep the pack in moving air and"
        " out of the sun.",
        f"[pack] up to {hottest:.1f} degrees C",
    )


def _live_panel(b: Budget) -> Caution | None:
    if not b.plan.panel:
        return None
    return Caution(
        "live-panel",
        "A panel is live whenever there is light: fold or cover it before plugging, and never pull"
        " a plug under load.",
        _first([f'panel "{panel.name}"' for panel in b.plan.panel]),
        "connectors not to be opened under load: IEC 62852",  # from memory
    )


def frost_possible(latitude_deg: float, elevation_m: float, day: date) -> bool:
    """Whether a place could freeze on a day; a rule of our own, on the safe side (no source).

    Height counts as latitude. Beyond 25 degrees: in the winter half-year; beyond 35: in April too;
    beyond 42.5: in May and September; beyond 60: always.

    >>> frost_possible(33.0, 0.0, date(2026, 4, 10)), frost_possible(40.0, 0.0, date(2026, 4, 10))
    (False, True)
    """
    reach = abs(latitude_deg) + max(elevation_m, 0.0) / M_PER_DEGREE
    month = day.month if latitude_deg >= 0.0 else (day.month + 5) % 12 + 1
    if month in (6, 7, 8):
        return reach > 60.0
    return reach > {4: 35.0, 5: 42.5, 9: 42.5}.get(month, 25.0)


def _frost_not_judged(b: Budget) -> Caution | None:
    if b.weather.temperature_stated or b.plan.pack.temperature is not None:
        return None
    latitude, height, calendar = b.plan.place.latitude_deg, b.weather.elevation_m, b.calendar
    days = (calendar.first + timedelta(k) for k in range((calendar.last - calendar.first).days + 1))
    if not any(frost_possible(latitude, height, day) for day in days):
        return None
    holds = "a lead-acid battery gives much less in the cold."
    if b.plan.pack.chemistry in LITHIUM:
        holds = "lithium gives less in the cold and, unless heated, takes no charge below 0."
    return Caution(
        "frost-not-judged",
        "No air temperature was given, so 15 degrees C is assumed and frost is not judged. Give"
        f" temp_air_c: {holds}",
        "[weather] without temp_air_c",
    )


def _that_run(b: Budget) -> list[Burst]:
    turned_away = {id(refusal.burst) for refusal in b.refusals}
    return [burst for burst in b.bursts if id(burst) not in turned_away]


def _surges(b: Budget) -> list[tuple[int, int, float]]:
    """Every start that runs: number of its task and of its first segment, watts above working."""
    return [
        (burst.task, int(np.searchsorted(b.time_s, piece.start_s)), over)
        for burst in _that_run(b)
        for piece in burst.pieces
        if piece.starts and (over := b.plan.task[burst.task].start_w - piece.working_w) > 0.0
    ]


def _surge_when_low(b: Budget) -> Caution | None:
    charge = b.charge_percent[:-1, b.middle]
    locked = b.locked_percent
    above = charge - locked[:, b.middle if locked.shape[1] > 1 else 0]
    low = {task for task, segment, _ in _surges(b) if above[segment] < SAG_PERCENT}
    if not low:
        return None
    return Caution(
        "surge-when-low",
        "A tool starts with the pack below about 10 %: real packs sag and cut out then, which is"
        " not in this answer.",
        _named(b.plan.task[k] for k in sorted(low)),
    )


def _near_surge(b: Budget) -> Caution | None:
    inverter = b.plan.pack.inverter
    if inverter is None:
        return None
    watts = np.zeros(b.time_s.size - 1)
    for burst in _that_run(b):
        if b.plan.task[burst.task].supply == "ac":
            for piece in burst.pieces:
                first, last = np.searchsorted(b.time_s, [piece.start_s, piece.end_s])
                watts[first:last] += piece.working_w
    starts = [start for start in _surges(b) if b.plan.task[start[0]].supply == "ac"]
    for _, segment, over in starts:
        watts[segment] += over
    close = watts > NEAR_SURGE * inverter.surge_w
    near = {task for task, segment, _ in starts if close[segment]}
    if not near:
        return None
    return Caution(
        "surge-near-limit",
        f"A start comes close to the {inverter.surge_w:.0f} W the inverter surges to: start that"
        " tool with nothing else running, and expect a trip now and then.",
        _named(b.plan.task[k] for k in sorted(near)),
    )


def _follows_air(b: Budget) -> Caution | None:
    temperature = _pack_temperature(b)
    low, high = float(temperature.min()), float(temperature.max())
    if b.plan.pack.temperature is not None or (low >= MILD_C[0] and high <= MILD_C[1]):
        return None
    return Caution(
        "pack-follows-air",
        "The pack's temperature follows the air at once here; a real pack lags by hours. Give"
        " temperature where it is kept in a cabin or a shed.",
        f"[pack] in air from {low:.1f} to {high:.1f} degrees C",
    )


def _far_weather(b: Budget) -> Caution | None:
    km, m = b.weather.distance_km, b.weather.height_difference_m
    far = [f"{km:.0f} km away"] * (km > FAR_KM) + [f"{m:.0f} m higher or lower"] * (m > FAR_M)
    if not far:
        return None
    return Caution(
        "weather-from-afar",
        f"The weather is that of a place {' and '.join(far)}: hills and coasts make their own sky.",
        f"[weather] file: {b.weather.source}",
    )


def _not_a_promise(b: Budget) -> Caution | None:
    several = b.chance.futures > 1
    one_sky = b.plan.weather.kind in ("sky", "clear") or not several
    if one_sky and b.plan.panel:
        text = "One sky is an example, not a chance: try a duller one before you rely on it."
    elif several:
        text = (
            "A chance is not a promise: it tells in how many such weathers the plan works, not"
            " which of them you get."
        )
    else:
        return None
    return Caution("not-a-promise", text, f"[weather] kind = {b.plan.weather.kind}")


_BY_DANGER: tuple[Callable[[Budget], Caution | None], ...] = (
    partial(_monoxide, enclosed=True),
    _mains_in_the_wet,
    partial(_monoxide, enclosed=False),
    _medical,
    partial(_sparks, caution="sparks-near-fuel"),
    _hydrogen,
    partial(_sparks, caution="sparks-near-lead-acid"),
    _lifeline,
    _rotating,
    _cold_charge,
    _hot_pack,
    partial(_sparks, caution="sparks"),
    _live_panel,
    _frost_not_judged,
    _surge_when_low,
    _near_surge,
    _follows_air,
    _far_weather,
    _not_a_promise,
)

"""Cautions about lives that hang on the plan: bad air, medical devices, boats, food that spoils."""

import re

from energy.answers.caution.caution import (
    LIGHT,
    NEAR_RESERVE,
    Caution,
    first_few,
    named,
    plain,
    points_in_hand,
    raised_by,
    words,
)
from energy.answers.caution.telling import carries
from energy.plan.task import Task
from energy.simulation.budget import Budget

ENGINE = re.compile(
    r"\b(?:generator|genset|engine|alternator|vehicle|motor(?:ing|home|boat|bike|cycle)?|outboard"
    r"|inboard|tractor|petrol|gasoline|diesel|car|van|campervan|truck|pick ?up|jeep|lorr(?:y|ie))"
    r"s?\b"
)
NO_ENGINE = re.compile(
    r"(?:solar|wind|hydro|pedal|crank(?:ed)?) *(?:generator|alternator)"
    r"|electric (?:car|van|truck|vehicle)|(?:car|van|truck|motorhome) ?(?:park|port)"
)
LIFELINE = re.compile(rf"\b(?:{LIGHT}|\w*pumps?|\w*radios?|vhf|ais|transponders?|beacons?)\b")
FRIDGE = re.compile(r"\b(?:\w*fridges?|refrigerators?|\w*freezers?|cool ?box(?:es)?)\b")
SHOWN_AFLOAT = re.compile(
    r"\b(?:anchor|riding|mooring|navigation|nav\b|masthead|steaming|stern|side ?lights?"
    r"|tricolou?r|all round)"
)
LAMP = re.compile(rf"\b(?:{LIGHT}|leds?)\b")
SHOWN_RULES = (  # from memory
    "lights at anchor and under way, sunset to sunrise: COLREGS rules 20, 23 and 30; by 30(e) none"
    " at anchor for boats under 7 m, clear of channels and anchorages"
)
HOT_AIR_C = 45.0  # common practice
SPOILS_WH = 1.0  # less than this missing is no warm fridge (our choice)


def _engines(result: Budget) -> str:
    """The chargers whose names tell of an engine."""
    names = [c.name for c in result.plan.charger if ENGINE.search(NO_ENGINE.sub("", plain(c.name)))]
    return first_few([f'charger "{name}"' for name in names])


def monoxide(result: Budget, enclosed: bool) -> Caution | None:
    """An engine's exhaust, in an enclosed space or in the open."""
    engines = _engines(result)
    if not engines or enclosed != ("enclosed" in result.plan.place.around):
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


def burner(result: Budget) -> Caution | None:
    """A heater or cooker that burns fuel, whose fan or pump the pack feeds."""
    return raised_by(
        [task for task in result.plan.task if carries(task, "flame")],
        "carbon-monoxide-burner",
        "What burns fuel makes carbon monoxide, which kills without a smell: lead its exhaust"
        " outside, away from openings, let fresh air in, and keep an alarm where people sleep.",
    )


def medical(result: Budget) -> Caution | None:
    """A medical device, or medicine kept cold."""
    return raised_by(
        [task for task in result.plan.task if carries(task, "medical")],
        "medical-load",
        "A medical device or medicine hangs on this pack: have a second source ready, and do"
        " not rest on this answer alone.",
    )


def extreme_heat(result: Budget) -> Caution | None:
    """Air above 45 C in any of the weathers."""
    hottest = float(result.weather.air.temp_air.max())
    if hottest <= HOT_AIR_C:
        return None
    return Caution(
        "extreme-heat",
        f"Work in air above {HOT_AIR_C:.0f} degrees C can kill by heat stroke: work at dawn, in the"
        " shade, with water and rest every half hour, and never alone.",
        f"[weather] up to {hottest:.1f} degrees C",
    )


def _lights_shown(result: Budget) -> list[Task]:
    """The tasks that are lights a boat shows to others."""
    telling = [(task, words(task)) for task in result.plan.task]
    return [task for task, word in telling if SHOWN_AFLOAT.search(word) and LAMP.search(word)]


def dark_boat(result: Budget) -> Caution | None:
    """Afloat in the dark, and no light to be seen by among the tasks."""
    night = bool((result.case.solar_row < 0).any())
    if "afloat" not in result.plan.place.around or not night or _lights_shown(result):
        return None
    return Caution(
        "dark-boat",
        "No anchor or navigation light is among the tasks: a boat afloat in the dark must be seen,"
        " at anchor and under way. Add its lights for the whole night, or know what feeds them.",
        "[place] around: afloat, and hours of night in the span",
        SHOWN_RULES,
    )


def lifeline(result: Budget) -> Caution | None:
    """Afloat, little in hand for a light, pump or radio that must run."""
    must_run = [task for task in result.plan.task if task.must]
    lifelines = [task for task in must_run if LIFELINE.search(words(task))]
    if "afloat" not in result.plan.place.around or not lifelines:
        return None
    must = result.chance.must_percent
    if points_in_hand(result) > NEAR_RESERVE and (must is None or must >= result.chance.goal):
        return None
    lit = any(re.search(rf"\b(?:{LIGHT})\b", words(task)) for task in lifelines)
    return Caution(
        "lifeline-near-reserve",
        "On the water this leaves little in hand for a light, pump or radio that must run: carry a"
        " spare that does not hang on this pack.",
        named(lifelines),
        "lights from sunset to sunrise, and their range: COLREGS rules 20 and 22" if lit else "",
    )


def second_light(result: Budget) -> Caution | None:
    """Afloat, and the light to be seen by hangs on this pack alone."""
    lights = _lights_shown(result)
    if "afloat" not in result.plan.place.around or not lights or lifeline(result) is not None:
        return None
    return Caution(
        "second-light",
        "The light by which others see this boat hangs on one pack: keep a second one with a"
        " battery of its own at hand.",
        named(lights),
        SHOWN_RULES,
    )


def warm_fridge(result: Budget) -> Caution | None:
    """A fridge that goes without in some weather, or nearly so in the middle one."""
    near = points_in_hand(result) <= NEAR_RESERVE
    tasks = [
        task
        for task, unmet_wh in zip(result.plan.task, result.unmet_wh, strict=True)
        if FRIDGE.search(words(task)) and (near or unmet_wh.max() > SPOILS_WH)
    ]
    return raised_by(
        tasks,
        "fridge-may-warm",
        "This pack may leave the fridge without power: kept shut, food in it is safe for some four"
        " hours. Take ice along, and keep medicine where it does not hang on this pack.",
        "four hours with the door shut: US Food and Drug Administration, food safety in power cuts",
    )  # from memory

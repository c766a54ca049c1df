"""Cautions about the pack itself: its gas, acid, heat, cold, weight; about the batteries that it
charges in the cold; and about its panels."""

import re

import numpy as np

from energy.answers.caution.caution import Caution, first_few, named, words
from energy.answers.caution.telling import carries
from energy.model import Array
from energy.model.battery import LITHIUM
from energy.plan.task import Task
from energy.simulation.budget import Budget

NEARLY_TOO_COLD_K = 10.0  # forecasts and typical years miss the coldest hour (our choice)
# At which a lead-acid battery freezes at 0, 25, 50, 75 and 100 % of charge, by the density of its
# acid: common practice, no source.
FREEZES_C = (-8.0, -14.0, -23.0, -37.0, -55.0)
NEARLY_FROZEN_K = 5.0  # a cell's density is not the mean's (our choice)
HOT_C = 45.0  # above this lithium should not be charged (common practice)
SUN_K, SUN_W_M2 = 20.0, 500.0  # a dark box in such sun is warmer by so much (common practice)
LASTING_PERCENT = 50.0  # lead-acid lasts if seldom drawn lower (common practice)
HEAVY_KG = 25.0  # the most for one person, in ISO 11228-1; from memory
OPEN_AIR = {"outdoors", "afloat"}
CHARGED = re.compile(r"\b(?:re)?charg(?:e|es|ers?|ing)\b")
PROPPED_DEG = 10.0  # a panel as steep catches the wind from below (common practice)


def _lithium(result: Budget) -> bool:
    return result.plan.pack.chemistry in LITHIUM


def hydrogen(result: Budget) -> Caution | None:
    """Lead-acid under charge."""
    if _lithium(result) or not (result.plan.panel or result.plan.charger):
        return None
    enclosed = "enclosed" in result.plan.place.around
    return Caution(
        "hydrogen",
        "Lead-acid batteries give off hydrogen while charging: air the place well, and keep flames"
        " and sparks away."
        + (" In a closed space it gathers under the roof: open it before you charge." * enclosed),
        f"[pack] chemistry = {result.plan.pack.chemistry}" + " (enclosed)" * enclosed,
        "ventilation of stationary batteries: IEC 62485-2",  # from memory
    )


def closed_in(result: Budget) -> Caution | None:
    """A lithium pack in a space without air."""
    if "enclosed" not in result.plan.place.around or not _lithium(result):
        return None
    return Caution(
        "pack-without-air",
        "A pack in a closed cabin or locker cannot shed its heat, and one that fails fills it with"
        " hot, poisonous gas: leave its vents free, keep the way out clear, and do not sleep beside"
        " it while it charges.",
        "[pack] (enclosed)",
    )


def pack_temperature(result: Budget) -> Array:
    """The pack's temperature in the middle weather, deg C, (segments,)."""
    return result.middle_case.temp_c()[:, 0]


def guessed(result: Budget) -> bool:
    """Whether the pack follows an air that nobody has stated or measured."""
    return result.plan.pack.temperature is None and not result.weather.air.stated


def too_cold(result: Budget) -> Caution | None:
    """Lithium as cold as it may be discharged, or nearly, in any weather."""
    limit_c = result.plan.pack.discharge_min_c
    coldest_c = min(budget.case.coldest_hottest_c[0] for budget in (result, *result.bounds))
    if limit_c is None or coldest_c > limit_c + NEARLY_TOO_COLD_K:
        return None
    when = "It gets that cold here" if coldest_c < limit_c else "It comes near that here"
    if guessed(result):
        when = when.replace("It gets", "It is likely to get").replace("It comes", "It may come")
    return Caution(
        "pack-too-cold",
        f"Below {limit_c:g} degrees C a lithium pack gives nothing, however full it is. {when}:"
        " keep it where it stays warmer (a cabin, a vehicle, an insulated box), and start with it"
        " warm.",
        f"[pack] down to {coldest_c:.1f} degrees C, discharge_min_c = {limit_c:g}",
    )


def frozen_acid(result: Budget) -> Caution | None:
    """Lead-acid so low in such cold that its acid freezes, or nearly, on a dull day."""
    if _lithium(result):
        return None
    charge = np.percentile(result.charge_percent, 10.0, axis=1)
    lower = np.minimum(charge[:-1], charge[1:])
    freezes_c = np.interp(lower, np.linspace(0.0, 100.0, len(FREEZES_C)), FREEZES_C)
    above_k = pack_temperature(result) - freezes_c
    k = int(above_k.argmin())
    if above_k[k] > NEARLY_FROZEN_K:
        return None
    return Caution(
        "lead-acid-freezes",
        f"At {lower[k]:.0f} % a lead-acid battery freezes near {freezes_c[k]:.0f} degrees C, splits"
        " and never recovers: keep it fuller or warmer, and never charge a frozen one.",
        f"[pack] at {pack_temperature(result)[k]:.0f} degrees C on a dull day"
        + " (likely)" * guessed(result),
    )


def cold_charge(result: Budget) -> Caution | None:
    """Lithium offered a charge in frost: the pack, or what the tasks charge."""
    pack_c, (tasks, air_c) = _pack_charged_in_frost(result), _tasks_charged_in_frost(result)
    if pack_c is None and not tasks:
        return None
    harm = "without a cut-off of its own a battery is damaged and may later catch fire"
    warm = "charge them where it is warm, or their chargers may refuse"
    below = "must not be charged below 0 degrees C"
    if pack_c is None:
        text, about = f"Batteries of tools and phones, mostly lithium, {below}: {harm}; {warm}", []
    else:
        text = f"Lithium {below}: {harm}; here the pack takes nothing then"
        text += f"; those of tools and phones are mostly lithium too: {warm}" * bool(tasks)
        about = [f"[pack] down to {pack_c:.1f} degrees C while sun or charger would charge it"]
    if tasks:
        about.append(f"{named(tasks)} in air down to {air_c:.1f} degrees C")
    unknown = not result.weather.air.stated if tasks else guessed(result)
    likely = ". Frost is likely, by the usual air of the month." if unknown else "."
    return Caution("charging-below-freezing", text + likely, ", ".join(about))


def _pack_charged_in_frost(result: Budget) -> float | None:
    """The lowest below 0 at which sun or a charger would charge a lithium pack in the middle
    weather [deg C]; None where nothing would."""
    if not _lithium(result) or result.plan.pack.heated:
        return None
    case, temperature = result.middle_case, pack_temperature(result)
    offered = (case.charger_w > 0.0) | (case.sun_w()[:, 0] > 0.0)
    frozen = temperature[offered & (temperature < 0.0)]
    return float(frozen.min()) if frozen.size else None


def _tasks_charged_in_frost(result: Budget) -> tuple[list[Task], float]:
    """The tasks that charge a battery below 0 in any weather, and the lowest of it [deg C]: in the
    air where the plan is in the open, else where the pack is kept."""
    plan, air_c = result.plan, result.weather.air.temp_air.min(axis=1)
    if plan.pack.temperature is not None and not OPEN_AIR & set(plan.place.around):
        air_c = np.full_like(air_c, plan.pack.temperature)
    lowest_c: dict[int, float] = {}
    for burst in result.running:
        task = plan.task[burst.task]
        if task.kind == "charging" or CHARGED.search(words(task)):
            first = np.searchsorted(result.days.cells, burst.start_s, side="right") - 1
            end = np.searchsorted(result.days.cells, burst.end_s)
            coldest_c = float(air_c[first:end].min())
            lowest_c[burst.task] = min(coldest_c, lowest_c.get(burst.task, 0.0))
    tasks = [task for k, task in enumerate(plan.task) if lowest_c.get(k, 0.0) < 0.0]
    return tasks, min(lowest_c.values(), default=0.0)


def hot_pack(result: Budget) -> Caution | None:
    """Lithium above 45 C."""
    _, hottest = result.case.coldest_hottest_c
    if not _lithium(result) or hottest <= HOT_C:
        return None
    return Caution(
        "hot-pack",
        "Above 45 degrees C lithium should rest and not be charged: keep the pack in moving air and"
        " out of the sun.",
        f"[pack] up to {hottest:.1f} degrees C",
    )


def sunlit_pack(result: Budget) -> Caution | None:
    """A pack kept in warm open air under a bright sun, of which nobody says that it is shaded."""
    open_air = OPEN_AIR & set(result.plan.place.around)
    if result.plan.pack.temperature is not None or not open_air or hot_pack(result) is not None:
        return None
    row, ghi = result.case.solar_row, result.weather.light.ghi
    bright = row >= 0
    bright[bright] = ghi[row[bright], result.middle if ghi.shape[1] > 1 else 0] >= SUN_W_M2
    hottest = float(pack_temperature(result)[bright].max(initial=-np.inf))
    if hottest + SUN_K <= HOT_C:
        return None
    return Caution(
        "pack-in-the-sun",
        f"In the sun a pack gets some {SUN_K:.0f} degrees hotter than the air and ages, switches"
        " off or fails: keep it in the shade, never under glass, its vents free.",
        f"[pack] outside, in bright sun and air of {hottest:.0f} degrees C",
    )


def low_lead_acid(result: Budget) -> Caution | None:
    """Lead-acid that may be drawn below half, and is."""
    reserve, lowest = result.plan.pack.reserve_percent, result.lowest().percent
    if _lithium(result) or reserve >= LASTING_PERCENT or lowest >= LASTING_PERCENT:
        return None
    return Caution(
        "lead-acid-low",
        f"Lead-acid that is often drawn below {LASTING_PERCENT:.0f} % wears out early, and the"
        f" reserve here is {reserve:.0f} %. If it is to last, give reserve_percent ="
        f" {LASTING_PERCENT:.0f}.",
        f"[pack] down to {lowest:.0f} %, reserve_percent = {reserve:g}",
    )


def damaged_lithium(result: Budget) -> Caution | None:
    """A lithium pack where rain, knocks or heat reach it."""
    where: list[str] = [w for w in result.plan.place.around if w in ("outdoors", "wet", "afloat")]
    where += ["hot"] * (result.case.coldest_hottest_c[1] > HOT_C)
    if not _lithium(result) or not where:
        return None
    return Caution(
        "damaged-lithium",
        "A lithium pack that is swollen, wet inside, dropped or hot to the hand can burn with"
        " poisonous smoke: do not charge it, and take it outdoors, away from what burns.",
        f"[pack] ({', '.join(where)})",
    )


def acid(result: Budget) -> Caution | None:
    """Lead-acid with liquid acid."""
    if result.plan.pack.chemistry != "flooded":
        return None
    return Caution(
        "acid",
        "Battery acid blinds and burns: goggles and gloves at the battery, water at hand to rinse"
        " eyes and skin for a quarter of an hour, soda for spills.",
        "[pack] chemistry = flooded",
        "protection against electrolyte: IEC 62485-2",
    )  # from memory


def wind(result: Budget) -> Caution | None:
    """A panel that stands against the wind."""
    propped = [p for p in result.plan.panel if p.aim != "flat" and p.tilt_deg >= PROPPED_DEG]
    if not propped:
        return None
    return Caution(
        "wind-on-panel",
        "Wind lifts a propped panel like a sail: tie it down or weigh its feet, and lay it flat"
        " before gusts and when you leave it.",
        first_few([f'panel "{panel.name}"' for panel in propped]),
    )


def heavy(result: Budget) -> Caution | None:
    """A pack or a panel too heavy for one pair of hands, or a load that is lifted by a tool."""
    things = [("[pack]", result.plan.pack.kg)]
    things += [(f'panel "{panel.name}"', panel.kg) for panel in result.plan.panel]
    heavier = [f"{name}, {kg:g} kg" for name, kg in things if kg is not None and kg > HEAVY_KG]
    lifting = [task for task in result.plan.task if carries(task, "lifts")]
    if not heavier and not lifting:
        return None
    carry = (
        "This is too heavy for one person to lift safely: carry it between two or in parts, close"
        " to the body, and make it fast before a vehicle or boat moves."
    )
    hang = (
        "Nobody stands or reaches under a load that hangs or is jacked up: prop it first, and keep"
        " to what hoist and hooks are rated for."
    )
    return Caution(
        "heavy-lift",
        " ".join([carry] * bool(heavier) + [hang] * bool(lifting)),
        ", ".join([first_few(heavier)] * bool(heavier) + [named(lifting)] * bool(lifting)),
        f"{HEAVY_KG:.0f} kg for one person: ISO 11228-1" if heavier else "",
    )

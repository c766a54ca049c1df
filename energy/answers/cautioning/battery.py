"""Cautions about the pack itself: its gas, its heat and cold, its weight, a panel's beside it."""

import numpy as np

from energy.answers.cautioning.caution import Caution, first_few
from energy.budget import Budget
from energy.model import Array
from energy.model.battery import LITHIUM

NEARLY_TOO_COLD_K = 10.0  # forecasts and typical years miss the coldest hour (our choice)
HOT_C = 45.0  # above this lithium should not be charged (common practice)
SUN_K, SUN_W_M2 = 20.0, 500.0  # a dark box in such sun is warmer by so much (common practice)
HEAVY_KG = 23.0  # the most to lift at best, in the NIOSH lifting equation (1993); from memory


def _lithium(b: Budget) -> bool:
    return b.plan.pack.chemistry in LITHIUM


def hydrogen(b: Budget) -> Caution | None:
    """Lead-acid under charge."""
    if _lithium(b) or not (b.plan.panel or b.plan.charger):
        return None
    enclosed = "enclosed" in b.plan.place.around
    return Caution(
        "hydrogen",
        "Lead-acid batteries give off hydrogen while charging: air the place well, and keep flames"
        " and sparks away."
        + (" In a closed space it gathers under the roof: open it before you charge." * enclosed),
        f"[pack] chemistry = {b.plan.pack.chemistry}" + " (enclosed)" * enclosed,
        "ventilation of stationary batteries: IEC 62485-2",  # from memory
    )


def closed_in(b: Budget) -> Caution | None:
    """A lithium pack in a space without air."""
    if "enclosed" not in b.plan.place.around or not _lithium(b):
        return None
    return Caution(
        "pack-without-air",
        "A pack in a closed cabin or locker cannot shed its heat, and one that fails fills it with"
        " hot, poisonous gas: leave its vents free, keep the way out clear, and do not sleep beside"
        " it while it charges.",
        "[pack] (enclosed)",
    )


def pack_temperature(b: Budget) -> Array:
    """The pack's temperature in the middle weather, deg C, (segments,)."""
    temperature = b.case.temp_pack
    lane = b.middle if temperature.shape[1] > 1 else 0
    return np.asarray(temperature[b.case.temp_row, lane])


def too_cold(b: Budget) -> Caution | None:
    """Lithium as cold as it may be discharged, or nearly, in any weather."""
    limit_c = b.plan.pack.discharge_min_c
    cases = [one.case for one in (b, *b.ends)]
    coldest_c = min(float(case.temp_pack[np.unique(case.temp_row)].min()) for case in cases)
    if limit_c is None or coldest_c > limit_c + NEARLY_TOO_COLD_K:
        return None
    when = "It gets that cold here" if coldest_c < limit_c else "It comes near that here"
    return Caution(
        "pack-too-cold",
        f"Below {limit_c:g} degrees C a lithium pack gives nothing, however full it is. {when}:"
        " keep it where it stays warmer (a cabin, a vehicle, an insulated box), and start with it"
        " warm.",
        f"[pack] down to {coldest_c:.1f} degrees C, discharge_min_c = {limit_c:g}",
    )


def cold_charge(b: Budget) -> Caution | None:
    """Lithium offered a charge in frost."""
    if not _lithium(b) or b.plan.pack.heated:
        return None
    case, temperature = b.case, pack_temperature(b)
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


def hot_pack(b: Budget) -> Caution | None:
    """Lithium above 45 C."""
    hottest = float(pack_temperature(b).max())
    if not _lithium(b) or hottest <= HOT_C:
        return None
    return Caution(
        "hot-pack",
        "Above 45 degrees C lithium should rest and not be charged: keep the pack in moving air and"
        " out of the sun.",
        f"[pack] up to {hottest:.1f} degrees C",
    )


def sunlit_pack(b: Budget) -> Caution | None:
    """A pack kept in warm open air under a bright sun, of which nobody says that it is shaded."""
    open_air = {"outdoors", "afloat"} & set(b.plan.place.around)
    if b.plan.pack.temperature is not None or not open_air or hot_pack(b) is not None:
        return None
    row, ghi = b.case.solar_row, b.weather.ghi
    bright = row >= 0
    bright[bright] = ghi[row[bright], b.middle if ghi.shape[1] > 1 else 0] >= SUN_W_M2
    hottest = float(pack_temperature(b)[bright].max(initial=-np.inf))
    if hottest + SUN_K <= HOT_C:
        return None
    return Caution(
        "pack-in-the-sun",
        f"In the sun a pack gets some {SUN_K:.0f} degrees hotter than the air and ages, switches"
        " off or fails: keep it in the shade, never under glass, its vents free.",
        f"[pack] outside, in bright sun and air of {hottest:.0f} degrees C",
    )


def heavy(b: Budget) -> Caution | None:
    """A pack or a panel too heavy for one pair of hands."""
    things = [("[pack]", b.plan.pack.kg)]
    things += [(f'panel "{panel.name}"', panel.kg) for panel in b.plan.panel]
    heavier = [f"{name}, {kg:g} kg" for name, kg in things if kg is not None and kg > HEAVY_KG]
    if not heavier:
        return None
    return Caution(
        "heavy-lift",
        "This is too heavy for one person to lift safely: carry it between two or in parts, close"
        " to the body, and make it fast before a vehicle or boat moves.",
        first_few(heavier),
        f"{HEAVY_KG:.0f} kg at the very best: NIOSH lifting equation",
    )

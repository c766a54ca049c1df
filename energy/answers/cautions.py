"""What can hurt someone or strand them in this plan: cautions, most serious first.

Each is raised only by what is in the plan, its `around`, its kit, and how the middle weather goes;
by what exactly is said in `cautioning`. They never replace local codes and licensed practice, and
the closing line says so.
"""

from functools import partial

from energy.answers.cautioning import battery, electric, life, starts, tools, trust
from energy.answers.cautioning.caution import Caution as Caution
from energy.answers.cautioning.caution import Rule
from energy.budget import Budget

CLOSING = (
    "Local codes, the makers' instructions and licensed practice come before anything said here."
)


def cautions(budget: Budget) -> tuple[Caution, ...]:
    """Every caution that the plan raises: danger to life first, then to gear, then to trust.

    >>> from energy.budget import budget
    >>> from energy.plan import Plan
    >>> [c.id for c in cautions(budget(Plan.read("builtin:cloudy-repair")))][0]
    'mains-in-the-wet'
    """
    found = (raised(budget) for raised in BY_DANGER)
    return tuple(caution for caution in found if caution is not None)


BY_DANGER: tuple[Rule, ...] = (
    partial(life.monoxide, enclosed=True),
    electric.mains_in_the_wet,
    partial(life.monoxide, enclosed=False),
    life.medical,
    partial(tools.sparks, caution="sparks-near-fuel"),
    tools.fuel_vapour,
    battery.hydrogen,
    partial(tools.sparks, caution="sparks-near-lead-acid"),
    tools.alone,
    life.dark_boat,
    life.lifeline,
    electric.thin_cable,
    electric.string_shock,
    tools.rotating,
    tools.blades,
    tools.welding_arc,
    life.second_light,
    electric.inverter_earth,
    electric.rain,
    battery.too_cold,
    battery.cold_charge,
    battery.hot_pack,
    partial(tools.sparks, caution="sparks"),
    battery.closed_in,
    electric.coiled_lead,
    electric.battery_fuse,
    electric.cold_string,
    electric.live_panel,
    battery.heavy,
    battery.sunlit_pack,
    life.warm_fridge,
    electric.long_cable,
    trust.frost_not_judged,
    starts.surge_when_low,
    starts.near_surge,
    trust.follows_air,
    trust.far_weather,
    trust.old_forecast,
    trust.not_a_promise,
)

"""What can hurt someone or strand them in this plan: cautions, most serious first.

Each is raised only by what is in the plan, its `around`, its kit, and how the middle weather goes;
by what exactly is said in the files beside this one. They never replace local codes and licensed
practice, and the closing line says so.
"""

from functools import partial

from energy.answers.caution import battery, electric, life, starts, tools, trust
from energy.answers.caution.caution import Caution as Caution
from energy.answers.caution.caution import Rule
from energy.plan import Plan
from energy.simulation.budget import Budget, budget_of

CLOSING = (
    "Local codes, the makers' instructions and licensed practice come before anything said here."
)


def cautions(plan: Plan | Budget) -> tuple[Caution, ...]:
    """Every caution that a plan raises: danger to life first, then injury, gear, and trust.

    plan: a Plan, or its Budget, which is then not worked out again.

    Raises PlanError as `budget`.

    >>> cautions(Plan.read("builtin:cloudy-repair"))[0].id
    'mains-in-the-wet'
    """
    result = budget_of(plan)
    every = (raised(result) for raised in BY_DANGER)
    return tuple(caution for caution in every if caution is not None)


LIFE: tuple[Rule, ...] = (
    partial(life.monoxide, enclosed=True),
    life.burner,
    electric.mains_in_the_wet,
    partial(life.monoxide, enclosed=False),
    life.medical,
    partial(tools.sparks, caution="sparks-near-fuel"),
    tools.fuel_vapour,
    battery.hydrogen,
    partial(tools.sparks, caution="sparks-near-lead-acid"),
    electric.cold_string,
    electric.string_amps,
    electric.string_shock,
    electric.thin_cable,
    tools.welding_arc,
    partial(tools.sparks, caution="sparks"),
    tools.hot,
    battery.too_cold,
    battery.frozen_acid,
    battery.cold_charge,
    battery.closed_in,
    life.extreme_heat,
    tools.alone,
    life.dark_boat,
    life.lifeline,
    life.second_light,
)
INJURY: tuple[Rule, ...] = (
    battery.acid,
    tools.rotating,
    tools.blades,
    electric.short_circuit,
    electric.inverter_earth,
    battery.damaged_lithium,
    electric.coiled_lead,
    electric.thin_lead,
    electric.battery_fuse,
    tools.dust,
    electric.live_panel,
    electric.rain,
    battery.heavy,
    battery.wind,
)
GEAR: tuple[Rule, ...] = (
    starts.not_stated,
    battery.hot_pack,
    battery.sunlit_pack,
    battery.low_lead_acid,
    life.warm_fridge,
    electric.long_cable,
    starts.surge_when_low,
    starts.near_surge,
)
TRUST: tuple[Rule, ...] = (
    trust.frost_not_judged,
    trust.follows_air,
    trust.far_weather,
    trust.old_forecast,
    trust.not_a_promise,
)
BY_DANGER = LIFE + INJURY + GEAR + TRUST  # in each by how bad it is and how often it happens

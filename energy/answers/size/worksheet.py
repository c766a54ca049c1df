"""The classical sheet for sizing by hand: a mean day's load, sun hours, days of storage.

Each step is a line of arithmetic as handbooks give it, so that it can be followed with a pencil.
The sizes that the simulation finds are `size`'s.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from energy.answers.size.designs import panel_watts
from energy.answers.size.load_and_sun import length_days
from energy.model.battery import USABLE
from energy.plan import Plan
from energy.plan.kit import Pack
from energy.show.terms import SUPPLIES
from energy.simulation.budget import Budget, budget_of
from energy.simulation.strings import laid_out, pwm_share

# Array-to-load ratio, ordinary and critical loads: the middles of 1.1-1.2 and 1.3-1.4, IEEE 1562
# (from memory).
ORDINARY_RATIO, CRITICAL_RATIO = 1.15, 1.35
CRITICAL_GOAL = 99.0
# Days of storage against the design month's sun hours, at 95 and 99 % availability: fits by
# Masters, Renewable and Efficient Electric Power Systems, to SAND87-7023 (from memory).
STORAGE = {95.0: (9.43, -1.9, 0.11), 99.0: (24.0, -4.73, 0.3)}
STORAGE_SUN_HOURS = (1.0, 7.0)  # where the fits fall and mean something
LEAST_SUN_HOURS = 0.05


@dataclass(frozen=True)
class Step:
    """A line of the sheet: what it finds, its value and unit, and how it comes about."""

    what: str
    value: float
    unit: str
    how: str


@dataclass(frozen=True)
class Worksheet:
    """The sheet's panel and battery, its steps, and why the simulation says something else."""

    panel_w: float
    battery_wh: float
    steps: tuple[Step, ...]
    why: str

    def as_dict(self) -> dict[str, Any]:
        """The sheet as `--json` prints it."""
        return {
            "panel_w": round(self.panel_w),
            "battery_wh": round(self.battery_wh),
            "steps": [
                {k: round(v, 3) if isinstance(v, float) else v for k, v in asdict(step).items()}
                for step in self.steps
            ],
        }


def storage_days(sun_hours: float, availability_percent: float) -> float:
    """Days of load to store for 95 or 99 % availability, from the design month's sun hours a day.

    >>> round(storage_days(3.1, 95.0), 1), round(storage_days(3.1, 99.0), 1)
    (4.6, 12.2)
    """
    level, slope, bend = STORAGE[availability_percent]
    hours = min(max(sun_hours, STORAGE_SUN_HOURS[0]), STORAGE_SUN_HOURS[1])
    return level + slope * hours + bend * hours**2


def at_the_battery_wh(outlet_wh: float, efficiency_percent: float) -> float:
    """What the battery gives for energy at an outlet [Wh].

    >>> round(at_the_battery_wh(3000.0, 85.0))
    3529
    """
    return outlet_wh / (efficiency_percent / 100.0)


def battery_label_wh(daily_wh: float, days: float, depth: float, cold_factor: float) -> float:
    """The battery for so many days of load, drawn down to a depth (0 to 1), in the cold (0 to 1).

    >>> round(battery_label_wh(24.0 * 147.0, 4.6, 0.80, 0.97) / 24.0)
    871
    """
    return daily_wh * days / depth / cold_factor


def array_w(daily_wh: float, sun_hours: float, ratio: float, efficiency: float) -> float:
    """The panels that make a day's load times the ratio in a mean day's sun [W].

    >>> array_w(1000.0, 4.0, 1.2, 0.75)
    400.0
    """
    return daily_wh * ratio / (sun_hours * efficiency)


def worksheet(plan: Plan | Budget) -> Worksheet:
    """The sheet for a plan, with the mean sun of its weathers.

    plan: a Plan, or its Budget, which is then not worked out again.

    Raises PlanError as `budget`.

    >>> sheet = worksheet(Plan.read("builtin:january-job"))
    >>> [step.unit for step in sheet.steps]
    ['Wh/day', 'h/day', 'days', '', '', 'Wh', '', '', 'W']
    """
    result = budget_of(plan)
    days, watts = length_days(result), panel_watts(result.plan)
    load = _daily_load(result, days)
    sun_hours = float(result.solar.sun_wh.mean()) / max(watts, 1e-9) / days
    sun_words = "mean of the plan's season, in the panels' plane"
    storage = _storage(result, sun_hours, days)
    *factors, battery = _battery_steps(result, load.value, storage.value)
    *ratios, panel = _panel_steps(result, load.value, sun_hours)
    sun = Step("peak sun hours", sun_hours, "h/day", sun_words)
    steps = (load, sun, storage, *factors, battery, *ratios, panel)
    return Worksheet(panel.value, battery.value, steps, _why(result, days, storage.value))


def _critical(result: Budget) -> bool:
    return result.plan.goal.chance_percent >= CRITICAL_GOAL


def _storage(result: Budget, sun_hours: float, days: int) -> Step:
    """Days of load to store: by the published fit, but no more than the job has."""
    available = 99.0 if _critical(result) else 95.0
    fitted = storage_days(sun_hours, available)
    words = f"{fitted:.1f} by the published fit for {available:.0f} % availability"
    fewest, most = STORAGE_SUN_HOURS
    if not fewest <= sun_hours <= most:
        bound, way = (fewest, "more") if sun_hours < fewest else (most, "less")
        words += f" at {bound:g} sun hours, where it ends: {way} is wanted here"
    if days < fitted:
        words += f", but the job has no more than {days}"
    return Step("storage", min(fitted, float(days)), "days", words)


def _battery_steps(result: Budget, daily_wh: float, stored_days: float) -> tuple[Step, ...]:
    """From a day's load and the days to store to the battery's label."""
    pack = result.plan.pack
    depth = max(1.0 - pack.reserve_percent / 100.0, 0.05)
    air_c = float(result.case.temp_pack.mean())
    cold = float(np.interp(air_c, *USABLE[pack.chemistry]))
    cold_words = f"share of the label at {air_c:.0f} degrees C"
    if result.case.battery.too_cold(result.case.temp_pack).any():
        cold_words += f"; below {pack.discharge_min_c:g} a pack of any size gives nothing"
    health = pack.health_percent / 100.0
    label_wh = battery_label_wh(daily_wh, stored_days, depth, cold) / health
    aged = "" if pack.health_percent == 100.0 else f" / {health:.2f} for age"
    return (
        Step("depth of discharge", depth, "", "down to the reserve"),
        Step("temperature factor", cold, "", cold_words),
        Step("battery", label_wh, "Wh", f"load x days / depth / temperature{aged}"),
    )


def _panel_steps(result: Budget, daily_wh: float, sun_hours: float) -> tuple[Step, ...]:
    """From a day's load and its sun hours to the panels' label."""
    efficiency = _panel_to_battery(result)
    ratio = CRITICAL_RATIO if _critical(result) else ORDINARY_RATIO
    loads = "critical" if _critical(result) else "ordinary"
    panel, words = 0.0, "no sun to live on: the battery alone"
    if sun_hours >= LEAST_SUN_HOURS:
        panel = array_w(daily_wh, sun_hours, ratio, efficiency)
        words = "load x ratio / (sun hours x panel to battery)"
    return (
        Step("panel to battery", efficiency, "", _efficiency_words(result.plan.pack)),
        Step("array-to-load ratio", ratio, "", f"for {loads} loads"),
        Step("panel", panel, "W", words),
    )


def _daily_load(result: Budget, days: int) -> Step:
    """A mean day's load at the battery, outlets' losses and idle draws in."""
    pack, total_wh, parts = result.plan.pack, 0.0, []
    for supply, words in SUPPLIES.items():
        efficiency = pack.efficiency_percent(supply)
        outlet_wh = sum(
            float(wh)
            for task, wh in zip(result.plan.task, result.asked_wh, strict=True)
            if task.supply == supply
        )
        if outlet_wh > 0.0:
            total_wh += at_the_battery_wh(outlet_wh, efficiency)
            parts.append(f"{outlet_wh / days:.0f} {words} / {efficiency / 100.0:.2f}")
    hours = np.diff(result.case.edges) / 3600.0
    inverter_w = result.case.inverter_on * (
        result.case.inverter.idle_w if result.case.inverter else 0.0
    )
    idle_wh = float(((inverter_w + result.case.idle_w) * hours).sum())
    charged_wh = float((result.case.charger_w * hours).sum())
    parts.append(f"{idle_wh / days:.0f} idle")
    text = " + ".join(parts)
    if charged_wh > 0.0:
        text += f" - {charged_wh / days:.0f} from other charging"
    if charged_wh > total_wh + idle_wh:
        text += ", which brings more than is asked"
    daily_wh = max((total_wh + idle_wh - charged_wh) / days, 0.0)
    return Step("daily load at the battery", daily_wh, "Wh/day", text)


def _panel_to_battery(result: Budget) -> float:
    """Condition of the panels, controller and charging together (0 to 1); a PWM input holds the
    panels at the battery's volts."""
    plan, watts = result.plan, panel_watts(result.plan)
    derate = 1.0
    if watts > 0.0:
        weighted = sum(p.rated_w * p.count * p.condition_percent for p in plan.panel)
        derate = weighted / watts / 100.0
    controller = plan.pack.solar_input.efficiency_percent / 100.0
    if plan.pack.solar_input.kind == "pwm" and watts > 0.0:
        controller *= pwm_share(laid_out(plan, result.days.site.cold))
    return max(derate * controller * plan.pack.coulombic_percent / 100.0, 0.01)


def _efficiency_words(pack: Pack) -> str:
    volts_share = (
        " x battery volts over panel volts (PWM)" if pack.solar_input.kind == "pwm" else ""
    )
    return f"condition x controller{volts_share} x charging"


def _why(result: Budget, days: int, stored: float) -> str:
    job = "day" if days == 1 else f"{days} days"
    kept = f"{stored:.2g} day{'' if stored == 1.0 else 's'}"
    return (
        f"The sheet takes a mean day's sun and {kept} of load without any, for a load"
        f" that goes on for ever; the simulation runs this job's own {job} through"
        f" {result.success.size} weathers, starting at"
        f" {result.plan.pack.start_percent:.0f} %, and counts"
        " what the sun brings on dull days too."
    )

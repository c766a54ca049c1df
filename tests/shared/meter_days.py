"""For the tests of learning: invented kits whose true figures differ from their labels, lived
through second by second in many scenarios at once, and what their owners would have read.

The loop shares no code with `energy`; windows, bursts, sun and inverter curve come from the slow
simulator of the tests. Lithium only, and never run empty.
"""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from brute_days import HOUR_S, Clock, place
from brute_loads import inverter_curve, inverter_share, joules_by, within_limits
from brute_sun import air_c, panel_side_w

from energy.answers.learn.readings import Row
from energy.plan import Plan

DISPLAY_SD = 0.5  # percent, before it is rounded to a whole one
CUT_SD, RUN_ON_SD = 0.20, 0.05
METER_SD, COUNTER_SD, TOOL_SD = 0.03, 0.02, 0.15  # at outlets, of the sun's Wh, of one tool's watts


@dataclass(frozen=True)
class Truth:
    """True factors on the stated figures, each (m,); tools by profile or task name."""

    capacity: np.ndarray
    idle: np.ndarray
    derate: np.ndarray
    tools: dict

    def of(self, key):
        kind, _, name = key.partition(":")
        named = {
            "capacity_wh": self.capacity,
            "idle_w": self.idle,
            "condition_percent": self.derate,
        }
        return named[kind] if kind in named else self.tools[name]


def truths(plan, scenarios, seed):
    """Kits drawn from what is believed of one before anything is read: means of one."""
    rng = np.random.default_rng(seed)

    def draw(sd):  # a gamma distribution is positive and has this mean and spread
        return rng.gamma(1.0 / sd**2, sd**2, scenarios)

    tools = {
        task.tool or task.name: draw(max(task.spread_percent / 100.0, 0.40)) for task in plan.task
    }
    return Truth(draw(0.15), draw(0.50), draw(0.18), tools)


def worn(plan, scenarios, seed):
    """Kits in use for years, wider than what is believed of one: packs that hold 70 to 100 % of
    their label, panels that give 60 to 100 % where 90 is usual, tools lognormal by 20 to 30 %."""
    rng = np.random.default_rng(seed)
    spread = rng.uniform(0.2, 0.3, scenarios)
    tools = {
        task.tool or task.name: np.exp(spread * rng.standard_normal(scenarios))
        for task in plan.task
    }
    idle = rng.gamma(4.0, 0.25, scenarios)
    panels = rng.uniform(0.6, 1.0, scenarios) / 0.9
    return Truth(rng.uniform(0.7, 1.0, scenarios), idle, panels, tools)


@dataclass(frozen=True)
class Skies:
    """What the sun of a day really was, as shares of what was expected: (hours, m) by UTC hour."""

    first_hour: int
    share: np.ndarray

    def at(self, time_s):
        return self.share[(time_s // HOUR_S).astype(int) - self.first_hour]


def skies(plan, scenarios, seed, day_sd=0.30, hour_sd=0.25):
    """A day's sky of so much spread with the clouds of its hours, correlated from one to the
    next by 0.54 (Graham & Hollands, Solar Energy 44 (1990) 333); means of one."""
    rng = np.random.default_rng(seed)
    clock = Clock(plan)
    first, last = int(clock.start // HOUR_S), int(clock.end // HOUR_S)
    hours = np.empty((last - first + 1, scenarios))
    hours[0] = rng.standard_normal(scenarios)
    for k in range(1, len(hours)):
        hours[k] = 0.54 * hours[k - 1] + np.sqrt(1.0 - 0.54**2) * rng.standard_normal(scenarios)
    share = 1.0 + day_sd * rng.standard_normal(scenarios) + hour_sd * hours
    return Skies(first, np.maximum(share, 0.05))


class Lived:
    """A plan lived through by kits of some truth, by second: charge [percent], watts of the sun and
    at the outlets, and the day's counter of solar Wh. A charger is (a time from which on it comes
    in, its watts as read)."""

    def __init__(self, plan, truth, sky, seed, charger=None):
        rng, clock, scenarios = np.random.default_rng(seed), Clock(plan), truth.capacity.size
        self.plan, self.clock, self.rng, self.truth = plan, clock, rng, truth
        other = np.zeros((clock.n, scenarios))
        if charger is not None:
            since, watts = charger
            other[self._second(since) :] = watts / (1.0 + METER_SD * rng.standard_normal(scenarios))
        pack, inverter = plan.pack, plan.pack.inverter
        asked, on, panel = stated(plan)
        capacity = pack.capacity_wh * truth.capacity
        h, coulombic = pack.resistive_h, pack.coulombic_percent / 100.0
        leak = pack.self_discharge_percent_month / 100.0 / 720.0 / HOUR_S
        taper = pack.taper_from_percent / 100.0
        top = (np.sqrt(1.0 + 4.0 * h * pack.charge_max_w / capacity) - 1.0) * capacity / (2.0 * h)
        curves = [
            inverter_curve(inverter.rated_w, inverter.idle_w * f, inverter.efficiency_percent)
            for f in truth.idle
        ]
        a, b = np.array(curves).T
        b = b / inverter.rated_w
        pack_idle, idle = pack.idle_w * truth.idle, inverter.idle_w * truth.idle
        efficiency = pack.solar_input.efficiency_percent / 100.0
        nuisance = [self._luck(task, int(index.max()) + 1, scenarios) for task, (_, index) in asked]
        self.asked = [
            (task, index, scatter)
            for (task, (_, index)), scatter in zip(asked, nuisance, strict=True)
        ]
        mains, direct, self.load_w = np.zeros((3, clock.n, scenarios))
        for (task, (watts, index)), scatter in zip(asked, nuisance, strict=True):
            runs = np.flatnonzero(watts)
            here = watts[runs, None] * truth.tools[task.tool or task.name] * scatter[index[runs]]
            self.load_w[runs] += here
            if task.supply == "ac":
                mains[runs] += here
            else:
                direct[runs] += here / (getattr(plan.pack, task.supply).efficiency_percent / 100.0)
        need = pack_idle + direct + on[:, None] * (idle + mains * (1.0 + a) + b * mains**2)
        share = sky.at(clock.start + np.arange(clock.n))
        self.solar_w = panel[:, None] * truth.derate * share * efficiency
        net = self.solar_w + other - need
        given = np.maximum(net, 0.0)
        into = (np.sqrt(1.0 + 4.0 * h * given / capacity) - 1.0) * capacity / (2.0 * h)
        out = (1.0 - np.sqrt(1.0 - 4.0 * h * np.maximum(-net, 0.0) / capacity)) * capacity
        out_wh = out / (2.0 * h) / HOUR_S
        stores = np.empty((clock.n + 1, scenarios))
        stores[0] = store = capacity * pack.start_percent / 100.0
        for k in range(clock.n):
            fill = np.minimum(1.0, (1.0 - store / capacity) / (1.0 - taper)) * top
            into[k] = inward = np.minimum(into[k], fill)
            store = store + coulombic * inward / HOUR_S - out_wh[k] - leak * store
            stores[k + 1] = store
        self.percent = 100.0 * stores / capacity
        spilled = given - (into + h * into**2 / capacity)
        taken_wh = np.maximum(self.solar_w - spilled, 0.0) / HOUR_S
        self.taken_wh = np.concatenate([np.zeros((1, scenarios)), taken_wh.cumsum(axis=0)])

    def _luck(self, task, bursts, scenarios):
        """How much more or less than its mean each burst took, (bursts, m)."""
        repeated = task.times is not None or task.kind == "charging"
        spread = CUT_SD if repeated else RUN_ON_SD
        return 1.0 + spread * self.rng.standard_normal((bursts, scenarios)).clip(-3.0, 3.0)

    def _second(self, text):
        """A local time of the first day, or of the next where it is before the start."""
        hour, minute = (int(part) for part in text.split(":"))
        at = self.plan.span.start.replace(hour=hour, minute=minute)
        at += timedelta(days=1) if at < self.plan.span.start else timedelta()
        return round(self.clock.utc(at) - self.clock.start)

    def lowest(self):
        return self.percent.min(axis=0)

    def readings(self, scenario, times, solar_sd=None, sky=None, shown=(), told=None):
        """What one owner reads at some local times, as rows; `shown` may be solar_wh and load_w,
        `told` by time what else is in the row. A tool told without a count is read in watts."""
        rows, gain = [], 1.0 + COUNTER_SD * self.rng.standard_normal()
        for number, text in enumerate(times, start=1):
            k = self._second(text)
            at = self.plan.span.start + timedelta(seconds=k)
            percent = self.percent[k, scenario] + DISPLAY_SD * self.rng.standard_normal()
            seen = {"battery_percent": float(np.clip(np.round(percent), 0, 100)), "sky": sky}
            if solar_sd is not None:
                seen["solar_w"] = self._noisy(self.solar_w[max(k - 1, 0), scenario], solar_sd)
            if "solar_wh" in shown:
                seen["solar_wh"] = float(gain * self.taken_wh[k, scenario])
            if "load_w" in shown:
                seen["load_w"] = self._noisy(self.load_w[max(k - 1, 0), scenario], METER_SD)
            seen |= (told or {}).get(text, {})
            if "tool" in seen and "count" not in seen:
                seen["load_w"] = self._of_a_tool(seen["tool"], max(k - 1, 0), scenario)
            rows.append(Row(number, at, self.clock.utc(at), **seen))
        return tuple(rows)

    def _of_a_tool(self, name, k, scenario):
        task, index, nuisance = next(
            one for one in self.asked if (one[0].tool or one[0].name) == name
        )
        watts = task.working_w * self.truth.tools[name][scenario] * nuisance[index[k], scenario]
        return self._noisy(watts, METER_SD if task.kind == "steady" else TOOL_SD)

    def _noisy(self, value, sd):
        return float(max(value * (1.0 + sd * self.rng.standard_normal()), 0.0))


_STATED = {}


def stated(plan):
    """What each task asks in each second and in which of its bursts, (task, (watts, index)); the
    inverter's share; the panels' watts. Plans of one day and kit share it."""
    key = repr((plan.place, plan.span, plan.weather, plan.panel, plan.task, plan.pack))
    if key not in _STATED:
        clock = Clock(plan)
        bursts = [b for i, task in enumerate(plan.task) for b in place(clock, i, task)]
        ran, refused = within_limits(plan, clock, bursts)
        assert not refused
        asked = []
        for i, task in enumerate(plan.task):
            watts, index = np.zeros(clock.n), np.zeros(clock.n, dtype=int)
            for number, burst in enumerate(b for b in ran if b.task == i):
                into = np.clip(clock.edges, burst.start, burst.end) - burst.start
                more = np.diff(joules_by(task, into))
                watts += more
                index[more > 0.0] = number
            asked.append((task, (watts, index)))
        panel = panel_side_w(plan, clock, air_c(plan, clock), None)
        _STATED[key] = asked, inverter_share(plan, clock, ran), panel
    return _STATED[key]


WORK = [
    {"tool": "angle-grinder-115", "times": 30, "each_s": 60, "between": ["09:00", "11:00"]},
    {"tool": "drill-10", "times": 30, "each_s": 40, "between": ["11:00", "12:30"]},
    {"tool": "tool-pack-18v-4ah", "charges": 2, "between": ["12:30", "16:30"]},
]
LESS_WORK = [
    {"tool": "angle-grinder-115", "times": 20, "each_s": 60, "between": ["09:00", "11:00"]},
    {"tool": "drill-10", "times": 20, "each_s": 40, "between": ["11:00", "12:30"]},
    {"tool": "tool-pack-18v-4ah", "charges": 1, "between": ["12:30", "14:30"]},
]


def plan_of(**changes):
    """An invented work day with grinder, drill and tool batteries from a pack of 1 kWh."""
    tables = {
        "place": {
            "latitude_deg": 47.0,
            "longitude_deg": 9.0,
            "timezone": "Europe/Zurich",
            "elevation_m": 400,
        },
        "span": {"start": "2026-05-20T08:00:00", "end": "2026-05-20T17:00:00"},
        "weather": {"kind": "sky", "sky": 4, "futures": 1, "temp_air_c": 15},
        "panel": [{"profile": "folding-200", "tilt_deg": 20, "condition_percent": 50}],
        "pack": {  # no truth drawn here overloads it
            "profile": "pack-1000",
            "start_percent": 90,
            "discharge_max_w": 1900,
            "inverter": {"rated_w": 1800, "surge_w": 6000},
        },
        "task": WORK,
    }
    return Plan.from_dict({**tables, **changes})


def folded(**changes):
    """The same kit with the panel folded away, and so much work as the pack alone carries."""
    span = {"start": "2026-05-20T08:00:00", "end": "2026-05-20T15:00:00"}
    return plan_of(**{"panel": [], "task": LESS_WORK, "span": span, **changes})

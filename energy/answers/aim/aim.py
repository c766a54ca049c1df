"""Where should the panels point? The best pose, what others cost, and what turning them is worth.

The poses are searched in `poses`; every figure given of one comes from a budget in all weathers.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.aim.daylight import Daylight, daylight, given_wh
from energy.answers.aim.poses import BIN_MIN, Search, Yields, search
from energy.model import Array
from energy.plan import Plan, PlanError
from energy.plan.kit import Panel
from energy.simulation.answered import Answered
from energy.simulation.budget import Budget, budget_of, changed
from energy.simulation.work import cells_of, check_searchable
from energy.weather.record import DAY_S

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

Change = dict[str, Any]

NEARLY_FLAT_DEG, ALIKE_SHARE = 5.0, 0.001  # for so little nobody props a panel up
BUDGETS = 12  # at most so many, with three ways to turn the panels and the search
WORTH_WH, WORTH_SHARE = 10.0, 0.02  # a day; nobody gets up for less (common practice, no source)


@dataclass(frozen=True)
class Setting(Answered):
    """One way to set the panels up: what it changes in the plan, and the budget with it.

    daylight says which days count as a day; at are the times of the clock at which the panels are
    turned square to the sun.
    """

    change: Change
    budget: Budget = field(repr=False)
    daylight: Daylight = field(repr=False)
    at: tuple[str, ...] = ()

    @cached_property
    def _half_hours_wh(self) -> Array:
        return self.daylight.half_hours_wh(self.budget)

    @property
    def wh_per_day(self) -> float:
        """What the panels give in a whole day after the input's limit, all weathers' mean [Wh]."""
        return float(self._half_hours_wh.sum())

    @property
    def own_wh(self) -> float:
        """What they give a day in the plan's own hours [Wh]; less than a day of them counts as
        one."""
        return given_wh(self.budget) / self.daylight.plan_days

    @property
    def curtailed_wh(self) -> float:
        """What of that the pack has no room for [Wh]."""
        return float(self.budget.ledger_wh["spilled"].mean()) / self.daylight.plan_days

    @property
    def taken_wh(self) -> float:
        """What of that the pack takes [Wh]."""
        return self.own_wh - self.curtailed_wh

    def watts(self) -> Array:
        """Mean watts of all weathers and days in each half hour of the clock, (48,)."""
        return self._half_hours_wh * (60.0 / BIN_MIN)


@dataclass(frozen=True)
class Aim(Answered):
    """The answer: ways to set the panels up, and the yield of all poses.

    tilt_deg and azimuth_deg (true north) are the best pose for the plan's own hours, in whole
    degrees; azimuth_deg is None where a boat swings and its heading cannot be chosen. aimed are the
    panels it is for, from 0: the swinging ones where there are any, else all.
    """

    plan: Setting
    flat: Setting
    best: Setting
    follow: Setting
    re_aim: tuple[Setting, ...]
    tilt_deg: float
    azimuth_deg: float | None
    aimed: tuple[int, ...]
    yields: Yields = field(repr=False)

    @property
    def budget(self) -> Budget:
        """The plan with the best pose."""
        return self.best.budget

    @property
    def panels(self) -> list[Panel]:
        """The panels it is for."""
        return [self.plan.budget.plan.panel[k] for k in self.aimed]

    @property
    def change(self) -> Change:
        """What gives the plan the best pose, for `Plan.replace`."""
        return self.best.change

    def more_wh(self, setting: Setting) -> float:
        """How much more a setting gives a day than the plan's own [Wh]."""
        return setting.wh_per_day - self.plan.wh_per_day

    def gives_no_less(self, turns: Setting) -> bool:
        """Whether turns, in a plan of a day and more, give as much on a whole day as the best pose:
        one early on the last morning would spoil the day that is no more the plan's."""
        begins_s, ends_s = self.plan.budget.days.span
        return ends_s - begins_s < DAY_S or turns.wh_per_day >= self.best.wh_per_day

    @property
    def worth_turning(self) -> Setting | None:
        """The turns that are worth it, None where the best pose may stay as it is.

        More turns must let the pack take enough more than fewer do, in the plan's own hours.
        """
        taken_wh, worth = self.best.taken_wh, None
        for turns in filter(self.gives_no_less, self.re_aim):
            if turns.taken_wh - taken_wh >= max(WORTH_WH, WORTH_SHARE * taken_wh):
                taken_wh, worth = turns.taken_wh, turns
        return worth

    def lost_percent(self, tilt_off_deg: float, facing_off_deg: float) -> float:
        """What a pose so far from the best loses of the yield, to the worse side [percent].

        Tilts stay between flat and upright.
        """
        facing = self.azimuth_deg or 0.0
        tilts = np.clip(self.tilt_deg + tilt_off_deg * np.array([-1.0, 1.0]), 0.0, 90.0)
        facings = (facing + facing_off_deg * np.array([-1.0, 1.0])) % 360.0
        here = float(self.yields.at(np.array([self.tilt_deg]), np.array([facing])).item())
        there = float(self.yields.at(tilts, np.sort(facings)).min())
        return 100.0 * max(1.0 - there / here, 0.0) if here > 0.0 else 0.0

    def prop_height_m(self, length_m: float) -> float:
        """How far a panel's raised edge stands above the lower one, for its length along the
        slope; both in metres."""
        return length_m * float(np.sin(np.radians(self.tilt_deg)))

    def _repr_html_(self) -> str:
        return str(self.table().to_html())

    def table(self) -> "pd.DataFrame":
        """A row for each way to set the panels up: Wh a day, and what of the plan's own hours the
        pack takes."""
        import pandas as pd

        ways = {"flat": self.flat, "as planned": self.plan, "best pose": self.best}
        ways |= {f"turned at {', '.join(turned.at)}": turned for turned in self.re_aim}
        ways["following the sun"] = self.follow
        rows = {
            name: {"wh_per_day": way.wh_per_day, "taken_wh_per_day": way.taken_wh}
            for name, way in ways.items()
        }
        return pd.DataFrame.from_dict(rows, orient="index")

    def plot(self) -> "Figure":
        """The yield of all poses and the watts of a day: a matplotlib figure."""
        from energy.answers.aim.picture import aim_picture

        return aim_picture(self)

    def as_dict(self) -> dict[str, Any]:
        """The answer as `--json` prints it; azimuth_deg is null for a swinging boat. day says
        which days a day's figures are the mean of (see `Daylight`)."""
        day = self.plan.daylight
        return {
            "best": {
                "tilt_deg": self.tilt_deg,
                "azimuth_deg": self.azimuth_deg,
                "wh_per_day": round(self.best.wh_per_day, 1),
            },
            "plan_wh_per_day": round(self.plan.wh_per_day, 1),
            "flat_wh_per_day": round(self.flat.wh_per_day, 1),
            "follow_wh_per_day": round(self.follow.wh_per_day, 1),
            "re_aim": [
                {"at": list(turned.at), "wh_per_day": round(turned.wh_per_day, 1)}
                for turned in self.re_aim
            ],
            "day": {
                "counts": day.counts,
                "first": day.first.isoformat(),
                "last": day.last.isoformat(),
            },
        }


def aim(plan: Plan | Budget) -> Aim:
    """Find the best pose of a plan's panels in its weathers, and what turning them would give.

    plan may also be its budget, which is then not worked out again. Raises PlanError for a plan
    without panels, and as `budget` does.

    >>> answer = aim(Plan.read("builtin:cloudy-repair"))
    >>> 0 <= answer.tilt_deg <= 90 and answer.best.wh_per_day >= answer.flat.wh_per_day
    True
    """
    result = budget_of(plan)
    if not result.plan.panel:
        raise PlanError([f"{result.plan.origin}: has no [[panel]]: there is nothing to point"])
    check_searchable(result, BUDGETS * cells_of(result), "the best pose")
    result = replace(result, bounds=())  # the doubt about the means moves no pose
    sought, own = search(result), Setting({}, result, daylight(result))
    yields = sought.yields()
    best, tilt, azimuth = _best(own, sought, yields)
    turns = [] if sought.swings else sought.turns(tilt, azimuth)
    return Aim(
        plan=own,
        flat=_set(own, sought.change("flat")),
        best=best,
        follow=_set(own, sought.change("follow")),
        re_aim=_rising(
            [_set(own, sought.change("re-aimed", (tilt, azimuth), at), at) for at in turns]
        ),
        tilt_deg=tilt,
        azimuth_deg=None if sought.swings else azimuth,
        aimed=sought.aimed,
        yields=yields,
    )


def _rising(turned: Iterable[Setting]) -> tuple[Setting, ...]:
    """Turns that give more than fewer of them do: under cloud another may cost light."""
    rising: list[Setting] = []
    for turns in turned:
        if not rising or turns.own_wh > (1.0 + ALIKE_SHARE) * rising[-1].own_wh:
            rising.append(turns)
    return tuple(rising)


def enough_for(result: Budget, wh: float) -> str:
    """What so much more from the panels would run, in the plan's own tasks; "" for none.

    Losses in the controller, the battery and the outlet are taken off; of the tasks the one is
    named whose number of repeats is nearest to three.
    """
    stored = wh * result.case.controller_efficiency * result.plan.pack.coulombic_percent / 100.0
    turned_away = {overload.burst.task for overload in result.overloads}
    counts, longer = [], []
    for k, task in enumerate(result.plan.task):
        if result.asked_wh[k] <= 0.0 or k in turned_away:
            continue
        bursts = [burst for burst in result.bursts if burst.task == k]
        hours = sum(burst.end_s - burst.start_s for burst in bursts) / 3600.0
        efficiency = result.plan.pack.efficiency_percent(task.supply) / 100.0
        at_outlet = stored * efficiency / float(result.asked_wh[k])
        if task.times or task.charges:
            counts.append((at_outlet * len(bursts), task.name))
        else:
            longer.append((at_outlet * hours, task.name))
    enough = [(count, name) for count, name in counts if count >= 1.0]
    if enough:
        count, name = min(enough, key=lambda counted: abs(np.log(counted[0] / 3.0)))
        return f'"{name}" about {int(count)} more time{"" if int(count) == 1 else "s"}'
    lasting = [(hours, name) for hours, name in longer if hours >= 0.5]
    if lasting:
        hours, name = min(lasting)
        return f'"{name}" about {hours:.{0 if hours >= 2.0 else 1}f} h longer'
    return ""


def _set(own: Setting, change: Change, at: tuple[str, ...] = ()) -> Setting:
    return Setting(change, changed(own.budget, change), own.daylight, at)


def _best(own: Setting, sought: Search, yields: Yields) -> tuple[Setting, float, float]:
    """The pose with the most in the plan's hours, its tilt and azimuth: the plan's own unless
    another beats it, and flat rather than nearly flat."""
    result = own.budget
    aim = sought.standing
    panels = [result.plan.panel[k] for k in sought.aimed]
    stated = {(panel.tilt_deg, panel.facing_deg) for panel in panels}
    stand = all(panel.aim == aim for panel in panels) and len(stated) == 1
    poses = [*(stated if stand else ()), yields.best()]
    tried = [(_set(own, sought.change(aim, pose)), *pose) for pose in poses]
    best = max(tried, key=lambda pose: pose[0].own_wh)
    if 0.0 < best[1] <= NEARLY_FLAT_DEG:
        level = (0.0, 180.0 if result.plan.place.latitude_deg >= 0.0 else 0.0)
        flat = _set(own, sought.change(aim, level))
        if flat.own_wh >= (1.0 - ALIKE_SHARE) * best[0].own_wh:
            return flat, *level
    return best

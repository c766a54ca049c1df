"""Where should the panels point? The best pose, what others cost, and what turning them is worth.

The poses are searched in `poses`; every figure given of one comes from a budget in all weathers.
Words and picture lie in `show`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from energy.answers.poses import DAY_BINS, Search, Yields, days_of, half_hours, search, span_of
from energy.budget import Budget, budget, changed
from energy.model import Array
from energy.model.timeline import inside
from energy.plan import Plan, PlanError

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

Change = dict[str, Any]

NEARLY_FLAT_DEG, ALIKE_SHARE = 5.0, 0.001  # for so little nobody props a panel up
WORTH_WH, WORTH_SHARE = 10.0, 0.02  # a day; nobody gets up for less (common practice, no source)


@dataclass(frozen=True)
class Setting:
    """One way to set the panels up: what it changes in the plan, and the budget with it.

    at are the times of the clock at which the panels are turned square to the sun.
    """

    change: Change
    budget: Budget = field(repr=False)
    at: tuple[str, ...] = ()

    @property
    def wh_per_day(self) -> float:
        """What the panels give after the input's limit, the mean of all weathers [Wh].

        A day is 24 hours of the span; a shorter span counts as one.
        """
        books = self.budget.ledger_wh
        given = books["sun_on_panel"] - books["panel_losses"] - books["refused"]
        return float(given.mean()) / days_of(self.budget)

    @property
    def taken_wh_per_day(self) -> float:
        """What of it the pack has room for, the mean of all weathers [Wh]."""
        spilled = float(self.budget.ledger_wh["spilled"].mean())
        return self.wh_per_day - spilled / days_of(self.budget)

    def watts(self) -> Array:
        """Mean watts of all weathers and days in each half hour of the clock, (48,)."""
        b = self.budget
        hours = np.diff(b.cells) * inside(b.cells, [span_of(b)]) / 3600.0
        of_cell = half_hours(b.calendar, b.cells[:-1])
        covered = np.bincount(of_cell, hours, DAY_BINS)
        given_wh = b.solar.panel_w.mean(axis=1) * np.diff(b.cells)[b.weather.lit] / 3600.0
        total = np.bincount(of_cell[b.weather.lit], given_wh, DAY_BINS)
        return np.asarray(total / np.maximum(covered, 1e-9))


@dataclass(frozen=True)
class Aim:
    """The answer: ways to set the panels up, and the yield of all poses.

    tilt_deg and azimuth_deg (true north) are the best pose, in whole degrees; azimuth_deg is None
    where a boat swings and its heading cannot be chosen. aimed are the panels it is for, from 0:
    the swinging ones where there are any, else all.
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
    def change(self) -> Change:
        """What gives the plan the best pose, for `Plan.replace`."""
        return self.best.change

    def more_wh(self, setting: Setting) -> float:
        """How much more a setting gives a day than the plan's own [Wh]."""
        return setting.wh_per_day - self.plan.wh_per_day

    def more_taken_wh(self, setting: Setting) -> float:
        """How much more of it a day the pack has room for than with the plan's own [Wh]."""
        return setting.taken_wh_per_day - self.plan.taken_wh_per_day

    @property
    def worth_turning(self) -> Setting | None:
        """The turns that are worth it, None where the best pose may stay as it is.

        More turns must let the pack take enough more than fewer do.
        """
        kept, found = self.best.taken_wh_per_day, None
        for setting in self.re_aim:
            if setting.taken_wh_per_day - kept >= max(WORTH_WH, WORTH_SHARE * kept):
                kept, found = setting.taken_wh_per_day, setting
        return found

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
        """A row for each way to set the panels up: Wh a day, and what of it the pack takes."""
        import pandas as pd

        ways = {"flat": self.flat, "as planned": self.plan, "best pose": self.best}
        ways |= {f"turned at {', '.join(turned.at)}": turned for turned in self.re_aim}
        ways["following the sun"] = self.follow
        rows = {
            name: {"wh_per_day": way.wh_per_day, "taken_wh_per_day": way.taken_wh_per_day}
            for name, way in ways.items()
        }
        return pd.DataFrame.from_dict(rows, orient="index")

    def plot(self) -> "Figure":
        """The yield of all poses and the watts of a day: a matplotlib figure."""
        from energy.show.aim_picture import aim_picture  # the one way up: it shows itself

        return aim_picture(self)

    def as_dict(self) -> dict[str, Any]:
        """The answer as `--json` prints it; azimuth_deg is null for a swinging boat."""
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
        }


def aim(plan: Plan | Budget) -> Aim:
    """Find the best pose of a plan's panels in its weathers, and what turning them would give.

    Raises PlanError for a plan without panels.

    >>> answer = aim(Plan.read("builtin:cloudy-repair"))
    >>> 0 <= answer.tilt_deg <= 90 and answer.best.wh_per_day >= answer.flat.wh_per_day
    True
    """
    b = plan if isinstance(plan, Budget) else budget(plan)
    if not b.plan.panel:
        raise PlanError([f"{b.plan.origin}: has no [[panel]]: there is nothing to point"])
    b = replace(b, ends=())  # the doubt about the means moves no pose
    sought = search(b)
    yields = sought.yields()
    best, tilt, azimuth = _best(b, sought, yields)
    turns = [] if sought.swings else sought.turns(tilt, azimuth)
    return Aim(
        plan=Setting({}, b),
        flat=_set(b, sought.change("flat")),
        best=best,
        follow=_set(b, sought.change("follow")),
        re_aim=_rising(
            [_set(b, sought.change("re-aimed", (tilt, azimuth), at), at) for at in turns]
        ),
        tilt_deg=tilt,
        azimuth_deg=None if sought.swings else azimuth,
        aimed=sought.aimed,
        yields=yields,
    )


def _rising(turned: Iterable[Setting]) -> tuple[Setting, ...]:
    """Turns that give more than fewer of them do: under cloud another may cost light."""
    found: list[Setting] = []
    for one in turned:
        if not found or one.wh_per_day > (1.0 + ALIKE_SHARE) * found[-1].wh_per_day:
            found.append(one)
    return tuple(found)


def enough_for(b: Budget, wh: float) -> str:
    """What so much more from the panels would run, in the plan's own tasks; "" for none.

    Losses in the controller, the battery and the outlet are taken off; of the tasks the one is
    named whose number of repeats is nearest to three.
    """
    stored = wh * b.case.controller_efficiency * b.plan.pack.coulombic_percent / 100.0
    refused = {refusal.burst.task for refusal in b.refusals}
    counts, longer = [], []
    for k, task in enumerate(b.plan.task):
        if b.asked_wh[k] <= 0.0 or k in refused:
            continue
        bursts = [burst for burst in b.bursts if burst.task == k]
        hours = sum(burst.end_s - burst.start_s for burst in bursts) / 3600.0
        at_outlet = stored * _outlet_share(b, task.supply) / float(b.asked_wh[k])
        if task.times or task.charges:
            counts.append((at_outlet * len(bursts), task.name))
        else:
            longer.append((at_outlet * hours, task.name))
    enough = [(count, name) for count, name in counts if count >= 1.0]
    if enough:
        count, name = min(enough, key=lambda found: abs(np.log(found[0] / 3.0)))
        return f'"{name}" about {int(count)} more time{"" if int(count) == 1 else "s"}'
    lasting = [(hours, name) for hours, name in longer if hours >= 0.5]
    if lasting:
        hours, name = min(lasting)
        return f'"{name}" about {hours:.{0 if hours >= 2.0 else 1}f} h longer'
    return ""


def _outlet_share(b: Budget, supply: str) -> float:
    inverter = b.plan.pack.inverter
    if supply != "ac":
        return b.case.outlet_efficiency[supply]
    return inverter.efficiency_percent / 100.0 if inverter is not None else 1.0


def _set(b: Budget, change: Change, at: tuple[str, ...] = ()) -> Setting:
    return Setting(change, changed(b, change), at)


def _best(b: Budget, sought: Search, yields: Yields) -> tuple[Setting, float, float]:
    """The pose with the most, its tilt and azimuth: the plan's own unless another beats it, and
    flat rather than nearly flat."""
    aim = sought.standing
    panels = [b.plan.panel[k] for k in sought.aimed]
    own = {(panel.tilt_deg, panel.facing_deg) for panel in panels}
    stand = all(panel.aim == aim for panel in panels) and len(own) == 1
    poses = [*(own if stand else ()), yields.best()]
    tried = [(_set(b, sought.change(aim, pose)), *pose) for pose in poses]
    best = max(tried, key=lambda one: one[0].wh_per_day)
    if 0.0 < best[1] <= NEARLY_FLAT_DEG:
        level = (0.0, 180.0 if b.plan.place.latitude_deg >= 0.0 else 0.0)
        flat = _set(b, sought.change(aim, level))
        if flat.wh_per_day >= (1.0 - ALIKE_SHARE) * best[0].wh_per_day:
            return flat, *level
    return best

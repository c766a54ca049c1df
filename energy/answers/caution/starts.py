"""Cautions about starts: surges that a low pack or the inverter may not bear."""

from dataclasses import dataclass

import numpy as np

from energy.answers.caution.caution import Caution, named, raised_by
from energy.answers.caution.telling import carries
from energy.model import Array, Index, Mask
from energy.plan.profiles import built_in
from energy.simulation.budget import Budget

SAG_PERCENT = 10.0  # below this real packs cut out under a surge (common practice)
NEAR_SURGE = 0.8  # a larger share of the inverter's surge rating leaves little room (our choice)


@dataclass(frozen=True)
class _Running:
    """Every step that runs: its task, its first segment and the one after its last, its watts, and
    those that its start takes above them, 0 where nothing starts; all (steps,)."""

    task: Index
    first: Index
    after: Index
    working_w: Array
    over_w: Array

    def only(self, which: Mask) -> "_Running":
        """The steps that a mask (steps,) tells."""
        return _Running(
            self.task[which],
            self.first[which],
            self.after[which],
            self.working_w[which],
            self.over_w[which],
        )


def _running(result: Budget) -> _Running:
    start_w = [task.start_w for task in result.plan.task]
    steps = [
        (
            burst.task,
            step.start_s,
            step.end_s,
            step.working_w,
            max(start_w[burst.task] - step.working_w, 0.0) if step.starts else 0.0,
        )
        for burst in result.running
        for step in burst.pieces
    ]
    task, start_s, end_s, working_w, over_w = np.array(steps).reshape(-1, 5).T
    first, after = np.searchsorted(result.time_s, [start_s, end_s])
    return _Running(task.astype(int), first, after, working_w, over_w)


def not_stated(result: Budget) -> Caution | None:
    """A motor on the mains whose start nobody has stated: it is taken to start as it works."""
    motors = [
        task
        for task in result.plan.task
        if task.supply == "ac"
        and "start_w" not in task.model_fields_set
        and task.tool not in built_in("tools")
        and any(carries(task, risk) for risk in ("rotating", "wet_work"))
    ]
    return raised_by(
        motors,
        "start-not-stated",
        "No start is stated of this tool: a motor without soft start draws 2 to 5 times its watts"
        " for a moment, and may trip the inverter. Give start_w.",
    )


def surge_when_low(result: Budget) -> Caution | None:
    """A tool that starts on a nearly empty pack."""
    charge = result.middle_charge_percent[:-1]
    above = charge - 100.0 * result.middle_case.cold_unavailable()[:, 0]
    if above.min() >= SAG_PERCENT:
        return None
    every = _running(result)
    starts = every.only(every.over_w > 0.0)
    low = starts.task[above[starts.first] < SAG_PERCENT]
    if low.size == 0:
        return None
    return Caution(
        "surge-when-low",
        "A tool starts with the pack below about 10 %: real packs sag and cut out then, which is"
        " not in this answer.",
        named(result.plan.task[k] for k in np.unique(low)),
    )


def near_surge(result: Budget) -> Caution | None:
    """A start that takes nearly all the inverter can give."""
    inverter = result.plan.pack.inverter
    if inverter is None:
        return None
    every = _running(result)
    mains = every.only(np.array([task.supply == "ac" for task in result.plan.task])[every.task])
    starts = mains.only(mains.over_w > 0.0)
    change_w = np.zeros(result.time_s.size)
    np.add.at(change_w, mains.first, mains.working_w)
    np.add.at(change_w, mains.after, -mains.working_w)
    watts = np.cumsum(change_w)
    np.add.at(watts, starts.first, starts.over_w)
    near = starts.task[watts[starts.first] > NEAR_SURGE * inverter.surge_w]
    if near.size == 0:
        return None
    return Caution(
        "surge-near-limit",
        f"A start comes close to the {inverter.surge_w:.0f} W the inverter surges to: start that"
        " tool with nothing else running, and expect a trip now and then.",
        named(result.plan.task[k] for k in np.unique(near)),
    )

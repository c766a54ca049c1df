"""Ten days with a kit in which one tool draws far more than its label: the answer must not become
sure and wrong. The kits are invented, and lived through by the tests' own loop in `meter_days`.
"""

from functools import cache

import meter_days as lived
import numpy as np
import pytest
from learn_days import BETWEEN_TOOLS, FIVE, day_of

from energy.answers.learn.confounded import confounded
from energy.answers.learn.fit import fit
from energy.answers.learn.posterior import EMPTY, INTERVAL_80, figures_of

GRINDER, DRILL, BATTERIES = "angle-grinder-115", "drill-10", "tool-pack-18v-4ah"
DAYS, KITS = 10, 8
SEASONS = {"May": ("2026-05-20", 47.0, 4), "February": ("2026-02-10", 40.0, 2),
           "October": ("2026-10-05", 44.0, 4)}  # fmt: skip
GROUPS = [  # what is read, the odd tool, how far off it is, when
    ("percentages", GRINDER, 1.5, "May"),
    ("percentages", DRILL, 2.0, "February"),
    ("percentages", BATTERIES, 2.5, "October"),
    ("watts too", DRILL, 1.5, "October"),
    ("watts too", BATTERIES, 2.0, "May"),
    ("watts too", GRINDER, 2.5, "February"),
    ("folded at times", BATTERIES, 1.5, "February"),
    ("folded at times", GRINDER, 2.0, "October"),
    ("folded at times", DRILL, 2.5, "May"),
]


def plans(odd, factor, season):
    """A day with the panel out and one with it folded; less of the odd tool's work is planned, as
    the pack must carry it."""
    day, latitude, okta = SEASONS[season]
    share = {tool: 1.6 / factor if tool == odd else 1.0 for tool in (GRINDER, DRILL)}
    out, dark = (
        [
            {"tool": GRINDER, "times": round(cuts * share[GRINDER]), "each_s": 60,
             "between": ["09:00", "11:00"]},
            {"tool": DRILL, "times": round(cuts * share[DRILL]), "each_s": 40,
             "between": ["11:00", "12:30"]},
            {"tool": BATTERIES, "charges": 1, "between": ["12:30", "14:30"]},
        ]
        for cuts in (21, 20)
    )  # fmt: skip
    place = lived.plan_of().source["place"] | {"latitude_deg": latitude}
    sky = {"kind": "sky", "sky": okta, "futures": 1, "temp_air_c": 15}
    ends = ("17:00", "15:00")
    spans = [{"start": f"{day}T08:00:00", "end": f"{day}T{end}:00"} for end in ends]
    return (
        lived.plan_of(place=place, weather=sky, task=out, span=spans[0]),
        lived.folded(place=place, weather=sky, task=dark, span=spans[1]),
    )


def truths(plan, odd, factor, seed):
    """Packs of 80 to 115 % of their label, panels that give 60 to 100 % where 90 is usual, one tool
    far off its label and the others lognormal by 25 %."""
    rng = np.random.default_rng(seed)
    tools = {task.tool: np.exp(0.25 * rng.standard_normal(KITS)) for task in plan.task}
    return lived.Truth(
        capacity=rng.uniform(0.8, 1.15, KITS),
        idle=rng.gamma(4.0, 0.25, KITS),
        derate=rng.uniform(0.6, 1.0, KITS) / 0.9,
        tools=tools | {odd: np.full(KITS, factor)},
    )


def on_each_day(truth):
    """The same kits on each of the days, as scenarios of one life."""
    return lived.Truth(
        *(np.tile(each, DAYS) for each in (truth.capacity, truth.idle, truth.derate)),
        {tool: np.tile(each, DAYS) for tool, each in truth.tools.items()},
    )


@cache
def learned(group, seed):
    """The truth of each kit that did not run empty, (p,), its posterior after ten days and what is
    said not to be separable then."""
    how, odd, factor, season = GROUPS[group]
    out, dark = plans(odd, factor, season)
    truth, lives = truths(out, odd, factor, seed + group), []
    for number, (plan, *spreads) in enumerate(((out, 0.30, 0.25), (dark, 0.0, 0.0))):
        if plan is out or how == "folded at times":
            sky = lived.skies(plan, KITS * DAYS, seed + 100 + group, *spreads)
            lives.append(lived.Lived(plan, on_each_day(truth), sky, seed + 200 + group + number))
    figures, found = figures_of(out), []
    lowest = np.min([life.lowest().reshape(DAYS, KITS) for life in lives], axis=(0, 1))
    for kit in np.flatnonzero(lowest > 1.0).tolist():
        posterior = EMPTY.with_figures(figures)
        for number in range(DAYS):
            life = lives[number % len(lives)]
            watts = 0.20 if life.plan is out and how != "percentages" else None
            times = FIVE if life.plan is out else BETWEEN_TOOLS
            rows = life.readings(kit + KITS * number, times, watts)
            prior, day = day_of(life.plan, rows, posterior, later=number > 0)
            fitted = fit(prior, [day])
            posterior = fitted.posterior
        true = np.array([truth.of(key)[kit] for key in posterior.keys])
        found.append((true, posterior, confounded(figures_of(day.budget.plan), day, fitted)))
    return found


def off_by_kind(seed):
    """By kind of figure how far the truth lies off, in stated standard deviations."""
    off = {"the odd tool": [], "other tools": [], "capacity_wh": [], "condition_percent": []}
    for group, (_, odd, *_) in enumerate(GROUPS):
        for true, posterior, _ in learned(group, seed):
            z = (true - posterior.mean) / posterior.sd
            for key, each in zip(posterior.keys, z.tolist(), strict=True):
                kind, _, name = key.partition(":")
                tool = "the odd tool" if name == odd else "other tools"
                off.setdefault(tool if kind == "tool" else kind, []).append(each)
    return {kind: np.array(each) for kind, each in off.items()}


@pytest.mark.oracle
@pytest.mark.parametrize("seed", [1000, 2000])
def test_ten_days_with_a_tool_far_off_its_label_do_not_end_sure_and_wrong(seed):
    off = off_by_kind(seed)
    assert off["the odd tool"].size >= 60
    held = {kind: 100.0 * np.mean(np.abs(z) <= INTERVAL_80) for kind, z in off.items()}
    far = {kind: 100.0 * np.mean(np.abs(z) > 2.5) for kind, z in off.items()}
    print(held, far)
    assert all(70.0 <= share <= 92.0 for share in held.values()), held
    # The idle draws here have a longer tail than is believed, and such days hardly tell them.
    assert all(share <= 5.0 for kind, share in far.items() if kind != "idle_w"), far


@pytest.mark.oracle
@pytest.mark.parametrize("group", range(len(GROUPS)))
def test_what_ten_days_leave_open_about_the_capacity_is_said(group):
    for _, posterior, apart in learned(group, 1000):
        left = posterior.doubt_left[0]
        said = any("the capacity and all draws together" in group.line for group in apart)
        assert said == (left >= 0.5), (left, apart)


def test_a_day_with_a_grinder_of_twice_its_label_does_not_shrink_the_pack():
    plan, one = lived.folded(), np.ones(KITS)
    truth = lived.Truth(one, one, one, {DRILL: one, BATTERIES: one, GRINDER: 2.0 * one})
    life = lived.Lived(plan, truth, lived.skies(plan, KITS, 4, 0.0, 0.0), seed=5)
    off, previous = [], None
    for kit in range(KITS):
        prior, day = day_of(plan, life.readings(kit, BETWEEN_TOOLS), previous=previous)
        previous, after = previous or day.budget, fit(prior, [day]).posterior
        off.append((after.mean - [truth.of(key)[kit] for key in after.keys]) / after.sd)
    assert np.abs(np.mean(off, axis=0)).max() <= 1.0

"""Learning from readings, against kits whose truth is known: invented ones, lived through by the
tests' own one-second loop in `meter_days`, with noise and displays that round.

The bounds are those a prototype of the method reached, with room for the draw; the fact about
one cut is common practice, no source.
"""

from functools import cache

import meter_days as lived
import numpy as np
import pytest
from learn_days import BETWEEN_TOOLS, FIVE, NIGHT, WAYS, day_of, days, seen_by_figure, seen_on

from energy.answers.learn.fit import fit, outliers
from energy.answers.learn.kit_file import KitFile, as_toml, read_kit_file, with_posterior
from energy.answers.learn.kit_profiles import with_profiles
from energy.answers.learn.learn import learn
from energy.answers.learn.posterior import EMPTY, INTERVAL_80, figures_of
from energy.answers.learn.readings import parse_readings
from energy.plan import Plan, PlanError
from energy.simulation.budget import budget

FIRST = ("a sunny day with watts", "the panel folded", "an afternoon called clear")


@pytest.mark.parametrize("name", WAYS)
def test_the_80_percent_interval_holds_the_truth_in_70_to_90_of_100_kits(name):
    # 80 of 100 are expected, give or take two and a half standard deviations of such a count, and
    # three of them over all the ways of reading, where some forty figures are counted.
    few, many = (70, 90) if name in FIRST else (68, 92)
    held = {
        key: 100.0 * np.mean(np.abs(off) <= INTERVAL_80)
        for key, (off, _) in seen_by_figure(name).items()
    }
    assert all(few <= count <= many for count in held.values()), held


WORN_WAYS = (*FIRST, "other counts than planned", "a counter of solar watt-hours")


@pytest.mark.oracle
@pytest.mark.parametrize("name", WORN_WAYS)
def test_it_does_so_for_kits_that_are_worn(name):
    """Wider than what is believed of a kit: 70 to 90 of 100 on average over each kind of figure of
    which anything was read."""
    held = {
        key: int((np.abs(off) <= INTERVAL_80).sum())
        for key, (off, left) in seen_by_figure(name, lived.worn).items()
        if left.mean() < 0.99
    }
    assert all(64 <= count <= 96 for count in held.values()), held
    assert 70 <= np.mean(list(held.values())) <= 90, held


@pytest.mark.oracle
@pytest.mark.parametrize("name", WORN_WAYS)
def test_hardly_an_honest_day_of_a_worn_kit_is_refused(name):
    refused = [one.contradicts for one in seen_on(name, lived.worn) if one.lowest_percent > 1.0]
    assert sum(refused) <= 1


@pytest.mark.parametrize("name", WAYS)
def test_honest_days_do_not_contradict_their_plans(name):
    refused = [one.contradicts for one in seen_on(name, lived.truths) if one.lowest_percent > 1.0]
    assert sum(refused) <= 1  # a pack drawn to hold half more than its label


@pytest.mark.oracle
def test_watts_read_at_the_outlets_tell_the_loads():
    found = seen_by_figure("watts at the outlets")
    assert max(found[key][1].mean() for key in ("tool:heater", "tool:fan")) <= 0.4


@pytest.mark.oracle
def test_cuts_that_were_counted_teach_as_much_as_cuts_that_were_planned():
    left = [
        seen_by_figure(name)["tool:angle-grinder-115"][1].mean()
        for name in ("other counts than planned", "the panel folded")
    ]
    assert left[0] <= 1.25 * left[1]


@pytest.mark.parametrize(
    ("kits", "count"),
    [
        (lived.truths, 8),
        *(pytest.param(kits, 20, marks=pytest.mark.oracle) for kits in (lived.truths, lived.worn)),
    ],
)
def test_what_kits_honestly_show_is_not_taken_for_odd(kits, count):
    plan, really, sky_sd, charger, how = days()["a sunny day with watts"]
    truth = kits(plan, count, seed=21)
    life = lived.Lived(really, truth, lived.skies(plan, count, 22, *sky_sd), 23, charger)
    found, previous = [], None
    for scenario in range(count):
        before, day = day_of(plan, life.readings(scenario, *how), previous=previous)
        previous = previous or day.budget
        found.append(len(outliers(before, day)))
    assert not any(found)


def test_five_readings_with_the_panel_folded_leave_at_most_55_percent_of_the_grinders_doubt():
    _, left = seen_by_figure("the panel folded")["tool:angle-grinder-115"]
    assert left.mean() <= 0.55


@pytest.mark.oracle
def test_a_clear_afternoon_with_watts_tells_the_panels_condition():
    _, left = seen_by_figure("an afternoon called clear")["condition_percent:folding-200"]
    assert left.mean() <= 0.75


@pytest.mark.oracle
def test_percentages_of_a_sunny_day_hardly_tell_the_capacity():
    _, left = seen_by_figure("a sunny day with watts")["capacity_wh:pack-1000"]
    assert left.mean() >= 0.9


def next_day(first, then, how, day_sd, folder, kits):
    """Error of the next day's lowest charge, after learning over before, its sky being given.

    first, then: the plans of both days. how: the times of the readings, and the error of the
    solar watts read with them, if any. The kits are drawn wider than what is believed of them:
    packs of 70 to 100 % of their label, panels of 60 to 100 %.
    """
    truth = lived.worn(lived.plan_of(), kits, seed=5)
    life = lived.Lived(first, truth, lived.skies(first, kits, 6, *day_sd), seed=7)
    lowest = lived.Lived(then, truth, lived.skies(then, kits, 8, 0.0, 0.0), seed=9).lowest()
    stated = budget(then)
    before, after, previous = [], [], None
    for scenario in range(kits):
        posterior, day = day_of(first, life.readings(scenario, *how), previous=previous)
        previous = previous or day.budget
        found = fit(posterior, [day]).posterior
        kit = with_profiles(KitFile(), first, found, day.stated_factor, "your own readings")
        (folder / "my-kit.toml").write_text(as_toml(kit, "my-kit.toml"))
        tables = then.source | {"profiles": ["my-kit.toml"]}
        try:
            mine = budget(Plan.from_dict(tables, folder=folder), previous=stated)
        except PlanError:  # its charges were learned to be too long for their window
            continue
        before.append(stated.lowest().percent - lowest[scenario])
        after.append(mine.lowest().percent - lowest[scenario])
    return np.sqrt(np.mean(np.square(after)) / np.mean(np.square(before)))


FOLDED, SUNNY = ((BETWEEN_TOOLS,), (0.0, 0.0)), ((FIVE, 0.20), (0.30, 0.25))


def test_readings_with_the_panel_folded_take_two_thirds_of_the_next_days_error(tmp_path):
    assert next_day(lived.folded(), lived.folded(), *FOLDED, tmp_path, kits=20) <= 0.33


@pytest.mark.oracle
def test_they_halve_that_of_a_day_with_the_panel_out(tmp_path):
    assert next_day(lived.folded(), lived.plan_of(), *FOLDED, tmp_path, kits=40) <= 0.5


@pytest.mark.oracle
def test_a_sunny_day_with_watts_nearly_halves_the_next_days_error(tmp_path):
    assert next_day(lived.plan_of(), lived.plan_of(), *SUNNY, tmp_path, kits=40) <= 0.6


TEN = 10


@cache
def ten_days(kits=24):
    """Ten mixed days of some kits, each as (posterior before anything, plans, rows)."""
    sunny, dark = lived.plan_of(), lived.folded()
    truth = lived.truths(sunny, kits, seed=31)
    plans, lives = [], []
    for number in range(TEN):
        plan, sky_sd = (sunny, (0.30, 0.25)) if number % 2 else (dark, (0.0, 0.0))
        plans.append(plan)
        sky = lived.skies(plan, kits, 40 + number, *sky_sd)
        lives.append(lived.Lived(plan, truth, sky, seed=60 + number))
    how = (FIVE, 0.20), (BETWEEN_TOOLS,)
    rows = [
        [
            life.readings(scenario, *how[plan is dark])
            for plan, life in zip(plans, lives, strict=True)
        ]
        for scenario in range(kits)
    ]
    return EMPTY.with_figures(figures_of(sunny)), truth, plans, rows


def one_by_one(first, plans, rows, previous):
    """The posterior after each day's rows were learned in turn."""
    posterior = first
    for plan, read in zip(plans, rows, strict=True):
        _, day = day_of(plan, read, posterior, later=True, previous=previous.get(plan.span))
        previous[plan.span] = day.budget
        posterior = fit(posterior, [day]).posterior
    return posterior


def at_once(first, plans, rows, previous):
    """The posterior after one fit of all the days."""
    days = [
        day_of(plan, read, first, later=True, previous=previous.get(plan.span))[1]
        for plan, read in zip(plans, rows, strict=True)
    ]
    return fit(first, days).posterior


def through_the_file(plans, rows, folder):
    """The posterior after each day was learned from the file that the day before left, which the
    day's plan names."""
    path, named = folder / "my-kit.toml", {"profiles": ["my-kit.toml"]}
    for number, (plan, read) in enumerate(zip(plans, rows, strict=True)):
        mine = Plan.from_dict(plan.source | named, folder=folder) if number else plan
        kit = read_kit_file(path)
        posterior = kit.posterior.with_figures(figures_of(mine))
        _, day = day_of(mine, read, posterior, later=True)
        after = fit(posterior, [day]).posterior
        new = with_profiles(kit, mine, after, day.stated_factor, "your own readings")
        path.write_text(as_toml(with_posterior(new, after, read[-1].at.date()), path.name))
    return read_kit_file(path).posterior


@pytest.mark.oracle
def test_ten_days_one_by_one_leave_no_bias():
    first, truth, plans, rows = ten_days()
    off, previous = [], {}
    for scenario, read in enumerate(rows):
        true = np.array([truth.of(key)[scenario] for key in first.keys])
        off.append((one_by_one(first, plans, read, previous).mean - true) / first.first_sd)
    assert np.abs(np.mean(off, axis=0)).max() <= 0.35


def assert_near(apart, posterior, most):
    """That figures learned in two ways are as near each other, in standard deviations before
    anything was read; the idle draw, which such days hardly tell, within twice that."""
    off = np.sqrt(np.square(apart / posterior.first_sd).mean(axis=0))
    idle = np.array([key.startswith("idle_w") for key in posterior.keys])
    assert (off <= np.where(idle, 2.0 * most, most)).all(), off


@pytest.mark.oracle
def test_ten_days_one_by_one_equal_ten_days_at_once():
    first, _, plans, rows = ten_days()
    previous = {}
    apart = [
        one_by_one(first, plans, read, previous).mean - at_once(first, plans, read, previous).mean
        for read in rows[:5]
    ]
    assert_near(apart, first, 0.20)


@pytest.mark.oracle
def test_ten_days_through_the_file_equal_ten_days_at_once(tmp_path):
    first, _, plans, rows = ten_days()
    apart = []
    for scenario, read in enumerate(rows[:3]):
        (folder := tmp_path / str(scenario)).mkdir()
        found, whole = through_the_file(plans, read, folder), at_once(first, plans, read, {})
        means = dict(zip(found.keys, found.mean, strict=True))
        apart.append([means[key] for key in first.keys] - whole.mean)
    assert_near(apart, first, 0.20)


def sampled(day, posterior, after, chains=64, steps=900):
    """Half the width of the 80 % intervals of all figures by random walks (Metropolis et al.,
    Journal of Chemical Physics 21 (1953) 1087), started and scaled by the answer under test."""
    rng = np.random.default_rng(0)
    figures, size = posterior.mean.size, posterior.mean.size + day.nuisances
    whole = np.zeros((size, size))
    whole[:figures, :figures] = after.posterior.covariance
    whole[figures:, figures:] = after.nuisance_covariance[0]
    whole[:figures, figures:] = after.cross_covariance[0]
    whole[figures:, :figures] = after.cross_covariance[0].T
    root = np.linalg.cholesky(whole + 1e-12 * np.eye(size))
    precise = np.linalg.inv(posterior.covariance)
    middle = np.concatenate([after.posterior.mean, after.nuisance[0]])

    def log_chance(x):
        log = np.log(np.maximum(x[:figures], 1e-9))  # so small a figure has no chance at all
        mean, by_factors = posterior.mean[:, None], posterior.by_factors
        off = np.where(by_factors[:, None], log - np.log(mean), x[:figures] - mean)
        left = (day.values[:, None] - day.predict(x[:figures], x[figures:])) / day.sigma[:, None]
        prior = (off * (precise @ off)).sum(axis=0) + (x[figures:] ** 2).sum(axis=0)
        return -((left**2).sum(axis=0) + prior) / 2.0 - log[by_factors].sum(axis=0)

    x = middle[:, None] + root @ rng.standard_normal((size, chains))
    chance, seen = log_chance(x), []
    for step in range(steps):
        tried = x + 2.38 / np.sqrt(size) * root @ rng.standard_normal((size, chains))
        there = log_chance(tried)
        goes = np.log(rng.random(chains)) < there - chance
        x, chance = np.where(goes, tried, x), np.where(goes, there, chance)
        if step >= 200 and step % 10 == 0:
            seen.append(x[:figures])
    low, high = np.percentile(np.concatenate(seen, axis=1), [10.0, 90.0], axis=1)
    return (high - low) / 2.0


@pytest.mark.oracle
def test_the_intervals_are_within_a_tenth_of_a_samplers():
    plan = lived.folded()
    one = np.ones(1)
    as_labelled = lived.Truth(one, one, one, {task.tool: one for task in plan.task})
    life = lived.Lived(plan, as_labelled, lived.skies(plan, 1, 4, 0.0, 0.0), seed=5)
    posterior, day = day_of(plan, life.readings(0, BETWEEN_TOOLS))
    after = fit(posterior, [day])
    assert INTERVAL_80 * after.posterior.sd == pytest.approx(
        sampled(day, posterior, after), rel=0.10
    )


def left_after(plan, text):
    answer = learn(plan, parse_readings(text, plan))
    return {item.what: item.doubt_left_percent / 100.0 for item in answer.items}, answer


def test_a_night_with_only_the_inverter_on_tells_the_idle_draw():
    plan = lived.plan_of(**NIGHT).replace(**{"pack.inverter.on": "always"})
    left, _ = left_after(plan, "time,battery_percent\n20:00,80\n06:00,66\n")
    assert left["idle_w"] <= 0.4


def test_a_known_charger_on_a_low_pack_tells_the_capacity():
    plan = lived.plan_of(**NIGHT, pack={"profile": "pack-1000", "start_percent": 18})
    text = "time,battery_percent,charger_w\n20:00,18,\n20:45,33,210\n21:30,48,210\n"
    left, _ = left_after(plan, text)
    assert left["capacity_wh"] <= 0.6


def test_capacity_is_never_told_closer_than_a_display_can():
    plan = lived.plan_of(**NIGHT, pack={"profile": "pack-1000", "start_percent": 18})
    rows = [f"{20 + k}:00,{10 + 18 * k}," + ("200" if k else "") for k in range(4)]
    _, answer = left_after(plan, "time,battery_percent,charger_w\n" + "\n".join(rows))
    item = next(item for item in answer.items if item.what == "capacity_wh")
    assert item.high - item.low >= 2.0 * INTERVAL_80 * 0.05 * item.before * 0.999


def test_one_cut_that_takes_5_percent_of_half_a_kwh_took_25_wh_from_the_pack():
    plan = lived.plan_of(
        panel=[],
        pack={"profile": "pack-500", "capacity_wh": 500, "start_percent": 80},
        task=[{"name": "cut", "supply": "ac", "working_w": 400, "times": 1, "each_min": 3,
               "between": ["09:00", "10:00"]}],
    )  # fmt: skip
    _, answer = left_after(plan, "time,battery_percent,tool,count\n09:00,80,,\n09:10,75,cut,1\n")
    cut = next(item for item in answer.items if item.what == "tool:cut")
    assert cut.raw_wh == pytest.approx(25.0)


def test_nothing_read_of_a_tool_leaves_it_not_learned():
    plan = lived.folded()
    text = "time,battery_percent\n08:00,90\n10:55,70\n"
    _, answer = left_after(plan, text)
    assert not next(i for i in answer.items if i.what == "tool:tool-pack-18v-4ah").learned


def test_two_tools_between_the_same_readings_are_not_told_apart():
    _, answer = left_after(lived.folded(), "time,battery_percent\n08:30,88\n12:30,55\n")
    assert any("angle-grinder-115 and drill-10" in group.line for group in answer.apart)


def test_the_watts_of_a_tool_read_on_the_display_count():
    plan = lived.plan_of(task=[{"name": "heater", "supply": "ac", "working_w": 200, "hours": 2,
                                "at": "09:00"}])  # fmt: skip
    text = "time,battery_percent,load_w,tool\n08:30,90,,\n09:30,80,260,heater\n"
    _, answer = left_after(plan, text)
    heater = next(item for item in answer.items if item.what == "tool:heater")
    assert heater.after == pytest.approx(260.0, rel=0.05)


def test_the_days_counter_of_solar_watt_hours_tells_its_sky():
    plan = lived.plan_of(span={"start": "2026-05-20T05:00:00", "end": "2026-05-20T17:00:00"})
    half = 0.5 * float(budget(plan).ledger_wh["sun_on_panel"][0]) * 0.6
    text = f"time,battery_percent,solar_wh\n05:00,60,0\n17:00,45,{half:.0f}\n"
    left, _ = left_after(plan, text)
    assert left["sky:2026-05-20"] <= 0.5

"""Meter logs of invented tools, made second by second, become profiles: counts and energy are
known because the logs were made here. Levels in W, energy in Wh."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest
from meter_logs import GRINDER, cuts, log_of, rows

from energy.answers.learn.kit_file import KitFile, as_toml, read_kit_file
from energy.answers.learn.posterior import size_of
from energy.answers.meter.bursts import two_levels
from energy.answers.meter.kit_entry import with_trace
from energy.answers.meter.log import parse_log
from energy.answers.meter.profile import as_task
from energy.answers.meter.trace import trace
from energy.plan import Plan, PlanError

DAY = date(2026, 5, 20)


@pytest.mark.parametrize(("interval_s", "pause_s"), [(1, 6), (1, 30), (2, 8), (10, 32)])
@pytest.mark.parametrize("seed", range(4))
def test_the_count_is_exact_and_the_energy_within_3_percent(interval_s, pause_s, seed):
    watts, energy = cuts(pause_s=pause_s, seed=seed)
    found = trace(log_of(watts, interval_s), GRINDER)
    assert found.count == 20
    assert found.each_wh == pytest.approx(energy.mean(), rel=0.03)


@pytest.mark.parametrize("pause_s", [10, 45, 90, 185])
@pytest.mark.parametrize("seed", range(3))
def test_a_value_a_minute_never_claims_a_count_or_a_duty(pause_s, seed):
    watts, energy = cuts(pause_s=pause_s, seed=seed)
    found = trace(log_of(watts, 60), GRINDER)
    assert (found.count, found.levels.duty_percent) == (None, None)
    assert found.total_wh == pytest.approx(energy.sum(), rel=0.04)
    stated = trace(log_of(watts, 60), GRINDER, count=20)
    assert stated.each_wh == pytest.approx(energy.mean(), rel=0.04)


def test_a_value_a_minute_counts_what_runs_evenly_for_many_minutes():
    watts = np.tile(np.r_[np.full(600, 1.0), np.full(1500, 400.0)], 3)
    assert trace(log_of(np.r_[watts, np.full(600, 1.0)], 60), "my-pump").count == 3


def test_spikes_of_a_second_are_not_working_watts():
    burst = np.full(60, 300.0)
    burst[[0, 20, 40]] = 1200.0  # starts again under load
    watts = np.tile(np.r_[np.full(40, 1.0), burst], 12)
    found = trace(log_of(np.r_[watts, np.full(60, 1.0)]), "my-mixer")
    assert found.levels.duty_percent is None
    assert found.levels.working_w == pytest.approx(burst.mean(), rel=0.1)


def one_charge(full_w, energy_wh, taper_percent, step_s=1):
    """Watts by second of one charge: full power to a share of its energy, then a straight line."""
    share = taper_percent / 100.0
    flat_s = 3600.0 * share * energy_wh / full_w
    tail_s = 3600.0 * 2.0 * (1.0 - share) * energy_wh / full_w
    at_s = np.arange(0.0, flat_s + tail_s, step_s)
    return full_w * np.clip(1.0 - (at_s - flat_s) / tail_s, 0.0, 1.0)


@pytest.mark.parametrize("interval_s", [1, 10, 60])
@pytest.mark.parametrize("taper_percent", [50, 70, 80])
def test_a_tapers_start_is_found_within_3_points(interval_s, taper_percent):
    quiet = np.full(300, 1.0)
    watts = np.r_[quiet, one_charge(90.0, 80.0, taper_percent), quiet]
    watts = np.maximum(watts + np.random.default_rng(0).normal(0.0, 0.5, watts.size), 0.0)
    found = trace(log_of(watts, interval_s), "my-charger")
    assert found.kind == "charging"
    assert found.levels.taper_from_percent == pytest.approx(taper_percent, abs=3.0)
    assert found.each_wh == pytest.approx(80.0, rel=0.03)


@pytest.mark.parametrize("interval_s", [1, 10, 60])
@pytest.mark.parametrize("pause_s", [0, 20, 400])
def test_two_charges_in_a_row_are_charging(interval_s, pause_s):
    quiet = np.full(300, 1.0)
    one = one_charge(90.0, 80.0, 70)
    watts = np.r_[quiet, one, np.full(pause_s, 1.0), one, quiet]
    found = trace(log_of(watts, interval_s), "my-charger")
    assert (found.kind, found.count) == ("charging", 2)
    assert found.each_wh == pytest.approx(80.0, rel=0.05)


@pytest.mark.parametrize("length_s", [3, 5, 10])
def test_bursts_of_seconds_are_counted(length_s):
    watts, energy = cuts(length_s=length_s, seed=1)
    found = trace(log_of(watts), GRINDER)
    assert found.count == 20
    assert found.total_wh == pytest.approx(energy.sum(), rel=0.03)


def test_noise_of_30_w_changes_nothing():
    watts, energy = cuts(noise_w=30.0, seed=2)
    found = trace(log_of(watts), GRINDER)
    assert (found.count, found.each_wh) == (20, pytest.approx(energy.mean(), rel=0.03))


def test_a_value_a_second_shows_levels_and_duty():
    watts, energy = cuts(length_s=60, seed=3)
    found = trace(log_of(watts), GRINDER)
    assert found.levels.working_w == pytest.approx(850.0, rel=0.04)
    assert found.levels.idle_w == pytest.approx(260.0, rel=0.04)
    mean = as_task(GRINDER, found.profile)
    duty = mean.duty_percent / 100.0
    seconds = energy.sum() * 3600.0 / (duty * mean.working_w + (1.0 - duty) * mean.idle_w)
    assert seconds == pytest.approx((watts > 100.0).sum(), rel=0.03)


def test_close_bursts_at_a_minute_give_the_total_and_ask_for_the_count():
    watts, energy = cuts(pause_s=20)
    found = trace(log_of(watts, 60), GRINDER)
    assert found.count is None
    assert found.total_wh == pytest.approx(energy.sum(), rel=0.03)
    assert any("give their number: --count 20" in note for note in found.notes)


def test_a_stated_count_gives_the_energy_of_each():
    watts, energy = cuts(pause_s=20)
    found = trace(log_of(watts, 60), GRINDER, count=20)
    assert found.each_wh == pytest.approx(energy.mean(), rel=0.03)


def test_what_the_interval_cannot_show_is_kept_from_the_profile():
    watts, _ = cuts(pause_s=20)
    found = trace(log_of(watts, 60), GRINDER)
    assert found.profile == {}
    with pytest.raises(PlanError, match="log a value a second"):
        with_trace(KitFile(), found, DAY)


def test_the_start_stays_the_profiles():
    watts, _ = cuts()
    watts[90] = 954.0
    assert trace(log_of(watts), GRINDER).profile["start_w"] == 1900


def charge(energy_wh=85.0, full_w=90.0, share=0.8):
    flat_s = 3600.0 * share * energy_wh / full_w
    fall_s = 3600.0 * 2.0 * (1.0 - share) * energy_wh / full_w
    t = np.arange(int(flat_s + fall_s))
    watts = np.where(t < flat_s, full_w, full_w * (1.0 - (t - flat_s) / fall_s))
    return np.concatenate([np.full(120, 0.5), watts, np.full(600, 0.5)])


@pytest.mark.parametrize("interval_s", [1, 10, 60])
def test_a_charge_is_known_by_its_taper(interval_s):
    found = trace(log_of(charge(), interval_s), "my-charger")
    assert (found.kind, found.count) == ("charging", 1)
    assert found.each_wh == pytest.approx(85.0, rel=0.03)
    assert found.profile["power_w"] == pytest.approx(90.0, rel=0.02)
    assert found.levels.taper_from_percent == pytest.approx(80.0, abs=5.0)


def test_a_cool_box_is_known_by_its_even_cycles():
    watts = np.concatenate([np.r_[np.full(600, 1.0), np.full(480, 55.0)]] * 6 + [np.full(99, 1.0)])
    found = trace(log_of(watts, 10), "my-cool-box")
    assert (found.kind, found.count) == ("cycling", 6)
    assert found.profile["duty_percent"] == pytest.approx(44.4, abs=1.5)
    assert found.profile["period_min"] == pytest.approx(18.0, abs=0.2)


def test_a_lamp_is_steady():
    watts = 42.0 + np.random.default_rng(0).normal(0.0, 1.0, 900)
    found = trace(log_of(watts), "my-lamp")
    assert (found.kind, found.profile["working_w"]) == ("steady", pytest.approx(42.0, abs=0.2))


def fridge(cycles=8, on_w=60.0, off_w=0.5):
    """Ten minutes on in each half hour."""
    cycle = np.r_[np.full(600, on_w), np.full(1200, off_w)]
    return np.r_[np.full(700, off_w), np.tile(cycle, cycles)]


@pytest.mark.parametrize("tool", ["fridge-12v", "my-fridge"])
@pytest.mark.parametrize("interval_s", [1, 10, 60])
@pytest.mark.parametrize("gap_from_s", [7000, 8000, 9000])
def test_a_gap_leaves_the_share_and_period_of_a_cycle(tool, interval_s, gap_from_s):
    gap = slice(gap_from_s // interval_s, (gap_from_s + 1200) // interval_s)
    found = trace(log_of(fridge(), interval_s, gap), tool)
    assert found.kind == "cycling"
    assert found.profile["period_min"] == pytest.approx(30.0, abs=0.3)
    assert found.profile["duty_percent"] == pytest.approx(33.3, abs=0.7)
    mean_w = (60.0 * 600.0 + 0.5 * 1200.0) / 1800.0
    assert size_of(as_task(tool, found.profile)) == pytest.approx(mean_w, rel=0.02)


def test_less_than_two_cycles_teach_no_share():
    found = trace(log_of(fridge(cycles=1), 10), "fridge-12v")
    assert (found.profile, found.notes[-1][:23]) == ({}, "no whole cycle is seen:")


def test_a_log_that_starts_and_ends_at_work_tells_the_watts_and_no_count():
    found = trace(log_of(np.r_[np.full(300, 600.0), np.full(60, 0.0), np.full(200, 600.0)]), "saw")
    assert (found.count, found.each_wh) == (None, None)
    assert found.profile["working_w"] == pytest.approx(600.0, rel=0.01)


def test_work_in_single_samples_is_not_nothing():
    watts = np.r_[np.zeros(120), np.tile(np.r_[np.full(45, 800.0), np.zeros(195)], 10)]
    found = trace(log_of(watts, 60), "my-saw", count=10)
    assert (found.count, found.each_wh) == (10, pytest.approx(10.0, rel=0.01))


def test_cuts_that_run_together_at_a_minute_are_not_taken_for_one():
    watts, energy = cuts(pause_s=70, length_s=30)
    found = trace(log_of(watts, 60), "my-saw")
    assert (found.count, found.profile) == (None, {})
    assert found.total_wh == pytest.approx(energy.sum(), rel=0.03)


def test_two_levels_are_parted_where_both_are_narrowest():
    threshold, explained = two_levels(np.r_[np.full(50, 1.0), np.full(20, 9.0)])
    assert (threshold, explained) == (5.0, pytest.approx(1.0))


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("tool", [GRINDER, "my-saw"])
def test_bursts_of_one_level_need_no_warning(tool):
    square = np.r_[np.zeros(30), np.tile(np.r_[np.full(20, 600.0), np.zeros(20)], 8)]
    found = trace(log_of(square), tool)
    assert (found.count, found.levels.working_w, found.levels.idle_w) == (8, 600.0, None)


ANOTHERS = {
    "a fridge as a grinder": (fridge(on_w=55.5), 1, GRINDER, "55.5 W on the mean"),
    "a fridge as a kettle": (fridge(on_w=55.5), 10, "kettle-small", "55.5 W on the mean"),
    "a heater as a fridge": (fridge(on_w=900.0), 10, "fridge-12v", "300 W on the mean"),
    "a grinder running free": (fridge(on_w=230.0), 1, GRINDER, "230 W on the mean"),
    "a phone as a tool battery": (charge(9.0), 10, "tool-pack-18v-5ah", "8.95 Wh a charge"),
}


@pytest.mark.parametrize("name", ANOTHERS)
def test_a_log_that_cannot_be_of_this_tool_is_refused(name):
    watts, interval_s, tool, shown = ANOTHERS[name]
    with pytest.raises(PlanError, match=f"it shows {shown}, and those of {tool} are") as caught:
        trace(log_of(watts, interval_s), tool)
    assert caught.value.problems[0].endswith("another tool's log, or give it a name of your own")


def test_even_cycles_of_a_tool_that_is_stated_steady_are_named():
    found = trace(log_of(fridge(on_w=540.0), 10), "kettle-small")
    assert "it comes on at even times, as a fridge does, and kettle-small is steady" in found.notes
    watts, _ = cuts(length_s=60)
    assert not any("as a fridge does" in note for note in trace(log_of(watts), GRINDER).notes)


# --- into the kit -------------------------------------------------------------------------------


def test_a_plan_takes_the_traced_tool_from_the_kit(tmp_path):
    watts, _ = cuts(length_s=60)
    kit = with_trace(KitFile(), trace(log_of(watts), GRINDER), DAY)
    (tmp_path / "my-kit.toml").write_text(as_toml(kit, "my-kit.toml"))
    tables = Plan.read("builtin:cloudy-repair").source | {"profiles": ["my-kit.toml"]}
    plan = Plan.from_dict(tables, folder=tmp_path)
    task = next(task for task in plan.task if task.tool == GRINDER)
    assert task.source.startswith("your own readings")
    assert task.working_w == pytest.approx(850.0, rel=0.04)


def test_a_log_outweighs_what_was_stated():
    watts, _ = cuts(length_s=60)
    posterior = with_trace(KitFile(), trace(log_of(watts), GRINDER), DAY).posterior
    assert posterior.sd[0] < 0.35 * posterior.first_sd[0]


def test_the_same_log_is_learned_once_whatever_its_file_is_called(tmp_path):
    watts, _ = cuts(length_s=60)
    text = rows(np.round(watts, 1))
    kit = with_trace(KitFile(), trace(parse_log(text, "may.csv"), GRINDER), DAY)
    (tmp_path / "my-kit.toml").write_text(as_toml(kit, "my-kit.toml"))
    kit = read_kit_file(tmp_path / "my-kit.toml")
    with pytest.raises(PlanError) as caught:
        with_trace(kit, trace(parse_log(text, "copy.csv"), GRINDER), DAY)
    assert caught.value.problems == [f"copy.csv: was learned before, as may.csv of {GRINDER}"]
    watts, _ = cuts(length_s=60, seed=1)
    more = with_trace(kit, trace(log_of(watts), GRINDER), DAY)
    assert more.posterior.sd[0] < kit.posterior.sd[0]


def clocked(watts, form):
    start = datetime(2026, 5, 3, 11, 59, 30)
    clock = [(start + timedelta(seconds=k)).strftime(form) for k in range(watts.size)]
    return parse_log(
        "time,watts\n" + "\n".join(f"{t},{w:.1f}" for t, w in zip(clock, watts, strict=True))
    )


def test_a_log_counts_as_of_its_own_day_where_it_tells_it():
    watts, _ = cuts(length_s=60)
    for form in ("%Y-%m-%dT%H:%M:%S", "%d.%m.%Y %H:%M:%S"):
        kit = with_trace(KitFile(), trace(clocked(watts, form), GRINDER), DAY)
        (record,) = kit.learned.logs.values()
        assert kit.updated == record.first == record.last == date(2026, 5, 3)
    for form in ("%H:%M:%S", "%d/%m/%Y %H:%M:%S"):
        kit = with_trace(KitFile(), trace(clocked(watts, form), GRINDER), DAY)
        (record,) = kit.learned.logs.values()
        assert (kit.updated, record.first) == (DAY, None)


def test_a_log_of_another_kind_of_tool_is_refused():
    with pytest.raises(PlanError, match="falls away as a charge does, and kettle-small is steady"):
        trace(log_of(charge(), 10), "kettle-small")
    kit = with_trace(KitFile(), trace(log_of(charge(), 10), "mine"), DAY)
    watts, _ = cuts(length_s=60)
    with pytest.raises(PlanError, match="mine is charging in the kit, and intermittent in this"):
        with_trace(kit, trace(log_of(watts), "mine"), DAY)


def test_a_log_far_from_what_the_kit_knows_is_refused():
    kit = with_trace(KitFile(), trace(log_of(np.full(300, 800.0)), "my-lamp"), DAY)
    with pytest.raises(PlanError, match=r"55 W .* those of my-lamp in the kit are 800"):
        with_trace(kit, trace(log_of(np.full(300, 55.0)), "my-lamp"), DAY)


@pytest.mark.parametrize(
    ("tool", "watts", "interval_s"),
    [
        (GRINDER, cuts(length_s=60)[0], 1),
        ("kettle-small", np.r_[np.full(60, 0.0), np.full(300, 540.0), np.full(60, 0.0)], 1),
        ("fridge-12v", fridge(), 10),
        ("tool-pack-18v-5ah", charge(), 10),
    ],
    ids=["intermittent", "steady", "cycling", "charging"],
)
def test_the_profile_is_what_log_and_statement_together_say(tool, watts, interval_s):
    found = trace(log_of(watts, interval_s), tool)
    kit = with_trace(KitFile(), found, DAY)
    size = size_of(as_task(tool, kit.profiles["tools"][tool]))
    stated, logged = kit.posterior.base[0], size_of(as_task(tool, found.profile))
    assert size == pytest.approx(stated * kit.posterior.mean[0], rel=0.002)
    assert min(stated, logged) < size < max(stated, logged)

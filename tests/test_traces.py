"""Meter logs of invented tools, made second by second, become profiles: counts and energy are
known because the logs were made here. Levels in W, energy in Wh."""

from datetime import date

import numpy as np
import pytest

from energy.answers.learning.meter import parse_log
from energy.answers.learning.overlay import Kit, as_toml
from energy.answers.learning.traces import as_task, trace, two_levels, with_trace
from energy.plan import Plan, PlanError

GRINDER = "angle-grinder-115"
DAY = date(2026, 5, 20)


def cuts(count=20, length_s=45, pause_s=30, noise_w=8.0, seed=0, after_s=200):
    """Watts by second of a tool that goes from load to running free, and each cut's energy."""
    rng = np.random.default_rng(seed)
    watts, energy = [np.full(90, 1.0)], []
    for _ in range(count):
        burst = np.empty(int(length_s * rng.uniform(0.8, 1.2)))
        at, loaded = 0, True
        while at < burst.size:
            stretch = int(rng.integers(4, 10) if loaded else rng.integers(2, 4))
            burst[at : at + stretch] = 850.0 * rng.normal(1.0, 0.06) if loaded else 260.0
            at, loaded = at + stretch, not loaded
        burst += rng.normal(0.0, noise_w, burst.size)
        watts += [burst, np.full(int(pause_s * rng.uniform(0.95, 1.2)), 1.0)]
        energy.append((burst - 1.0).sum() / 3600.0)
    watts.append(np.full(after_s, 1.0))
    return np.concatenate(watts), np.array(energy)


def log_of(watts, interval_s=1):
    means = watts[: watts.size // interval_s * interval_s].reshape(-1, interval_s).mean(axis=1)
    rows = [f"{k * interval_s},{value:.2f}" for k, value in enumerate(means)]
    return parse_log("seconds,watts\n" + "\n".join(rows))


@pytest.mark.parametrize(("interval_s", "pause_s"), [(1, 6), (1, 30), (2, 8), (10, 32), (60, 185)])
@pytest.mark.parametrize("seed", range(4))
def test_the_count_is_exact_and_the_energy_within_3_percent(interval_s, pause_s, seed):
    watts, energy = cuts(pause_s=pause_s, seed=seed)
    found = trace(log_of(watts, interval_s), GRINDER)
    assert found.count == 20
    assert found.each_wh == pytest.approx(energy.mean(), rel=0.03)


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
    assert found.working_w == pytest.approx(850.0, rel=0.04)
    assert found.idle_w == pytest.approx(260.0, rel=0.04)
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
        with_trace(Kit(), found, DAY)


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
    assert found.taper_from_percent == pytest.approx(80.0, abs=5.0)


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


def test_two_levels_are_parted_where_both_are_narrowest():
    threshold, explained = two_levels(np.r_[np.full(50, 1.0), np.full(20, 9.0)])
    assert (threshold, explained) == (5.0, pytest.approx(1.0))


# --- how logs come ------------------------------------------------------------------------------

WATTS = [1, 1, 800, 800, 800, 1, 1, 800, 800, 1]


def rows(values, head="seconds,watts"):
    return head + "\n" + "\n".join(f"{k},{value}" for k, value in enumerate(values)) + "\n"


@pytest.mark.parametrize(
    "text",
    [
        rows(WATTS),
        rows([w / 1000.0 for w in WATTS], "Elapsed (s),Power [kW]"),
        rows([w / 1000.0 for w in WATTS], "time_s,power_kw"),
        "time;kW\n"
        + "\n".join(f"{k};{w / 1000:.3f}".replace(".", ",") for k, w in enumerate(WATTS)),
        "Time\tVoltage (V)\tCurrent (mA)\n"
        + "\n".join(f"12:00:{k:02d}\t230\t{w / 0.23}" for k, w in enumerate(WATTS)),
        "Date,Time,Apparent Power (VA),Active Power (W)\n"
        + "\n".join(f"14.09.2026,12:00:{k:02d},999,{w}" for k, w in enumerate(WATTS)),
        "\n".join(f"{k},{w}" for k, w in enumerate(WATTS)),
    ],
    ids=["plain", "kW", "unit in the name", "decimal commas", "volts and amps", "dates", "no head"],
)
def test_the_same_log_is_read_however_it_is_headed(text):
    assert parse_log(text).watts == pytest.approx(WATTS)


def test_a_log_passes_midnight():
    text = "time,watts\n" + "\n".join(f"{t},5" for t in ("23:59:58", "23:59:59", "00:00:00"))
    assert parse_log(text).time_s.tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize("starts", [65000.0, 9990.0])
def test_a_counter_that_wraps_carries_on(starts):
    limit = 65536.0 if starts == 65000.0 else 10000.0
    counted = (starts + 20.0 * np.arange(40)) % limit
    text = "time,energy (Wh)\n" + "\n".join(f"{60 * k},{v}" for k, v in enumerate(counted))
    log = parse_log(text)
    assert log.watts == pytest.approx(1200.0)
    assert "the counter wraps" in log.notes[0]


def test_a_counter_that_starts_anew_leaves_a_gap():
    counted = [*(5.0 * np.arange(20) + 700.0), *(5.0 * np.arange(20))]
    text = "time,kWh\n" + "\n".join(f"{60 * k},{v / 1000}" for k, v in enumerate(counted))
    log = parse_log(text)
    assert log.watts == pytest.approx(300.0)
    assert any("starts anew" in note for note in log.notes)


def test_a_gap_cuts_only_the_burst_it_falls_in():
    watts, energy = cuts(seed=5)
    text = rows(np.round(watts, 1)).splitlines()
    first = int(np.flatnonzero(watts > 100.0)[0])
    log = parse_log("\n".join(text[: first + 11] + text[first + 21 :]))
    found = trace(log, GRINDER)
    assert found.count == 19
    assert found.each_wh == pytest.approx(energy[1:].mean(), rel=0.03)
    assert "pieces of bursts that are cut off, left out: 2" in found.notes


REFUSED = {
    "time,power,load_power\n0,1,1\n1,1,1\n2,1,1\n": 'columns "power" and "load_power" could each be'
    " the watts; name one watts",
    "time,temperature\n0,1\n1,1\n2,1\n": "no column of watts, of volts and amps, or of Wh; columns:"
    ' "time", "temperature"',
    "lap,watts\n0,1\n1,1\n2,1\n": 'no column of times; columns: "lap", "watts"',
    "time,watts\n0,1\n1,x\n2,1\n": 'row 2, "watts": "x" is not a number',
    "time,watts\n0,1\n5,1\n2,1\n": 'row 3: times must rise (got "2" after "5")',
    "time,watts\n0,1\n1,1\n7,1\n30,1\n31,1\n": "its steps run from 1 to 23 s: log at an even"
    " interval",
    "time,watts\n0,1\n1,-300\n2,1\n": "watts must not be negative (got -300); turn the meter round",
    "time,watts\n0,1,5\n1,1,5\n2,1,5\n": "its first row has 3 cells under 2 headings; a decimal"
    " comma needs semicolons between the cells",
    "time;watts\n0;1,5\n1;1.5\n2;1,5\n": 'column "watts" has both decimal commas and points',
    "time,watts\n": "must hold a line of headings and three rows or more (got 1)",
    "time,watts\nsoon,1\nthen,1\nlater,1\n": 'row 1: "soon" is not a time; write seconds, or'
    " 2026-09-14 13:20:05",
}


@pytest.mark.parametrize("text", REFUSED)
def test_a_log_that_can_be_read_in_two_ways_or_none_is_refused_in_one_line(text):
    with pytest.raises(PlanError) as caught:
        parse_log(text)
    assert caught.value.problems == [f"log: {REFUSED[text]}"]


def test_a_log_in_which_nothing_is_drawn_is_refused():
    with pytest.raises(PlanError, match="nothing was drawn"):
        trace(log_of(np.zeros(100)), GRINDER)


# --- into the kit -------------------------------------------------------------------------------


def test_a_plan_takes_the_traced_tool_from_the_kit(tmp_path):
    watts, _ = cuts(length_s=60)
    kit = with_trace(Kit(), trace(log_of(watts), GRINDER), DAY)
    (tmp_path / "my-kit.toml").write_text(as_toml(kit, "my-kit.toml"))
    tables = Plan.read("builtin:cloudy-repair").source | {"profiles": ["my-kit.toml"]}
    plan = Plan.from_dict(tables, folder=tmp_path)
    task = next(task for task in plan.task if task.tool == GRINDER)
    assert task.source.startswith("your own readings")
    assert task.working_w == pytest.approx(850.0, rel=0.04)


def test_a_log_outweighs_what_was_stated():
    watts, _ = cuts(length_s=60)
    belief = with_trace(Kit(), trace(log_of(watts), GRINDER), DAY).belief
    assert belief.sd[0] < 0.35 * belief.first_sd[0]

"""A meter's log however it comes: headings, units, times, gaps, and counters with their steps. The
logs are those of invented tools, made here. Levels in W, energy in Wh."""

import numpy as np
import pytest
from meter_logs import GRINDER, counted, cuts, log_of, rows

from energy.answers.meter.log import parse_log
from energy.answers.meter.trace import trace
from energy.plan import PlanError

WATTS = [1, 1, 800, 800, 800, 1, 1, 800, 800, 1]


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


@pytest.mark.parametrize(
    ("watts", "interval_s", "step_wh", "coarse"),
    [(90.0, 60, 1.0, True), (500.0, 10, 10.0, True), (250.0, 60, 1.0, False)],
)
def test_the_steps_of_a_counter_are_not_bursts(watts, interval_s, step_wh, coarse):
    log = counted(np.full(7200, watts), interval_s, step_wh)
    found = trace(log, "my-lamp")
    assert (found.kind, found.count) == ("steady", 1)
    assert found.levels.working_w == pytest.approx(watts, rel=0.05)
    assert (log.interval_s > interval_s) == coarse


def test_what_a_counter_counted_in_a_gap_is_not_a_step_of_it():
    counter = [f"{60 * k},{90 * k // 60}" for k in range(240) if not 60 < k < 120]
    found = trace(parse_log("time_s,Wh\n" + "\n".join(counter)), "my-lamp")
    assert (found.kind, found.count) == ("steady", 1)
    assert found.levels.working_w == pytest.approx(90.0, rel=0.05)


@pytest.mark.parametrize("pause_s", [6, 30])
def test_what_a_counter_rounds_away_is_said_and_kept_from_the_profile(pause_s):
    watts = np.r_[np.full(60, 1.0), np.tile(np.r_[np.full(45, 800.0), np.full(pause_s, 1.0)], 20)]
    watts = np.r_[watts, np.full(60, 1.0)]
    for tool in (GRINDER, "my-saw"):
        found = trace(counted(watts, 1, 1.0), tool)
        assert found.total_wh == pytest.approx(watts.sum() / 3600.0, rel=0.02)
        assert found.count is None
        assert any("it counts in steps of 1 Wh" in note for note in found.notes)
        if tool == GRINDER:
            assert found.profile == {}


@pytest.mark.parametrize(
    ("interval_s", "pause_s", "step_wh"),
    [(1, 6, 0.001), (1, 30, 0.01), (10, 32, 0.01)],
)
@pytest.mark.parametrize("seed", range(3))
def test_a_counter_of_fine_steps_shows_each_burst(interval_s, pause_s, step_wh, seed):
    watts, energy = cuts(pause_s=pause_s, seed=seed)
    found = trace(counted(watts, interval_s, step_wh), GRINDER)
    assert (found.count, found.each_wh) == (20, pytest.approx(energy.mean(), rel=0.03))


@pytest.mark.parametrize("pause_s", [4, 6])
def test_pauses_too_short_for_a_counter_leave_no_count(pause_s):
    watts, _ = cuts(pause_s=pause_s, length_s=20)
    assert trace(counted(watts, 1, 0.1), GRINDER).count is None


def test_equal_bursts_on_a_counter_are_not_its_steps():
    watts = np.r_[np.zeros(120), np.tile(np.r_[np.full(45, 800.0), np.zeros(195)], 10)]
    found = trace(counted(watts, 60, 0.1), "my-saw", count=10)
    assert (found.count, found.each_wh) == (10, pytest.approx(10.0, rel=0.02))


def test_a_counter_too_coarse_for_what_was_drawn_is_refused_with_its_step():
    with pytest.raises(PlanError) as caught:
        counted(np.full(1200, 500.0), 10, 10.0)
    assert caught.value.problems == [
        "log: it counts in steps of 10 Wh, too coarse for the 170 Wh drawn; log watts, or for"
        " longer"
    ]


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
    ' the watts: keep one; columns: "time", "power", "load_power"',
    "time,watts,power\n0,1,1\n1,1,1\n2,1,1\n": 'columns "watts" and "power" could each be the'
    ' watts: keep one; columns: "time", "watts", "power"',
    "time,temperature\n0,1\n1,1\n2,1\n": "no column of watts, of volts and amps, or of Wh; columns:"
    ' "time", "temperature"',
    "lap,watts\n0,1\n1,1\n2,1\n": 'no column of times; columns: "lap", "watts"',
    "time,watts\n0,1\n1,x\n2,1\n": 'line 3, "watts": "x" is not a number',
    "# mine\n\ntime,watts\n0,1\n\n1,x\n2,1\n": 'line 6, "watts": "x" is not a number',
    "# mine\n\ntime,watts\n0,1\n\n5,1\n2,1\n": 'line 7: times must rise (got "2" after "5")',
    "time,watts\n0,1\n5,1\n2,1\n": 'line 4: times must rise (got "2" after "5")',
    "time,watts\n0,1\n1,1\n7,1\n30,1\n31,1\n": "its steps run from 1 to 23 s: log at an even"
    " interval",
    "time,watts\n0,1\n1,-300\n2,1\n": "watts must not be negative (got -300); turn the meter round",
    "time,watts\n0,1,5\n1,1,5\n2,1,5\n": "line 2 has 3 cells under 2 headings; a decimal"
    " comma needs semicolons between the cells",
    "time;watts\n0;1,5\n1;1.5\n2;1,5\n": 'column "watts" has both decimal commas and points',
    "time,watts\n": "must hold a line of headings and three rows or more (got 1)",
    "time,watts\n0,1\n1,inf\n2,1\n": 'line 3, "watts": "inf" is more than any meter shows',
    "time,watts\n0,1\n1e300,1\n2e300,1\n": 'line 3: "1e300" is not a time; write seconds, or'
    " 2026-09-14 13:20:05",
    "time,Wh\n0,9\n1,7\n2,5\n3,2\n": "its counter falls; turn the meter round",
    "time,watts\nsoon,1\nthen,1\nlater,1\n": 'line 2: "soon" is not a time; write seconds, or'
    " 2026-09-14 13:20:05",
}


@pytest.mark.parametrize("text", REFUSED)
def test_a_log_that_can_be_read_in_two_ways_or_none_is_refused_in_one_line(text):
    with pytest.raises(PlanError) as caught:
        parse_log(text)
    assert caught.value.problems == [f"log: {REFUSED[text]}"]


NO_UNIT = {
    "time,power\n0,0.001\n1,0.7\n2,0.7\n3,0.001\n": ("power", "W", "0.7"),
    "time,power\n0,0.02\n1,6.5\n2,6.5\n3,0.02\n": ("power", "W", "6.5"),
    "time,energy\n0,7.0\n60,7.01\n120,7.02\n180,7.03\n": ("energy", "Wh", "0.6"),
    "0,0.001\n1,0.7\n2,0.7\n3,0.001\n": ("power", "W", "0.7"),
}


@pytest.mark.parametrize("text", NO_UNIT)
def test_few_watts_of_an_unknown_tool_without_a_unit_may_be_kilowatts(text):
    heading, unit, most = NO_UNIT[text]
    with pytest.raises(PlanError) as caught:
        trace(parse_log(text), "my-saw")
    assert caught.value.problems == [
        f'log: column "{heading}" names no unit, and as {unit} it is {most} W at most; head it'
        f' "{heading} (k{unit})" or "{heading} ({unit})"'
    ]


def test_few_watts_of_a_tool_that_draws_so_few_need_no_unit():
    assert trace(parse_log(rows([0.1, 6.5, 6.5, 6.5, 6.5, 0.1], "time,power")), "led-bulb").total_wh


def test_a_log_in_which_nothing_is_drawn_is_refused():
    with pytest.raises(PlanError, match="nothing was drawn"):
        trace(log_of(np.zeros(100)), GRINDER)


def test_few_watts_under_a_heading_of_watts_are_watts():
    assert parse_log(rows([0.1, 2.5, 2.5, 0.1], "time,power_w")).watts.max() == 2.5


@pytest.mark.parametrize("factor", [0.01, 1000.0])
def test_a_log_without_a_unit_far_off_the_tool_is_refused(factor):
    log = parse_log(rows([w * factor for w in WATTS], "time,power"))
    with pytest.raises(PlanError, match="name the unit in the heading"):
        trace(log, GRINDER)
    assert trace(parse_log(rows([w * factor for w in WATTS])), "my-saw").total_wh > 0.0


def volts_and_amps(volts, watts):
    return parse_log(rows([f"{volts},{w / volts:.4f}" for w in watts], "time,voltage,current"))


def test_volts_times_amps_of_the_mains_are_watts_by_the_power_factor():
    watts, _ = cuts(length_s=60)  # a tool of power factor 0.95 draws 1/0.95 VA for each W
    found = trace(volts_and_amps(230.0, watts / 0.95), GRINDER)
    assert found.total_wh == pytest.approx(trace(log_of(watts), GRINDER).total_wh, rel=0.002)
    assert "volts times amps are VA: watts are 0.95 of them" in found.notes[0]
    unknown = trace(volts_and_amps(230.0, watts / 0.95), "my-saw")
    assert unknown.notes[0].startswith("volts times amps are VA, taken for watts")
    battery = trace(volts_and_amps(12.8, watts), "my-pump")
    assert not any("VA" in note for note in battery.notes)

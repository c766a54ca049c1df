"""What lies outside a span is said, what is done is not, and the inverter stays on across now."""

import copy
from datetime import datetime

import numpy as np
import pytest

from energy.plan import Plan, PlanError
from energy.simulation.budget import budget

TABLES = {
    "place": {
        "latitude_deg": 52.5,
        "longitude_deg": 13.4,
        "timezone": "Europe/Berlin",
        "elevation_m": 30,
    },
    "span": {"start": "2026-06-10T07:00:00", "end": "2026-06-11T07:00:00"},
    "weather": {"kind": "clear", "temp_air_c": 20},
    "pack": {"capacity_wh": 1000, "inverter": {"rated_w": 1000, "idle_w": 10}, "idle_w": 0},
}
LAMP = {"name": "lamp", "supply": "dc12", "working_w": 10, "must": True}


def plan(task: dict, start: str = "", end: str = "") -> Plan:
    tables = copy.deepcopy(TABLES) | {"task": [task]}
    if start:
        tables["span"] = {"start": start, "end": end}
    return Plan.from_dict(tables)


def test_a_must_task_that_falls_outside_the_span_is_said():
    found = budget(plan({**LAMP, "minutes": 30, "days": [1]}))  # 00:00 to 00:30, before 07:00
    assert found.asked_wh[0] == 0.0
    assert any('"lamp"' in note for note in found.notes)


def not_judged(task: dict, start: str, end: str) -> bool:
    return any("is not judged" in note for note in budget(plan(task, start, end)).notes)


def test_a_span_between_two_nights_cuts_neither_and_says_nothing():
    night = {**LAMP, "between": ["sunset", "sunrise"]}
    assert not not_judged(night, "2026-06-10T16:00:00", "2026-06-12T09:00:00")
    # 10 June at 52.5 N: the sun sets at 21:26 and rises at 04:44 (an almanac, from memory).
    assert not_judged(night, "2026-06-10T22:30:00", "2026-06-12T09:00:00")
    assert not_judged(night, "2026-06-10T16:00:00", "2026-06-12T03:00:00")
    assert not_judged({**night, "days": [1, 3]}, "2026-06-10T16:00:00", "2026-06-12T09:00:00")


def test_work_that_waits_for_daylight_in_a_polar_night_is_refused():
    cut = {"name": "cut", "supply": "dc12", "working_w": 10, "between": ["sunrise", "sunset"]}
    several = [{**cut, "times": 3, "each_s": 60}, {**cut, "name": "sand", "minutes": 20}, cut]
    tables = TABLES | {
        "place": {"latitude_deg": 70.0, "longitude_deg": 27.0, "timezone": "Europe/Helsinki"},
        "span": {"start": "2026-12-10T08:00:00", "end": "2026-12-11T20:00:00"},
        "task": several,
    }
    with pytest.raises(PlanError) as refused:  # nothing asked would be a yes
        budget(Plan.from_dict(tables))
    assert refused.value.problems == [
        f'plan: task {k} "{name}" waits for daylight that does not come'
        for k, name in ((1, "cut"), (2, "sand"))
    ]
    tables["span"] = {"start": "2026-10-10T08:00:00", "end": "2026-10-11T20:00:00"}
    assert budget(Plan.from_dict(tables)).asked_wh.min() > 0.0


def test_what_is_done_before_now_is_not_said_to_lie_outside():
    task = {**LAMP, "between": ["08:00", "12:00"], "days": [1]}
    found = budget(plan(task), datetime(2026, 6, 10, 13), 50.0)
    assert found.notes == ()


def test_a_span_that_ends_at_midnight_ends_that_day():
    task = {**LAMP, "between": ["08:00", "12:00"]}
    found = budget(plan(task, "2026-06-10T00:00:00", "2026-06-11T00:00:00"))
    assert found.asked_wh[0] == pytest.approx(40.0)
    assert found.notes == ()


def test_a_window_that_opens_in_a_skipped_hour_stays_short():
    task = {**LAMP, "between": ["02:30", "03:10"], "days": [1]}
    found = budget(plan(task, "2026-03-29T00:00:00", "2026-03-30T12:00:00"))
    assert found.asked_wh[0] < 10.0


def test_the_inverter_stays_on_from_before_now_to_the_next_cut():
    cuts = {"name": "cut", "supply": "ac", "working_w": 300, "times": 2, "each_s": 60}
    cuts |= {"between": ["08:00", "12:00"]}  # at 09:00 and 11:00
    found = budget(plan(cuts), datetime(2026, 6, 10, 9, 30), 90.0)
    # From 09:30 to the end of the cut at 11:00:30 the inverter idles at 10 W.
    idle = found.flows()["idle_w"] @ (found.time_s[1:] - found.time_s[:-1]) / 3600.0
    self_discharge_wh = 1.0
    assert idle == pytest.approx(10.0 * 90.5 / 60.0, abs=self_discharge_wh)


def test_a_start_without_a_surge_does_not_lengthen_anothers(tmp_path):
    heater = {"name": "heater", "supply": "ac", "working_w": 200, "start_s": 5, "minutes": 5}
    saw = {"name": "saw", "supply": "ac", "working_w": 400, "start_w": 1200, "start_s": 0.3}
    tables = copy.deepcopy(TABLES)
    tables["task"] = [{**heater, "at": "08:00"}, {**saw, "minutes": 1, "at": "08:00"}]
    assert budget(Plan.from_dict(tables)).overloads == ()


def test_a_trace_runs_once_and_meets_the_limits_with_its_own_watts(tmp_path):
    (tmp_path / "trace.csv").write_text("seconds,watts\n0,10\n1800,700\n2400,10\n3000,10\n")
    tables = copy.deepcopy(TABLES)
    saw = {"name": "saw", "supply": "ac", "working_w": 250, "must": True}
    tables["task"] = [
        {"name": "log", "supply": "ac", "kind": "trace", "trace": "trace.csv", "at": "08:00"}
        | {"times": 1},
        {**saw, "at": "08:00", "minutes": 1},
    ]
    found = budget(Plan.from_dict(tables, "plan", tmp_path))
    assert found.overloads == ()
    # 10 W for 40 minutes and 700 W for 10: closed form.
    assert found.asked_wh[0] == pytest.approx(10.0 * 40.0 / 60.0 + 700.0 * 10.0 / 60.0)


# --- pauses -------------------------------------------------------------------------------------

CUTS = {"name": "cut", "supply": "ac", "working_w": 300, "times": 3, "each_s": 60}


def starts(found):
    return [f"{found.local(burst.start_s):%H:%M:%S}" for burst in found.bursts]


def test_a_pause_runs_from_the_end_of_a_repeat_to_the_start_of_the_next():
    found = budget(plan({**CUTS, "pause_s": 120, "at": "08:00"}))
    assert starts(found) == ["08:00:00", "08:03:00", "08:06:00"]
    assert found.asked_wh[0] == pytest.approx(15.0)


def test_without_a_pause_repeats_from_a_stated_time_follow_one_another():
    assert starts(budget(plan({**CUTS, "at": "08:00"}))) == ["08:00:00", "08:01:00", "08:02:00"]


def test_in_a_window_repeats_keep_their_equal_shares_whatever_the_pause():
    window = {"between": ["08:00", "11:00"]}
    with_pause = budget(plan({**CUTS, "pause_s": 120, **window}))
    assert starts(with_pause) == starts(budget(plan({**CUTS, **window})))


def idle_wh(found):
    return float(found.flows()["idle_w"] @ (found.time_s[1:] - found.time_s[:-1])) / 3600.0


def test_an_inverter_on_with_tasks_stays_on_across_the_pauses():
    cuts = {**CUTS, "pause_s": 840, "at": "08:00"}  # 08:00 to 08:31
    by_use = plan(cuts).replace(**{"pack.inverter.on": "only-in-use"})
    # 10 W across two pauses of 14 minutes.
    apart_wh = idle_wh(budget(plan(cuts))) - idle_wh(budget(by_use))
    assert apart_wh == pytest.approx(10.0 * 28.0 / 60.0, rel=1e-3)


# --- one thing after another ----------------------------------------------------------------------

GLUE = {"name": "glue", "supply": "dc12", "working_w": 20, "minutes": 10, "after": "cut"}


def waits(*tasks, now=None, end="2026-06-11T07:00:00"):
    tables = copy.deepcopy(TABLES) | {"task": list(tasks)}
    tables["span"]["end"] = end
    found = budget(Plan.from_dict(tables), now, None if now is None else 90.0)
    return [note for note in found.notes if "waits for" in note]


def test_what_waits_may_begin_when_the_other_is_done():
    assert waits({**CUTS, "at": "08:00"}, {**GLUE, "at": "08:03"}) == []


def test_what_runs_before_the_one_it_waits_for_is_said_in_a_line():
    (line,) = waits({**CUTS, "at": "08:00"}, {**GLUE, "at": "08:02"})
    assert line == (
        '"glue" waits for "cut", but begins at Wed 10 Jun 08:02, before that'
        " is done at Wed 10 Jun 08:03"
    )


def test_all_parts_of_what_is_waited_for_must_be_done():
    early, late = {**CUTS, "at": "08:00"}, {**CUTS, "at": "10:00"}
    assert len(waits(early, late, {**GLUE, "at": "09:00"})) == 1
    assert waits(early, late, {**GLUE, "at": "10:03"}) == []


THREE_DAYS = "2026-06-12T20:00:00"


def test_each_day_waits_for_its_own_day():
    assert waits({**CUTS, "at": "08:00"}, {**GLUE, "at": "09:00"}, end=THREE_DAYS) == []
    second = waits({**CUTS, "at": "08:00", "days": [1]}, {**GLUE, "at": "07:30", "days": [2, 3]},
                   end=THREE_DAYS)  # fmt: skip
    assert second == []


def test_what_comes_a_day_too_early_is_said_with_its_day():
    (line,) = waits({**CUTS, "at": "08:00", "days": [2]}, {**GLUE, "at": "09:00", "days": [1]},
                    end=THREE_DAYS)  # fmt: skip
    assert line == (
        '"glue" waits for "cut", but begins at Wed 10 Jun 09:00, before that is done at'
        " Thu 11 Jun 08:03"
    )


def test_what_is_over_by_now_is_not_waited_for_again():
    now = datetime(2026, 6, 10, 8, 30)
    assert waits({**CUTS, "at": "08:00"}, {**GLUE, "at": "09:00"}, now=now, end=THREE_DAYS) == []
    assert waits({**CUTS, "at": "08:01"}, {**GLUE, "at": "08:00"}, now=now) == []


# --- one thing works once at a time -------------------------------------------------------------


def watts(found) -> np.ndarray:
    return found.flows()["load_w"]


def test_a_task_from_sunset_that_lasts_over_a_day_is_cut_at_its_next_start():
    found = budget(
        plan({**LAMP, "at": "sunset", "hours": 30}, "2026-06-10T12:00:00", "2026-06-12T12:00:00")
    )
    assert watts(found).max() == pytest.approx(10.0)
    assert found.asked_wh[0] == pytest.approx(10.0 * 48.0)  # it never rests, and never doubles
    note = next(note for note in found.notes if "starts again" in note)
    assert note.startswith('"lamp" still runs when it starts again on 2026-06-10 at 21:')
    assert ", the first of 2 times: it is cut there" in note


def cuts_at_the_window(found) -> list[str]:
    return [note for note in found.notes if "longer than its window" in note]


def test_a_block_longer_than_its_window_is_cut_with_one_line_for_all_days():
    task = {**LAMP, "between": ["06:00", "08:00"], "hours": 3}
    found = budget(plan(task, "2026-06-10T00:00:00", "2026-06-13T00:00:00"))
    assert found.asked_wh[0] == pytest.approx(3 * 2 * 10.0)
    assert cuts_at_the_window(found) == [
        '"lamp" is longer than its window on 2026-06-10, the first of 3 times, and is cut there'
    ]
    once = budget(plan({**task, "days": [2]}, "2026-06-10T00:00:00", "2026-06-13T00:00:00"))
    assert cuts_at_the_window(once) == [
        '"lamp" is longer than its window on 2026-06-11 and is cut there'
    ]


def test_a_window_outside_the_span_is_not_said_to_be_too_short():
    task = {**LAMP, "between": ["06:00", "08:00"], "hours": 3}
    assert (
        cuts_at_the_window(budget(plan(task, "2026-06-10T09:00:00", "2026-06-10T20:00:00"))) == []
    )


def test_repeats_from_sunset_that_take_over_a_day_are_cut_there_too():
    task = {"name": "cut", "supply": "dc12", "working_w": 30, "times": 25, "each_min": 60}
    found = budget(plan({**task, "at": "sunset"}, "2026-06-10T00:00:00", "2026-06-13T00:00:00"))
    assert watts(found).max() == pytest.approx(30.0)
    assert any('"cut" still runs when it starts again' in note for note in found.notes)


def test_nights_that_overlap_where_the_day_is_short_count_once():
    # 21 December, 66.9 N: the sun is up from 11:28 to 13:08 (an almanac, from memory).
    task = {**LAMP, "between": ["sunset-90min", "sunrise+30min"]}
    tables = copy.deepcopy(TABLES) | {"task": [task]}
    tables["place"] = {"latitude_deg": 66.9, "longitude_deg": 25.0, "timezone": "Europe/Helsinki"}
    tables["span"] = {"start": "2026-12-20T15:00:00", "end": "2026-12-22T09:00:00"}
    found = budget(Plan.from_dict(tables))
    assert found.asked_wh[0] == pytest.approx(10.0 * 42.0)
    assert any("still runs when it starts again on 2026-12-21 at 11:" in n for n in found.notes)


def test_a_whole_day_of_23_hours_is_no_longer_than_that():
    task = {**LAMP, "at": "00:00", "hours": 24}
    found = budget(plan(task, "2026-03-29T00:00:00", "2026-03-31T00:00:00"))
    assert found.asked_wh[0] == pytest.approx(10.0 * 47.0)
    assert watts(found).max() == pytest.approx(10.0)


def test_a_charge_cut_by_the_next_one_starts_anew():
    charge = {"name": "bike", "supply": "dc12", "kind": "charging", "energy_wh": 300}
    charge |= {"power_w": 10, "taper_from_percent": 100, "at": "sunset"}  # 30 h
    found = budget(plan(charge, "2026-06-10T12:00:00", "2026-06-12T12:00:00"))
    assert watts(found).max() == pytest.approx(10.0)


def test_two_tasks_are_two_things():
    tables = copy.deepcopy(TABLES)
    tables["task"] = [{**LAMP, "between": ["08:00", "12:00"]}] * 2
    found = budget(Plan.from_dict(tables))
    assert watts(found).max() == pytest.approx(20.0)
    assert not any("starts again" in note for note in found.notes)


def test_what_overlaps_before_the_span_needs_no_line():
    task = {**LAMP, "at": "sunset", "hours": 30, "days": [1]}
    found = budget(plan(task, "2026-06-10T12:00:00", "2026-06-12T12:00:00"))
    assert not any("starts again" in note for note in found.notes)


def test_the_rest_of_a_day_knows_the_cut():
    task = {**LAMP, "at": "sunset", "hours": 30}
    found = budget(
        plan(task, "2026-06-10T12:00:00", "2026-06-12T12:00:00"), datetime(2026, 6, 11, 12), 90.0
    )
    assert watts(found).max() == pytest.approx(10.0)
    assert found.asked_wh[0] == pytest.approx(10.0 * 24.0)

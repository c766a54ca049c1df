"""What was done by now, in the words of whoever did it: what comes again, what is open, what is
over. Expected numbers are counted by hand; plans are invented.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest
from typer.testing import CliRunner

from energy import Plan, PlanError, check
from energy.answers.check.rest import left_of, rest_of
from energy.answers.choose.choose import choose
from energy.answers.choose.how_many import how_many
from energy.answers.fix.fix import fixes
from energy.answers.fix.tasks import nearer_noon
from energy.cli.main import app
from energy.plan.write import write_changes
from energy.simulation.budget import budget

DAY = datetime(2026, 6, 10)
CUT = {"name": "cut", "supply": "ac", "working_w": 600, "times": 16, "each_s": 60,
       "between": ["09:30", "12:00"]}  # fmt: skip
TEA = {"name": "tea", "supply": "ac", "working_w": 600, "times": 1, "each_min": 5, "at": "10:30"}
SAND = {"name": "sand", "supply": "ac", "working_w": 300, "minutes": 60,
        "between": ["13:00", "15:00"]}  # fmt: skip
PUMP = {"name": "pump", "supply": "dc12", "working_w": 40, "hours": 2, "at": "08:00"}
PHONE = {"name": "phone", "supply": "usb", "kind": "charging", "energy_wh": 10, "power_w": 10,
         "taper_from_percent": 100, "charges": 2, "between": ["10:00", "16:00"]}  # fmt: skip
LIGHT = {"name": "light", "supply": "dc12", "working_w": 12, "between": ["12:00", "16:00"]}


def plan(*tasks, days=1, **tables):
    end = DAY + timedelta(days=days - 1, hours=20)
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 52.5, "longitude_deg": 13.4, "elevation_m": 30,
                      "timezone": "Europe/Berlin"},
            "span": {"start": DAY + timedelta(hours=7), "end": end},
            "weather": {"kind": "clear", "temp_air_c": 20},
            "pack": {"capacity_wh": 2000, "inverter": {"rated_w": 1000}},
            "task": list(tasks),
        }
        | tables
    )  # fmt: skip


def at(clock, day=1):
    hours, minutes = clock.split(":")
    return DAY + timedelta(days=day - 1, hours=int(hours), minutes=int(minutes))


def left(whole, now, **done):
    """What a check still lays out of each task: start, minutes, by name."""
    found = {}
    result = check(whole, now=now, battery_percent=60.0, done=done).budget
    for burst in result.bursts:
        name = whole.task[burst.task].name
        minutes = (burst.end_s - burst.start_s) / 60.0
        found.setdefault(name, []).append(
            (f"{result.local(burst.start_s):%H:%M}", round(minutes, 3))
        )
    return found


def line(whole, now, **done):
    """The words about what was done, as one string."""
    from energy.answers.check.progress_words import progress_lines

    return " ".join(progress_lines(check(whole, now=now, battery_percent=60.0, done=done)))


# --- what is left of a task ---------------------------------------------------------------------


def test_what_was_done_does_not_come_again_and_the_rest_is_spread_over_what_is_left():
    # 12 of 16 by 11:00: four in the hour that is left, each in the middle of its quarter.
    found = left(plan(CUT), at("11:00"), cut=12)
    assert found["cut"] == [("11:07", 1), ("11:22", 1), ("11:37", 1), ("11:52", 1)]


def test_what_was_not_done_is_open_whatever_the_clock_says():
    assert len(left(plan(CUT), at("11:00"), cut=2)["cut"]) == 14
    assert len(left(plan(CUT), at("11:00"), cut="none")["cut"]) == 16


def test_what_is_not_named_is_done_as_planned():
    # From 09:34:11 one every 9 min 22.5 s: the tenth begins at 10:58:34.
    found = left(plan(CUT, SAND), at("11:00"), sand=0)
    assert len(found["cut"]) == 6
    assert found["sand"] == [("13:00", 60)]


def test_all_leaves_nothing():
    assert left(plan(CUT, SAND), at("11:00"), cut="all") == {"sand": [("13:00", 60)]}


def test_who_is_ahead_has_less_before_them():
    assert len(left(plan(CUT), at("09:40"), cut=10)["cut"]) == 6
    assert left(plan(SAND), at("11:00"), sand=45)["sand"] == [("13:00", 15)]


def test_what_is_stated_at_a_time_begins_now_where_it_is_undone():
    assert left(plan(TEA), at("13:20"), tea=0)["tea"] == [("13:20", 5)]
    assert left(plan(TEA), at("10:00"), tea=0)["tea"] == [("10:30", 5)]
    assert left(plan(TEA), at("10:00"), tea=1) == {}


def test_repeats_from_a_stated_time_keep_their_pace():
    cuts = {**CUT, "at": "09:30", "pause_s": 120, "times": 5}
    del cuts["between"]
    found = left(plan(cuts), at("11:00"), cut=3)
    assert found["cut"] == [("11:00", 1), ("11:03", 1)]


def test_a_block_is_counted_in_the_unit_in_which_it_is_stated():
    assert left(plan(PUMP), at("09:00"), pump=0.5)["pump"] == [("09:00", 90)]
    assert left(plan(SAND), at("13:30"), sand=20)["sand"] == [("13:30", 40)]


def test_charges_are_counted_whole():
    # Two of one hour each; one is left for 13:00 to 16:00: in the middle of that.
    assert left(plan(PHONE), at("13:00"), phone=1)["phone"] == [("14:00", 60)]


def test_what_has_a_window_alone_is_counted_in_minutes():
    # 240 minutes planned. 200 done: 40 are left; 60 done: the light burns on to its window's end.
    assert left(plan(LIGHT), at("14:00"), light=200)["light"] == [("14:00", 40)]
    assert left(plan(LIGHT), at("14:00"), light=60)["light"] == [("14:00", 120)]
    assert left(plan(LIGHT), at("10:00"), light=0)["light"] == [("12:00", 240)]


def test_a_repeat_that_the_clock_has_under_way_begins_again_where_it_was_not_done():
    # The first cut lies at 09:34:11 to 09:35:11.
    assert len(left(plan(CUT), at("09:35"), cut=0)["cut"]) == 16
    assert len(left(plan(CUT), at("09:35"))["cut"]) == 16  # under way, and goes on to its end


def test_done_counts_from_the_plans_start_over_all_days():
    three = plan(CUT, days=3)
    assert len(left(three, at("11:00", 2), cut=20)["cut"]) == 12 + 16
    assert len(left(three, at("11:00", 2), cut=40)["cut"]) == 8
    assert len(left(three, at("08:00", 3), cut=48).get("cut", [])) == 0
    assert len(left(three, at("08:00", 3))["cut"]) == 16  # days past count as done


def test_tasks_of_one_name_are_done_one_after_the_other():
    blocks = [{**CUT, "times": 3, "between": None, "at": clock} for clock in ("09:00", "15:00")]
    blocks = [{key: v for key, v in block.items() if v is not None} for block in blocks]
    assert left(plan(*blocks), at("12:00"), cut=4)["cut"] == [("15:00", 1), ("15:01", 1)]
    found = left(plan(*blocks), at("12:00"), cut=2)["cut"]
    assert found == [("12:00", 1), ("15:00", 1), ("15:01", 1), ("15:02", 1)]


def test_the_inverter_that_is_on_between_cuts_is_on_from_now():
    result = check(plan(CUT), now=at("11:00"), battery_percent=60.0, done={"cut": 12}).budget
    assert result.case.inverter_on[0] == 1.0
    fresh = check(plan(CUT), now=at("11:00"), battery_percent=60.0, done={"cut": 0}).budget
    assert fresh.case.inverter_on[0] == 0.0


# --- what is over -------------------------------------------------------------------------------


def test_what_is_undone_and_over_is_left_out_and_that_is_said():
    whole = plan(CUT, SAND)
    assert left(whole, at("12:30"), cut=12) == {"sand": [("13:00", 60)]}
    assert "12 of 16" in line(whole, at("12:30"), cut=12)
    assert 'its time is over: 4 of "cut"' in line(whole, at("12:30"), cut=12)


def test_what_does_not_fit_the_rest_of_its_window_is_over_too():
    # Three minutes are left for ten cuts of one minute.
    whole = plan(CUT)
    assert len(left(whole, at("11:57"), cut=6)["cut"]) == 3
    assert 'its time is over: 7 of "cut"' in line(whole, at("11:57"), cut=6)


def test_of_a_past_day_what_is_undone_is_over():
    three = plan(CUT, days=3)
    assert len(left(three, at("11:00", 2), cut=10)["cut"]) == 32
    assert 'its time is over: 6 of "cut"' in line(three, at("11:00", 2), cut=10)


def test_more_than_planned_leaves_nothing_and_that_is_said():
    assert left(plan(CUT), at("10:00"), cut=20) == {}
    assert 'Of "cut" 20 are done, 16 were planned: nothing of it is left' in line(
        plan(CUT), at("10:00"), cut=20
    )


def test_nothing_is_said_where_nothing_was_named():
    assert line(plan(CUT), at("10:00")) == ""


@pytest.mark.parametrize("clock", ["09:00", "09:35", "10:40", "11:58", "12:30", "14:10", "19:00"])
@pytest.mark.parametrize("done", [0, 1, 5, 16])
def test_done_left_and_over_are_what_was_planned(clock, done):
    whole = plan(CUT, {**PHONE, "charges": 4}, days=2)
    for name, planned in (("cut", 32), ("phone", 8)):
        now, some = at(clock, 2), min(done, planned)
        answer = check(whole, now=now, battery_percent=60.0, done={name: some})
        laid = sum(whole.task[burst.task].name == name for burst in answer.budget.bursts)
        (told,) = answer.budget.progress
        assert (told.planned, told.done) == (planned, some)
        assert told.done + laid + told.over == planned


# --- the same in tables, for whoever plans anew ---------------------------------------------------

EVERY = [CUT, TEA, SAND, PUMP, PHONE, LIGHT]
DONE = [{"cut": 3}, {"cut": 16, "light": 30}, {"tea": 0, "pump": 1.5}, {"phone": 1, "sand": 15},
        {"pump": 0, "light": 0, "phone": 0}, {"sand": "all", "cut": "none"}]  # fmt: skip


@pytest.mark.parametrize("done", DONE, ids=str)
@pytest.mark.parametrize("moment", [at("07:30"), at("09:50"), at("13:10"), at("15:30", 2)], ids=str)
def test_the_rest_as_a_plan_asks_what_the_check_asks(moment, done):
    whole = plan(*EVERY, days=3)
    still = budget(whole, moment, 60.0, done=done)
    rest = whole.replace(**left_of(whole, moment, 60.0, done))
    again = budget(rest)

    def bursts(b):
        """Those of the tasks named: what goes by the clock, the rest spreads anew."""
        named = [(b.plan.task[one.task].name, one.start_s, one.end_s) for one in b.bursts]
        return sorted((name, round(a), round(z)) for name, a, z in named if name in done)

    def asked_wh(b):
        found = dict.fromkeys((task["name"] for task in EVERY), 0.0)
        for task, wh in zip(b.plan.task, b.asked_wh, strict=True):
            found[task.name] += wh
        return found

    assert bursts(again) == bursts(still)
    assert asked_wh(again) == pytest.approx(asked_wh(still), rel=1e-4)


def test_repeats_of_a_cycling_tool_are_counted_as_repeats():
    cooler = {"name": "cooler", "supply": "dc12", "kind": "cycling", "on_w": 50, "period_min": 10,
              "duty_percent": 50, "times": 4, "each_min": 30,
              "between": ["08:00", "16:00"]}  # fmt: skip
    whole, now = plan(cooler), at("12:00")
    rest = budget(whole.replace(**left_of(whole, now, 60.0)))
    assert rest.asked_wh.sum() == pytest.approx(budget(whole, now, 60.0).asked_wh.sum())


# --- what a choice is offered ---------------------------------------------------------------------


def offered(whole, now, **done):
    return whole.replace(**rest_of(whole, now, 60.0, done)).task


def test_what_is_over_is_offered_again_in_a_later_window():
    (today, tomorrow) = offered(plan(CUT, days=3), at("11:00", 2), cut=10)
    assert today.times == 22  # the six of the first day, and today's
    assert (tomorrow.times, tomorrow.days) == (16, (2,))


def test_no_more_is_offered_than_the_window_holds():
    (today, _) = offered(plan(CUT, days=3), at("11:50", 2), cut=4)
    assert today.times == 10  # ten minutes are left
    (tomorrow,) = offered(plan({**CUT, "times": 100}, days=2), at("12:30"), cut=10)
    assert tomorrow.times == 150  # 09:30 to 12:00, a minute each


def test_what_is_flexible_is_offered_for_the_rest_of_the_day():
    (task,) = offered(plan({**CUT, "flexible": True}), at("12:30"), cut=12)
    assert task.times == 4
    assert task.between == (("clock", 750.0), ("clock", 1200.0))  # the span ends at 20:00
    assert task.flexible
    (block,) = offered(plan({**SAND, "flexible": True}), at("16:00"), sand=20)
    assert block.duration_s == 40 * 60


def test_a_choice_takes_up_what_is_over_and_flexible():
    whole = plan({**CUT, "flexible": True}, LIGHT)
    answer = choose(whole.replace(**rest_of(whole, at("12:30"), 60.0, {"cut": 12})))
    assert sum(row.times for row in answer.timetable if row.task == "cut") == 4


def test_what_is_over_and_neither_flexible_nor_later_is_not_offered():
    assert [task.name for task in offered(plan(CUT, SAND), at("12:30"), cut=3)] == ["sand"]
    with pytest.raises(PlanError, match="nothing of the plan is left"):
        rest_of(plan(CUT), at("12:30"), 60.0, {"cut": 3})


def test_what_belongs_to_a_task_that_is_over_is_not_offered_either():
    glue = {**SAND, "name": "glue", "after": "cut"}
    lamp = {**LIGHT, "name": "lamp", "with": "glue"}
    assert [t.name for t in offered(plan(CUT, glue, lamp, SAND), at("12:30"), cut=3)] == ["sand"]
    kept = offered(plan(CUT, glue, lamp, SAND), at("12:30"), cut=16)
    assert [t.name for t in kept] == ["glue", "lamp", "sand"]


def test_how_many_more_counts_from_what_was_done():
    pack = {"capacity_wh": 900, "discharge_max_w": 2000, "inverter": {"rated_w": 1000}}
    whole = plan(CUT, pack=pack)
    ahead = how_many(whole, "cut", at("10:00"), 60.0, {"cut": 16})
    behind = how_many(whole, "cut", at("10:00"), 60.0, {"cut": 0})
    # What is done need not be done: as many more fit, and one more for the idle draw in between.
    assert ahead.count - behind.count in (16, 17)


def test_a_fix_of_a_day_under_way_holds_for_what_is_left():
    whole = plan({**CUT, "times": 60}, {**LIGHT, "working_w": 100, "priority": 1},
                 pack={"capacity_wh": 900, "inverter": {"rated_w": 1000}})  # fmt: skip
    done = {"cut": 5}
    answer = check(whole, now=at("11:00"), battery_percent=60.0, done=done)
    assert not answer.yes
    found = fixes(answer.budget).found
    assert found
    for fix in found:
        assert budget(whole.replace(**fix.change)).yes


# --- wrong words ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("done", "words"),
    [
        ({"tee": 1}, '--done names no task of the plan (got "tee"); did you mean "tea"?'),
        ({"cut": -1}, '--done "cut": the amount must be at least 0 (got -1)'),
        ({"cut": 2.5}, '--done "cut": the amount must be a whole number of times (got 2.5)'),
        ({"cut": float("nan")}, '--done "cut": the amount must be times, all or none (got nan)'),
        ({"cut": "lots"}, '--done "cut": the amount must be times, all or none (got "lots")'),
        ({"pump": ""}, '--done "pump": the amount must be hours, all or none (got "")'),
        ({"light": True}, '--done "light": the amount must be minutes, all or none (got true)'),
    ],
    ids=str,
)
def test_a_wrong_amount_is_one_line(done, words):
    with pytest.raises(PlanError) as caught:
        check(plan(*EVERY), now=at("11:00"), battery_percent=60.0, done=done)
    assert caught.value.problems == [words]


def test_every_wrong_amount_is_told():
    with pytest.raises(PlanError) as caught:
        check(plan(*EVERY), now=at("11:00"), battery_percent=60.0, done={"tee": 1, "cut": -1})
    assert len(caught.value.problems) == 2


def test_two_units_under_one_name_need_all_or_none():
    both = plan({**SAND, "name": "cut"}, CUT)
    words = '--done "cut": it is stated in minutes and in times; say all or none'
    with pytest.raises(PlanError) as caught:
        check(both, now=at("11:00"), battery_percent=60.0, done={"cut": 3})
    assert caught.value.problems == [words]
    assert left(both, at("11:00"), cut="all") == {}
    told = check(both, now=at("11:00"), battery_percent=60.0, done={"cut": "all"}).budget.progress
    assert [(one.unit, one.planned) for one in told] == [("minutes", 60), ("times", 16)]


def test_done_without_now_is_refused():
    with pytest.raises(PlanError, match="--done needs --now and --battery"):
        check(plan(CUT), done={"cut": 3})


# --- as commands ----------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path):
    target = tmp_path / "plan.toml"
    target.write_text(write_changes("", plan(CUT, {**TEA, "name": "tea = break"}, SAND).source))
    return target


def run(*arguments):
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


NOW = ["--now", "12:30", "--battery", "60"]


def test_the_text_names_what_was_taken_as_done(file):
    found = run("check", file, *NOW, "--done", "cut=12", "--done", "tea = break = none")
    text = " ".join(found.output.split())
    assert 'Taken as done: 12 of 16 of "cut", none of "tea = break"; the rest as planned.' in text
    assert 'Undone, and its time is over: 4 of "cut"; left out.' in text


def test_the_json_holds_what_was_taken_as_done(file):
    found = run("check", file, *NOW, "--json", "--done", "cut=12")
    (told,) = json.loads(found.stdout)["now"]["done"]
    assert told == {"task": "cut", "unit": "times", "planned": 16, "done": 12, "over": 4}


def test_choose_and_how_many_take_it_too(file):
    text = " ".join(run("choose", file, *NOW, "--done", "sand=60").output.split())
    assert 'Taken as done: all of "sand"' in text
    counted = run("choose", file, *NOW, "--done", "cut=12", "--how-many", "cut", "--json")
    assert json.loads(counted.stdout)["now"]["done"][0]["done"] == 12


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--done", "cut"], '--done must be TASK=AMOUNT, such as "tea=0" (got "cut")'),
        (["--done", "=3"], '--done must be TASK=AMOUNT, such as "tea=0" (got "=3")'),
        (["--done", "cut=1", "--done", "cut=2"], '--done names "cut" twice'),
        (["--done", "cat=1"], '--done names no task of the plan (got "cat"); did you mean "cut"?'),
        (["--battery", "0.45"], "--battery is in percent (got 0.45): did you mean 45?"),
        (["--battery", "abc"], '--battery must be a percentage, such as 45 (got "abc")'),
        (["--battery", "-5"], "--battery must be between 0 and 100 (got -5)"),
        (["--battery", "nan"], '--battery must be a percentage, such as 45 (got "nan")'),
    ],
    ids=str,
)
@pytest.mark.parametrize("command", ["check", "choose"])
def test_wrong_words_on_the_command_line_are_one_line(file, command, arguments, words):
    found = run(command, file, *NOW, *arguments)
    assert found.exit_code == 2
    assert found.stderr.splitlines() == [words]


@pytest.mark.parametrize("battery", ["45", "45%", "45 %", " 45.0 % ", "0.45 %", "0", "100"])
def test_the_battery_is_read_with_or_without_its_sign(file, battery):
    found = run("check", file, "--now", "12:30", "--battery", battery, "--json")
    expected = float(battery.replace("%", ""))
    assert json.loads(found.stdout)["now"]["measured_percent"] == pytest.approx(expected, abs=0.05)


# --- what belongs together, elsewhere -------------------------------------------------------------


def test_more_of_what_goes_with_another_task_is_counted_by_itself():
    film = {**LIGHT, "name": "film"}
    found = how_many(plan(film, {**LIGHT, "with": "film"}), "light", at("13:00"), 60.0)
    assert found.count > 0


def test_what_is_moved_nearer_noon_stays_in_its_window_with_its_pauses():
    # Twenty cuts of a minute with two minutes between them take 58 minutes.
    cuts = {**CUT, "times": 20, "pause_s": 120, "between": ["07:00", "08:00"], "flexible": True}
    whole = plan(cuts, panel=[{"rated_w": 200}],
                 pack={"capacity_wh": 300, "start_percent": 16, "inverter": {"rated_w": 1000},
                       "discharge_max_w": 2000})  # fmt: skip
    moved = nearer_noon(budget(whole))
    assert moved is not None
    result = budget(whole.replace(**moved.change(1.0)))
    assert f"{result.local(result.bursts[-1].end_s):%H:%M}" <= "08:00"


def test_a_task_is_named_by_its_tool_too():
    grinding = {**CUT, "tool": "angle-grinder-115"}
    asked = plan(grinding, LIGHT)
    by_name, by_tool = (
        check(asked, now=at("11:00"), battery_percent=60.0, done={name: 7})
        for name in ("cut", "angle-grinder-115")
    )
    assert by_tool.as_dict() == by_name.as_dict()


def test_a_name_goes_before_a_tool_of_that_name_and_one_task_is_named_once():
    asked = plan({**CUT, "tool": "angle-grinder-115"}, {**LIGHT, "name": "angle-grinder-115"})
    (done,) = check(
        asked, now=at("11:00"), battery_percent=60.0, done={"angle-grinder-115": "all"}
    ).budget.progress
    assert (done.name, done.unit) == ("angle-grinder-115", "minutes")
    asked = plan({**CUT, "tool": "angle-grinder-115"})
    both = {"cut": 1, "angle-grinder-115": 2}
    with pytest.raises(PlanError, match="names one task twice"):
        check(asked, now=at("11:00"), battery_percent=60.0, done=both)

"""Keys of a plan given once, as KEY=VALUE."""

from datetime import date, datetime, time

import pytest

from energy.plan import Plan, PlanError
from energy.plan.assignments import assignments


@pytest.fixture(scope="module")
def plan() -> Plan:
    return Plan.read("builtin:cloudy-repair")


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("700", 700),
        ("0.5", 0.5),
        ("true", True),
        ("sky", "sky"),
        ('"sky"', "sky"),
        ("none", None),
        ('"none"', "none"),
        ("cut the pipe", "cut the pipe"),
        ("sunset+30min", "sunset+30min"),
        ('["09:00", "12:00"]', ["09:00", "12:00"]),
        ("[8, 3]", [8, 3]),
        ("2026-10-20T07:00:00", datetime(2026, 10, 20, 7)),
        ("2026-10-20", date(2026, 10, 20)),
        ("09:30:00", time(9, 30)),
        ("9:30", "9:30"),
        ("a = b", "a = b"),
    ],
)
def test_a_value_is_toml_and_a_bare_word_is_text(plan, written, value):
    assert assignments([f"title={written}"], plan) == {"title": value}


def test_spaces_around_key_and_value_do_not_count(plan):
    assert assignments([" pack.idle_w = 5 "], plan) == {"pack.idle_w": 5}


def test_a_task_is_named_by_number_name_or_tool(plan):
    two, name, tool = plan.task[1], plan.task[1].name, plan.task[1].tool
    for key in ("2", name, name.upper(), tool):
        assert assignments([f"task.{key}.times=3"], plan) == {"task.2.times": 3}, key
    assert plan.replace(**assignments([f"task.{name}=none"], plan)).task == tuple(
        task for task in plan.task if task is not two
    )


def test_a_dot_in_a_name_is_part_of_it(plan):
    dotted = plan.replace(**{"task.2.name": "cut 2.5 mm", "task.3.name": "cut 2"})
    assert assignments(["task.cut 2.5 mm.times=3"], dotted) == {"task.2.times": 3}
    assert assignments(["task.cut 2.times=3"], dotted) == {"task.3.times": 3}


def test_two_tasks_of_one_name_are_asked_back_with_their_numbers():
    van = Plan.read("builtin:january-job")
    numbers = [k for k, task in enumerate(van.task, start=1) if task.tool == "led-flood"]
    with pytest.raises(PlanError) as refused:
        assignments(["task.led-flood.minutes=5"], van)
    assert all(str(number) in refused.value.problems[0] for number in numbers)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pack.capacity_wh", "KEY=VALUE"),
        ("=700", "KEY=VALUE"),
        ("pack.capacity_wh=", "none"),
        ("task.teh=none", "did you mean"),
        ("pack.capacity_wh=54,2", "decimal point"),
        ("weather.sky=[8, 3", "TOML"),
    ],
)
def test_what_cannot_be_read_is_one_line(plan, text, words):
    with pytest.raises(PlanError) as refused:
        assignments([text], plan.replace(**{"task.1.name": "tea"}))
    (line,) = refused.value.problems
    assert line.startswith("--set ")
    assert words in line


def test_one_key_twice_is_refused_however_it_is_named(plan):
    with pytest.raises(PlanError, match="twice"):
        assignments([f"task.{plan.task[1].name}.times=3", "task.2.times=4"], plan)


def test_a_sky_given_for_once_is_the_weather(plan):
    assert plan.weather.kind == "file"
    assert plan.replace(**assignments(["weather.sky=rain"], plan)).weather.kind == "sky"
    both = assignments(["weather.sky=rain", "weather.kind=clear"], plan)
    assert plan.replace(**both).weather.kind == "clear"

"""A plan asked for another date or with other keys for once, and a plan whose days are over."""

import json
from datetime import UTC, datetime

import pytest
import typer
from typer.testing import CliRunner

from energy.cli import clock
from energy.cli.main import app
from energy.plan import Plan

PLAN = """
[place]
latitude_deg = 50.0
longitude_deg = 8.0
timezone = "Europe/Berlin"
elevation_m = 100
[span]
start = 2026-06-01T08:00:00
end = 2026-06-02T20:00:00
[weather]
kind = "clear"
[[panel]]
rated_w = 100
[pack]
capacity_wh = 500         # the label
[[task]]
name = "lamp"
supply = "dc12"
working_w = 5
hours = 2
between = ["17:00", "20:00"]
[[task]]
name = "tea"              # at noon
supply = "dc12"
working_w = 100
minutes = 10
at = "12:00"
days = [2]
"""


def run(*arguments):
    return CliRunner().invoke(app, [str(word) for word in arguments], catch_exceptions=False)


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    return path


@pytest.fixture
def at(monkeypatch):
    """Set the clock, in UTC."""
    return lambda *when: monkeypatch.setattr(clock, "now", lambda: datetime(*when, tzinfo=UTC))


def answer(*arguments):
    return json.loads(run(*arguments, "--json").stdout)


def commands(group, way=()):
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, (*way, name))
        else:
            yield (*way, name), command


def test_every_command_that_takes_a_plan_takes_a_date_and_keys():
    taking = [
        (way, command)
        for way, command in commands(typer.main.get_command(app))
        if any(parameter.name == "plan" for parameter in command.params)
    ]
    assert len(taking) >= 9
    for way, command in taking:
        options = {option for parameter in command.params for option in parameter.opts}
        assert {"--date", "--set"} <= options, way


def test_a_date_moves_the_days_and_their_numbers_stay(plan):
    june = answer("check", plan, "--no-fixes")
    moved = answer("check", plan, "--no-fixes", "--date", "2026-06-03")
    assert june["lowest_charge"]["at"][:10] == "2026-06-02"
    assert moved["lowest_charge"]["at"][:10] == "2026-06-04"
    assert [task["energy_wh"] for task in moved["tasks"]] == [
        task["energy_wh"] for task in june["tasks"]
    ]


def test_tomorrow_is_that_of_the_place(plan, at):
    at(2026, 6, 29, 23)  # 01:00 on the 30th in Berlin
    moved = answer("check", plan, "--no-fixes", "--date", "tomorrow")
    assert moved["lowest_charge"]["at"][:10] == "2026-07-02"


def test_a_plan_whose_days_are_over_says_so_once_and_answers_the_same(plan, at):
    before = run("check", plan)
    at(2026, 6, 3)
    after = run("check", plan)
    assert before.stderr == ""
    assert "2026-06-02" in after.stderr
    assert after.stderr.count("are over") == 1
    assert after.stdout == before.stdout
    assert after.exit_code == before.exit_code
    assert run("check", plan, "--json").stdout == run("check", plan, "--json").stdout
    assert "over" in run("choose", plan, "--json").stderr


def test_a_plan_asked_for_another_date_is_not_called_over(plan, at):
    at(2026, 6, 3)
    assert run("check", plan, "--date", "today").stderr == ""
    assert run("check", plan, "--date", "2026-01-03").stderr == ""


@pytest.mark.parametrize("demo", [(), ("builtin:cloudy-repair",)])
def test_a_demo_is_never_over(demo, at):
    at(2031, 1, 1)
    assert run("aim", *demo).stderr == ""


def test_a_key_counts_for_this_once_and_is_named_in_the_first_lines(plan):
    once = run(
        "check", plan, "--no-fixes", "--set", "pack.capacity_wh=30", "--set", "task.tea=none"
    )
    assert once.exit_code == 1
    assert "With pack.capacity_wh = 30, task.tea = none." in once.stdout.splitlines()[:4]
    assert plan.read_text() == PLAN
    tasks = answer("check", plan, "--no-fixes", "--set", "task.tea=none")["tasks"]
    assert [task["name"] for task in tasks] == ["lamp"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["pack.solar_input.max_a=none"], "pack.solar_input.max_a = none (20 counts)."),
        (["pack.solar_input=none"], "pack.solar_input = none (the profile's counts)."),
        (["pack.reserve_percent=none"], "pack.reserve_percent = none (50 counts)."),
        (["task.tea.working_w=none"], "task.tea.working_w = none (650 counts)."),
        (["task.1=none", "task.tea.working_w=none"], "task.tea.working_w = none."),
        (["task.tea.days=none"], "task.tea.days = none."),
        (["panel.1.facing=none", "pack.idle_w=1"], "panel.1.facing = none (180 counts), pack.idle"),
    ],
)
def test_a_key_taken_away_says_what_counts_then(plan, given, said):
    text = PLAN.replace(
        "capacity_wh = 500 ", 'profile = "lead-acid-100ah"\nsolar_input.max_a = 9 #'
    )
    plan.write_text(text.replace('"tea" ', '"tea"\ntool = "kettle-small" #'))
    options = [word for each in given for word in ("--set", each)]
    asked = run("check", plan, "--no-fixes", *options)
    first = asked.stdout.split("\nplan.toml")[0]
    assert said in " ".join(first.split()), asked.output


def test_a_date_is_named_in_the_first_lines(plan):
    lines = run("check", plan, "--date", "2026-10-20", "--set", "pack.idle_w=0").stdout.splitlines()
    assert "With pack.idle_w = 0, starting 2026-10-20." in lines[:4]
    assert "Starting 2026-10-20." in run("check", plan, "--date", "2026-10-20").stdout.splitlines()


def test_a_key_is_checked_as_in_the_file(plan):
    for given, words in (
        ("pack.capacity_wh=much", "[pack]: capacity_wh must be a number"),
        ("pack.capcity_wh=700", 'did you mean "capacity_wh"'),
        ("task.3.times=2", "from 1 to 2"),
        ("weather.kind=sky", "needs sky"),
    ):
        refused = run("check", plan, "--set", given)
        assert refused.exit_code == 2
        (line,) = refused.stderr.splitlines()
        assert words in line


def test_what_is_written_holds_what_was_asked_and_keeps_its_comments(plan, tmp_path):
    target = tmp_path / "aimed.toml"
    asked = run(
        "aim", plan, "--write", target, "--date", "2026-07-01", "--set", "pack.capacity_wh=700",
        "--set", "task.tea=none",
    )  # fmt: skip
    assert asked.exit_code == 0, asked.stderr
    written = Plan.read(target)
    assert written.span.start == datetime(2026, 7, 1, 8)
    assert written.span.end == datetime(2026, 7, 2, 20)
    assert written.pack.capacity_wh == 700
    assert [task.name for task in written.task] == ["lamp"]
    assert written.panel[0].tilt_deg != Plan.read(plan).panel[0].tilt_deg
    assert "# the label" in target.read_text()


@pytest.fixture
def short(plan):
    """A pack too small for a boiler of an hour at dusk, beside the lamp."""
    boiler = PLAN.replace("minutes = 10", "minutes = 300").replace("12:00", "15:00")
    plan.write_text(boiler.replace("capacity_wh = 500 ", "capacity_wh = 300 "))
    return plan


@pytest.mark.parametrize("number", [None, 1, 2, 3])
def test_a_change_of_the_check_is_written_and_is_a_yes(short, tmp_path, number):
    told = json.loads(run("check", short, "--json").stdout)
    assert (told["answer"], len(told["fixes"]) >= 3) == ("no", True)
    target = tmp_path / "changed.toml"
    which = [] if number is None else ["--fix", number]
    assert run("check", short, "--write", target, *which).exit_code == 1
    fix = told["fixes"][(number or 1) - 1]
    there = run("check", target, "--json")
    assert there.exit_code == 0
    assert json.loads(there.stdout)["chance"] == fix["chance"]
    assert "# the label" in target.read_text()
    changed = Plan.read(short).replace(**fix["change"])
    assert Plan.read(target).model_dump() == changed.model_dump()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--write", "new.toml", "--fix", "99"], "--fix must be at most"),
        (["--write", "new.toml", "--no-fixes"], "leave out --no-fixes"),
        (["--write", "new.toml", "--now", "09:00", "--battery", "50"], "energy choose --now"),
        (["--fix", "1"], "give --write FILE too"),
    ],
)
def test_a_change_that_cannot_be_written_is_refused_in_a_line(short, tmp_path, words, line):
    words = [tmp_path / word if word == "new.toml" else word for word in words]
    refused = run("check", short, *words, "--plot", tmp_path / "day.png")
    assert refused.exit_code == 2
    assert line in refused.stderr.splitlines()[-1]
    assert [file.name for file in tmp_path.iterdir()] == ["plan.toml"]


def test_where_no_change_is_needed_or_none_is_enough_nothing_is_written(plan, tmp_path):
    target = tmp_path / "new.toml"
    answer = run("check", plan, "--write", target)
    assert answer.exit_code == 0
    assert answer.stdout.splitlines()[-1].endswith("not written: the plan is a yes as it is.")
    plan.write_text(PLAN.replace("working_w = 100", "working_w = 9000\nmust = true"))
    answer = run("check", plan, "--write", target)
    assert answer.exit_code == 1
    assert answer.stdout.splitlines()[-1].endswith("no change that was tried makes it a yes.")
    assert not target.exists()


def test_a_written_plan_lets_go_of_what_named_a_task_taken_away(plan, tmp_path):
    plan.write_text(PLAN + 'after = "lamp"\n')
    target = tmp_path / "chosen.toml"
    assert run("choose", plan, "--write", target, "--set", "task.lamp=none").exit_code == 0
    (task,) = Plan.read(target).task
    assert (task.name, task.after) == ("tea", None)


def test_readings_of_another_day_are_read_with_its_date(plan, tmp_path):
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "time,battery_percent,solar_w\n2026-07-01T10:00,,45\n2026-07-01T13:00,,70\n"
    )
    plan.write_text(PLAN.replace("capacity_wh = 500", "start_percent = 20\ncapacity_wh = 500"))
    assert run("learn", "readings", plan, readings).exit_code == 2
    assert run("learn", "readings", plan, readings, "--date", "2026-07-01").exit_code == 0


@pytest.mark.parametrize("said", ["45", "45%", "45 %", " 45 % "])
def test_a_measured_charge_is_read_as_it_is_said(plan, said):
    now = answer("check", plan, "--no-fixes", "--now", "13:00", "--battery", said)["now"]
    assert now["measured_percent"] == 45


def test_a_share_for_a_percentage_is_asked_back(plan):
    refused = run("check", plan, "--now", "13:00", "--battery", "0.45")
    assert refused.exit_code == 2
    assert "did you mean 45?" in refused.stderr


def test_a_plan_in_open_water_is_asked_back_and_answered(plan):
    away = PLAN.replace("50.0", "60.4").replace("8.0\n", "-5.3\n")
    at_sea = away.replace('timezone = "Europe/Berlin"\n', "")
    plan.write_text(at_sea)
    asked = run("check", plan)
    assert asked.stderr == "60.4, -5.3 is open water: did you mean 60.4, 5.3?\n"
    assert asked.exit_code in (0, 1)


def test_afloat_open_water_is_asked_back_where_a_slip_makes_land_of_it(plan):
    afloat = PLAN.replace("elevation_m = 100", 'around = ["afloat"]')
    afloat = afloat.replace('timezone = "Europe/Berlin"\n', "")
    # An inlet in the south of Australia without its minus; the middle of the South Pacific.
    plan.write_text(afloat.replace("50.0", "38.2").replace("8.0\n", "145.1\n"))
    line = "38.2, 145.1 is open water: did you mean -38.2, 145.1?"
    for command in ("check", "choose", "aim", "when"):
        assert line in " ".join(run(command, plan).stderr.split())
    assert line in " ".join(run("page", plan, plan.parent / "plan.html").stderr.split())
    plan.write_text(afloat.replace("50.0", "-40.0").replace("8.0\n", "-150.0\n"))
    assert run("check", plan).stderr == ""


def test_a_sea_without_weather_is_asked_back_where_a_slip_makes_land_of_it(plan):
    away = PLAN.replace("50.0", "47").replace("8.0\n", "-30\n")
    away = away.replace('timezone = "Europe/Berlin"\n', "").replace('"clear"', '"climate"')
    plan.write_text(away)
    refused = run("check", plan)
    assert refused.exit_code == 2
    assert refused.stderr.endswith("47, -30 is open water: did you mean 47, 30?\n")


def test_a_clock_far_from_the_suns_leads_to_the_same_question(plan):
    lost_sign = PLAN.replace("50.0", "40.0").replace("8.0\n", "-105.0\n")
    plan.write_text(lost_sign.replace("-105.0", "160.0").replace("Europe/Berlin", "America/Denver"))
    assert "is open water" in run("check", plan).stderr
    plan.write_text(lost_sign.replace("Europe/Berlin", "America/Denver"))
    assert run("check", plan).stderr == ""

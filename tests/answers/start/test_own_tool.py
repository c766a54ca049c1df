"""A load profile of one's own, from keys or questions, and the timetable as iCalendar."""

from datetime import datetime

import icalendar
import pytest
from typer.testing import CliRunner

from energy import Plan, PlanError, choose
from energy.answers.start.own_tool import own_tool
from energy.cli.main import app
from energy.plan.task import RISKS


def run(*arguments, answers=""):
    command = [str(a) for a in arguments]
    return CliRunner().invoke(app, command, input=answers, catch_exceptions=False)


def plan_with(tmp_path, tool):
    path = tmp_path / "plan.toml"
    path.write_text(
        f"""profiles = ["my.toml"]
place = {{ latitude_deg = 50.0, longitude_deg = 10.0, timezone = "UTC", elevation_m = 0 }}
span = {{ start = 2026-06-01T08:00:00, end = 2026-06-01T20:00:00 }}
weather = {{ kind = "clear" }}
pack = {{ capacity_wh = 1000, inverter = {{ rated_w = 2000 }} }}
task = [{{ tool = "{tool}", times = 3, each_s = 30, between = ["09:00", "12:00"] }}]
"""
    )
    return Plan.read(path)


def test_a_profile_from_keys_serves_a_plan(tmp_path):
    file = tmp_path / "my.toml"
    keys = ["supply=ac", "kind=intermittent", "working_w=1100", "idle_w=300", "start_w=1800"]
    found = run("tools", "my-saw", "--add", file, *(f"--set={key}" for key in keys))
    assert found.exit_code == 0, found.output
    task = plan_with(tmp_path, "my-saw").task[0]
    assert (task.working_w, task.start_w, task.kind) == (1100, 1800, "intermittent")


def test_a_profile_from_questions_is_asked_again_and_added_to_the_file(tmp_path):
    file = tmp_path / "my.toml"
    file.write_text('[old-lamp]\nsupply = "usb"\nworking_w = 3  # measured\n')
    answers = "mains\nac\nintermittent\nlots\n900\n200\n60\nyes\nno\nyes\n1500\n"
    found = run("tools", "my-drill", "--add", file, answers=answers)
    assert found.exit_code == 0, found.output
    assert "# measured" in file.read_text()
    task = plan_with(tmp_path, "my-drill").task[0]
    assert task.hand_held
    assert task.rotating
    assert not task.sparks
    assert "sparks" in task.model_fields_set  # a no is an answer, whatever the tool is called
    assert (task.duty_percent, task.start_w) == (60, 1500)


def test_a_profile_from_keys_may_say_every_risk(tmp_path):
    file = tmp_path / "my.toml"
    keys = ["supply=ac", "working_w=900", *(f"{risk}=true" for risk in RISKS)]
    found = run("tools", "my-hoist", "--add", file, *(f"--set={key}" for key in keys))
    assert found.exit_code == 0, found.output
    assert all(getattr(plan_with(tmp_path, "my-hoist").task[0], risk) for risk in RISKS)


def test_a_motor_without_a_start_is_spoken_of_and_three_times_its_watts_are_offered(tmp_path):
    file = tmp_path / "my.toml"
    keys = ["supply=ac", "kind=intermittent", "working_w=800", "idle_w=300"]
    found = run("tools", "my-planer", "--add", file, *(f"--set={key}" for key in keys))
    assert "no start is judged" in found.output
    answers = "ac\nintermittent\n800\n300\n60\nyes\nno\nyes\n\n"  # the last: as offered
    found = run("tools", "my-router", "--add", file, answers=answers)
    assert found.exit_code == 0, found.output
    assert plan_with(tmp_path, "my-router").task[0].start_w == 2400


def test_a_name_that_is_taken_is_refused_before_anything_is_asked(tmp_path):
    file = tmp_path / "my.toml"
    file.write_text('[my-lamp]\nsupply = "usb"\nworking_w = 3\n')
    found = run("tools", "my-lamp", "--add", file)
    assert found.exit_code == 2
    assert "Which outlet" not in found.output


@pytest.mark.parametrize(
    ("name", "keys", "words"),
    [
        ("My Saw", {"supply": "ac", "working_w": "5"}, "small letters"),
        ("saw", {"supply": "mains", "working_w": "5"}, "supply"),
        ("saw", {"supply": "ac"}, "working_w"),
        ("saw", {"supply": "ac", "working_w": "-5"}, "working_w"),
        ("saw", {"supply": "ac", "woking_w": "5"}, 'did you mean "working_w"'),
    ],
)
def test_what_makes_no_profile_is_refused(name, keys, words):
    with pytest.raises(PlanError, match=words):
        own_tool(name, keys)


def test_a_name_that_is_taken_is_refused_and_the_file_stays(tmp_path):
    file = tmp_path / "my.toml"
    file.write_text('[saw]\nsupply = "ac"\nworking_w = 3\n')
    found = run("tools", "saw", "--add", file, "--set", "supply=ac", "--set", "working_w=9")
    assert found.exit_code == 2
    assert "working_w = 3" in file.read_text()


def test_the_timetable_is_a_calendar_that_others_can_read(tmp_path):
    file = tmp_path / "day.ics"
    assert run("choose", "--calendar", file).exit_code == 0
    read = icalendar.Calendar.from_ical(file.read_bytes())
    events = [part for part in read.walk() if part.name == "VEVENT"]
    rows = choose(Plan.read("builtin:cloudy-repair")).timetable
    assert len(events) == len(rows)
    for event, row in zip(events, rows, strict=True):
        assert event.decoded("dtstart") == row.start.replace(microsecond=0)
        assert isinstance(event.decoded("dtend"), datetime)
        assert str(event["summary"]).startswith(row.task)
    assert len({str(event["uid"]) for event in events}) == len(events)

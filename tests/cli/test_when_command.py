"""The command about the day: from today at the plan's place, what is written, what is refused.
Plans are invented."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from energy import Plan, when
from energy.cli import clock
from energy.cli.main import app
from energy.show.layout import LINES

TEXT = """# Invented, at the date line.
place = { latitude_deg = -13.8, longitude_deg = -171.8, timezone = "Pacific/Apia" }
span = { start = 2026-03-02T08:00:00, end = 2026-03-03T07:00:00 }
weather = { kind = "clear" }
pack = { capacity_wh = 300 }
task = [{ name = "lamp", supply = "dc12", working_w = 10, between = ["sunset", "23:00"] }]
"""


@pytest.fixture
def plan(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.toml").write_text(TEXT)
    return "plan.toml"


def run(*arguments):
    return CliRunner().invoke(app, ["when", *map(str, arguments)], catch_exceptions=False)


def starts(answer) -> list[str]:
    return [day["start"] for day in json.loads(answer.stdout)["days"]]


def now(monkeypatch, *at):
    monkeypatch.setattr(clock, "now", lambda: datetime(*at, tzinfo=UTC))


def test_it_asks_from_today_at_the_place_on(plan, monkeypatch):
    now(monkeypatch, 2026, 10, 19, 12)  # it is the 20th in Apia, 13 hours ahead
    answer = run(plan, "--json")
    assert (starts(answer)[0], len(starts(answer))) == ("2026-10-20", 14)
    assert "days are over" not in answer.stderr
    assert starts(run(plan, "--json", "--to", "tomorrow")) == ["2026-10-20", "2026-10-21"]


def test_rows_that_hide_the_best_day_say_so(plan):
    """In a northern spring every day is brighter than the one before."""
    north = TEXT.replace("-13.8, longitude_deg = -171.8", "50.0, longitude_deg = 10.0")
    north = north.replace("Pacific/Apia", "Europe/Berlin").replace(
        '"clear"', '"climate", futures = 5'
    )
    Path(plan).write_text(f"panel = [{{ rated_w = 20 }}]\n{north}")
    said = run(plan, "--from", "2026-03-01").stdout
    assert "more, the best among them: --days" in said
    assert "the best among them" not in run(plan, "--from", "2026-10-01").stdout


def test_a_plan_that_starts_soon_is_asked_from_today_one_that_starts_late_from_its_own_start(
    plan, monkeypatch
):
    now(monkeypatch, 2026, 2, 20, 12)
    assert starts(run(plan, "--json"))[0] == "2026-02-21"
    now(monkeypatch, 2026, 2, 1, 12)
    assert starts(run(plan, "--json"))[0] == "2026-03-02"


def test_the_demo_answers_the_same_on_every_day(monkeypatch):
    said = []
    for at in ((2026, 1, 1), (2027, 8, 9)):
        now(monkeypatch, *at)
        said.append(run("--json", "--set", "weather.futures=3").output)
    assert said[0] == said[1]
    assert json.loads(said[0])["days"][0]["start"] == "2026-09-14"


def test_from_and_to_are_dates_today_or_tomorrow(plan, monkeypatch):
    now(monkeypatch, 2026, 10, 19, 12)
    asked = run(plan, "--from", "tomorrow", "--to", "2026-10-23", "--json")
    assert starts(asked) == ["2026-10-21", "2026-10-22", "2026-10-23"]
    same = run(plan, "--date", "2026-10-21", "--to", "2026-10-23", "--json")
    assert same.stdout == asked.stdout


def test_json_is_that_of_python(plan, monkeypatch):
    answer = json.loads(run(plan, "--from", "2026-03-02", "--json").stdout)
    told = when(Plan.read(plan)).as_dict()
    assert {key: answer[key] for key in told} == json.loads(json.dumps(told))
    assert {"days", "first_yes", "best", "worst", "seasons", "dullest", "cautions"} <= set(answer)
    day = answer["days"][0]
    assert {"start", "answer", "chance", "lowest_percent", "rests_on"} <= set(day)
    assert answer["dullest"] is None


def test_a_year_has_a_season_and_says_what_its_dullest_month_needs(plan, monkeypatch):
    watts = "task.1.working_w=39"
    answer = json.loads(
        run(plan, "--from", "2026-03-02", "--year", "--json", "--set", watts).stdout
    )
    assert len(answer["days"]) == 73
    assert answer["seasons"]
    assert answer["dullest"]["fixes"]
    assert answer["dullest"]["month"] in ("June", "July")  # the long nights of the south
    monkeypatch.setattr("energy.answers.when.when.YEAR_STEP", 20)
    told = run(plan, "--from", "2026-03-02", "--year", "--set", watts).output
    assert "is the hardest month" in told
    assert "makes it a yes" in told
    assert len(told.splitlines()) <= LINES


def test_without_fixes_nothing_is_looked_for(plan, monkeypatch):
    monkeypatch.setattr("energy.answers.when.when.YEAR_STEP", 40)
    monkeypatch.setattr("energy.answers.when.dullest.fixes", None)
    watts = "task.1.working_w=90"
    answer = run(plan, "--from", "2026-03-02", "--year", "--no-fixes", "--set", watts)
    assert "hardest month" not in answer.output
    assert "starts asked" in answer.output


def test_the_plan_moved_to_the_best_day_is_written(plan):
    answer = run(
        plan, "--from", "2026-06-01", "--to", "2026-06-04", "--write", "best.toml", "--json"
    )
    best = json.loads(answer.stdout)["best"]
    written = Plan.read("best.toml")
    assert str(written.span.start) == f"{best} 08:00:00"
    assert (
        written.span.end - written.span.start
        == Plan.read(plan).span.end - Plan.read(plan).span.start
    )
    assert "at the date line" in Path("best.toml").read_text()


def test_the_exit_status_is_0_where_any_day_is_a_yes(plan):
    assert run(plan, "--from", "2026-03-02").exit_code == 0
    answer = run(plan, "--from", "2026-03-02", "--set", "task.1.working_w=90")
    assert answer.exit_code == 1
    assert "finds what makes it a yes" in answer.output


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--from", "2026-03-09", "--to", "2026-03-02"], "must not lie after"),
        (["--from", "2026-03-09", "--to", "2029-03-02"], "at most 366"),
        (["--to", "2020-03-09"], "must not lie after the last, 2020-03-09"),
        (["--year", "--to", "2026-03-09"], "leave out --to"),
        (["--from", "soon"], "--from must be a date"),
        (["--to", "soon"], "--to must be a date"),
        (["--from", "2026-03-02", "--plot", "a.gif"], "must end in"),
    ],
)
def test_wrong_input_is_one_line(plan, arguments, words):
    answer = run(plan, *arguments)
    assert answer.exit_code == 2
    (line,) = answer.stderr.splitlines()
    assert words in line


def test_a_picture_is_written(plan):
    answer = run(plan, "--from", "2026-03-02", "--plot", "days.png")
    assert "Wrote days.png" in answer.output
    assert Path("days.png").read_bytes().startswith(b"\x89PNG")

"""What a stranger's file, terminal or machine may hold: names that steer, letters of another
encoding, no home, a folder of weather that cannot be read.

Which characters steer a terminal or turn a line round is Unicode's (categories Cc and Cf).
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from energy.cli.main import app
from energy.weather.fetched import cache

ROOT = Path(__file__).parents[2]
DEMO = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
STEERING = "\x1b]0;owned\x07\x1b[2J\u202e\u2066\u200b\x9b31m"
LISTED = (
    "name,kind,rated_w,capacity_wh,inverter_w,surge_w,kg,price,count_max\n"
    "{name} folding,panel,200,,,,6,250,2\n{name} box,pack,,2000,2000,4000,14,600,1\n"
)


def asked(*arguments):
    return CliRunner().invoke(app, [str(word) for word in arguments])


def steers(text):
    return set(STEERING) & {letter for letter in text if not letter.isprintable()}


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(DEMO)
    return path


# --- names -------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", [[], ["--kits"], ["--all"], ["--json"]])
def test_a_candidates_name_does_not_steer(how, plan):
    (plan.parent / "list.csv").write_text(LISTED.format(name=f"a{STEERING}b"), encoding="utf-8")
    sized = '[size]\npanel_w = [100, 400]\nbattery_wh = [500, 3000]\ncandidates = "list.csv"\n'
    plan.write_text(f"{DEMO}\n{sized}")
    answer = asked("size", plan, *how)
    assert answer.exit_code in (0, 1, 2), answer.output
    assert answer.output
    assert not steers(answer.output)


@pytest.mark.parametrize(
    "rows",
    [
        "time,battery_percent,tool,count\n09:20,90,,\n12:00,74,{name},16\n",
        "time,battery_percent,{name},count\n09:20,90,,\n",
        "time,battery_percent,tool,count\n{name},90,,\n",
    ],
)
@pytest.mark.parametrize("command", ["readings", "score"])
def test_a_name_among_the_readings_does_not_steer(command, rows, plan):
    read = plan.parent / "r.csv"
    read.write_text(rows.format(name=f"cut{STEERING}"), encoding="utf-8")
    answer = asked("learn", command, plan, read)
    assert answer.exit_code in (0, 2), answer.output
    assert answer.output
    assert not steers(answer.output)


@pytest.mark.parametrize("key", ['title = "', 'name = "tea'])
@pytest.mark.parametrize(
    "command", [["check", "--no-fixes"], ["choose"], ["wire"], ["learn", "next"]]
)
def test_a_title_or_a_name_that_steers_is_refused_by_every_command(key, command, plan):
    shown = "".join(f"\\u{ord(letter):04x}" for letter in STEERING)
    plan.write_text(DEMO.replace(key, f"{key}{shown}", 1))
    answer = asked(*command, plan)
    assert answer.exit_code == 2, answer.output
    assert "must be one line of printable text" in answer.stderr
    assert not steers(answer.output)


def test_neither_picture_nor_calendar_takes_over_what_a_files_name_holds(tmp_path):
    plan = tmp_path / f"a{STEERING.replace('/', '')}.toml"
    plan.write_text("".join(DEMO.partition("[place]")[1:]))  # without a title
    picture, calendar = tmp_path / "p.svg", tmp_path / "c.ics"
    assert asked("check", plan, "--no-fixes", "--plot", picture).exit_code in (0, 1)
    assert asked("choose", plan, "--calendar", calendar).exit_code == 0
    for written in (picture, calendar):
        assert not steers(written.read_text(encoding="utf-8").replace("\r\n", "").replace("\n", ""))


# --- a terminal of another encoding, a machine without a home ----------------------------------


def energy(*arguments, said=b"", **settings):
    given = {"PYTHONPATH": str(ROOT), "PATH": os.environ["PATH"], **settings}
    command = [sys.executable, "-m", "energy", *map(str, arguments)]
    return subprocess.run(
        command, input=said, env=given, capture_output=True, check=False, timeout=120
    )


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["new", "mine.toml", "--ask"], b"caf\xe9\n"),
        pytest.param(
            ["tools", "my-saw", "--add", "mine.toml"], b"\xe9\xff\n", marks=pytest.mark.oracle
        ),
    ],
)
def test_letters_of_another_encoding_at_a_question_are_shown_and_asked_again(
    arguments, said, tmp_path
):
    arguments = [tmp_path / word if word == "mine.toml" else word for word in arguments]
    ended = energy(*arguments, said=said, PYTHONUTF8="1")
    assert ended.returncode == 2
    first, *rest = ended.stderr.decode().splitlines()
    assert "\\xe9" in first
    assert rest == ["the input ended before all questions were answered"]
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "home",
    [
        pytest.param({}, marks=pytest.mark.oracle),
        pytest.param({"HOME": ""}, marks=pytest.mark.oracle),
        {"HOME": "/dev/null/none"},
    ],
)
def test_without_a_home_an_answer_is_given_all_the_same(home, plan):
    ended = energy("check", plan, "--no-fixes", **home)
    assert ended.returncode == 1, ended.stderr
    assert b"fault of the tool" not in ended.stderr


# --- the folder of held weather ----------------------------------------------------------------


@pytest.fixture(params=["a file", "a loop", "behind a file", "shut"])
def unreadable(request, tmp_path, monkeypatch):
    """A cache folder that cannot be read, and whether anything could ever stand there."""
    folder = tmp_path / "held"
    if request.param == "a file":
        folder.write_text("")
    elif request.param == "a loop":
        folder.symlink_to(folder)
    elif request.param == "behind a file":
        (tmp_path / "file").write_text("")
        folder = tmp_path / "file" / "held"
    else:
        folder.mkdir()

        def shut(path):
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr(cache.os, "listdir", shut)  # whoever runs the tests may read all
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: folder)
    return folder


@pytest.mark.parametrize("kind", ["history", "forecast"])
def test_weather_in_a_folder_that_cannot_be_read_is_one_line(kind, unreadable, plan):
    text = DEMO.replace('kind = "file"', f'kind = "{kind}"')
    plan.write_text("\n".join(line for line in text.splitlines() if not line.startswith("file =")))
    answer = asked("check", plan)
    assert answer.exit_code == 3, answer.output
    (line,) = answer.stderr.splitlines()
    assert line.startswith(f"{unreadable}: held weather cannot be read: ")


def test_the_list_of_held_weather_says_that_its_folder_cannot_be_read(unreadable):
    answer = asked("weather")
    assert answer.exit_code == 3
    (line,) = answer.stderr.splitlines()
    assert str(unreadable) in line
    assert "No weather is held" not in answer.output


def test_a_folder_that_was_never_made_holds_no_weather(tmp_path):
    assert cache.cached(tmp_path / "none") == []

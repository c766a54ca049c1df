"""`energy weather`, from the command line: fetched from a server on this machine, then used.

What the server sends is invented (see `weather_server`).
"""

import json
import subprocess
import sys
from functools import partial

import pytest
import weather_server as ws
from typer.testing import CliRunner

from energy.cli.main import app
from energy.weather.fetched import online

PLAN = """
place = { latitude_deg = 50.0, longitude_deg = 10.0, timezone = "UTC" }
span = { start = 2026-06-01T08:00:00, end = 2026-06-02T20:00:00 }
weather = { kind = "history" }
panel = [{ rated_w = 100 }]
pack = { capacity_wh = 500 }
task = [{ name = "lamp", supply = "dc12", working_w = 5 }]
"""


def run(*arguments):
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


@pytest.fixture
def plan(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    return path


def served(monkeypatch, seen):
    for name in ("fetch_history", "fetch_forecast"):
        fetch = partial(getattr(online, name), address=seen.address)
        monkeypatch.setattr(online, name, fetch)


def test_nothing_held_says_how_to_fetch(plan):
    found = run("weather")
    assert found.exit_code == 0
    assert "--history" in found.output


def test_history_is_fetched_listed_and_then_used_without_a_network(plan, monkeypatch):
    with ws.serving(ws.service()) as seen:
        served(monkeypatch, seen)
        found = run("weather", plan, "--history", "--years", "2")
    assert found.exit_code == 0
    first, *_ = found.output.splitlines()
    assert first.startswith("Fetching hourly light")
    assert "50.000, 10.000" in found.output
    answer = json.loads(run("check", plan, "--json").stdout)
    assert answer["weather"]["kind"] == "history"
    assert "NASA POWER" in answer["weather"]["from"]
    assert answer["chance"]["futures"] == 62


def test_a_forecast_is_fetched_and_its_age_is_said(plan, monkeypatch):
    with ws.serving(ws.service()) as seen:
        served(monkeypatch, seen)
        assert run("weather", plan, "--forecast").exit_code == 0
    monkeypatch.setenv("COLUMNS", "100")
    shown = run("weather").output
    assert "forecast" in shown
    assert "less than an" in shown  # in a column of its own, folded
    assert "hour ago" in shown


def test_a_service_that_fails_is_one_line_and_exit_status_3(plan, monkeypatch):
    with ws.serving(ws.answers(503, {"reason": "resting"})) as seen:
        served(monkeypatch, seen)
        found = run("weather", plan, "--forecast")
    assert found.exit_code == 3
    assert len(found.stderr.strip().splitlines()) == 1
    assert "resting" in found.stderr


def test_wrong_years_are_refused(plan):
    assert run("weather", plan, "--history", "--years", "0").exit_code == 2


WATCHED = """
import sys
ASKS = ("socket.connect", "socket.getaddrinfo", "socket.sendto", "socket.gethostbyname")
asked = []
sys.addaudithook(lambda event, _: asked.append(event) if event in ASKS else None)
from typer.testing import CliRunner
from energy.cli.main import app
for line in ("check --no-fixes", "tools", "weather"):
    answer = CliRunner().invoke(app, line.split(), catch_exceptions=False)
    print(line.split()[0], answer.exit_code, asked)
"""


def test_no_other_use_asks_the_network(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", WATCHED], capture_output=True, text=True, cwd=tmp_path, check=True
    )
    found = [line.split(maxsplit=2) for line in done.stdout.splitlines()]
    assert [command for command, *_ in found] == ["check", "tools", "weather"]
    for command, code, asked in found:
        assert code in ("0", "1"), command
        assert asked == "[]", command

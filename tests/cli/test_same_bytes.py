"""The same plan gives the same bytes, whenever it is asked, and in several threads at once."""

import json
import threading
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from energy.answers.choose.choose import choose
from energy.cli.main import app
from energy.plan import Plan

DEMO = Path(__file__).parents[2] / "profiles" / "plans" / "cloudy-repair.toml"


def run(*arguments):
    answer = CliRunner().invoke(app, [str(word) for word in arguments])
    assert answer.exit_code in (0, 1), answer.output
    return answer


WRITTEN = (
    ("choose", "--calendar", "ics"),
    ("check", "--plot", "svg"),
    ("check", "--plot", "pdf"),
    ("check", "--plot", "png"),
    ("check", "--csv", "csv"),
    ("aim", "--write", "toml"),
    ("page", None, "html"),
)


SMALL = """
place = { latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }
span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }
weather = { kind = "sky", sky = "broken", futures = 20 }
panel = [{ rated_w = 60 }]
pack = { capacity_wh = 200 }
task = [
  { name = "lamp", supply = "dc12", working_w = 9, hours = 3, flexible = true },
  { name = "pump", supply = "dc12", working_w = 60, hours = 2, between = ["09:00", "16:00"] },
]
"""


def test_a_file_written_later_is_the_same(tmp_path):
    (plan := tmp_path / "plan.toml").write_text(SMALL)
    first, second = {}, {}
    for number, files in enumerate((first, second)):
        time.sleep(1.1 * number)  # the stamps of these files are whole seconds
        for command, option, suffix in WRITTEN:
            file = tmp_path / f"{number}.{suffix}"
            fast = ["--no-fixes"] if command == "check" else []
            run(command, plan, *filter(None, (option, file)), *fast)
            files[suffix] = file.read_bytes()
    assert all(first.values())
    assert [suffix for suffix in first if first[suffix] != second[suffix]] == []


@pytest.mark.oracle
def test_choosing_in_threads_gives_what_one_gives_and_leaves_the_streams_alone(capfd):
    plan = Plan.read(str(DEMO))
    alone = choose(plan).as_dict()
    answers: list = []

    def ask():
        answers.append(choose(plan).as_dict())
        print("asked", flush=True)

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print("at the end", flush=True)
    said = capfd.readouterr()
    assert answers == [alone] * 2
    assert said.out.split("\n") == ["asked", "asked", "at the end", ""]
    assert said.err == ""


def no_such_figure(word):
    raise AssertionError(f"{word} is no JSON")


@pytest.mark.parametrize(
    "change",
    [
        "panel = []\npack = { capacity_wh = 1, start_percent = 0 }",
        "pack = { capacity_wh = 1e6, discharge_max_w = 1e6, resistive_h = 0 }",
    ],
)
@pytest.mark.parametrize("command", ["check", "choose", "when", "size", "aim", "wire"])
def test_json_holds_figures_alone(tmp_path, command, change):
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'place = { latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }\n'
        "span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }\n"
        f'weather = {{ kind = "clear" }}\n{change}\n'
        'task = [{ name = "lamp", supply = "dc12", working_w = 9, hours = 3 }]\n'
    )
    answer = CliRunner().invoke(app, [command, str(plan), "--json"])
    assert answer.exit_code in (0, 1, 2), (answer.output, answer.exception)
    if answer.exit_code < 2:
        json.loads(answer.stdout, parse_constant=no_such_figure)
    else:
        assert answer.stdout == ""

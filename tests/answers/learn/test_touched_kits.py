"""Files of learning that were touched or are odd: one line with table and key, and whoever only
uses the kit's tools goes on. Kits and readings are invented."""

import math
import re

import meter_days as lived
import pytest
from typer.testing import CliRunner

from energy.answers.learn.kit_file import as_toml, read_kit_file
from energy.answers.learn.learn import learn
from energy.answers.learn.next_reading import as_dict, what_to_read
from energy.answers.learn.own_figures import own
from energy.answers.learn.readings import parse_readings
from energy.cli.main import app
from energy.plan import Plan, PlanError
from energy.tables import parse_table

READ = "time,battery_percent,tool,count\n08:30,88,,\n11:00,60,angle-grinder-115,20\n"
SCORE = """
[learned.scores.from-a]
file = "x"
first = "x"
last = "x"
typical_points = {}
bias_points = 1.0
rows = []
latitude_deg = 50.0
longitude_deg = 10.0
days = ["2026-06-01"]
"""


@pytest.fixture(scope="module")
def good():
    plan = lived.folded()
    return as_toml(learn(plan, parse_readings(READ, plan)).kit_file, "my-kit.toml")


def first_of(key, value):
    return lambda text: re.sub(rf"^{key} = \[[^,]*", f"{key} = [{value}", text, flags=re.M)


def whole(key, line):
    return lambda text: re.sub(rf"^{key} = .*$", line, text, flags=re.M)


TOUCHED = {
    "base 0": (first_of("base", "0"), "[learned.figures]: base item 1 cannot be 0"),
    "base NaN": (first_of("base", "nan"), "[learned.figures]: base item 1 cannot be nan"),
    "a huge base": (first_of("base", "1e300"), "[learned.figures]: base item 1"),
    "mean NaN": (first_of("mean", "nan"), "[learned.figures]: mean item 1"),
    "mean infinite": (first_of("mean", "inf"), "[learned.figures]: mean item 1"),
    "mean 0": (first_of("mean", "0.0"), "[learned.figures]: mean item 1"),
    "spread 0": (first_of("first_spread", "0"), "[learned.figures]: first_spread item 1"),
    "covariance NaN": (
        first_of("covariance", "[nan"),
        "[learned.figures]: covariance item 1 item 1",
    ),
    "covariance below 0": (first_of("covariance", "[-1"), "[learned.figures]: covariance"),
    "a lopsided covariance": (
        lambda text: re.sub(r"^(covariance = \[\[[^,]*,) [^,]*", r"\1 0.001", text, flags=re.M),
        "[learned.figures]: covariance",
    ),
    "no base": (whole("base", ""), "[learned.figures]: base is missing"),
    "a base that is no list": (whole("base", "base = 3"), "[learned.figures]: base cannot be 3"),
    "a base that is a time": (
        whole("base", "base = 2020-01-01T00:00:00"),
        "[learned.figures]: base cannot be",
    ),
    "a day that is a time": (
        whole("updated", "updated = 2026-01-01T10:00:00"),
        "[learned.figures]: updated",
    ),
    "a figure of nothing": (first_of("names", '"weird"'), "[learned.figures]: names"),
    "a name that steers": (
        first_of("names", '"tool:a\\\\u001b[2J\\\\u202eb"'),
        "[learned.figures]: names",
    ),
    "one name twice": (
        lambda text: text.replace('"idle_w:', '"capacity_wh:', 1),
        "[learned.figures]: names",
    ),
    "figures that are a list": (
        lambda text: text.split("[learned.figures]")[0] + "[learned]\nfigures = [1]\n",
        "[learned.figures]",
    ),
    "rows that are numbers": (whole("rows", "rows = [3]"), ": rows item 1 cannot be 3"),
    "readings that are a number": (
        lambda text: text.split("[learned.readings")[0] + "[learned]\nreadings = 1\n",
        "[learned.readings]",
    ),
    "nothing of it": (
        lambda text: "learned = 3\n" + text.split("[learned.figures]")[0],
        "[learned]",
    ),
    "a score of NaN": (
        lambda text: text + SCORE.format("nan"),
        "[learned.scores.from-a]: typical_points cannot be nan",
    ),
}


@pytest.mark.parametrize("name", TOUCHED)
def test_a_touched_kit_is_one_line_and_its_tools_are_used(tmp_path, good, name):
    touch, words = TOUCHED[name]
    text = touch(good)
    assert text != good
    kit = tmp_path / "my-kit.toml"
    kit.write_text(text)
    with pytest.raises(PlanError) as caught:
        read_kit_file(kit)
    (line,) = caught.value.problems
    assert line.startswith("my-kit.toml: ")
    assert words in line
    assert line.isprintable()
    tables = lived.folded().source | {"profiles": ["my-kit.toml"]}
    mine = Plan.from_dict(tables, folder=tmp_path)
    assert mine.task[0].source.startswith("your own readings")
    assert own(mine, tmp_path).problems == (line,)
    assert own(mine, tmp_path).figures == ()


def test_a_plan_with_a_touched_kit_is_answered_and_learns_nothing(tmp_path, good):
    kit, plan, readings = (tmp_path / name for name in ("my-kit.toml", "plan.toml", "r.csv"))
    kit.write_text(first_of("base", "0")(good))
    before = kit.read_text()
    demo = Plan.read("builtin:cloudy-repair")
    text = CliRunner().invoke(app, ["new", str(plan)])
    assert text.exit_code == 0, text.output
    plan.write_text('profiles = ["my-kit.toml"]\n' + plan.read_text())
    readings.write_text("time,battery_percent\n12:00,80\n18:00,60\n")
    assert Plan.read(plan).task[0].name == demo.task[0].name
    for command in (["check", "--no-fixes"], ["check", "--no-fixes", "--json"], ["wire"]):
        told = CliRunner().invoke(app, [command[0], str(plan), *command[1:]])
        assert told.exit_code in (0, 1), told.output
        assert len(told.stderr.splitlines()) == 1
        assert "[learned.figures]: base item 1" in told.stderr
    for command in (["next", plan], ["readings", plan, readings, "--write", kit]):
        told = CliRunner().invoke(app, ["learn", *map(str, command)])
        assert told.exit_code == 2
        assert len(told.stderr.splitlines()) == 1
    assert kit.read_text() == before


@pytest.mark.parametrize(
    "time", ["0001-01-01 00:00", "0001-01-01T00:00+14:00", "9999-12-31T23:59-14:00"]
)
def test_readings_at_the_ends_of_the_calendar_are_lines(time):
    plan = lived.folded()
    read = parse_readings(f"time,battery_percent\n{time},50\n11:00,60\n", plan)
    assert len(read.rows) == 1
    (problem,) = read.problems
    assert problem.startswith("readings: line 2: ")


def test_a_cell_too_long_for_a_table_is_one_line():
    with pytest.raises(PlanError) as caught:
        parse_table(f"time,battery_percent\n09:00,{'1' * 200_000}\n", "r.csv")
    (line,) = caught.value.problems
    assert line.startswith("r.csv: line 2: ")


ODD = {
    "a pack charged by drops": {"pack.charge_max_w": 1e-6, "pack.capacity_wh": 1e6},
    "a tiny pack": {"pack.capacity_wh": 1, "pack.charge_max_w": 1e-3},
    "an empty pack": {"pack.start_percent": 0},
    "a huge pack": {"pack.capacity_wh": 1e6, "pack.charge_max_w": 1e6},
    "dim panels": {"panel.1.rated_w": 1e-6},
    "wide spreads": {"task.1.spread_percent": 200},
}


@pytest.mark.parametrize("name", ODD)
def test_odd_plans_are_told_numbers_or_nothing(name):
    plan = Plan.read("builtin:cloudy-repair").replace(**ODD[name])
    for one in as_dict(what_to_read(plan))["what_to_read"]:
        assert math.isfinite(one["doubt_left_percent"])

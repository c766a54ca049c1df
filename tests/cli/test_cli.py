"""The commands as a person runs them: status, lines, files, nothing half-written."""

import csv
import json
import os
import re
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest
import readme_made
from checkout import ROOT
from typer.testing import CliRunner

import energy
from energy.cli.main import app

SMALL = """
[place]
latitude_deg = 50.0
longitude_deg = 8.0
timezone = "Europe/Berlin"
[span]
start = 2026-06-01T08:00:00
end = 2026-06-01T20:00:00
[weather]
kind = "clear"
[[panel]]
rated_w = 100
[pack]
capacity_wh = 500
[pack.inverter]
rated_w = 500
[[task]]
name = "lamp"
supply = "dc12"
working_w = 5
hours = 2
between = ["17:00", "20:00"]
"""
GRINDER = """
[[task]]
tool = "angle-grinder-125"
times = 2
each_s = 30
between = ["09:00", "10:00"]
"""


def run(*arguments: str):
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(SMALL)
    return path


def test_yes_is_exit_status_0(plan):
    found = run("check", plan)
    assert found.exit_code == 0
    assert "YES" in found.output


def test_no_is_exit_status_1_and_names_the_number_that_broke_it(plan):
    plan.write_text(SMALL + GRINDER)
    found = run("check", plan)
    assert found.exit_code == 1
    assert "starts at 2700 W" in " ".join(found.output.split())


def test_a_task_that_never_runs_is_not_said_to_run_at_times(plan):
    task = {"name": "never", "supply": "ac", "working_w": 5000, "minutes": 5, "at": "09:00"}
    never = "\n[[task]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in task.items())
    plan.write_text(SMALL + never)
    first = run("check", plan).output
    assert '"never" cannot run' in " ".join(first.split())


def test_wrong_input_is_one_line_a_problem_and_exit_status_2(plan):
    plan.write_text(SMALL.replace("hours = 2", "hours = -2").replace("rated_w = 100", "ratd_w = 1"))
    found = run("check", plan)
    assert found.exit_code == 2
    lines = found.stderr.strip().splitlines()
    assert len(lines) >= 2
    assert all(line.startswith("plan.toml: ") for line in lines)
    assert found.stdout == ""


def test_no_plan_is_the_demo_and_says_so():
    found = run("check", "--no-fixes")
    assert "built-in demo" in found.output
    assert found.exit_code in (0, 1)


KEYS = {
    "title", "answer", "verdict", "weather", "chance", "lowest_charge", "too_cold_from",
    "end_charge_percent", "full_again_at", "ledger_wh", "tasks", "checkpoints", "fixes",
    "fixes_cut_short", "cautions", "own_figures", "usual_error",
}  # fmt: skip


def test_json_has_its_stable_keys(plan):
    answer = json.loads(run("check", plan, "--json").stdout)
    assert set(answer) == KEYS
    assert set(answer["chance"]) == {
        "percent", "low", "high", "futures", "independent", "goal", "must_percent",
        "powered_percent", "powered_low",
    }  # fmt: skip
    assert {"id", "text", "about"} <= set(answer["cautions"][0])
    task = answer["tasks"][0]
    assert task["energy_wh"] == pytest.approx(10.0)
    assert datetime.fromisoformat(answer["lowest_charge"]["at"]).utcoffset().total_seconds() == 7200


@pytest.mark.parametrize(
    "command",
    [
        ["choose"], ["choose", "--how-many", "lamp"], ["aim"], ["wire"], ["size"],
        ["learn", "next"],
        ["when"],
    ],
)  # fmt: skip
def test_every_answer_says_what_to_take_care_of(plan, command):
    strong = SMALL.replace("rated_w = 500", "rated_w = 2000\nsurge_w = 4000")
    plan.write_text(strong.replace("capacity_wh = 500", "capacity_wh = 2500") + GRINDER)
    answer = json.loads(run(*command, plan, "--json").stdout)
    assert "rotating-tools" in [caution["id"] for caution in answer["cautions"]]
    text = run(*command, plan, "--care").output
    assert "Take care" in text
    assert text == run(*command, plan, "--all-cautions").output  # its name before
    assert all(caution["text"] in " ".join(text.split()) for caution in answer["cautions"])


@pytest.mark.oracle
def test_the_years_of_the_plans_own_size_stand_in_the_json(plan):
    ranges = "\n[size]\nbattery_wh = [100, 200]\npanel_w = [100, 100]\n"
    plan.write_text(SMALL + ranges + 'candidates = "kit.csv"\n')
    answer = json.loads(run("size", plan, "--season", "year", "--json").stdout)
    assert answer["kits"] == []
    assert answer["kit_notes"][0].startswith(
        "kit.csv is not used: whole years are sized on a scale"
    )
    assert answer["own"]["panel_w"] == 100
    assert len(answer["own"]["months"]) == 12
    assert answer["own_figures"] == []


def test_a_size_that_is_not_found_is_not_written_and_that_is_said(plan, tmp_path):
    plan.write_text(SMALL + "\n[size]\nbattery_wh = [2, 4]\npanel_w = [0, 1]\n")
    found = run("size", plan, "--write", tmp_path / "sized.toml")
    assert found.exit_code == 1
    assert "is not written" in " ".join(found.output.split())
    assert not (tmp_path / "sized.toml").exists()


def test_now_says_how_the_day_runs_against_the_plan(plan):
    answer = json.loads(run("check", plan, "--json", "--now", "13:20", "--battery", "46").stdout)
    assert answer["now"]["measured_percent"] == 46
    assert answer["now"]["expected_percent"] > 90


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--now", "13:20"], "needed together"),
        (["--now", "23:20", "--battery", "46"], "outside the plan's span"),
        (["--now", "noonish", "--battery", "46"], "is not a time"),
        (["--now", "13:20", "--battery", "146"], "between 0 and 100"),
    ],
)
def test_a_wrong_now_is_one_line(plan, arguments, words):
    found = run("check", plan, *arguments)
    assert found.exit_code == 2
    assert words in found.stderr
    assert len(found.stderr.strip().splitlines()) == 1


def test_csv_has_the_start_and_a_row_a_segment(plan, tmp_path):
    target = tmp_path / "out.csv"
    run("check", plan, "--csv", target)
    rows = list(csv.DictReader(target.open()))
    assert list(rows[0]) == [
        "time", "charge_percent", "charge_low_percent", "charge_high_percent", "solar_w",
        "spilled_w", "charger_w", "load_w", "delivered_w", "idle_w",
    ]  # fmt: skip
    assert rows[0]["time"] == "2026-06-01T08:00:00+02:00"
    assert float(rows[0]["charge_percent"]) == 100.0
    hours = 5.0 / 60.0
    lamp = sum(float(row["delivered_w"]) * hours for row in rows[1:])
    assert lamp == pytest.approx(10.0, rel=1e-3)


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf"])
def test_a_plot_is_written_whole(plan, tmp_path, suffix):
    target = tmp_path / f"charge.{suffix}"
    assert run("check", plan, "--plot", target).exit_code == 0
    starts = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    assert target.read_bytes().startswith(starts[suffix])
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"charge.{suffix}", "plan.toml"]


@pytest.mark.parametrize("option", ["--csv", "--plot"])
def test_a_place_that_cannot_be_written_is_one_line(plan, tmp_path, option):
    target = tmp_path / "missing" / "out.png"
    found = run("check", plan, option, target)
    assert found.exit_code == 2
    assert len(found.stderr.strip().splitlines()) == 1
    assert not target.parent.exists()


def test_an_output_that_is_there_stays_whole_when_writing_fails(tmp_path, monkeypatch):
    from energy.plan import PlanError
    from energy.show import files

    target = tmp_path / "old.csv"
    target.write_text("old")

    def fails(beside: Path) -> None:
        beside.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(PlanError, match="No space left"):
        files.write_safely(target, fails)
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("kind", ["history", "forecast"])
def test_weather_that_was_never_fetched_is_exit_status_3_and_says_how(
    plan, kind, tmp_path, monkeypatch
):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    plan.write_text(SMALL.replace('kind = "clear"', f'kind = "{kind}"'))
    found = run("check", plan)
    assert found.exit_code == 3
    assert len(found.stderr.strip().splitlines()) == 1
    assert f"--{kind}" in found.stderr


def test_a_plan_without_weather_rests_on_the_climate_table_and_says_so(plan):
    plan.write_text(SMALL.replace('[weather]\nkind = "clear"\n', ""))
    found = run("check", plan)
    assert found.exit_code in (0, 1)
    assert "the built-in climate table" in " ".join(found.output.split())


def test_a_place_that_the_climate_table_does_not_know_is_one_line(plan):
    text = SMALL.replace('[weather]\nkind = "clear"\n', "").replace("= 50.0", "= 85.0")
    plan.write_text(text)
    found = run("check", plan)
    assert found.exit_code == 2
    assert len(found.stderr.strip().splitlines()) == 1
    assert "give a weather file" in found.stderr


@pytest.mark.parametrize(
    "make",
    [
        lambda p: p.mkdir(),
        lambda p: p.write_bytes(b"\x00\xff" * 100),
        lambda p: p.write_bytes(b"#" * 50_000_000),
        lambda p: p.write_text("a = "),
        lambda p: None,
    ],
    ids=["folder", "binary", "50 MB", "not TOML", "missing"],
)
def test_what_is_no_plan_is_one_line(tmp_path, make):
    path = tmp_path / "no-plan.toml"
    make(path)
    found = run("check", path)
    assert found.exit_code == 2
    assert len(found.stderr.strip().splitlines()) == 1
    assert "Traceback" not in found.output


def test_new_writes_a_plan_that_is_read_again_with_its_comments(tmp_path):
    target = tmp_path / "mine.toml"
    assert run("new", target).exit_code == 0
    assert "#" in target.read_text()
    assert energy.Plan.read(target).title


@pytest.mark.parametrize(
    ("at", "zone"),
    [
        ("47.05,8.30", "Europe/Zurich"),
        ("-43.5,172.0", "Pacific/Auckland"),
        ("1.9,-157.4", "Pacific/Kiritimati"),
        ("27.7,85.3", "Asia/Kathmandu"),
    ],
)
def test_new_at_a_place_fills_in_zone_and_elevation_and_can_be_checked(tmp_path, at, zone):
    target = tmp_path / "mine.toml"
    assert run("new", target, "--at", at).exit_code == 0
    plan = energy.Plan.read(target)
    assert plan.place.timezone == zone
    assert plan.place.elevation_m is not None
    assert run("check", target, "--no-fixes").exit_code in (0, 1)


def test_new_never_overwrites(plan):
    found = run("new", plan)
    assert found.exit_code == 2
    assert plan.read_text() == SMALL


def test_new_asks_and_asks_again_where_an_answer_cannot_be(tmp_path):
    target = tmp_path / "mine.toml"
    answers = [
        "fifty,8", "50.0,8.0", "2026-06-01 08:00", "2026-05-01", "2026-06-01 20:00",
        "outdoors, afloat", "cloudy", "few", "pack-501", "pack-500", "100", "folding-100", "1",
        "angle-grinder-115", "many", "4", "30", "nine to twelve", "09:00-12:00", "no",
        "phone", "1", "12:00-16:00", "no",
        "anchor-light", "sunset-sunrise", "all", "yes", "",
    ]  # fmt: skip
    found = CliRunner().invoke(app, ["new", str(target), "--ask"], input="\n".join(answers) + "\n")
    assert found.exit_code == 0, found.output
    plan = energy.Plan.read(target)
    assert [task.times for task in plan.task] == [4, None, None]
    assert plan.task[2].between == (("sunset", 0.0), ("sunrise", 0.0))
    assert plan.task[2].must
    assert "afloat" in plan.place.around
    assert 'did you mean "pack-500"' in found.stderr


def test_tools_lists_searches_and_shows():
    assert "angle-grinder-125" in run("tools").output
    assert "angle-grinder-125" in run("tools", "grinder").output
    shown = run("tools", "angle-grinder-125").output
    assert "source" in shown
    assert "working_w" in shown


def test_an_unknown_tool_offers_the_nearest():
    found = run("tools", "angel-grinder-125")
    assert found.exit_code == 2
    assert "angle-grinder-125" in found.stderr


def test_version_is_told():
    assert run("--version").output.startswith("energy 0.")


def process(code: str) -> str:
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    return found.stdout.strip()


def test_import_energy_costs_nothing_until_a_name_is_used():
    loaded = process(
        "import sys, energy; print([m for m in ('numpy', 'pvlib') if m in sys.modules])"
    )
    assert loaded == "[]"


def test_a_check_loads_no_pictures_and_no_network():
    code = (
        "import sys; from energy import Plan, check, cautions\nimport energy.answers.check.words\n"
        "a = check(Plan.read('builtin:cloudy-repair')); cautions(a.budget);"
        "print([m for m in ('matplotlib', 'tomlkit', 'plotext') if m in sys.modules])"
    )
    assert process(code) == "[]"


def test_help_does_not_import_the_sun():
    code = (
        "import sys; from typer.testing import CliRunner; from energy.cli.main import app;"
        "CliRunner().invoke(app, ['--help']);"
        "print([m for m in ('numpy', 'pandas', 'pvlib', 'pydantic') if m in sys.modules])"
    )
    assert process(code) == "[]"


def test_every_command_has_help_and_stands_in_the_readme():
    readme = (ROOT / "README.md").read_text()
    for command in app.registered_commands:
        name = command.name or command.callback.__name__
        assert command.callback.__doc__
        assert f"energy {name}" in readme


def test_every_plan_key_stands_in_the_help_that_the_readme_names():
    from energy.plan import kit, schema

    assert "energy help keys" in (ROOT / "README.md").read_text()
    listed = re.findall(r"^\[*([\w.]+)", run("help", "keys").output, re.MULTILINE)
    told = {step for name in listed for step in name.split(".")}
    models = [
        getattr(schema, n) for n in ("Place", "Span", "Weather", "Task", "Goal", "Size", "Cable")
    ]
    models += [getattr(kit, n) for n in ("Panel", "Pack", "Inverter", "SolarInput", "Charger")]
    keys = {field.alias or name for model in models for name, field in model.model_fields.items()}
    assert sorted(keys - told) == []


def test_the_readmes_small_plan_is_a_plan(tmp_path):
    readme = (ROOT / "README.md").read_text()
    text = readme.split("```toml\n", 1)[1].split("```", 1)[0]
    target = tmp_path / "small.toml"
    target.write_text(text)
    assert energy.Plan.read(target).task


def test_more_futures_than_a_record_holds_are_tried_as_many_as_there_are(plan):
    file = 'kind = "file"\nfile = "builtin:greensboro"\nfutures = 60'
    plan.write_text(SMALL.replace('kind = "clear"', file))
    found = run("check", plan)
    assert found.exit_code in (0, 1)
    assert "31 weathers tried, not 60" in " ".join(found.output.split())


def test_a_span_in_the_hour_that_the_clock_skips_is_one_line(plan):
    text = SMALL.replace("2026-06-01T08:00:00", "2026-03-29T02:30:00")
    plan.write_text(text.replace("2026-06-01T20:00:00", "2026-03-29T03:10:00"))
    found = run("check", plan)
    assert found.exit_code == 2
    assert len(found.stderr.strip().splitlines()) == 1


def test_a_plan_without_air_temperature_or_elevation_says_what_was_taken(plan):
    text = " ".join(run("check", plan, "--all").output.split())
    assert "no air temperature given: the usual air of the month is taken" in text
    assert "from pvlib's altitude grid" in text


def test_draws_under_one_sky_are_not_called_weathers(plan):
    plan.write_text(SMALL.replace('kind = "clear"', 'kind = "clear"\nfutures = 20'))
    text = " ".join(run("check", plan).output.split())
    assert "works in 20 of 20 weathers tried under the stated sky" in text


@pytest.mark.parametrize("option", ["--csv", "--plot"])
def test_a_pack_alone_in_many_weathers_has_its_text_and_files(tmp_path, option):
    target = tmp_path / "mine.toml"
    run("new", target)
    plan = energy.Plan.read(target).replace(panel=None)
    assert plan.panel == ()
    answer = energy.check(plan)
    assert answer.budget.ledger_wh["sun_on_panel"].tolist() == [0.0] * 31
    from energy.plan.write import write_changes

    target.write_text(write_changes(target, {"panel": None}))
    files = option, tmp_path / "out.png"
    assert run("check", target, "--no-fixes", *files).exit_code in (0, 1)


def test_an_output_that_is_the_plan_is_refused(plan):
    before = plan.read_text()
    found = run("check", plan, "--csv", plan)
    assert found.exit_code == 2
    assert plan.read_text() == before


def test_the_panel_of_a_new_plan_in_the_south_faces_the_equator(tmp_path):
    target = tmp_path / "mine.toml"
    run("new", target, "--at", "-43.5,172.0")
    assert energy.Plan.read(target).panel[0].facing_deg == 0.0


def test_an_overload_is_named_in_the_first_line(plan):
    plan.write_text(SMALL + GRINDER)
    first = run("check", plan).output.splitlines()
    text = " ".join(" ".join(first[:4]).split())
    assert 'NO "angle grinder' in text
    assert "cannot run: " in text


def test_skies_set_three_stated_skies_beside_the_chance(plan):
    answer = json.loads(run("check", plan, "--json", "--skies").stdout)
    assert [sky["sky"] for sky in answer["skies"]] == ["clear", "broken", "overcast"]
    lowest = [sky["lowest_percent"] for sky in answer["skies"]]
    assert lowest == sorted(lowest, reverse=True)
    shown = run("check", plan, "--skies").output
    for sky in answer["skies"]:
        assert re.search(rf"^{sky['sky']} .* {sky['lowest_percent']:.0f} %$", shown, re.MULTILINE)


def test_a_stated_sky_is_as_if_the_plan_said_it(tmp_path, plan):
    beside = json.loads(run("check", plan, "--json", "--skies").stdout)["skies"][2]
    alone = tmp_path / "alone.toml"
    weather = '[weather]\nkind = "sky"\nsky = "overcast"\nfutures = 1\n'
    alone.write_text(weather + SMALL.replace('[weather]\nkind = "clear"\n', ""))
    found = json.loads(run("check", alone, "--json").stdout)
    assert found["verdict"] == beside["verdict"]
    assert found["lowest_charge"]["percent"] == pytest.approx(beside["lowest_percent"], abs=0.5)


@pytest.mark.parametrize("made", [readme_made.answered, readme_made.walked])
def test_what_the_readme_quotes_of_the_tool_is_what_the_tool_says_today(made):
    readme = readme_made.README.read_text(encoding="utf-8")
    assert made(readme) == readme


def test_the_readmes_picture_is_there_and_small():
    picture = ROOT / "notebooks" / "cloudy-repair.png"
    assert "notebooks/cloudy-repair.png" in readme_made.README.read_text(encoding="utf-8")
    assert 20_000 < picture.stat().st_size < 150_000


@pytest.mark.parametrize(("at", "guessed"), [("47.05,8.30", False), ("78.2,15.6", True)])
def test_new_says_that_its_sky_is_a_guess_only_where_it_is(tmp_path, at, guessed):
    target = tmp_path / "mine.toml"
    found = run("new", target, "--at", at)
    assert ("mere guess" in found.output) == guessed
    before_the_path, _, _ = found.output.partition("Wrote")
    assert all(len(line) <= 80 for line in before_the_path.splitlines())
    assert (energy.Plan.read(target).weather.kind == "sky") == guessed


@pytest.mark.parametrize(
    "arguments",
    [
        ["score", "plan.toml", "rows.csv", "--plot", "p.png"],
        ["next", "plan.toml", "--write", "kit.toml"],
        ["readings", "plan.toml", "rows.csv", "--count", "3"],
        ["meter", "log.csv"],
    ],
)
def test_each_question_of_learn_has_its_own_options(arguments):
    assert run("learn", *arguments).exit_code == 2


def test_the_old_way_to_learn_says_the_new_one():
    found = run("learn", "my-plan.toml", "readings.csv")
    assert found.exit_code == 2
    assert "energy learn readings my-plan.toml readings.csv" in " ".join(found.stderr.split())

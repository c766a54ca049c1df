"""Reading a plan: files, profiles laid under it, and the words of what is wrong with them.

All files are invented and written on the spot, except where a built-in one is named.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from checkout import ROOT
from plan_files import TEXT, TOOLS, problems, reread, write_files

from energy.plan import Plan, profiles


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_files(tmp_path)


# --- profiles -------------------------------------------------------------------------------


def test_a_tools_figures_come_from_its_profile(folder):
    saw = Plan.read(folder / "my-plan.toml").task[0]
    assert (saw.name, saw.tool, saw.working_w, saw.duty_percent) == ("cut", "my-saw", 700, 60)


def test_a_task_without_a_name_has_its_tools_name(folder):
    assert Plan.read(folder / "my-plan.toml").task[1].name == "logger"


def test_keys_of_the_plan_win_over_the_profile(folder):
    plan = Plan.read(folder / "my-plan.toml")
    assert (plan.panel[0].rated_w, plan.panel[0].tilt_deg) == (120, 45)


def test_keys_of_the_plan_win_inside_the_inverter_too(folder):
    inverter = Plan.read(folder / "my-plan.toml").pack.inverter
    assert (inverter.rated_w, inverter.idle_w) == (800, 5)


def test_the_plans_watt_hours_take_the_place_of_the_profiles_amp_hours(folder):
    pack = reread(folder, "start_percent = 80", "capacity_wh = 900").pack
    assert (pack.capacity_wh, pack.reserve_percent) == (900, 25)


def test_the_plans_fixed_time_takes_the_place_of_the_profiles_window(folder):
    reread(folder, "idle_w = 200", 'between = ["08:00", "09:00"]', "my-tools.toml")
    task = reread(folder, 'between = ["09:00", "12:00"]', 'at = "10:00"').task[0]
    assert (task.at, task.between) == (("clock", 600), None)


def test_a_persons_profile_beats_a_built_in_one(folder):
    (folder / "my-tools.toml").write_text(TOOLS.replace("my-saw", "angle-grinder-125"))
    assert reread(folder, '"my-saw"', '"angle-grinder-125"').task[0].working_w == 700


def test_built_in_profiles_can_be_named_beside_ones_own(folder):
    task = reread(folder, '"my-saw"', '"angle-grinder-125"').task[0]
    assert task.working_w == profiles.tools()["angle-grinder-125"]["working_w"]


def test_a_trace_is_counted_from_the_folder_of_the_file_that_names_it(folder):
    (folder / "deep").mkdir()
    (folder / "my-tools.toml").rename(folder / "deep" / "my-tools.toml")
    (folder / "logger.csv").rename(folder / "deep" / "logger.csv")
    plan = reread(folder, '"my-tools.toml"', '"deep/my-tools.toml"')
    assert plan.task[1].trace == ((0, 2), (60, 5), (90, 0))


def test_a_trace_starts_with_its_highest_watts(folder):
    assert Plan.read(folder / "my-plan.toml").task[1].start_w == 5


def test_repeats_of_a_trace_are_as_long_as_it(folder):
    assert reread(folder, '"my-logger"', '"my-logger"\ntimes = 3').task[1].each_s == 90


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('"my-saw"', '"my-swa"', 'there is no tool profile "my-swa"; did you mean "my-saw"?'),
        (
            '"my-saw"',
            '"angle-grindr-125"',
            'there is no tool profile "angle-grindr-125"; did you mean "angle-grinder-125"?',
        ),
    ],
)
def test_an_unknown_tool_is_one_line_with_the_nearest_name(folder, old, new, line):
    assert problems(lambda: reread(folder, old, new)) == [f'my-plan.toml: task 1 "cut": {line}']


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            '"my-pack"',
            '"my-park"',
            '[pack]: there is no pack profile "my-park"; did you mean "my-pack"? There are ',
        ),
        (
            '"my-panel"',
            '"my-panle"',
            'panel 1: there is no panel profile "my-panle"; did you mean "my-panel"? There are ',
        ),
    ],
)
def test_what_an_unknown_pack_or_panel_leaves_out_is_no_news(folder, old, new, line):
    (problem,) = problems(lambda: reread(folder, old, new))
    built_in = profiles.packs() if "pack" in old else profiles.panels()
    names = ", ".join([*built_in, old.strip('"')])
    assert problem == f"my-plan.toml: {line}{names}"


def test_a_wrong_value_in_a_profile_names_the_profile(folder):
    found = problems(
        lambda: reread(folder, "duty_percent = 60", "duty_percent = 160", "my-tools.toml")
    )
    line = 'task 1 "cut": duty_percent must be at most 100 (got 160), in the profile "my-saw"'
    assert found == [f"my-plan.toml: {line}"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("tools = 5", "my-tools.toml: tools must be a table (got 5)"),
        ("my-saw = 5", "my-tools.toml: my-saw must be a table (got 5)"),
        ("packs.mine = []", "my-tools.toml: packs.mine must be a table (got [])"),
        (
            "a = ",
            "my-tools.toml: is not valid TOML: Invalid value (at line 1, column 5);"
            ' the line is "a ="',
        ),
    ],
)
def test_a_wrong_file_of_profiles_is_one_line(folder, text, line):
    (folder / "my-tools.toml").write_text(text + "\n")
    found = problems(lambda: Plan.read(folder / "my-plan.toml"))
    assert found[0] == f"my-plan.toml: profiles: {line}"


def test_a_missing_file_of_profiles_does_not_hide_other_problems(folder):
    (folder / "my-tools.toml").unlink()
    found = problems(lambda: reread(folder, "latitude_deg = 47.0", "latitude_deg = 97.0"))
    assert "cannot be read (No such file or directory)" in found[0]
    assert "my-plan.toml: [place]: latitude_deg must be at most 90 (got 97.0)" in found


@pytest.mark.parametrize("said", ["cloudy-repair", "cloudy-repiar", "cloudy-repair.toml"])
def test_a_demo_without_its_prefix_is_asked_back(said):
    assert problems(lambda: Plan.read(said)) == [
        f'{said}: cannot be read (No such file or directory); did you mean "builtin:cloudy-repair"?'
    ]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("watts,seconds\n2,0\n", 'the columns must be seconds,watts (got ["watts", "seconds"])'),
        ("0,2\n60,x\n", 'line 2 must be seconds,watts (got "60,x")'),
        ("0,2\n60\n", 'line 2 must be seconds,watts (got "60")'),
        ("0,2\n", "must hold two rows or more (got 1)"),
        ("", "must hold two rows or more (got 0)"),
        ("seconds,watts\n0,2\n0,3\n", "line 3: seconds must rise (got 0 after 0)"),
        ("0,2\n0,3\n", "line 2: seconds must rise (got 0 after 0)"),
        ("0,2\n60,-1\n", "line 2: watts must lie between 0 and 1e+06 (got -1)"),
        ("0,2\n60,nan\n", "line 2: watts must lie between 0 and 1e+06 (got nan)"),
        ("0,2\ninf,1\n", "line 2: seconds must be finite (got inf)"),
    ],
)
def test_a_wrong_trace_is_one_line(folder, text, line):
    (folder / "logger.csv").write_text(text)
    found = problems(lambda: Plan.read(folder / "my-plan.toml"))
    assert found == [f'my-plan.toml: task 2 "logger": trace: logger.csv: {line}']


@pytest.mark.parametrize("data", [b"0,\x00\n", b"\xff\xfe0\n", b'0,"' + b"9" * 200_000])
def test_a_trace_that_is_no_table_of_numbers_is_one_line(folder, data):
    (folder / "logger.csv").write_bytes(data)
    assert len(problems(lambda: Plan.read(folder / "my-plan.toml"))) == 1


# --- files ----------------------------------------------------------------------------------


def test_a_plan_keeps_the_name_of_its_file(folder):
    assert Plan.read(str(folder / "my-plan.toml")).origin == "my-plan.toml"


@pytest.mark.parametrize("name", profiles.plans())
def test_every_built_in_plan_can_be_read(name):
    assert Plan.read(f"builtin:{name}").origin == f"builtin:{name}"


def test_an_unknown_built_in_plan_names_the_nearest():
    found = problems(lambda: Plan.read("builtin:cloudy-repairs"))
    assert found == ['there is no built-in plan "cloudy-repairs"; did you mean "cloudy-repair"?']


def test_a_syntax_error_gives_its_line_and_column(folder):
    found = problems(lambda: reread(folder, "start_percent = 80", "start_percent = "))
    assert found == [
        "my-plan.toml: is not valid TOML: Invalid value (at line 19, column 17);"
        ' the line is "start_percent ="'
    ]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("start_percent = 80,5", "a decimal point, such as 54.2"),
        ("x = { kg = 8,5, price = 90 }", "a decimal point, such as 54.2"),
        ("heated = yes", "true or false"),
        ("name = my own pack", 'words in quotes, such as "S"'),
        ("start = 14.9.2026 07:30", "the date as 2026-09-14T07:30:00"),
        ("at = 9:30", 'a time in quotes, such as "09:30"'),
        ("at = 24:00:00", 'a time in quotes, such as "09:30"'),
        ("start_percent = 80%", "the number alone, without a unit"),
        ("capacity_wh = 200 Wh # label", "the number alone, without a unit"),
        ("sun_hours = [1,2 2,4]", "decimal points, and a comma between two numbers"),
        ("shade = [{ keep_percent = 40,5 }]", "a decimal point, such as 54.2"),
        ("start = 14 Sep 2026", "the date as 2026-09-14T07:30:00"),
        ("start = 2026-09-14 07:30", "the date as 2026-09-14T07:30:00"),
        ("start = 2026-9-4 7:30", "the date as 2026-09-04T07:30:00"),
        ("start = 2026-09-14T07:30:00h", "the date as 2026-09-14T07:30:00"),
        ("start = 2026-09- 14", "the date as 2026-09-14T00:00:00"),
        ("start = 2026-09-40T07:30:00", "a date that there is: 2026-09 has no day 40"),
        ("start = 2026-02-30 07:30", "a date that there is: 2026-02 has no day 30"),
        ("start = 2026-13-01T07:30:00", "a date that there is: a year has no month 13"),
        ("start = 2026-09-14T25:30:00", "a time that there is: a day has no 25:30"),
    ],
)
def test_what_people_write_instead_of_toml_is_named(folder, line, wanted):
    (problem,) = problems(lambda: reread(folder, "start_percent = 80", line))
    assert problem.endswith(f"the line is {json.dumps(line)}: write {wanted}")


def test_a_compass_word_written_out_is_understood_as_meant(folder):
    facing = 'facing = "south-west"\ntilt_deg = 45'
    (problem,) = problems(lambda: reread(folder, "tilt_deg = 45", facing))
    assert problem.endswith("did you mean SW?")


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"\x00\x01", "is not a text file"),
        (b"\xff\xfea", "is not a text file in UTF-8"),
        (b"#" * 2_000_001, "is too large (at most 2 MB)"),
    ],
)
def test_a_file_that_is_no_plan_is_one_line(tmp_path, data, line):
    (tmp_path / "x.toml").write_bytes(data)
    assert problems(lambda: Plan.read(tmp_path / "x.toml")) == [f"{tmp_path}/x.toml: {line}"]


def test_a_folder_is_no_plan(tmp_path):
    assert problems(lambda: Plan.read(tmp_path)) == [f"{tmp_path}: is a folder, not a file"]


@pytest.mark.parametrize("name", ["missing.toml", "a\0b.toml", "n" * 3000])
def test_a_path_that_cannot_be_opened_is_one_line(tmp_path, name):
    (line,) = problems(lambda: Plan.read(tmp_path / name))
    assert "cannot be read (" in line


def test_a_device_is_not_read():
    assert problems(lambda: Plan.read("/dev/zero")) == ["/dev/zero: is not an ordinary file"]


def test_a_byte_order_mark_does_no_harm(folder):
    (folder / "my-plan.toml").write_text(TEXT, encoding="utf-8-sig")
    assert Plan.read(folder / "my-plan.toml").pack.start_percent == 80


def test_nested_tables_without_end_are_one_line(tmp_path):
    (tmp_path / "x.toml").write_text("a = " + "[" * 5000 + "]" * 5000)
    assert problems(lambda: Plan.read(tmp_path / "x.toml")) == ["x.toml: is nested too deeply"]


def test_dotted_keys_without_end_are_one_line(tmp_path):
    (tmp_path / "x.toml").write_text(".".join("a" * 50_000) + " = 1")
    assert problems(lambda: Plan.read(tmp_path / "x.toml")) == ["x.toml: is nested too deeply"]


def test_a_number_of_many_digits_is_one_line(folder):
    found = problems(lambda: reread(folder, "= 80", "= 0x" + "f" * 20_000))
    line = "[pack]: start_percent must be a number (got a very large number)"
    assert found == [f"my-plan.toml: {line}"]


def test_a_line_stays_printable_and_short_whatever_a_file_holds(folder):
    (line,) = problems(lambda: reread(folder, "start_percent", '"\\u001b[31m' + "k" * 5000 + '"'))
    assert line.isprintable()
    assert len(line) < 200


def test_forty_lines_at_most_and_then_how_many_more(folder):
    lines = problems(
        lambda: reread(folder, "# Invented.", "\n".join(f"k{i} = 1" for i in range(60)))
    )
    assert (len(lines), lines[-1]) == (41, "my-plan.toml: and at least 20 more problems")


def test_a_weather_file_is_counted_from_the_plans_folder(folder):
    plan = reread(folder, "[place]", '[weather]\nkind = "file"\nfile = "year.csv"\n[place]')
    assert plan.weather.file == str(folder / "year.csv")


def test_a_weather_files_path_is_whole_when_the_plans_is_not(folder, monkeypatch):
    reread(folder, "[place]", '[weather]\nkind = "file"\nfile = "year.csv"\n[place]')
    monkeypatch.chdir(folder)
    assert Plan.read("my-plan.toml").weather.file == os.path.join(os.getcwd(), "year.csv")


# --- cheap ----------------------------------------------------------------------------------


def test_reading_a_plan_loads_no_numerical_or_drawing_library():
    code = (
        "import sys; from energy.plan import Plan; Plan.read('builtin:cloudy-repair');"
        "print([m for m in ('numpy', 'pandas', 'pvlib', 'scipy', 'rich', 'tomlkit', 'tzfpy')"
        " if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


def test_built_in_tools_are_read_only_for_a_plan_that_names_one(folder):
    profiles.built_in.cache_clear()
    Plan.read(folder / "my-plan.toml")
    assert profiles.built_in.cache_info().currsize == 0


def test_a_changed_built_in_profile_stays_with_who_changed_it():
    profiles.tools()["angle-grinder-125"]["working_w"] = -1
    assert profiles.tools()["angle-grinder-125"]["working_w"] > 0

"""`energy many` as a person runs it: statuses, lines, rows and files. All places are invented."""

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from pathlib import Path

import many_questions
import pytest
from rich.cells import cell_len
from told import at_a_glance, told, unfolded
from typer.testing import CliRunner

from energy.answers.check import check as checking
from energy.answers.many import many
from energy.answers.many import words as many_words
from energy.answers.many.row import Row
from energy.cli.main import app
from energy.show import files
from energy.show.layout import LINES

PLAN = """
title = "Lamp and pump"
place = { latitude_deg = 46.5, longitude_deg = 8.0 }
span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }
weather = { kind = "clear" }
panel = [{ rated_w = 60 }]
pack = { capacity_wh = 200 }
task = [
  { name = "lamp", supply = "dc12", working_w = 9, hours = 3 },
  { name = "pump", supply = "dc12", working_w = 60, hours = 2, between = ["09:00", "16:00"] },
]
"""
PLACES = "name,latitude,longitude,pack.capacity_wh\n"
PLACES += "hut,46.5,8.0,\nyard,52.0,20.0,90\ndesert,31.0,10.0,900\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A plan and places, answered in this process."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(many, "processes", lambda _: ThreadPoolExecutor(1))
    (tmp_path / "plan.toml").write_text(PLAN)
    (tmp_path / "places.csv").write_text(PLACES)
    return tmp_path


@pytest.fixture
def quick(monkeypatch):
    """The check made cheap: what is looked at is what is made of its rows."""
    monkeypatch.setattr(checking, "check", many_questions.by_pack)


def run(*arguments, columns=80):
    words = ["many", *(str(word) for word in arguments)]
    return CliRunner(env={"COLUMNS": str(columns)}).invoke(app, words, catch_exceptions=False)


def at_places(*arguments, **how):
    return run("plan.toml", "--places", "places.csv", *arguments, **how)


def test_each_place_is_answered_as_a_check_there_answers(folder):
    answer = at_places("--json")
    assert answer.exit_code == 0
    told = json.loads(answer.stdout)
    assert [row["name"] for row in told["rows"]] == ["hut", "yard", "desert"]
    for row, place, wh in zip(
        told["rows"], ("46.5,8", "52,20", "31,10"), (200, 90, 900), strict=True
    ):
        given = ["--set", f"place={place}", "--set", f"pack.capacity_wh={wh}", "--no-fixes"]
        alone = CliRunner().invoke(app, ["check", "plan.toml", "--json", *given])
        there = json.loads(alone.stdout)
        assert row["answer"] == there["answer"]
        assert row["chance"] == there["chance"]["percent"]
        assert row["lowest"] == there["lowest_charge"]["percent"]
        assert row["error"] is None
    assert sum(told["counts"].values()) == 3
    assert told["complete"] is True
    assert told["cautions"]


def test_panels_that_the_cold_of_a_place_makes_too_much_are_told_beside_its_answer(folder):
    """Cold silicon gives more volts: IEC 62548 has a string's open circuit reckoned at the lowest
    temperature expected. What suits the input on the equator can destroy it in the Yukon."""
    (folder / "places.csv").write_text(
        "name,latitude,longitude,place.lowest_c\nequator,0.5,32.5,12\nyukon,63.0,-136.0,-45\n"
    )
    panel = "{ rated_w = 150, count = 2, v_mp = 33, v_oc = 41 }"
    plan = PLAN.replace("{ rated_w = 60 }", panel).replace("hours = 3", 'hours = 3, at = "17:00"')
    (folder / "plan.toml").write_text(plan)
    given = ["--set", "pack.solar_input={max_v=90, max_a=20, connection='series'}"]
    hot, cold = json.loads(at_places("--json", *given).stdout)["rows"]
    assert hot["warning"] is None
    assert "can destroy it: do not connect them" in cold["warning"]
    said = at_places("--plot", "map.png", *given).stdout
    assert "1 of 2 plans, marked !: The panels' strings" in " ".join(said.split())
    (row,) = (line for line in said.splitlines() if line.startswith("yukon"))
    assert f"{cold['answer']} !" in row
    (row,) = (line for line in said.splitlines() if line.startswith("equator"))
    assert "!" not in row


def test_a_yes_that_must_not_be_connected_is_shown_before_other_rows(folder, quick, monkeypatch):
    rows = [Row(f"place {k}", 1.0, 2.0, "no", 10.0) for k in range(40)]
    rows.append(Row("frost", 1.0, 2.0, "yes", 99.0, warning="Do not connect it."))
    rows.append(Row("lost", error="no such place"))
    answer = many.Many("check", {"yes": 1, "almost": 0, "no": 40, "problem": 1}, True, kept=rows)
    lines = at_a_glance(partial(many_words.sheet, answer, "Places", "clear")).splitlines()
    table = [line for line in lines if line.startswith(("place", "frost", "lost"))]
    assert [line.split()[0] for line in table[:2]] == ["lost", "frost"]
    assert "yes !" in table[1]


def test_a_no_of_what_overloads_says_why(folder):
    """625 VA of an inverter of 500 VA: watts over the power factor, IEC 60050-131-11-46."""
    saw = '{ name = "saw", supply = "ac", working_w = 500, power_factor = 0.8, hours = 1'
    saw += ', between = ["10:00", "12:00"] },\n]'
    plan = PLAN.replace("capacity_wh = 200", "capacity_wh = 900, inverter = { rated_w = 500 }")
    (folder / "plan.toml").write_text(plan.rpartition("]")[0] + saw)
    places = f"{PLACES.partition(chr(10))[0]},task.saw\nhut,46.5,8.0,,\nyard,52.0,8.0,,none\n"
    (folder / "places.csv").write_text(places)
    hut, yard = json.loads(at_places("--json", "--to", "rows.csv").stdout)["rows"]
    why = '"saw" asks 625 VA of the inverter, rated 500 W'
    assert (hut["answer"], hut["why"], hut["error"]) == ("no", why, None)
    assert (yard["answer"], yard["why"]) == ("yes", None)
    for said in (at_places("--to", "rows.csv").stdout, at_places("--rows").stdout):
        assert f"  {why}" in said.splitlines()
    assert written(folder)[0].endswith(",warning,why,fingerprint")


def test_a_torn_line_behind_a_whole_file_is_dropped(folder, quick):
    at_places("--to", "rows.csv")
    whole = (folder / "rows.csv").read_bytes()
    (folder / "rows.csv").write_bytes(whole + b"torn,1,2,y")
    assert at_places("--to", "rows.csv").exit_code == 0
    assert (folder / "rows.csv").read_bytes() == whole


def test_rows_of_another_version_are_called_that(folder, quick):
    (folder / "rows.csv").write_text("name,latitude,longitude,answer,chance,error,fingerprint\n")
    refused = at_places("--to", "rows.csv")
    assert refused.exit_code == 2
    (line,) = refused.stderr.splitlines()
    assert "written by another version of energy many" in line


def test_the_worst_come_first_and_all_in_their_order_with_an_option(folder, monkeypatch):
    monkeypatch.setattr(checking, "check", many_questions.refused_from)
    (folder / "places.csv").write_text(
        "name,latitude,longitude,pack.capacity_wh\na,1,2,600\nb,1,2,501\nc,1,2,502\nd,1,2,401\n"
    )
    for options, order in (([], "cdba"), (["--rows"], "abcd")):
        answer = at_places(*options)
        assert answer.exit_code == 1
        assert "4 plans: 1 yes, 2 no and 1 problem." in answer.stdout
        lines = answer.stdout.splitlines()
        assert "".join(line[0] for line in lines if line[1:2] == " " and line[0] in "abcd") == order
        assert lines.count("  a line; another") == 1


@pytest.mark.parametrize("columns", [60, 80, 120])
@pytest.mark.parametrize(("problems", "answers"), [(30, 40), (1, 40), (30, 3), (30, 0), (3, 2)])
def test_problems_do_not_hide_the_answers(columns, problems, answers):
    wrong = "no data near here, where the sea is wide; " * 4
    rows = [Row(f"lost {k}", 1.0, 2.0, error=wrong) for k in range(problems)]
    rows += [Row(f"place {k}", 1.0, 2.0, "no", 50.0 + k) for k in range(answers)]
    counts = {"yes": 0, "almost": 0, "no": answers, "problem": problems}
    answer = many.Many("check", counts, True, kept=tuple(rows))
    sheet = partial(many_words.sheet, answer, "Places", "clear " * 25, notes=["a note " * 9])
    lines = told(sheet, width=columns, room=LINES - 4).splitlines()  # cautions come below
    assert len(lines) <= LINES - 4
    shown = [line.split()[0] for line in lines if line.startswith(("lost", "place"))]
    assert shown == sorted(shown)
    assert shown.count("place") >= min(answers, 2)
    assert shown.count("lost") >= min(problems, 2)
    left = problems + answers - len(shown)
    more = [line for line in lines if line.endswith("more, --rows shows all in their order")]
    assert [int(line.split()[0]) for line in more] == [left] * (left > 0)
    fuller = told(sheet, width=columns)
    assert fuller.count("wide;") == 4 * problems or problems + answers > 16


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_many_rows_fit_24_lines(folder, quick, columns):
    rows = "".join(f"a place with a long name {k},{k / 2},8,{500 + k}\n" for k in range(150))
    (folder / "places.csv").write_text("name,latitude,longitude,pack.capacity_wh\n" + rows)
    lines = at_places(columns=columns).stdout.splitlines()
    assert len(lines) <= LINES
    assert max(map(cell_len, lines)) <= min(columns, 100)
    (more,) = (line for line in lines if "more, --rows shows all" in line)
    shown = sum(line.startswith("a place") for line in lines)
    assert int(more.split()[0]) == 150 - shown
    assert shown >= 3


def test_the_answer_and_its_map_say_the_days_and_what_else_differs(folder, quick, monkeypatch):
    """A yes in the north of a larger pack is no yes of the kit: it must not look like one."""
    maps = []
    monkeypatch.setattr(files, "save", lambda page, _: maps.append(page))
    said = " ".join(at_places("--plot", "map.png").stdout.split())
    (drawn,) = (" ".join(text.get_text() for text in page.texts) for page in maps)
    for words in (
        "Lamp and pump, at the places of places.csv, Wed 14 Oct",
        "not the same plan at each place: places.csv sets pack.capacity_wh.",
        "a clear sky at each place",
    ):
        assert words in said
        assert words.lower() in " ".join(drawn.split()).lower()
    (folder / "places.csv").write_text("name,latitude,longitude\nhut,46.5,8.0\nyard,52.0,20.0\n")
    assert "not the same plan" not in at_places().stdout


def test_where_a_place_lies_in_the_south_the_table_is_said_to_be_untried_there(folder, quick):
    climate = ["--set", "weather.kind=climate"]
    words = "rough, and not tried against measurements in the south: a yes needs"
    assert words not in unfolded(at_places(*climate).stdout)
    (folder / "places.csv").write_text("name,latitude,longitude\nhut,46.5,8.0\nyard,-33.9,18.4\n")
    assert words in unfolded(at_places(*climate).stdout)
    assert "in the south" not in at_places().stdout


def test_a_folder_of_plans_is_asked_with_the_same_keys_and_date(folder):
    (folder / "kit.toml").write_text('[my-lamp]\nname = "lamp"\n')
    (folder / "bad.toml").write_text("a = ")
    (folder / "small.toml").write_text(PLAN.replace("capacity_wh = 200", "capacity_wh = 90"))
    answer = run(".", "--json", "--date", "2026-06-01")
    assert answer.exit_code == 1
    told = json.loads(answer.stdout)
    assert [row["name"] for row in told["rows"]] == ["bad.toml", "plan.toml", "small.toml"]
    assert "is not valid TOML" in told["rows"][0]["error"]
    alone = CliRunner().invoke(
        app, ["check", "plan.toml", "--json", "--no-fixes", "--date", "2026-06-01"]
    )
    assert told["rows"][1]["lowest"] == json.loads(alone.stdout)["lowest_charge"]["percent"]
    said = run(".", "--date", "2026-06-01", "--set", "pack.capacity_wh=300").stdout
    assert "With pack.capacity_wh = 300, starting 2026-06-01." in said
    assert "kit.toml: no plan, passed over." in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "needs a plan with --places"),
        (["plan.toml"], "needs a plan with --places"),
        (["no-such-folder"], "needs a plan with --places"),
        (["x" * 300], "needs a plan with --places"),
        ([".", "--places", "places.csv"], "--places is for one plan"),
        (["plan.toml", "--places", "none.csv"], "none.csv: cannot be read"),
        (["plan.toml", "--places", "places.csv", "--set", "pack.capcity_wh=1"], "did you mean"),
        (["--places", "places.csv"], "its weather file is of one place"),
        (["plan.toml", "--places", "places.csv", "--plot", "map.jpg"], "must end in .png"),
        (["plan.toml", "--places", "places.csv", "--open"], "--open shows the picture of --plot"),
    ],
)
def test_wrong_input_is_one_line_before_any_plan_is_asked(folder, monkeypatch, arguments, words):
    def pay(_):
        raise AssertionError("a worker was started")

    monkeypatch.setattr(many, "processes", pay)
    answer = run(*arguments)
    assert answer.exit_code == 2
    (line,) = answer.stderr.splitlines()
    assert words in line
    assert answer.stdout == ""


def test_the_weather_of_the_demo_can_be_asked_for_elsewhere(folder, quick):
    answer = run("--places", "places.csv", "--set", "weather.kind=climate", "--json")
    assert answer.exit_code == 0, answer.stderr
    assert [row["error"] for row in json.loads(answer.stdout)["rows"]] == [None] * 3


def test_a_place_in_open_water_is_asked_back(folder, quick):
    rows = "hut,60.4,-5.3\nyard,60.4,5.3\nsea,-40,-150\n"
    (folder / "places.csv").write_text(f"name,latitude,longitude\n{rows}")
    hut = "hut: 60.4, -5.3 is open water: did you mean 60.4, 5.3?\n"
    sea = "sea: -40, -150 is open water, more than 12 nautical miles from land\n"
    assert at_places().stderr == hut + sea
    assert at_places("--set", 'place.around=["afloat"]').stderr == hut


def test_rows_are_written_once_and_those_of_other_plans_stay(folder, quick):
    assert at_places("--to", "rows.csv").exit_code == 0
    rows = (folder / "rows.csv").read_bytes()
    assert rows.count(b"\n") == 4
    assert at_places("--csv", "rows.csv").exit_code == 0
    refused = at_places("--to", "rows.csv", "--set", "pack.idle_w=1")
    assert refused.exit_code == 2
    assert len(refused.stderr.splitlines()) == 1
    assert (folder / "rows.csv").read_bytes() == rows
    assert at_places("--to", "rows.csv", "--set", "pack.idle_w=1", "--force").exit_code == 0
    assert (folder / "rows.csv").read_bytes() != rows


@pytest.mark.parametrize("asked", [["."], ["plan.toml", "--places", "places.csv"]])
def test_what_one_of_the_plans_reads_is_never_replaced(folder, quick, asked):
    (folder / "sun.csv").write_text("time,ghi,temp_air\n")
    away = PLAN.replace('kind = "clear"', 'kind = "file", file = "sun.csv"')
    (folder / "other.toml").write_text(away)
    (folder / "places.csv").write_text(
        "name,latitude,longitude,weather.kind,weather.file\nhut,46.5,8.0,file,sun.csv\n"
    )
    for name in ("sun.csv", "plan.toml"):
        before = (folder / name).read_bytes()
        refused = run(*asked, "--to", name, "--force")
        assert refused.exit_code == 2
        assert "is read for this answer" in refused.stderr
        assert (folder / name).read_bytes() == before


def test_an_interrupt_tells_what_is_there_and_the_same_command_goes_on(folder, monkeypatch):
    def interrupted(plan):
        if plan.pack.capacity_wh == 900:
            raise KeyboardInterrupt
        return many_questions.by_pack(plan)

    interrupted.__module__, interrupted.__qualname__ = "many_questions", "by_pack"
    monkeypatch.setattr(many, "_refuse_what_is_not_found", lambda _: None)
    monkeypatch.setattr(checking, "check", interrupted)
    stopped = at_places()
    assert stopped.exit_code == 130
    assert "--to ROWS.csv keeps the rows of a run that is stopped." in stopped.stdout
    assert "Weather" in stopped.stdout
    stopped = at_places("--to", "rows.csv")
    assert stopped.exit_code == 130
    assert "Stopped at 2 of 3 plans: 2 yes." in stopped.stdout
    assert "the same command goes on from there" in stopped.stdout
    monkeypatch.setattr(checking, "check", many_questions.by_pack)
    assert at_places("--to", "rows.csv").exit_code == 0
    assert at_places("--to", "whole.csv").exit_code == 0
    assert (folder / "rows.csv").read_bytes() == (folder / "whole.csv").read_bytes()


def test_an_interrupt_before_the_first_row_says_no_more_than_that(folder, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(many, "processes", interrupted)
    stopped = at_places()
    assert stopped.exit_code == 130
    assert stopped.stdout.splitlines() == [
        "Lamp and pump, at the places of places.csv, Wed 14 Oct",
        "",
        "Stopped at 0 of 3 plans: none answered.",
        "",
        "Note      --to ROWS.csv keeps the rows of a run that is stopped.",
    ]
    assert json.loads(at_places("--json").stdout)["cautions"] == []


def test_a_map_is_the_same_whenever_it_is_drawn(folder, quick):
    for number in (1, 2):
        assert at_places("--plot", f"{number}.svg").exit_code == 0
    assert (folder / "1.svg").read_bytes() == (folder / "2.svg").read_bytes()


def long_run(folder):
    """A run that takes long, in a session of its own, once its first rows are written."""
    rows = "".join(f"hut {k},{46 + k / 1000},8\n" for k in range(2000))
    (folder / "places.csv").write_text("name,latitude,longitude\n" + rows)
    words = ["many", "plan.toml", "--places", "places.csv", "--to", "rows.csv"]
    words += ["--date", "2026-10-14"]  # the plan's own, which is over by now
    settings = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    run = subprocess.Popen(
        [sys.executable, "-m", "energy", *words],
        cwd=folder,
        env=settings,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while run.poll() is None and len(written(folder)) < 3:
        time.sleep(0.05)
    return run


def written(folder):
    with suppress(FileNotFoundError):
        return (folder / "rows.csv").read_text().splitlines()
    return []


def left_of(group):
    """The processes of a session that are still there, as /proc of Linux tells."""
    alive = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            fields = stat.read_text().rpartition(")")[2].split()
            alive += [stat.parent.name] if fields[3] == str(group) and fields[0] != "Z" else []
    return alive


@pytest.mark.oracle
@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_a_run_that_is_stopped_leaves_no_process_and_whole_rows(folder, how):
    run = long_run(folder)
    if how == signal.SIGINT:
        os.killpg(run.pid, how)  # as a terminal does
    else:
        run.kill()
    out, err = run.communicate(timeout=60)
    deadline = time.monotonic() + 30
    while left_of(run.pid) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert left_of(run.pid) == []
    if how == signal.SIGINT:
        assert (run.returncode, err) == (130, "")
        assert "Stopped at" in out
        assert all(line.count(",") == 11 for line in written(folder))

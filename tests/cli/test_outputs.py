"""What an output may replace: files of this tool's own, nothing else without --force; and how it is
written to what is no ordinary file. Facts of the shell and of POSIX: common practice, no source."""

import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from typer.testing import CliRunner

from energy.cli.main import app
from energy.plan import Plan, PlanError
from energy.show import files

PLAN = """
place = { latitude_deg = 46.5, longitude_deg = 8.0 }
span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }
profiles = ["my-tools.toml"]
weather = { kind = "clear" }
panel = [{ profile = "folding-100" }]
pack = { profile = "pack-1000" }
size = { candidates = "my-kit.csv", panel_w = [100, 200], battery_wh = [500, 1500] }
task = [
  { tool = "my-lamp", hours = 3 },
  { name = "log", kind = "trace", supply = "ac", trace = "log.csv" },
]
"""
TOOLS = '[tools.my-lamp]\nname = "lamp"\nsupply = "dc12"\nkind = "steady"\nworking_w = 9\n'
KIT = "name,kind,rated_w,capacity_wh,price\nsmall,panel,100,,90\npack,pack,,1000,700\n"
TRACE = "seconds,watts\n0,20\n60,20\n"


@pytest.fixture
def folder(tmp_path):
    """A plan with everything it reads beside it: profiles, candidates and a trace. Invented."""
    for name, text in (
        ("plan.toml", PLAN),
        ("my-tools.toml", TOOLS),
        ("my-kit.csv", KIT),
        ("log.csv", TRACE),
    ):
        (tmp_path / name).write_text(text)
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(app, [str(word) for word in arguments])


def check(folder, *arguments):
    return run("check", folder / "plan.toml", "--no-fixes", *arguments)


# --- what is written to ------------------------------------------------------------------------


def test_a_device_is_written_to_and_stays_one():
    if os.geteuid() != 0:
        assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    files.write_text(Path("/dev/null"), "gone")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_whoever_reads_a_fifo_gets_the_text(tmp_path):
    pipe, read = tmp_path / "pipe.csv", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()))
    reader.start()
    files.write_text(pipe, "time,charge\n")
    reader.join(10.0)
    assert read == ["time,charge\n"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_the_target_of_a_link_is_replaced_and_the_link_stays(tmp_path):
    target, link = tmp_path / "there" / "kit.toml", tmp_path / "kit.toml"
    target.parent.mkdir()
    target.write_text("old")
    link.symlink_to(target)
    files.write_text(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_a_link_that_leads_to_itself_is_one_line(tmp_path):
    link = tmp_path / "round.csv"
    link.symlink_to(link)
    with pytest.raises(PlanError) as error:
        files.write_text(link, "x")
    assert len(error.value.problems) == 1


def test_mode_and_owner_of_a_file_are_kept(tmp_path):
    path = tmp_path / "private.csv"
    path.write_text("old")
    path.chmod(0o600)
    if os.geteuid() == 0:
        os.chown(path, 4321, 4321)
    files.write_text(path, "new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert path.stat().st_uid == (4321 if os.geteuid() == 0 else os.geteuid())


def test_a_folder_is_one_line_and_nothing_is_left_beside_it(tmp_path):
    with pytest.raises(PlanError) as error:
        files.write_text(tmp_path, "x")
    assert error.value.problems == [f"{tmp_path}: is a folder; give the name of a file"]
    assert list(tmp_path.iterdir()) == []


# --- what may be replaced ----------------------------------------------------------------------

INPUTS = ("plan.toml", "my-tools.toml", "my-kit.csv", "log.csv")


@pytest.mark.parametrize("name", INPUTS)
@pytest.mark.parametrize("spelling", ["as it is", "a hard link", "a link", "round about"])
@pytest.mark.parametrize("force", [False, True])
def test_what_a_plan_reads_is_never_an_output(folder, name, spelling, force):
    target = {
        "as it is": folder / name,
        "a hard link": folder / "same.csv",
        "a link": folder / "link.csv",
        "round about": folder / ".." / folder.name / name,
    }[spelling]
    if spelling == "a hard link":
        os.link(folder / name, target)
    if spelling == "a link":
        target.symlink_to(folder / name)
    before = (folder / name).read_text()
    answer = check(folder, "--csv", target, *(["--force"] if force else []))
    assert answer.exit_code == 2
    assert len(answer.stderr.splitlines()) == 1
    assert (folder / name).read_text() == before


def test_readings_and_logs_are_never_an_output(folder):
    readings = folder / "readings.csv"
    readings.write_text("time,battery_percent\n09:00,90\n12:00,75\n")
    answer = run("learn", "readings", folder / "plan.toml", readings, "--write", readings)
    assert answer.exit_code == 2
    answer = run("learn", "meter", folder / "log.csv", "--tool", "x", "--plot", folder / "log.csv")
    assert answer.exit_code == 2
    assert (folder / "log.csv").read_text() == TRACE


@pytest.mark.parametrize(
    ("option", "name"), [("--csv", "mine.csv"), ("--plot", "mine.png"), ("--plot", "mine.svg")]
)
def test_a_file_that_is_not_this_tools_is_replaced_with_force_alone(folder, option, name):
    mine = folder / name
    mine.write_text("my own work")
    answer = check(folder, option, mine)
    assert answer.exit_code == 2
    assert "--force" in answer.stderr
    assert mine.read_text() == "my own work"
    assert check(folder, option, mine, "--force").exit_code in (0, 1)
    assert mine.read_bytes() != b"my own work"


@pytest.mark.parametrize(
    ("option", "name"),
    [("--csv", "t.csv"), ("--plot", "p.png"), ("--plot", "p.svg"), ("--plot", "p.pdf")],
)
def test_what_this_tool_wrote_is_replaced_without_asking(folder, option, name):
    for _ in range(2):
        assert check(folder, option, folder / name).exit_code in (0, 1)
    assert (folder / name).stat().st_size > 0


def test_a_written_plan_is_replaced_without_asking(folder):
    for _ in range(2):
        answer = run("aim", folder / "plan.toml", "--write", folder / "aimed.toml")
        assert answer.exit_code == 0, answer.output
    mine = folder / "notes.toml"
    mine.write_text("a = 1\n")
    assert run("aim", folder / "plan.toml", "--write", mine).exit_code == 2
    assert mine.read_text() == "a = 1\n"


# --- a plan written elsewhere ------------------------------------------------------------------


def test_a_plan_written_elsewhere_reads_the_same_files(folder):
    away = folder / "away"
    away.mkdir()
    answer = run("aim", folder / "plan.toml", "--write", away / "aimed.toml")
    assert answer.exit_code == 0, answer.output
    there, here = Plan.read(away / "aimed.toml"), Plan.read(folder / "plan.toml")
    assert there.task == here.task
    assert Path(there.size.candidates).samefile(here.size.candidates)
    assert there.source["profiles"] == ["../my-tools.toml"]


def test_a_plan_written_beside_itself_keeps_its_paths(folder):
    run("aim", folder / "plan.toml", "--write", folder / "aimed.toml")
    assert Plan.read(folder / "aimed.toml").source["profiles"] == ["my-tools.toml"]


def test_what_a_killed_write_left_is_swept_at_the_next(tmp_path):
    place = tmp_path / "a plan.toml"
    write = "from pathlib import Path; import os; from energy.show import files\n"
    write += f"files.write_safely(Path({str(place)!r}), lambda beside: os._exit(9))"
    settings = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    subprocess.run([sys.executable, "-c", write], env=settings, check=False)
    (left,) = tmp_path.iterdir()
    (other := tmp_path / ".a plan-old_copy.toml").write_text("a person's own")
    files.write_text(place, "under way elsewhere?")
    assert left.exists()
    os.utime(left, (0.0, 0.0))
    files.write_text(place, "new")
    assert sorted(tmp_path.iterdir()) == [other, place]


def test_adding_to_a_file_in_no_folder_makes_none(tmp_path):
    tool = ["supply=ac", "kind=steady", "working_w=9"]
    keys = [word for key in tool for word in ("--set", key)]
    answer = run("tools", "my-saw", "--add", tmp_path / "no" / "such" / "my-tools.toml", *keys)
    assert answer.exit_code == 2
    assert answer.stderr.endswith("cannot be written (there is no such folder)\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [["new"], ["check", "--no-fixes", "--csv"], ["aim", "--write"]])
def test_a_name_too_long_for_a_file_is_one_line(tmp_path, command):
    answer = run(*command, tmp_path / f"{'x' * 300}.toml")
    assert answer.exit_code == 2
    assert len(answer.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_path_that_would_steer_the_terminal_is_written_out(tmp_path):
    answer = run("new", tmp_path / "a\x1b[2J.toml")
    assert answer.exit_code == 0
    assert "\x1b" not in answer.output
    assert "\\x1b[2J.toml" in answer.output

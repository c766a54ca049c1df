"""Files and answers that no one would hand in on purpose: one line each, and nothing is lost.

What a name, a link or a pipe does is of POSIX and the shell: common practice, no source."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from typer.testing import CliRunner

from energy.cli.main import app
from energy.show import files

ROOT = Path(__file__).parents[2]
DEMO = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
READ = "time,battery_percent,tool,count\n09:20,90,,\n12:00,74,angle-grinder-115,16\n"
LATER = "time,battery_percent,tool,count\n15:00,60,,\n15:40,50,angle-grinder-115,6\n"
LAMP = ("--set=supply=ac", "--set=working_w=9")


def run(*arguments, answers=None):
    return CliRunner().invoke(app, [str(word) for word in arguments], input=answers)


def energy(*arguments, **how):
    """Start the command in a process of its own."""
    settings = os.environ | {"PYTHONPATH": str(ROOT)} | how.pop("settings", {})
    return subprocess.Popen(
        [sys.executable, "-m", "energy", *map(str, arguments)],
        env=settings,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **how,
    )


def refused(answer, *words, status=(2, 3)):
    """That a command ended with one line that says these words."""
    assert answer.exit_code in status, (answer.exit_code, answer.output, answer.exception)
    lines = answer.stderr.splitlines()
    assert len(lines) == 1, lines
    for word in words:
        assert word in lines[0]
    return lines[0]


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(DEMO)
    return path


# --- lost work ---------------------------------------------------------------------------------


def test_tools_added_at_once_all_land(tmp_path):
    file = tmp_path / "my-tools.toml"
    running = [energy("tools", f"lamp-{k}", "--add", file, *LAMP) for k in range(2)]
    told = [process.communicate(timeout=300) for process in running]
    assert [process.returncode for process in running] == [0, 0], told
    text = file.read_text()
    assert all(f"[lamp-{k}]" in text for k in range(2))
    assert [path.name for path in tmp_path.iterdir()] == ["my-tools.toml"]


def test_what_another_run_holds_is_waited_for(tmp_path, monkeypatch):
    file = tmp_path / "my-tools.toml"
    held, go_on = threading.Event(), threading.Event()

    def hold():
        with files.held_alone(file):
            held.set()
            go_on.wait(60)
            file.write_text('[old]\nsupply = "usb"\nworking_w = 3\n')

    other = threading.Thread(target=hold)
    other.start()
    held.wait(60)
    monkeypatch.setattr(files, "LONGEST_WAIT_S", 0.05)
    answer = run("tools", "my-lamp", "--add", file, *LAMP)
    refused(answer, str(file), "another run", "again")
    assert not file.exists()
    monkeypatch.setattr(files, "LONGEST_WAIT_S", 60.0)
    waiting = energy("tools", "my-lamp", "--add", file, *LAMP)
    go_on.set()
    other.join()
    waiting.communicate(timeout=300)
    assert set(file.read_text().split()) >= {"[old]", "[my-lamp]"}


def test_files_of_much_the_same_name_do_not_wait_for_one_another(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "LONGEST_WAIT_S", 0.05)
    long = "where the kit for repairs keeps its job running in winter"
    for one, other in ((f"{long}, north.csv", f"{long}, south.csv"), ("kit.toml", "kit.csv")):
        with files.held_alone(tmp_path / one), files.held_alone(tmp_path / other):
            pass
    longest = tmp_path / f"{'ü' * 125}.csv"  # 254 bytes
    with files.held_alone(longest):
        pass
    assert list(tmp_path.iterdir()) == []


def test_what_was_learned_meanwhile_is_not_lost(tmp_path, plan, monkeypatch):
    """Two files of readings at once into one kit: the second reads what the first wrote."""
    (tmp_path / "r.csv").write_text(READ)
    (tmp_path / "later.csv").write_text(LATER)
    kit = tmp_path / "my-kit.toml"
    running = [
        energy("learn", "readings", plan, tmp_path / name, "--write", kit)
        for name in ("r.csv", "later.csv")
    ]
    told = [process.communicate(timeout=300) for process in running]
    assert [process.returncode for process in running] == [0, 0], told
    text = kit.read_text()
    assert 'file = "r.csv"' in text
    assert 'file = "later.csv"' in text
    assert not list(tmp_path.glob("*.lock")) + list(tmp_path.glob(".*"))


def test_a_lock_beside_a_link_is_that_of_its_target(tmp_path):
    away = tmp_path / "away"
    away.mkdir()
    (away / "tools.toml").write_text("")
    (tmp_path / "tools.toml").symlink_to(away / "tools.toml")
    with files.held_alone(tmp_path / "tools.toml"):
        assert [path.name for path in tmp_path.glob(".*")] == []
        assert len(list(away.glob(".*"))) == 1
    assert [path.name for path in away.iterdir()] == ["tools.toml"]

"""How the program ends: what its exit status says, and that a plain line is all that is left.

70 is EX_SOFTWARE of sysexits.h; 130 and 141 are 128 and the number of SIGINT and SIGPIPE, as the
shell has it: common practice, no source."""

import io
import os
import signal
import subprocess
import sys
import time
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pvlib
import pytest

from energy.answers.check import check as checking
from energy.cli import ending
from energy.cli.main import app

ROOT = Path(__file__).parents[2]
MAIN = "import sys\nfrom energy.cli.main import main\nsys.argv[1:] = {}\nmain()"
CHECK = "import time, energy.answers.check.check as c\ndef check(*a, **k): {}\nc.check = check"
ESCAPES = "\x1b]0;owned\x07\x1b[2J\u202e\u200b"


def energy(*arguments, before="", **how):
    """Run the command in a process of its own, after some lines of Python."""
    code = f"{before}\n{MAIN.format(list(arguments))}"
    settings = os.environ | {"PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": how.pop("cache", "/tmp")}
    settings |= how.pop("settings", {})
    return subprocess.run(
        [sys.executable, "-c", code],
        env=settings,
        capture_output=how.pop("capture", True),
        text=True,
        timeout=120,
        **how,
    )


def asked(*arguments):
    """Status, output and errors of the command, asked in this process."""
    out, errors = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(errors):
        status = ending.status_of(lambda: app(arguments, prog_name="energy", standalone_mode=False))
    return status, out.getvalue(), errors.getvalue()


@pytest.fixture
def broken(monkeypatch):
    """A check that fails in a way that nobody foresaw."""

    def check(*arguments, **how):
        raise KeyError("odd")

    monkeypatch.setattr(checking, "check", check)


def test_a_fault_of_the_tool_is_one_line_and_not_a_no(broken, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    status, _, errors = asked("check")
    assert status == 70
    (line,) = errors.splitlines()
    assert line.startswith("energy: this is a fault of the tool: KeyError: 'odd'; details: ")
    assert "in check" in Path(line.rsplit(": ", 1)[1]).read_text()


def test_a_fault_where_nothing_can_be_kept_is_one_line_too(broken, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", "/dev/null/none")
    status, _, errors = asked("check")
    assert (status, len(errors.splitlines())) == (70, 1)


def test_the_end_of_input_at_a_question_is_wrong_input(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    status, _, errors = asked("new", str(tmp_path / "mine.toml"), "--ask")
    assert status == 2
    assert errors.splitlines()[-1] == "the input ended before all questions were answered"
    assert list(tmp_path.iterdir()) == []


def test_an_interrupt_ends_with_130():
    slow = CHECK.format("print('here', flush=True); time.sleep(60)")
    # a shell's background job ignores SIGINT, and so would its children
    heed = "import signal\nsignal.signal(signal.SIGINT, signal.default_int_handler)"
    code = f"{heed}\n{slow}\n{MAIN.format(['check'])}"
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "here\n"
    began = time.monotonic()
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "Traceback" not in errors
    assert time.monotonic() > began


def test_a_reader_that_has_gone_ends_it_silently():
    read, write = os.pipe()
    os.close(read)
    ended = energy("tools", capture=False, stdout=write, stderr=subprocess.PIPE)
    os.close(write)
    assert (ended.returncode, ended.stderr) == (141, "")


def test_a_full_device_for_the_answer_is_said():
    with open("/dev/full", "w") as full:
        ended = energy("tools", capture=False, stdout=full, stderr=subprocess.PIPE)
    assert ended.returncode == 3
    assert ended.stderr.splitlines() == ["the answer cannot be written: No space left on device"]


@pytest.mark.parametrize(
    "closed",
    [
        "<&- >&- 2>&-",
        *(pytest.param(stream, marks=pytest.mark.oracle) for stream in ("<&-", ">&-", "2>&-")),
    ],
)
def test_closed_streams_leave_the_answer_its_status(closed):
    command = f'"{sys.executable}" -m energy check --no-fixes {closed}'
    settings = os.environ | {"PYTHONPATH": str(ROOT)}
    ended = subprocess.run(["bash", "-c", command], env=settings, capture_output=True, check=False)
    assert ended.returncode == 1  # the demo is a no
    assert b"Traceback" not in ended.stderr


def plan_named(folder, name):
    """The demo with a tea and a title of that name."""
    text = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
    shown = "".join(f"\\u{ord(letter):04x}" for letter in name)
    for key in ('name = "tea', 'title = "'):
        text = text.replace(key, key + shown)
    path = folder / "plan.toml"
    path.write_text(text)
    return path


def test_a_terminal_that_lacks_letters_gets_them_escaped(tmp_path, monkeypatch):
    path = plan_named(tmp_path, "Tee für Ångström")
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    ending.open_streams()
    command = ["check", str(path), "--no-fixes"]
    assert ending.status_of(lambda: app(command, prog_name="energy", standalone_mode=False)) == 1
    assert b"\\xc5ngstr\\xf6m" in sys.stdout.buffer.getvalue()


def steers(text):
    return {"\x1b", "\x07", "\u202e", "\u200b"} & set(text)


def test_a_name_in_a_plan_that_would_steer_the_terminal_is_refused(tmp_path):
    status, out, errors = asked("check", str(plan_named(tmp_path, f"a{ESCAPES}b")))
    assert status == 2
    assert "must be one line of printable text" in errors
    assert not steers(out + errors)


@pytest.mark.parametrize("content", ["nonsense = 1", None])
def test_nor_can_the_name_of_its_file(tmp_path, content):
    text = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
    path = tmp_path / f"a{ESCAPES}.toml"
    path.write_text(content or "".join(text.partition("[place]")[1:]))
    status, out, errors = asked("check", str(path), "--no-fixes")
    assert status == (1 if content is None else 2), errors
    assert not steers(out + errors)
    assert "\\x1b" in out or content


def test_nor_can_the_city_of_a_weather_file(tmp_path):
    year = (Path(pvlib.__file__).parent / "data" / "703165TY.csv").read_text()
    assert '"SAND POINT"' in year
    (tmp_path / "year.csv").write_text(year.replace('"SAND POINT"', f'"SAND {ESCAPES}POINT"'))
    plan = tmp_path / "plan.toml"
    text = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
    plan.write_text(text.replace("builtin:sand-point", "year.csv"))
    status, out, errors = asked("check", str(plan), "--no-fixes")
    assert status in (0, 1), errors
    assert not steers(out + errors)
    assert "\\x1b" in out


def test_a_library_never_speaks_to_the_person():
    spoken = "import logging, warnings; warnings.warn('odd', RuntimeWarning); logging.error('odd')"
    ended = energy("check", before=CHECK.format(f"{spoken}; print('asked'); raise SystemExit(0)"))
    assert (ended.stdout, ended.stderr) == ("asked\n", "")


def test_letters_that_a_picture_lacks_are_said(tmp_path):
    text = (ROOT / "profiles" / "plans" / "cloudy-repair.toml").read_text()
    plan = tmp_path / "plan.toml"
    plan.write_text(text.replace('name = "tea"', 'name = "茶 tea"'))
    status, _, errors = asked("check", str(plan), "--no-fixes", "--plot", str(tmp_path / "p.png"))
    assert status == 1
    assert errors.splitlines()[:1] == [
        f"{tmp_path / 'p.png'}: boxes stand for letters that the picture's font lacks: 茶"
    ]


@pytest.mark.parametrize("count", ["²", "9" * 5000])
def test_a_number_that_is_none_is_asked_for_again(tmp_path, count, monkeypatch):
    # Eight questions as offered, a tool, and how many times a day it is used.
    said = "\n" * 8 + f"angle-grinder-115\n{count}\n"
    mine = tmp_path / "mine.toml"
    monkeypatch.setattr("sys.stdin", io.StringIO(said))
    status, _, errors = asked("new", str(mine), "--at", "46.5,8.0", "--ask")
    assert status == 2  # the input ends
    assert "a whole number from 1 to 10000 is wanted" in errors
    assert not mine.exists()


def test_a_working_folder_that_is_gone_is_one_line(tmp_path):
    gone = tmp_path / "gone"
    gone.mkdir()
    before = f"import os\nos.chdir({str(gone)!r})\nos.rmdir({str(gone)!r})"
    ended = energy("check", "plan.toml", before=before)
    assert ended.returncode in (2, 3), ended.stderr
    assert len(ended.stderr.splitlines()) == 1

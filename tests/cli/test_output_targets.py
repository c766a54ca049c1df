"""Every option that writes, onto every kind of target: written as it should be, or one line and
nothing changed. What files of POSIX do is common practice, no source. All that is written about
here is invented."""

import os
import resource
import stat
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from energy.answers.many import many
from energy.cli.main import app

PLAN = """
place = { latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }
span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }
profiles = ["my-tools.toml"]
weather = { kind = "file", file = "sun.csv" }
panel = [{ profile = "folding-100" }]
pack = { profile = "pack-1000" }
size = { candidates = "my-kit.csv", panel_w = [100, 200], battery_wh = [500, 1500] }
task = [
  { tool = "my-lamp", hours = 3 },
  { name = "log", kind = "trace", supply = "ac", trace = "log.csv" },
]
"""
HOURS = [f"2026-10-{13 + k // 24:02}T{k % 24:02}:00:00Z" for k in range(72)]
FILES = {
    "plan.toml": PLAN,
    "my-tools.toml": '[my-lamp]\nname = "lamp"\nsupply = "dc12"\nkind = "steady"\nworking_w = 9\n',
    "my-kit.csv": "name,kind,rated_w,capacity_wh,price\nsmall,panel,100,,90\npack,pack,,1000,700\n",
    "log.csv": "seconds,watts\n0,20\n60,20\n120,20\n",
    "meter.csv": "time,watts\n"
    + "".join(
        f"2026-10-14T08:{k // 60:02}:{k % 60:02},{900 * (k % 60 < 20)}\n" for k in range(600)
    ),
    "sun.csv": "time,ghi,temp_air\n"
    + "".join(f"{hour},{200 * (8 <= k % 24 < 15)},9\n" for k, hour in enumerate(HOURS)),
    "places.csv": "name,latitude,longitude\nhut,46.5,8.0\n",
    "readings.csv": "time,battery_percent\n09:00,98\n12:00,95\n16:00,93\n",
}
MANY = "many plan.toml --places places.csv --set weather.kind=clear --set weather.file=none"
KIT = "--set=supply=dc12 --set=working_w=9"
DAY = "plan.toml readings.csv"
METER = "learn meter meter.csv --tool my-saw"
# By command and option: the command, the suffix of what it writes, and the inputs it reads.
PLANS_OWN = ("plan.toml", "my-tools.toml", "my-kit.csv", "log.csv", "sun.csv")
OUTPUTS = {
    "check --csv": ("check plan.toml --no-fixes", "csv", PLANS_OWN),
    "check --write": ("check plan.toml --set pack.start_percent=5", "toml", PLANS_OWN),
    "check --plot": ("check plan.toml --no-fixes", "png", PLANS_OWN),
    "many --to": (MANY, "csv", (*PLANS_OWN[:4], "places.csv")),
    "many --plot": (MANY, "png", (*PLANS_OWN[:4], "places.csv")),
    "page": ("page plan.toml", "html", PLANS_OWN),
    "choose --plot": ("choose plan.toml", "svg", PLANS_OWN),
    "choose --write": ("choose plan.toml", "toml", PLANS_OWN),
    "choose --calendar": ("choose plan.toml", "ics", PLANS_OWN),
    "when --plot": ("when plan.toml", "png", PLANS_OWN),
    "when --write": ("when plan.toml", "toml", PLANS_OWN),
    "size --plot": ("size plan.toml", "png", PLANS_OWN),
    "size --write": ("size plan.toml", "toml", PLANS_OWN),
    "aim --plot": ("aim plan.toml", "pdf", PLANS_OWN),
    "aim --write": ("aim plan.toml", "toml", PLANS_OWN),
    "tools --add": (f"tools my-fan {KIT}", "toml", ()),
    "learn readings --plot": (f"learn readings {DAY}", "png", (*PLANS_OWN, "readings.csv")),
    "learn readings --write": (f"learn readings {DAY}", "toml", (*PLANS_OWN, "readings.csv")),
    "learn score --write": (f"learn score {DAY}", "toml", (*PLANS_OWN, "readings.csv")),
    "learn meter --plot": (METER, "png", ("meter.csv",)),
    "learn meter --write": (METER, "toml", ("meter.csv",)),
    "new": ("new", "toml", ()),
}
GOES_ON = "many --to"  # adds what is not there yet
ADDS = {"tools --add", "learn readings --write", "learn score --write", "learn meter --write"}
ADDS.add(GOES_ON)
SLOW = {name for name in OUTPUTS if name.endswith("--plot")} - {"check --plot"}


def every(names):
    """The options, those that draw a picture in the same way as another as oracles."""
    return [
        pytest.param(name, marks=pytest.mark.oracle) if name in SLOW else name for name in names
    ]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(many, "processes", lambda _: ThreadPoolExecutor(1))
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    return tmp_path


def run(name, target, *more):
    command = [*OUTPUTS[name][0].split(), *name.split()[1:][-1:], str(target), *more]
    if name == "new":
        command = ["new", str(target)]
    elif name.startswith("learn"):
        command = [*OUTPUTS[name][0].split(), name.split()[-1], str(target), *more]
    return CliRunner().invoke(app, command)


def is_one_line(answer, status=(2, 3)):
    assert answer.exit_code in status, (answer.exit_code, answer.output, answer.exception)
    assert len(answer.stderr.splitlines()) == 1, answer.stderr


def is_written(answer):
    assert answer.exit_code in (0, 1), (answer.exit_code, answer.output, answer.exception)
    assert "not written" not in answer.output


def unchanged(folder, *but):
    """Whether all the files that were there are as they were, and nothing is left beside."""
    here = {path.name for path in folder.iterdir()} - set(but)
    return here == set(FILES) and all(
        (folder / name).read_text() == text for name, text in FILES.items()
    )


def test_the_table_holds_every_option_that_writes():
    """All options that take a path, but for the one that is read."""
    paths = set()

    def walk(command, words):
        for name, inner in getattr(command, "commands", {}).items():
            walk(inner, [*words, name])
        for option in () if hasattr(command, "commands") else command.params:
            if option.type_descriptor.annotation is Path and option.opts[0].startswith("--"):
                paths.add(" ".join([*words, option.opts[0]]))

    walk(typer.main.get_command(app), [])
    assert paths - {"learn next --kit", "many --places"} == set(OUTPUTS) - {"new", "page"}


BESIDE = {  # what the commands that draw a picture also write
    "check --csv": "out.csv",
    "check --write": "out.toml",
    "choose --write": "out.toml",
    "choose --calendar": "out.ics",
    "when --write": "out.toml",
    "size --write": "out.toml",
    "aim --write": "out.toml",
    "learn readings --write": "out.toml",
    "learn meter --write": "out.toml",
    "many --to": "out.csv",
}


@pytest.mark.parametrize("name", BESIDE)
@pytest.mark.parametrize("picture", [("--plot", "out.txt"), ("--open",)])
def test_a_picture_that_cannot_be_is_refused_before_anything_is_written(folder, name, picture):
    is_one_line(run(name, folder / BESIDE[name], *picture), status=(2,))
    assert unchanged(folder)


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_new_file_then_the_same_again(folder, name):
    target = folder / f"out.{OUTPUTS[name][1]}"
    is_written(run(name, target))
    first = target.read_bytes()
    assert first
    assert unchanged(folder, target.name)
    if name in SLOW:  # replaced as the picture of `check` is
        return
    again = run(name, target)
    if name == GOES_ON:
        is_written(again)
        assert target.read_bytes() == first
    elif name in {"new", *ADDS}:  # no plan over another; nothing is learned or added twice
        is_one_line(again)
        assert target.read_bytes() == first
    else:
        is_written(again)


@pytest.mark.parametrize("name", every(name for name in OUTPUTS if name != "new"))
def test_through_a_link(folder, name):
    there = folder.parent / f"{folder.name}-there"
    there.mkdir()
    link = folder / f"link.{OUTPUTS[name][1]}"
    link.symlink_to(there / link.name)
    is_written(run(name, link))
    assert link.is_symlink()
    assert (there / link.name).stat().st_size > 0


@pytest.mark.parametrize("name", OUTPUTS)
def test_where_no_file_can_be_is_said_before_the_work(folder, name, monkeypatch):
    def pay(*_, **__):
        raise AssertionError("the answer was worked out")

    monkeypatch.setattr("energy.simulation.budget.simulate", pay)
    is_one_line(run(name, f"no/such/out.{OUTPUTS[name][1]}"))
    assert unchanged(folder)


@pytest.mark.parametrize("name", every(OUTPUTS))
def test_onto_what_no_file_can_be(folder, name):
    """Folders, links in a ring, names that are too long, places where nothing can be written."""
    suffix = OUTPUTS[name][1]
    ring = folder / f"ring.{suffix}"
    ring.symlink_to(ring)
    (folder / f"folder.{suffix}").mkdir()
    there = (ring.name, f"folder.{suffix}")
    for target in (*there, f"{'x' * 300}.{suffix}", f"/proc/out.{suffix}", f"no/such/out.{suffix}"):
        is_one_line(run(name, target))
        assert unchanged(folder, *there)
    assert list((folder / there[1]).iterdir()) == []


@pytest.mark.parametrize("name", OUTPUTS)
def test_a_dash_is_no_file(folder, name):
    """A lone dash stands for a stream, by the utility syntax guidelines of POSIX (from memory)."""
    answer = run(name, "-")
    is_one_line(answer, (2,))
    assert answer.stderr.startswith("-: ")
    assert unchanged(folder)


@pytest.mark.parametrize("name", every(name for name in OUTPUTS if name not in ADDS))
def test_into_a_fifo(folder, name):
    fifo, read = folder / f"pipe.{OUTPUTS[name][1]}", []
    os.mkfifo(fifo)
    if name == "new":  # it writes what is not there yet
        is_one_line(run(name, fifo))
        return
    reader = threading.Thread(target=lambda: read.append(fifo.read_bytes()), daemon=True)
    reader.start()
    is_written(run(name, fifo))
    reader.join(30.0)
    assert read[0]
    assert stat.S_ISFIFO(fifo.stat().st_mode)
    assert unchanged(folder, fifo.name)


def chunks(descriptor):
    """What comes from a descriptor, for as long as it is open."""
    while True:
        try:
            yield os.read(descriptor, 4096)
        except OSError:
            return


@pytest.mark.parametrize("name", ["check --csv", "choose --calendar", "aim --write"])
def test_onto_a_device(folder, name):
    """A terminal of the test's own, reached by a name with the right suffix."""
    master, slave = os.openpty()
    link, read = folder / f"device.{OUTPUTS[name][1]}", []
    link.symlink_to(os.ttyname(slave))
    reader = threading.Thread(target=lambda: read.extend(chunks(master)), daemon=True)
    reader.start()
    is_written(run(name, link))
    assert read[0]
    assert stat.S_ISCHR(os.stat(os.ttyname(slave)).st_mode)
    assert unchanged(folder, link.name)


@pytest.mark.parametrize("name", sorted(ADDS))
def test_what_is_added_to_must_be_an_ordinary_file(folder, name):
    os.mkfifo(folder / "pipe.toml")
    is_one_line(run(name, folder / "pipe.toml"))
    is_one_line(run(name, "/dev/zero"))
    assert unchanged(folder, "pipe.toml")


@pytest.mark.parametrize("content", [b"\xff\xfe", b'name = "\xe9"\n', b"\0\0", b"= = ="])
@pytest.mark.parametrize("name", sorted(ADDS))
def test_what_is_added_to_must_be_readable(folder, name, content):
    (folder / "kit.toml").write_bytes(content)
    is_one_line(run(name, "kit.toml"), (2,))
    assert (folder / "kit.toml").read_bytes() == content
    assert unchanged(folder, "kit.toml")


@pytest.mark.parametrize("name", every(OUTPUTS))
def test_where_the_disk_is_full(folder, name):
    """A limit on the size of files stands for a full disk: a write fails halfway."""
    target = folder / f"out.{OUTPUTS[name][1]}"
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20, limits[1]))
    try:
        answer = run(name, target)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    is_one_line(answer)
    assert unchanged(folder)


@pytest.mark.parametrize("name", [name for name in OUTPUTS if OUTPUTS[name][2]])
def test_onto_its_own_inputs(folder, name):
    for number, own in enumerate(OUTPUTS[name][2]):
        if name in ADDS and own == "my-tools.toml":
            continue  # a kit that the plan names is what is added to
        hard = folder / f"hard-{number}.{OUTPUTS[name][1]}"
        os.link(folder / own, hard)
        for target in (own, hard.name):
            is_one_line(run(name, target), (2,))
            if name not in ADDS:
                is_one_line(run(name, target, *(["--force"] if name != "new" else [])), (2,))
        hard.unlink()
        assert unchanged(folder), own


@pytest.mark.parametrize("name", OUTPUTS)
def test_onto_a_file_of_another(folder, name):
    mine = folder / f"mine.{OUTPUTS[name][1]}"
    mine.write_text("my own work, which is no TOML")
    is_one_line(run(name, mine), (2,))
    assert mine.read_text() == "my own work, which is no TOML"
    assert unchanged(folder, mine.name)

"""Whatever files are handed to the commands: an answer or lines that say why there is none.

Good files are spoilt byte by byte, cell by cell and figure by figure, and every command is asked
about them. Exit statuses are those of the README; that a library's words mean nothing to the
person is common practice, no source.
"""

import io
import os
import random
import re
import sys
import warnings
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import chdir, redirect_stderr, redirect_stdout
from datetime import datetime, timedelta
from pathlib import Path
from time import monotonic

import meter_days
import meter_logs
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from energy.answers.learn.kit_file import as_toml
from energy.answers.learn.learn import learn
from energy.answers.learn.readings import parse_readings
from energy.answers.many import many
from energy.cli import ending
from energy.cli.main import app

PLANS = Path(__file__).parents[2] / "profiles" / "plans"
PLAN = """
title = "Invented"
profiles = ["kit.toml"]
[place]
latitude_deg = 47.0
longitude_deg = 9.0
timezone = "Europe/Zurich"
elevation_m = 400
horizon = [[90, 6], [180, 12]]
around = ["outdoors", "wet"]
[span]
start = 2026-06-01T07:00:00
end = 2026-06-02T08:00:00
[weather]
kind = "file"
file = "sun.csv"
futures = 5
[[panel]]
rated_w = 200
tilt_deg = 35
facing = "S"
aim = "re-aimed"
re_aim_at = ["09:00", "sunset-90min"]
out_between = ["08:00", "19:00"]
shade = [{ between = ["17:00", "19:00"], keep_percent = 40 }]
v_oc = 24
i_sc = 11
[pack]
capacity_ah = 50
nominal_v = 12.8
start_percent = 90
health_spread_percent = 3
temperature = 8
[pack.inverter]
rated_w = 1000
on = "with-tasks"
[pack.dc12]
rated_w = 120
[pack.solar_input]
kind = "mppt"
max_w = 300
max_v = 60
[[charger]]
watts = 100
between = ["17:00", "18:30"]
days = [1]
[[task]]
tool = "angle-grinder-115"
name = "cut"
times = 12
each_s = 45
between = ["09:30", "12:00"]
flexible = true
[[task]]
name = "radio"
supply = "usb"
working_w = 7
hours = 3
at = "sunset+30min"
must = true
[[task]]
name = "cooler"
supply = "dc12"
kind = "cycling"
on_w = 50
duty_percent = 30
period_min = 20
[[task]]
name = "phone"
supply = "usb"
kind = "charging"
energy_wh = 20
power_w = 10
after = "cut"
[[task]]
name = "logger"
supply = "dc12"
kind = "trace"
trace = "trace.csv"
at = "10:00"
times = 2
[goal]
chance_percent = 90
one_at_a_time = true
[size]
panel_w = [100, 400]
battery_wh = [300, 1500]
candidates = "list.csv"
[[run]]
from = "panel"
to = "pack"
length_m = 5
"""
TRACE = "seconds,watts\n0,2\n60,5\n90,0\n"
READINGS = (
    "time,battery_percent,solar_w,tool,count,sky\n08:30,88,40,,,6\n11:00,88,,cut,6,overcast\n"
)
CANDIDATES = (
    "name,kind,rated_w,capacity_wh,inverter_w,surge_w,kg,price,count_max\n"
    "folding,panel,200,,,,6,250,2\nbox,pack,,1000,1000,2000,14,600,1\n"
)
PLACES = (
    "name,latitude,longitude,pack.capacity_ah,weather.kind,place.elevation_m\n"
    "hut,46.5,8.0,60,clear,\nyard,52.0,20.0,,clear,100\n"
)
ODD_FIGURES = ["0", "-1", "1e-300", "1e300", "nan", "inf", "-inf", "9" * 400, "1e-9", "1e6", "0.1"]
ODD_FIGURES += ["100000", "400", "1", '"a"', "[]", "{}", "true", "2026-06-01T00:00:00", "1_0", "²"]
ODD_FIGURES += ["0001-01-01", '""', '"all-day"', "[1, 2]", '"sunset-720min"', "24:00", "99", "50"]
ODD_BYTES = [
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r",
    b'"',
    b"[",
    b"]]",
    b",,",
    b";",
    b"\t",
    b"#",
]
ODD_BYTES += ["²".encode(), "\u202e".encode(), b"\x1b[2J", "漢字".encode(), b"=", b"\n\n", b"'''"]
COMMANDS = {  # of the plan, unless another file is named
    "check": ["check", "plan.toml", "--no-fixes"],
    "check, all": ["check", "plan.toml", "--json", "--skies", "--csv", "t.csv", "--force"],
    "check now": ["check", "plan.toml", "--no-fixes", "--now", "13:00", "--battery", "60"],
    "check plot": ["check", "plan.toml", "--no-fixes", "--plot", "p.png", "--force"],
    "choose": ["choose", "plan.toml", "--write", "w.toml", "--calendar", "c.ics", "--force"],
    "choose json": ["choose", "plan.toml", "--json"],
    "how many": ["choose", "plan.toml", "--how-many", "cut"],
    "size": ["size", "plan.toml", "--json"],
    "aim": ["aim", "plan.toml"],
    "when": ["when", "plan.toml", "--to", "2026-06-03", "--plot", "p.png", "--force"],
    "page": ["page", "plan.toml", "plan.html", "--force"],
    "many": ["many", "plan.toml", "--places", "places.csv", "--plot", "m.svg", "--force"],
    "wire": ["wire", "plan.toml"],
    "wire json": ["wire", "plan.toml", "--json"],
    "readings": ["learn", "readings", "plan.toml", "readings.csv", "--write", "out.toml"],
    "next": ["learn", "next", "plan.toml", "--kit", "kit.toml"],
    "score": ["learn", "score", "plan.toml", "readings.csv", "--json"],
    "meter": ["learn", "meter", "meter.csv", "--tool", "angle-grinder-115", "--json"],
    "meter plot": ["learn", "meter", "meter.csv", "--tool", "saw", "--plot", "p.svg", "--force"],
    "add": ["tools", "my-saw", "--add", "kit.toml", "--set", "supply=ac", "--set", "working_w=9"],
    "weather": ["weather", "plan.toml"],
}
OF_THE_PLAN = [*COMMANDS]
DEMOS = ("cloudy-repair", "two-night-trip", "january-job")
COMMANDS |= {f"check {name}": ["check", f"{name}.toml", "--no-fixes"] for name in DEMOS}
COMMANDS |= {f"wire {name}": ["wire", f"{name}.toml"] for name in DEMOS}
READ_BY = {  # which commands are asked about which file, the quick ones more often
    "plan.toml": [*OF_THE_PLAN, *3 * ["check", "wire", "wire json", "check now", "check plot"]],
    "kit.toml": ["check", "page", "wire", "next", "readings", "add", "check plot", "score"],
    "sun.csv": ["check", "check, all", "wire", "check plot"],
    "readings.csv": ["readings", "score"],
    "meter.csv": ["meter", "meter plot"],
    "trace.csv": ["check", "page", "wire", "check plot"],
    "list.csv": ["size"],
    "places.csv": ["many"],
    **{f"{name}.toml": [f"check {name}", f"wire {name}"] for name in DEMOS},
}
SAID_BY_LIBRARIES = re.compile(
    "traceback|pydantic|site-packages|numpy|pandas|matplotlib|scipy|warning:|dtype|errno"
    "|none?type|object has no|validation error|codec can",
    re.IGNORECASE,
)
NO_FIGURE = re.compile("\\b(nan|nat|inf|infinity)\\b", re.IGNORECASE)
# What was found in the file; in JSON a sentence that quotes it is quoted itself.
QUOTED = re.compile(r'"(\\.|[^"\\]){0,600}"|\b(got|cannot\s+be)\s+[^\s,;)]+')


def sun_and_air():
    """Hourly sun and air of two invented weeks, plain."""
    rows = ["time,ghi,temp_air"]
    for number in range(14 * 24):
        day, hour = divmod(number, 24)
        at = datetime(2026, 5, 25) + timedelta(hours=number)
        sun = max(0, 60 * (6 - abs(hour - 12))) * (1 + day % 3) // 2
        rows.append(f"{at:%Y-%m-%d %H:%M},{sun},{hour / 2:g}")
    return "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def good(tmp_path_factory):
    """Good files by name, in bytes."""
    day = meter_days.folded()
    read = "time,battery_percent,tool,count\n08:30,88,,\n11:00,60,angle-grinder-115,20\n"
    kit = as_toml(learn(day, parse_readings(read, day)).kit_file, "kit.toml")
    watts, _ = meter_logs.cuts(count=6)
    texts = {
        "plan.toml": PLAN,
        "kit.toml": kit,
        "sun.csv": sun_and_air(),
        "readings.csv": READINGS,
        "meter.csv": meter_logs.rows([round(float(w), 1) for w in watts]),
        "trace.csv": TRACE,
        "list.csv": CANDIDATES,
        "places.csv": PLACES,
    }
    demos = {f"{name}.toml": (PLANS / f"{name}.toml").read_text() for name in DEMOS}
    return {name: text.encode() for name, text in (texts | demos).items()}


def spoilt(data, rng):
    """A file with one to three things wrong in it."""
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        how = rng.choice([*5 * ["figure"], "byte", "cut", "twice", "insert", "lines"])
        at = rng.randrange(len(data) + 1)
        if rng.random() < 0.5:
            at %= 400  # heads decide more than the rows below
        if how == "figure":
            data = with_odd_figure(data, at, rng)
        elif how == "byte":
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        elif how == "cut":
            data = data[:at] + data[at + rng.randint(1, 200) :]
        elif how == "twice":
            data = data[:at] + data[at : at + rng.randint(1, 200)] * 2 + data[at:]
        elif how == "insert":
            data = data[:at] + rng.choice(ODD_BYTES) + data[at:]
        else:
            lines = data.split(b"\n")
            one = rng.randrange(len(lines))
            other = min(one + rng.randint(1, 20), len(lines) - 1)
            lines[one], lines[other] = lines[other], lines[one]
            data = b"\n".join(lines)
    return data


def with_odd_figure(data, at, rng):
    """The next value after a place replaced: a number, a cell or what stands behind a `=`."""
    found = re.compile(rb"(?<=[=,\[] )[^\n,\]]+|(?<=,)[^\n,]*|-?\d[\d.]*").search(data, at)
    if found is None:
        return data
    return data[: found.start()] + rng.choice(ODD_FIGURES).encode() + data[found.end() :]


def asked(arguments):
    """A command's exit status, and all it said; what it drew or wrote is nobody's."""
    out, errors = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(errors), warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        status = ending.status_of(lambda: app(arguments, prog_name="energy", standalone_mode=False))
    return status, out.getvalue() + errors.getvalue()


def wrong_with(status, said):
    """What should not be so; empty where all is well."""
    if status not in (0, 1, 2, 3):
        return f"exit status {status}: {said[-400:]}"
    if found := SAID_BY_LIBRARIES.search(said):
        return f"a library's words, {found[0]!r}: {said[max(found.start() - 200, 0) :][:400]}"
    own_words = QUOTED.sub("", said)
    if status in (0, 1) and (found := NO_FIGURE.search(own_words)):
        return f"no figure, {found[0]!r}: {own_words[max(found.start() - 200, 0) :][:400]}"
    if steering := {c for c in said if not c.isprintable()} - {"\n"}:
        return f"steers a terminal: {steering}"
    return "" if said.strip() or status == 0 else "nothing said"


def try_one(good, folder, rng):
    """One spoilt file and one command about it: which, and what was wrong with the outcome."""
    name = rng.choice([*READ_BY, *3 * ["plan.toml"]])
    command = rng.choice(READ_BY[name])
    for other, data in good.items():
        path = folder / other
        if other == name:
            path.write_bytes(spoilt(data, rng))
        elif not path.exists() or path.stat().st_size != len(data) or path.read_bytes() != data:
            path.write_bytes(data)
    (folder / "out.toml").unlink(missing_ok=True)
    with chdir(folder):
        status, said = asked(COMMANDS[command])
    return (name, command, status), wrong_with(status, said)


@pytest.fixture(autouse=True)
def apart(tmp_path, monkeypatch):
    """Details of faults go nowhere near the person's own cache; no process is started."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(many, "processes", lambda _: ThreadPoolExecutor(1))


def test_the_good_files_are_good(good, tmp_path):
    for name, data in good.items():
        (tmp_path / name).write_bytes(data)
    with chdir(tmp_path):
        for command in OF_THE_PLAN:
            status, said = asked(COMMANDS[command])
            assert (status in (0, 1), wrong_with(status, said)) == (True, ""), (command, said)


@pytest.mark.parametrize(
    ("said", "wrong"),
    [
        ('column "inf" is not known', ""),
        ("line 3: battery_percent must be a number (got nan)", ""),
        ('["column \\"-inf:00\\" is not known"]', ""),
        ("covariance item 3 cannot be nan; learn anew", ""),
        ("lowest charge nan %", "no figure"),
        ('"radio" is short of inf Wh', "no figure"),
    ],
)
def test_only_figures_of_the_tools_own_must_be_some(said, wrong):
    assert wrong_with(0, said).startswith(wrong)
    assert bool(wrong_with(0, said)) == bool(wrong)


@settings(
    deadline=None,
    max_examples=60,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],  # a case may take a second: none is made smaller
)
@given(st.randoms(use_true_random=False))
def test_a_spoilt_file_gets_an_answer_or_lines(good, tmp_path, rng):
    what, wrong = try_one(good, tmp_path, rng)
    assert not wrong, (what, wrong)


@pytest.mark.oracle
def test_many_spoilt_files_get_an_answer_or_lines(good, tmp_path):
    """ENERGY_FUZZ_SEED, ENERGY_FUZZ_CASES and ENERGY_FUZZ_S choose other cases, more, or longer."""
    seed = int(os.environ.get("ENERGY_FUZZ_SEED", 0))
    cases = int(os.environ.get("ENERGY_FUZZ_CASES", 150))
    ends = monotonic() + float(os.environ.get("ENERGY_FUZZ_S", 600.0))
    found, faults, slowest = Counter(), {}, (0.0, "")
    for number in range(cases):
        begun = monotonic()
        if begun > ends:
            break
        what, wrong = try_one(good, tmp_path, random.Random(f"{seed} {number}"))
        found[what] += 1
        slowest = max(slowest, (monotonic() - begun, f"{number} {what}"))
        if wrong:
            faults.setdefault(wrong[:120], (number, what, wrong))
            save = os.environ.get("ENERGY_FUZZ_KEPT")
            if save:
                Path(save, f"{seed}-{number}-{what[0]}").write_bytes(
                    (tmp_path / what[0]).read_bytes()
                )
    print(f"seed {seed}, {found.total()} cases, slowest {slowest}", file=sys.stderr)
    for name in READ_BY:
        of = Counter()
        for (file, _, status), count in found.items():
            of.update({status: count} if file == name else {})
        print(f"{name}: {of.total()}, by exit status {dict(sorted(of.items()))}", file=sys.stderr)
    for number, what, wrong in faults.values():
        print(f"case {number} {what}: {wrong}\n", file=sys.stderr)
    assert not faults, f"{len(faults)} kinds of fault with seed {seed}"

"""What a person sees first: 24 lines at 80 columns, at any width, of every command and demo."""

import re
from datetime import date
from typing import Any

import pytest
from rich.cells import cell_len
from typer.testing import CliRunner

from energy.answers.aim.aim import aim
from energy.answers.check.check import check
from energy.answers.choose.choose import choose
from energy.answers.fix.fix import fixes
from energy.answers.learn.next_reading import what_to_read
from energy.answers.size.size import size
from energy.answers.when.dullest import dullest
from energy.answers.when.when import when
from energy.cli.main import app
from energy.show.layout import LINES

DEMOS = ("cloudy-repair", "two-night-trip", "january-job")
COMMANDS = ("check", "choose", "when", "when --year", "aim", "wire", "size", "learn next")
UNITS = r"(%|Wh|W|V|A|kg|m|min|mm2|points)"


ANSWERS = {
    "energy.answers.check.check.check": check,
    "energy.answers.choose.choose.choose": choose,
    "energy.answers.fix.fix.fixes": fixes,
    "energy.answers.size.size.size": size,
    "energy.answers.aim.aim.aim": aim,
    "energy.answers.when.when.when": when,
    "energy.answers.when.dullest.dullest": dullest,
    "energy.answers.learn.next_reading.what_to_read": what_to_read,
}
ASKED: dict[tuple[Any, ...], Any] = {}


@pytest.fixture(autouse=True)
def each_answer_once(monkeypatch):
    """What takes long is asked once for all widths and options."""

    def once(name, ask):
        def answer(plan, *given, **named):
            days = [part for part in given if isinstance(part, int | date)]
            key = (name, getattr(plan, "plan", plan).origin, *days)
            if key not in ASKED:
                ASKED[key] = ask(plan, *given, **named)
            return ASKED[key]

        return answer

    for name, ask in ANSWERS.items():
        monkeypatch.setattr(name, once(name, ask))


def said(command: str, demo: str, *options: str, columns: int = 80) -> list[str]:
    arguments = [*command.split(), f"builtin:{demo}", *options]
    answer = CliRunner(env={"COLUMNS": str(columns)}).invoke(app, arguments, catch_exceptions=False)
    assert answer.exit_code in (0, 1), answer.output
    return answer.output.splitlines()


def timetable(lines: list[str]) -> list[str]:
    """The lines of a timetable, and the blank one after it: it alone may be long."""
    days = r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2}"
    found = [line for line in lines if re.match(rf"  \d\d:\d\d to |{days}$", line)]
    return [*found, ""] if found else []


def is_slow(command: str, demo: str) -> bool:
    """The longest searches, and the years, as oracles: another demo's are looked at by default,
    and the year of a small plan (test_when_command)."""
    return (
        (command in ("check", "choose", "when") and demo != "cloudy-repair")
        or (command in ("aim", "size") and demo == "january-job")
        or command == "when --year"
    )


@pytest.mark.parametrize(
    ("command", "demo"),
    [
        pytest.param(command, demo, marks=[pytest.mark.oracle] if is_slow(command, demo) else [])
        for command in COMMANDS
        for demo in DEMOS
    ],
)
def test_an_answer_fits_24_lines_of_80_columns_and_other_widths(command, demo):
    lines = said(command, demo)
    assert len(lines) - len(timetable(lines)) <= LINES
    for columns in (60, 80, 120):
        lines = lines if columns == 80 else said(command, demo, columns=columns)
        assert max(map(cell_len, lines)) <= min(columns, 100)
        broken = re.compile(rf"\d\n *{UNITS}( |$)", re.MULTILINE)
        assert not broken.search("\n".join(lines))
        assert not [line for line in lines if line != line.rstrip()]


@pytest.mark.parametrize(
    "demo",
    [pytest.param(demo, marks=[] if demo == DEMOS[0] else [pytest.mark.oracle]) for demo in DEMOS],
)
def test_all_shows_what_each_detail_shows(demo):
    everything = set(said("check", demo, "--all"))
    for option in ("--tasks", "--energy", "--fixes", "--care"):
        detail = said("check", demo, option)
        assert len(detail) > LINES
        more = {
            line for line in detail if " more: --" not in line and "the same in full" not in line
        }
        left = {
            line for line in more - everything if not line.startswith((" " * 10, "Take", "Not"))
        }
        assert left == set(), option


def test_the_first_word_is_the_reason_of_the_exit_status():
    for demo, word, status in (
        ("cloudy-repair", "ALMOST", 1),
        ("two-night-trip", "ALMOST", 1),
        ("january-job", "NO", 1),
    ):
        answer = CliRunner().invoke(app, ["check", f"builtin:{demo}", "--no-fixes"])
        heads = [line.split()[0] for line in answer.output.splitlines() if line]
        assert word in heads[:3]
        assert answer.exit_code == status


def test_a_pipe_gets_80_columns_where_nothing_else_is_said(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    answer = CliRunner().invoke(app, ["check", "builtin:cloudy-repair", "--all"])
    assert 70 < max(map(cell_len, answer.output.splitlines())) <= 80

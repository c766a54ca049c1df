"""What a person sees while an answer is under way: on a terminal alone, and only of long ones."""

import io
import sys
import threading

import pytest
from rich.console import Console
from rich.progress import Progress
from typer.testing import CliRunner

from energy.answers.aim import aim as aiming
from energy.answers.check import check as checking
from energy.answers.fix import fix as fixing
from energy.answers.wire import wire as wiring
from energy.cli.main import app
from energy.show import progress as bars

STEPS = {"check": checking, "aim": aiming, "wire": wiring}
PLAN = "builtin:cloudy-repair"


class Terminal(io.StringIO):
    """A terminal that remembers what came to it."""

    def isatty(self):
        return True


def shown(command, monkeypatch, *options, terminal=True, short_s=0.0):
    """What a command shows on the stream of errors while its answer is under way."""
    errors, step = Terminal() if terminal else io.StringIO(), STEPS[command]
    ask = getattr(step, command)

    def asked(*given, **how):
        started.wait(60.0 if terminal and not options and not short_s else 0.0)
        return ask(*given, **how)

    started = bars_started(monkeypatch)
    monkeypatch.setattr(step, command, asked)
    monkeypatch.setattr(bars, "SHORT_S", short_s)
    monkeypatch.setattr(
        "energy.show.console.console",
        lambda errors=False: Console(file=into if errors else sys.stdout, width=80),
    )
    into = errors
    CliRunner().invoke(app, [*options, command, PLAN, *(["--no-fixes"] * (command == "check"))])
    return errors.getvalue()


def bars_started(monkeypatch):
    """An event that is set when a bar is shown."""
    event, start = threading.Event(), Progress.start

    def told(self):
        start(self)
        event.set()

    monkeypatch.setattr(Progress, "start", told)
    return event


@pytest.mark.parametrize(
    ("command", "word"), [("check", "check"), ("aim", "poses"), ("wire", "wires")]
)
def test_a_long_answer_shows_a_bar_on_a_terminal(command, word, monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("ENERGY_QUIET", raising=False)
    assert word in shown(command, monkeypatch)


@pytest.mark.parametrize("command", STEPS)
def test_nothing_is_shown_on_a_pipe(command, monkeypatch):
    assert shown(command, monkeypatch, terminal=False) == ""


def test_no_bar_is_made_where_none_is_drawn(monkeypatch):
    monkeypatch.setattr(bars, "_bar", lambda *_: pytest.fail("a bar was made"))
    with bars.progress(Console(file=io.StringIO()), "check") as ticker:
        ticker(1, 2)


@pytest.mark.parametrize("command", STEPS)
def test_nothing_is_shown_where_quiet_is_asked_for(command, monkeypatch):
    monkeypatch.setenv("ENERGY_QUIET", "")
    monkeypatch.setenv("TERM", "xterm")
    assert shown(command, monkeypatch, "--quiet") == ""


def test_a_short_answer_shows_nothing(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("ENERGY_QUIET", raising=False)
    assert shown("check", monkeypatch, short_s=600.0) == ""


def test_the_rate_is_shown_where_it_is_asked_for(monkeypatch):
    monkeypatch.setattr(bars, "SHORT_S", 0.0)
    monkeypatch.delenv("ENERGY_QUIET", raising=False)
    started = bars_started(monkeypatch)
    out = Console(file=Terminal(), width=100, force_terminal=True)
    with bars.progress(out, "plans", rate=True) as ticker:
        assert started.wait(60.0)
        ticker(3, None)
    assert "3 done" in out.file.getvalue()


def test_the_changes_tell_how_far_they_are(monkeypatch):
    told = []
    seek = fixing.fixes

    def sought(result, progress=None):
        assert progress is not None
        return seek(result, lambda *far: (told.append(far), progress(*far)))

    monkeypatch.setattr(fixing, "fixes", sought)
    CliRunner().invoke(app, ["check", PLAN, "--set", "pack.capacity_wh=300"])
    assert told[0][0] == 0


def test_an_interrupt_among_the_changes_says_how_far_and_nothing_of_files():
    out = Console(file=io.StringIO(), width=100)

    def interrupted():
        with bars.progress(out, "changes", writes=False) as ticker:
            ticker(3, 11)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert out.file.getvalue() == "Stopped: changes, 3 of 11 done.\n"

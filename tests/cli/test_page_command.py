"""energy page as a person runs it. All plans are invented."""

import os
import re
import signal
import subprocess
import sys
import urllib.request

import pytest
from checkout import ROOT
from typer.testing import CliRunner

from energy import Plan, page
from energy.cli.main import app

DEMO = ROOT / "profiles" / "plans" / "cloudy-repair.toml"


def run(*arguments):
    return CliRunner().invoke(app, ["page", *map(str, arguments)], catch_exceptions=False)


def test_it_writes_what_the_call_makes_and_says_the_answer(tmp_path):
    target = tmp_path / "hut.html"
    answer = run(DEMO, target)
    assert answer.exit_code == 1  # almost
    assert "ALMOST  Nothing stops in any of 31 weathers" in answer.output
    assert f"Wrote {target}" in answer.output
    assert target.read_text(encoding="utf-8") == page(Plan.read(DEMO)).html


def test_it_writes_where_it_is_told_to_and_nowhere_else(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused = run(DEMO)
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert refused.stderr.splitlines() == [
        "a file to write is needed, or --serve: energy page my-plan.toml my-plan.html"
    ]
    assert list(tmp_path.iterdir()) == []


def test_a_file_alone_is_the_demos(tmp_path):
    answer = run(tmp_path / "demo.html")
    assert "no plan given: the built-in demo" in answer.output
    assert "Repair at the hut" in (tmp_path / "demo.html").read_text(encoding="utf-8")


def test_a_page_ends_in_html(tmp_path):
    refused = run(DEMO, tmp_path / "page.toml")
    assert refused.exit_code == 2
    assert refused.stderr.endswith("page.toml: a page's name must end in .html\n")


def test_another_date_and_other_keys_are_on_the_page(tmp_path):
    run(DEMO, tmp_path / "a.html", "--date", "2026-06-20", "--set", "title=June")
    text = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<h1>June</h1>" in text
    assert "Sat 20 Jun 07:00" in text


def test_every_caution_is_one_option_away(tmp_path):
    assert len(run(DEMO, tmp_path / "a.html", "--care").output.splitlines()) > 30


def test_a_wrong_plan_is_told_in_lines(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[pack]\ncapacity_wh = -1\n")
    refused = run(plan, tmp_path / "a.html")
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert all(line.startswith("plan.toml: ") for line in refused.stderr.splitlines())
    assert not (tmp_path / "a.html").exists()


HERE = """
from energy.answers.page import server
server.this_machine = lambda: "127.0.0.1"
from energy.cli.main import main
main()
"""


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_it_is_offered_until_interrupted():
    command = [sys.executable, "-c", HERE, "page", str(DEMO), "--serve"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as served:
        lines = []
        while not (lines and "Ctrl-C" in lines[-1]):
            lines.append(served.stdout.readline())
            assert lines[-1], "it ended before it said where"
        (address,) = re.findall(r"http://127\.0\.0\.1:\d+/\S+", "".join(lines))
        assert "Anyone on this network" in lines[-1]
        with urllib.request.urlopen(address, timeout=20) as answer:
            assert answer.read().decode() == page(Plan.read(DEMO)).html
        served.send_signal(signal.SIGINT)
        assert served.wait(timeout=20) == 1  # almost, as without --serve


def test_no_network_is_one_line(monkeypatch):
    from energy.answers.page import server

    def unreachable():
        raise server.NotServed(["--serve: this machine is on no network"])

    monkeypatch.setattr(server, "this_machine", unreachable)
    refused = run(DEMO, "--serve")
    assert refused.exit_code == 3
    assert refused.stderr == "--serve: this machine is on no network\n"

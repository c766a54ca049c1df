"""`energy help`: the keys of a plan, told from the schema."""

import json

import pytest
from typer.testing import CliRunner

from energy.cli.main import app
from energy.plan.keys import keys


def run(*arguments):
    return CliRunner().invoke(app, ["help", *arguments], catch_exceptions=False)


def test_every_key_is_listed():
    shown = run("keys").output
    lines = [line.split() for line in shown.splitlines()]
    begun = {words[0] for words in lines if words}
    for key in keys():
        assert {key.name.split(".")[-1], f"[{key.name}]", f"[[{key.name}]]"} & begun, key.name
    assert max(map(len, shown.splitlines())) <= 80


def test_a_key_is_told_whole():
    shown = run("pack.start_percent").output
    assert shown.splitlines() == [
        "pack.start_percent: Charge at the start of the span.",
        "  Left out: 100; allowed 0 to 100; unit %.",
    ]


def test_a_required_key_says_so():
    assert "Required" in run("span.start").output


def test_a_keys_last_step_is_enough_and_all_of_that_name_are_told():
    shown = run("start_percent").output
    assert shown == run("pack.start_percent").output
    shown = run("rated_w").output
    for name in ("panel.rated_w", "pack.inverter.rated_w", "pack.dc12.rated_w", "pack.usb.rated_w"):
        assert f"{name}:" in shown


def test_a_numbered_key_is_that_key():
    assert run("task.2.times").output == run("task.times").output


def test_a_table_comes_with_its_keys():
    shown = run("goal").output
    assert "goal.chance_percent:" in shown
    assert "goal.one_at_a_time:" in shown
    assert run("[goal]").output == shown
    assert run("[[task]]").output == run("task").output


def test_an_unknown_key_offers_the_nearest():
    refused = run("start_precent")
    assert refused.exit_code == 2
    assert refused.stderr == 'there is no key "start_precent"; did you mean "start_percent"?\n'


def test_json_holds_every_key():
    assert [key["name"] for key in json.loads(run("keys", "--json").output)] == [
        key.name for key in keys()
    ]


@pytest.mark.parametrize("topic", [(), ("check",)])
def test_help_of_commands_is_their_own(topic):
    assert run(*topic).output == CliRunner().invoke(app, [*topic, "--help"]).output

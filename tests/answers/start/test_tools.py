"""`energy tools`: load profiles, packs and panels, whole or by a word."""

import json

import pytest
from typer.testing import CliRunner

from energy import PlanError, tools
from energy.answers.start.words import tools_sheet
from energy.cli.main import app
from energy.plan import profiles
from energy.show.layout import LINES, fitted


def run(*arguments):
    return CliRunner().invoke(app, ["tools", *arguments], catch_exceptions=False)


def test_a_family_is_listed_usual_first_and_one_is_asked_for():
    shown = run("grinder")
    assert shown.exit_code == 0
    lines = shown.output.splitlines()
    order = [line.split()[0] for line in lines if "-grinder" in line[:20]]
    assert order[0] == "angle-grinder-125"
    assert "die-grinder" in order
    assert lines[-1] == "Which one? energy tools angle-grinder-125 shows all its figures."


@pytest.mark.parametrize("word", ["pack", "packs"])
def test_packs_come_with_their_limits(word):
    assert tools(word) == profiles.packs()
    line = next(
        line for line in run(word).output.splitlines() if line.strip().startswith("pack-1000")
    )
    pack = profiles.packs()["pack-1000"]
    for table, key in (("inverter", "rated_w"), ("inverter", "surge_w"), ("solar_input", "max_w")):
        assert f"{pack[table][key]:g}" in line.split()


@pytest.mark.parametrize("word", ["panel", "panels"])
def test_panels_come_with_their_figures(word):
    assert tools(word) == profiles.panels()
    line = next(
        line for line in run(word).output.splitlines() if line.strip().startswith("rigid-400")
    )
    assert {"400", "37.1", "13.8"} <= set(line.split())


def test_one_pack_or_panel_comes_with_all_its_figures():
    shown = run("pack-1000").output
    assert "start_percent" not in shown
    assert "inverter.surge_w" in shown
    assert "v_oc" in run("folding-200").output
    assert json.loads(run("pack-1000", "--json").output).keys() == {"pack-1000"}


def test_without_a_word_the_groups_are_listed_and_all_of_them_behind_an_option():
    groups = {line.split()[0] for line in run().output.splitlines() if line[:1].strip()}
    assert {tool["group"] for tool in profiles.tools().values()} | {"pack", "panel"} <= groups
    shown = run("--all").output
    assert all(name in shown for name in ("die-grinder", "pack-2000", "bendable-100"))
    assert json.loads(run("--json").output).keys() == profiles.tools().keys()


def test_a_group_is_listed():
    assert {tool["group"] for tool in tools("welding").values()} == {"welding"}


def test_part_of_a_word_still_lists():
    assert "angle-grinder-125" in tools("grind")


@pytest.mark.parametrize("word", [None, "pack", "panel", "grinder", "pack-1000"])
@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_table_is_wider_than_its_room_and_no_word_is_cut(word, width):
    parts = tools_sheet(word, tools(word), width, every=True).parts
    shown = "\n".join(line.plain for p in parts for line in p.lines)
    assert max(map(len, shown.splitlines())) <= width
    assert "…" not in shown
    assert "bendable-100" in shown or word not in (None, "panel")


@pytest.mark.parametrize("word", [None, "pack", "panel", "grinder", "camp"])
def test_what_there_is_fits_a_screen(word):
    parts = fitted(tools_sheet(word, tools(word), 80, every=False).parts, LINES)
    assert sum(len(p.lines) for p in parts) <= LINES


def test_what_is_no_word_of_a_tool_is_one_line():
    with pytest.raises(PlanError, match="energy tools"):
        tools("zeppelin")

"""A kit of the list as it is written: the real panels, and no limit that nobody knows."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from functools import cache

import pytest
import tomlkit
from size_plans import sized, small
from told import at_a_glance

from energy.answers.size.bundles import kit_change
from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import make_designs
from energy.answers.size.kits import Kits, kits
from energy.answers.size.words import sheet
from energy.answers.wire.wire import wire
from energy.plan import Plan
from energy.plan.write import write_changes
from energy.simulation.budget import budget

# Invented things.
BOX = Candidate("box", "pack", capacity_wh=900.0, charge_max_w=450.0, price=300.0)
FED = Candidate("fed box", "pack", capacity_wh=900.0, charge_max_w=450.0, solar_max_w=400.0)
CLOTH = Candidate("cloth", "panel", rated_w=50.0, price=60.0, count_max=2)
GLASS = Candidate("glass", "panel", rated_w=120.0, price=100.0)
UNLIKE = ((CLOTH, 1), (GLASS, 1))
INPUT = {"kind": "mppt", "max_v": 60, "max_a": 15, "charge_max_a": 20}
OWN_PANEL = {
    "name": "old one",
    "profile": "rigid-50",
    "count": 2,
    "tilt_deg": 55,
    "facing": "SSE",
    "shade": [{"between": ["15:00", "18:00"], "keep_percent": 40}],
}
CABLE = {"from": "panel", "to": "pack", "length_m": 8}


@cache
def station() -> Plan:
    return small(None, {"nominal_v": 12.8, "solar_input": INPUT}, panel=[OWN_PANEL], run=[CABLE])


def written(plan: Plan, packs: tuple[tuple[Candidate, int], ...]) -> Plan:
    return plan.replace(**kit_change(plan, packs, UNLIKE))


def test_each_kind_of_panel_is_a_table_of_its_own_that_lies_as_the_plans() -> None:
    plan = station()
    made = written(plan, ((BOX, 1),))
    assert [(one.name, one.rated_w, one.count) for one in made.panel] == [
        ("cloth", 50.0, 1),
        ("glass", 120.0, 1),
    ]
    (own,) = plan.panel
    for one in made.panel:
        assert (one.tilt_deg, one.facing, one.shade) == (own.tilt_deg, own.facing, own.shade)
        assert (one.v_mp, one.i_mp) == (own.v_mp, pytest.approx(one.rated_w / own.v_mp))
        assert one.profile is one.v_oc is one.i_sc is one.kg is None  # the list has no label of it


def test_of_unlike_own_panels_the_largest_says_how_the_listed_ones_lie() -> None:
    plan = station().replace(panel=[OWN_PANEL, {"rated_w": 400, "tilt_deg": 10, "facing": "N"}])
    for one in written(plan, ((BOX, 1),)).panel:
        assert (one.tilt_deg, one.facing) == (10.0, 0.0)


def test_the_input_of_the_plan_stays_where_the_list_says_nothing_of_one() -> None:
    assert written(station(), ((BOX, 1),)).pack.solar_input == station().pack.solar_input


@pytest.mark.parametrize("pack", [{"solar_input": INPUT}, {"profile": "pack-1000"}])
def test_of_a_pack_whose_input_is_told_in_watts_volts_and_amps_are_not_known(pack: dict) -> None:
    plan = small(None, {"nominal_v": 12.8, **pack})
    into = written(plan, ((FED, 1),)).pack.solar_input
    assert (into.max_w, into.max_v, into.max_a, into.charge_max_a) == (400.0, None, None, None)
    assert into.kind == plan.pack.solar_input.kind
    rest = {"capacity_wh", "capacity_ah", "solar_input", "profile", "kg", "price"}
    rest |= {"charge_max_w", "discharge_max_w"}
    told = plan.pack.model_dump(exclude=rest)
    assert written(plan, ((FED, 1),)).pack.model_dump(exclude=rest) == told


def test_beside_a_pack_told_in_watts_the_amps_of_the_silent_one_still_limit() -> None:
    into = written(station(), ((BOX, 1), (FED, 1))).pack.solar_input
    assert (into.max_v, into.max_a) == (None, 15.0)


def test_nothing_written_is_a_number_that_nobody_said() -> None:
    for packs in (((BOX, 1),), ((FED, 1),), ((BOX, 1), (FED, 1))):
        change = json.dumps(kit_change(station(), packs, UNLIKE))
        assert not any(word in change for word in ("1000000", "1e+06", "Infinity"))


def test_unlike_panels_of_a_kit_are_not_wired_as_if_they_were_alike() -> None:
    # two kinds of one panel each cannot stand in one string
    answer = wire(written(station(), ((FED, 1),)))
    assert [(s.panel, s.panels_in_series, s.strings) for s in answer.strings] == [
        ("cloth", 1, 1),
        ("glass", 1, 1),
    ]
    assert answer.verdict is None
    assert any("max_v" in note for note in answer.notes)


def test_without_panels_their_cable_goes_too() -> None:
    made = station().replace(**kit_change(station(), ((BOX, 1),), ()))
    assert not made.panel
    assert not made.run


@cache
def found() -> Kits:
    """Of packs so small that they need panels."""
    small_box = replace(BOX, capacity_wh=500.0, charge_max_w=400.0)
    small_fed = replace(FED, capacity_wh=450.0, charge_max_w=400.0)
    return kits(make_designs(station()), [small_box, small_fed, CLOTH, GLASS])


def test_each_kit_as_it_is_written_is_a_yes_with_the_chance_that_was_told() -> None:
    first, *others = found().best
    assert first.panels
    assert found().budget is not None
    for kit in (first, *others):
        text = write_changes(tomlkit.dumps(station().source), kit.change)
        again = budget(Plan.from_dict(tomllib.loads(text)))
        assert again.yes
        assert kit is not first or again.chance == found().budget.chance


def test_what_the_list_does_not_tell_is_said_of_the_kit_that_is_written() -> None:
    (note,) = [line for line in found().as_dict()["kit_notes"] if "v_oc" in line]
    assert "energy wire" in note


def test_a_kit_whose_strings_can_give_too_many_amps_is_told_at_once() -> None:
    plan = station().replace(**{"pack.solar_input.max_a": 6})
    mine = kits(make_designs(plan), [replace(BOX, capacity_wh=500.0), GLASS])
    assert mine.yes
    text = at_a_glance(lambda width: sheet(sized(), width, None, mine))
    assert "The panels' strings do not suit the solar input" in " ".join(text.split())


def test_a_pack_is_not_bound_by_the_solar_input_of_another_of_the_list() -> None:
    tight = replace(FED, name="tight", capacity_wh=300.0, solar_max_w=10.0, price=200.0)
    box = replace(BOX, capacity_wh=500.0)
    both = kits(make_designs(small()), [box, tight, CLOTH, GLASS])
    alone = kits(make_designs(small()), [box, CLOTH, GLASS])
    assert both.yes
    assert both.best[0] == alone.best[0]


def test_kits_of_a_plan_with_unlike_poses_are_a_yes_in_the_pose_that_is_written() -> None:
    flat = {"rated_w": 60, "tilt_deg": 0}
    plan = station().replace(panel=[flat, OWN_PANEL])
    mine = kits(make_designs(plan), [replace(BOX, capacity_wh=500.0), CLOTH, GLASS])
    assert mine.yes
    for kit in mine.best:
        made = plan.replace(**kit.change)
        assert {panel.tilt_deg for panel in made.panel} == {55.0}
        assert budget(made).yes


def test_panels_that_a_pwm_input_cannot_use_alone_are_not_advised_alone() -> None:
    # 18 V of one panel do not reach 24 V: two stand in series, whatever the plan's own were
    pwm = {"nominal_v": 24, "solar_input": {"kind": "pwm", "connection": "series"}}
    plan = small(None, pwm, panel=[{"rated_w": 60, "count": 2, "tilt_deg": 55}])
    twelve = replace(GLASS, rated_w=80.0, count_max=4)
    mine = kits(make_designs(plan), [replace(BOX, capacity_wh=450.0), twelve])
    assert mine.yes
    for kit in mine.best:
        assert sum(count for _, count in kit.panels) > 1
        assert budget(plan.replace(**kit.change)).yes

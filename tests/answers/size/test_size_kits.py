"""Kits from a list of candidates: how the list is read, and which kits are best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from plan_files import problems
from size_plans import CUTS, INVERTER, LAMP, small

from energy.answers.size.bundles import Bundle, bundles
from energy.answers.size.candidates import Candidate, read_candidates
from energy.answers.size.designs import make_designs
from energy.answers.size.kits import Kit, kits
from energy.answers.size.search import Search
from energy.plan import Plan
from energy.simulation.budget import budget
from energy.simulation.overloads import why_never

HEAD = (
    "name,kind,rated_w,capacity_wh,inverter_w,surge_w,solar_max_w,charge_max_w,discharge_max_w,"
    "kg,price,count_max\n"
)
# Invented things.
GOOD = (
    HEAD
    + """# what the shop has
little box,pack,,250,,,100,150,300,3.5,260,3
big box,pack,,1100,1000,2000,400,600,1200,13,900,2

cloth,panel,100,,,,,,,4.2,180,4
glass,panel,200,,,,,,,11,130,2
"""
)


def written(folder: Path, text: str) -> Path:
    path = folder / "my-kit.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_list_is_read_as_written(tmp_path: Path) -> None:
    found = read_candidates(written(tmp_path, GOOD))
    assert [one.name for one in found] == ["little box", "big box", "cloth", "glass"]
    assert found[0] == Candidate(
        "little box",
        "pack",
        capacity_wh=250.0,
        solar_max_w=100.0,
        charge_max_w=150.0,
        discharge_max_w=300.0,
        kg=3.5,
        price=260.0,
        count_max=3,
    )
    assert found[2].rated_w == 100.0
    assert found[2].capacity_wh is None


@pytest.mark.parametrize(
    ("rows", "line"),
    [
        ("x,pack,,-5,,,,,,1,1,1", "line 2: capacity_wh: must be more than 0 to 1,000,000 (got"),
        ("x,pack,,many,,,,,,1,1,1", 'capacity_wh: must be more than 0 to 1,000,000 (got "many")'),
        ("x,pack,,500,,,,,,nan,1,1", 'kg: must be from 0 to 1,000,000 (got "nan")'),
        ("x,panle,100,,,,,,,1,1,1", 'kind: must be panel or pack (got "panle"); did you mean'),
        ("x,panel,,,,,,,,1,1,1", "line 2: rated_w: is required for a panel"),
        ("x,panel,100,500,,,,,,1,1,1", "capacity_wh: is not for a panel; leave it empty"),
        ("x,pack,,500,,,,,,1,1,1.5", "count_max: must be a whole number, 1 to 100 (got"),
        (",pack,,500,,,,,,1,1,1", "line 2: name: must be one line of text"),
        ("x,pack,,500,,,,,,1,1,1,9", "line 2: has 13 cells, the first row names 12"),
        ("x,pack,,500,,,,,,1,1,1\nx,pack,,600,,,,,,1,1,1", 'line 3: name: "x" is there already'),
        ("x,panel,100,,,,,,,1,1,1", "holds no pack"),
    ],
)
def test_a_wrong_row_is_one_line_with_its_number(tmp_path: Path, rows: str, line: str) -> None:
    found = problems(lambda: read_candidates(written(tmp_path, HEAD + rows + "\n")))
    assert len(found) == 1
    assert found[0].startswith("my-kit.csv: ")
    assert line in found[0]


def test_every_wrong_row_is_named(tmp_path: Path) -> None:
    rows = "a,pack,,0,,,,,,1,1,1\nb,thing,,5,,,,,,1,1,1\nc,pack,,500,,,,,,-1,x,1\n"
    found = problems(lambda: read_candidates(written(tmp_path, HEAD + rows)))
    assert [line.split(": ")[1] for line in found] == ["line 2", "line 3", "line 4", "line 4"]


def test_a_wrong_column_is_named_with_the_one_meant(tmp_path: Path) -> None:
    found = problems(lambda: read_candidates(written(tmp_path, "name,kind,capacity\na,pack,5\n")))
    assert 'line 1: "capacity" is no column; did you mean "capacity_wh"?' in found[0]


@pytest.mark.parametrize("text", ["", "\n# nothing\n", "name,price\na,5\n", "name,name,kind\n"])
def test_a_list_without_its_columns_is_refused(tmp_path: Path, text: str) -> None:
    assert problems(lambda: read_candidates(written(tmp_path, text)))


def test_a_list_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    assert len(problems(lambda: read_candidates(tmp_path / "none.csv"))) == 1


# --- against trying them all ----------------------------------------------------------------

PACKS = (
    Candidate("crate", "pack", None, 250.0, None, None, 100.0, 150.0, 300.0, 3.5, 260.0, 3),
    Candidate("chest", "pack", None, 400.0, 1000.0, 2000.0, None, 120.0, 900.0, 6.5, 410.0),
    Candidate("trunk", "pack", None, 900.0, 600.0, None, 200.0, None, None, 13.0, 780.0),
)
PANELS = (
    Candidate("cloth", "panel", rated_w=40.0, kg=1.5, price=90.0, count_max=3),
    Candidate("glass", "panel", rated_w=100.0, kg=7.0, price=80.0, count_max=2),
)
TWINS = (PACKS[0], replace(PACKS[0], name="case", count_max=1))
SAWING = {"inverter": INVERTER}
WORK = {
    "a file": (small(), PACKS + PANELS),
    "the rough table": (
        small({"kind": "climate", "futures": 60, "temp_air_c": [-4, 6]}),
        PACKS[:2] + PANELS,
    ),
    "a saw": (small(None, SAWING, task=[{**CUTS, "working_w": 500}, LAMP]), PACKS + PANELS),
    "things alike": (small(), TWINS + PANELS[:1]),
    "a goal of nothing": (small(goal={"chance_percent": 0}), PACKS + PANELS),
}


def combinations_of(things: Sequence[Candidate]) -> list[Bundle]:
    """Every way to take some, or none, of the things."""
    counts = product(*(range(one.count_max + 1) for one in things))
    return [tuple((one, n) for one, n in zip(things, ns, strict=True) if n) for ns in counts]


def with_kit(plan: Plan, packs: Bundle, panels: Bundle) -> Plan:
    """The plan with a kit: what packs hold and take adds up, the smallest inverter counts; what a
    row leaves out is half, or all, of its label an hour, as for any lithium pack, no limit of the
    solar input, and the plan's inverter."""
    label = sum(n * (one.capacity_wh or 0.0) for one, n in packs)
    charge = sum(n * (one.charge_max_w or 0.5 * (one.capacity_wh or 0.0)) for one, n in packs)
    discharge = sum(n * (one.discharge_max_w or one.capacity_wh or 0.0) for one, n in packs)
    changes: dict[str, object] = {
        "pack.capacity_wh": label,
        "pack.charge_max_w": charge,
        "pack.discharge_max_w": discharge,
    }
    if all(one.solar_max_w for one, _ in packs):
        changes["pack.solar_input.max_w"] = sum(n * (one.solar_max_w or 0.0) for one, n in packs)
    own = plan.pack.inverter
    inverters = [
        (one.inverter_w, one.surge_w or 2.0 * one.inverter_w) for one, _ in packs if one.inverter_w
    ]
    if own is not None and any(one.inverter_w is None for one, _ in packs):
        inverters.append((own.rated_w, own.surge_w))
    if inverters:
        rated, surge = (min(values) for values in zip(*inverters, strict=True))
        table = SAWING["inverter"] if own is not None else {}
        changes["pack.inverter"] = {**table, "rated_w": rated, "surge_w": surge}
    (own,) = plan.source["panel"]
    changes["panel"] = [{**own, "rated_w": one.rated_w, "count": n} for one, n in panels]
    return plan.replace(**changes)


def holds(one: Bundle, other: Bundle) -> bool:
    """Whether one has all of the other."""
    has = dict(one)
    return all(has.get(thing, 0) >= n for thing, n in other)


_best: dict[str, set[tuple[Bundle, Bundle, tuple[str, ...]]]] = {}


def best_of_all(name: str) -> set[tuple[Bundle, Bundle, tuple[str, ...]]]:
    """The first three by price and by weight with their titles, from all combinations, each by a
    budget of its own. Of several packs each must run any tool by itself."""
    plan, listed = WORK[name]
    previous = budget(plan)
    some = [[one for one in listed if one.kind == kind] for kind in ("pack", "panel")]
    alone = {one: budget(with_kit(plan, ((one, 1),), ())) for one in some[0]}
    every_tool = [
        one
        for one, judged in alone.items()
        if not any(why_never(judged, k) for k in range(len(plan.task)))
    ]
    works = [
        (packs, panels)
        for packs, panels in product(*(combinations_of(one) for one in some))
        if packs
        and (sum(n for _, n in packs) == 1 or all(one in every_tool for one, _ in packs))
        and budget(with_kit(plan, packs, panels), previous=previous).yes
    ]
    least = [
        one
        for one in works
        if not any(
            other != one and holds(one[0], other[0]) and holds(one[1], other[1]) for other in works
        )
    ]
    titles: dict[tuple[Bundle, Bundle], tuple[str, ...]] = {}
    for key, words in (("price", "cheapest"), ("kg", "lightest")):
        cost = {kit: sum(n * getattr(one, key) for one, n in kit[0] + kit[1]) for kit in least}
        for kit in least:
            before = sum(other < cost[kit] - 1e-6 for other in cost.values())
            if before < 3:
                title = ("", "second ", "third ")[before] + words
                titles[kit] = (*titles.get(kit, ()), title)
    return {(*kit, words) for kit, words in titles.items()}


SLOW = ("the rough table", "a file", "a goal of nothing")


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.oracle) if n in SLOW else n for n in WORK]
)
def test_the_best_kits_are_those_of_trying_all_combinations(name: str) -> None:
    plan, listed = WORK[name]
    found = kits(make_designs(plan), listed)
    assert {(kit.packs, kit.panels, kit.best) for kit in found.best} == best_of_all(name)
    assert found.best
    assert not found.notes


@pytest.mark.parametrize(
    "name", ["a file", pytest.param("the rough table", marks=pytest.mark.oracle), "a saw"]
)
def test_the_change_of_a_kit_makes_the_plan_a_yes(name: str) -> None:
    plan, listed = WORK[name]
    for kit in kits(make_designs(plan), listed).best:
        assert budget(plan.replace(**kit.change)).yes


def test_equal_kits_share_their_title() -> None:
    plan, listed = WORK["things alike"]
    titles = [title for kit in kits(make_designs(plan), listed).best for title in kit.best]
    assert titles.count("cheapest") > 1
    assert titles.count("lightest") > 1


def test_the_runs_of_a_search_are_counted_and_few() -> None:
    plan, listed = WORK["a file"]
    packs, panels = (
        bundles([one for one in listed if one.kind == k])[0] for k in ("pack", "panel")
    )
    search = Search(make_designs(plan), packs, [(), *panels], None)
    search.least("price")
    assert 0 < search.runs < (len(packs) * len(panels)) / 3


def test_a_long_list_is_searched_as_far_as_the_runs_go() -> None:
    listed = [
        Candidate(f"box {k}", "pack", capacity_wh=20.0 + k, kg=1.0 + k / 50.0, count_max=9)
        for k in range(12)
    ]
    listed += [
        Candidate(f"sheet {k}", "panel", rated_w=5.0 + k, kg=1.0, count_max=9) for k in range(12)
    ]
    found = kits(make_designs(small()), listed)
    assert any("none of more than 2 pack kinds was looked at" in line for line in found.notes)
    for kit in found.best:
        assert budget(small().replace(**kit.change)).yes


def test_without_prices_and_weights_the_fewest_things_are_best() -> None:
    listed = [Candidate("box", "pack", capacity_wh=3000.0, count_max=2)]
    assert [kit.best for kit in kits(make_designs(small()), listed).best] == [("fewest things",)]


def test_a_pack_whose_inverter_is_too_small_is_out_with_the_reason() -> None:
    start = small(None, {"inverter": INVERTER}, task=[LAMP, CUTS])
    listed = [
        Candidate("weak", "pack", capacity_wh=2000.0, inverter_w=500.0),
        Candidate("strong", "pack", capacity_wh=2000.0, inverter_w=1000.0, kg=20.0, price=1000.0),
        Candidate("sheet", "panel", rated_w=100.0, kg=4.0, price=100.0, count_max=4),
    ]
    found = kits(make_designs(start), listed)
    assert found.out[0].startswith('1 x weak: "saw" ')
    assert "asks 800 VA of the inverter, rated 500 W" in found.out[0]
    assert [[one.name for one, _ in kit.packs] for kit in found.best] == [["strong"]]


def test_a_pack_with_a_weak_inverter_is_not_counted_beside_a_strong_one() -> None:
    start = small(None, {"inverter": INVERTER}, task=[LAMP, CUTS])  # a saw that asks 800 VA
    listed = [
        Candidate("weak", "pack", capacity_wh=1500.0, inverter_w=500.0, price=1.0),
        Candidate("strong", "pack", capacity_wh=950.0, inverter_w=1000.0, price=1000.0),
        Candidate("sheet", "panel", rated_w=20.0, price=100.0, count_max=3),
    ]
    # what the weak one holds would have to come through the other's inverter
    for kit in kits(make_designs(start), listed).best:
        assert [one.name for one, _ in kit.packs] == ["strong"]


def test_a_thing_without_a_price_is_ranked_by_weight_alone() -> None:
    listed = [Candidate("box", "pack", capacity_wh=3000.0, kg=30.0)]
    found = kits(make_designs(small()), listed).best
    assert [kit.best for kit in found] == [("lightest",)]
    assert found[0].as_dict()["price"] is None


def test_the_json_of_a_kit_names_things_and_counts() -> None:
    kit = Kit(((PACKS[0], 2), (PACKS[1], 1)), ((PANELS[0], 3),), best=("cheapest",)).as_dict()
    assert kit | {"things": [], "change": {}} == {
        "pack": "crate + chest",
        "packs": 3,
        "panel": "cloth",
        "panels": 3,
        "things": [],
        "panel_w": 120.0,
        "battery_wh": 900.0,
        "kg": 18.0,
        "price": 1200.0,
        "best": ["cheapest"],
        "change": {},
    }
    assert kit["things"][0] == {"name": "crate", "kind": "pack", "count": 2}
    assert Kit(((PACKS[0], 1),), ()).as_dict()["panel"] is None

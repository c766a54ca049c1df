"""Kits from a list of candidates: how the list is read, and which kits are best."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest
from plan_files import problems
from test_size import CUTS, INVERTER, LAMP, reached, small

from energy.answers.sizing.candidates import Candidate, read_candidates
from energy.answers.sizing.designs import designs
from energy.answers.sizing.kits import Kit, Kits, kits
from energy.budget import budget

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
        ("x,pack,,-5,,,,,,1,1,1", "row 2: capacity_wh: must be more than 0 to 1,000,000 (got"),
        ("x,pack,,many,,,,,,1,1,1", 'capacity_wh: must be more than 0 to 1,000,000 (got "many")'),
        ("x,pack,,500,,,,,,nan,1,1", 'kg: must be from 0 to 1,000,000 (got "nan")'),
        ("x,panle,100,,,,,,,1,1,1", 'kind: must be panel or pack (got "panle"); did you mean'),
        ("x,panel,,,,,,,,1,1,1", "row 2: rated_w: is required for a panel"),
        ("x,panel,100,500,,,,,,1,1,1", "capacity_wh: is not for a panel; leave it empty"),
        ("x,pack,,500,,,,,,1,1,1.5", "count_max: must be a whole number, 1 to 100 (got"),
        (",pack,,500,,,,,,1,1,1", "row 2: name: must be one line of text"),
        ("x,pack,,500,,,,,,1,1,1,9", "row 2: has 13 cells, the first row names 12"),
        ("x,pack,,500,,,,,,1,1,1\nx,pack,,600,,,,,,1,1,1", 'row 3: name: "x" is there already'),
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
    assert [line.split(": ")[1] for line in found] == ["row 2", "row 3", "row 4", "row 4"]


def test_a_wrong_column_is_named_with_the_one_meant(tmp_path: Path) -> None:
    found = problems(lambda: read_candidates(written(tmp_path, "name,kind,capacity\na,pack,5\n")))
    assert 'row 1: "capacity" is no column; did you mean "capacity_wh"?' in found[0]


@pytest.mark.parametrize("text", ["", "\n# nothing\n", "name,price\na,5\n", "name,name,kind\n"])
def test_a_list_without_its_columns_is_refused(tmp_path: Path, text: str) -> None:
    assert problems(lambda: read_candidates(written(tmp_path, text)))


def test_a_list_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    assert len(problems(lambda: read_candidates(tmp_path / "none.csv"))) == 1


def found_in(folder: Path) -> Kits:
    return kits(designs(small()), read_candidates(written(folder, GOOD)))


def every_kit(folder: Path) -> list[Kit]:
    """All combinations of the list that reach the goal, each by a budget of its own."""
    listed = read_candidates(written(folder, GOOD))
    packs = [(one, n) for one in listed[:2] for n in range(1, one.count_max + 1)]
    panels = [(None, 0), *((one, n) for one in listed[2:] for n in range(1, one.count_max + 1))]
    reach = []
    for (pack, packed), (panel, count) in product(packs, panels):
        kit = Kit(pack, packed, panel, count)
        assert pack.capacity_wh is not None
        assert pack.solar_max_w is not None
        assert pack.charge_max_w is not None
        assert pack.discharge_max_w is not None
        changes: dict[str, object] = {
            "pack.capacity_wh": packed * pack.capacity_wh,
            "pack.solar_input.max_w": packed * pack.solar_max_w,
            "pack.charge_max_w": packed * pack.charge_max_w,
            "pack.discharge_max_w": packed * pack.discharge_max_w,
        }
        changes |= {"panel.1.rated_w": kit.panel_w} if panel else {"panel": []}
        if pack.inverter_w is not None:
            changes |= {"pack.inverter": {"rated_w": pack.inverter_w, "surge_w": pack.surge_w}}
        if reached(budget(small().replace(**changes)), 90.0):
            reach.append(kit)
    return reach


def test_the_cheapest_and_the_lightest_kit_are_those_of_trying_all(tmp_path: Path) -> None:
    found, every = found_in(tmp_path).found, every_kit(tmp_path)
    for key, word in (("price", "cheapest"), ("kg", "lightest")):
        best = next(kit for kit in found if word in kit.best)
        assert best.total(key) == min(kit.total(key) or 0.0 for kit in every)


def test_every_kit_shown_reaches_the_goal(tmp_path: Path) -> None:
    names = [
        (k.pack.name, k.packs, k.panel and k.panel.name, k.panels) for k in every_kit(tmp_path)
    ]
    for kit in found_in(tmp_path).found:
        assert (kit.pack.name, kit.packs, kit.panel and kit.panel.name, kit.panels) in names


def test_a_pack_whose_inverter_is_too_small_is_out_with_the_reason() -> None:
    start = small(None, {"inverter": INVERTER}, task=[LAMP, CUTS])
    listed = [
        Candidate("weak", "pack", capacity_wh=2000.0, inverter_w=500.0),
        Candidate("strong", "pack", capacity_wh=2000.0, inverter_w=1000.0, kg=20.0, price=1000.0),
        Candidate("sheet", "panel", rated_w=100.0, kg=4.0, price=100.0, count_max=4),
    ]
    found = kits(designs(start), listed)
    assert found.out[0].startswith('1 x weak: "saw" ')
    assert "asks 800 VA of the inverter, rated 500 W" in found.out[0]
    assert {kit.pack.name for kit in found.found} == {"strong"}


def test_a_thing_without_a_price_is_ranked_by_weight_alone() -> None:
    listed = [Candidate("box", "pack", capacity_wh=3000.0, kg=30.0)]
    found = kits(designs(small()), listed).found
    assert [kit.best for kit in found] == [("lightest",)]
    assert found[0].as_dict()["price"] is None


def test_the_json_of_a_kit_names_things_and_counts(tmp_path: Path) -> None:
    kit = found_in(tmp_path).found[0].as_dict()
    assert set(kit) == {
        *("pack", "packs", "panel", "panels", "panel_w", "battery_wh", "kg", "price", "best")
    }

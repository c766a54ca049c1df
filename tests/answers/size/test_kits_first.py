"""The list of one's own things first: what works, what the others lack, what several packs are."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from itertools import combinations

from size_plans import CUTS, INVERTER, LAMP, sized, small
from told import at_a_glance, unfolded

from energy.answers.size.bundles import in_words, kit_change
from energy.answers.size.candidates import Candidate
from energy.answers.size.designs import make_designs
from energy.answers.size.kits import Kits, kits
from energy.answers.size.lacks import Lack
from energy.answers.size.picture import size_map
from energy.answers.size.size import Size
from energy.answers.size.through import Month, Spell, Through, WholeYears
from energy.answers.size.words import NOT_POOLED, headline, sheet
from energy.plan import Plan
from energy.show.layout import LINES
from energy.simulation.budget import budget

# Invented things.
BOX = Candidate("box", "pack", None, 250.0, None, None, 200.0, 150.0, 300.0, 3.5, 260.0, 2)
CHEST = Candidate("chest", "pack", None, 1200.0, 1500.0, 3000.0, 300.0, 400.0, 1500.0, 14.0, 900.0)
NARROW = replace(BOX, name="narrow", capacity_wh=350.0, solar_max_w=25.0, count_max=1)
CLOTH = Candidate("cloth", "panel", rated_w=40.0, kg=1.5, price=90.0, count_max=2)
SAWING = small(None, {"inverter": INVERTER}, task=[{**CUTS, "working_w": 500}, LAMP])


@cache
def without_success() -> Kits:
    return kits(make_designs(small()), [BOX, CLOTH])


def enough(lack: Lack, more_wh: float = 0.0, more_w: float = 0.0) -> bool:
    """Whether the plan with these things, and more of a pack or panel, is a yes of `budget`."""
    change = kit_change(small(), lack.packs, lack.panels)
    change["pack.capacity_wh"] += more_wh
    (panel,) = change["panel"]
    panel["rated_w"] += more_w / panel["count"]
    return budget(small().replace(**change)).yes


def test_what_a_pack_lacks_in_energy_is_enough_and_half_of_it_is_not() -> None:
    (lack,) = without_success().lacks
    assert not enough(lack)
    assert lack.missing_wh is not None
    assert enough(lack, more_wh=lack.missing_wh)
    assert not enough(lack, more_wh=0.5 * lack.missing_wh)


def test_what_the_panels_lack_is_enough_and_half_of_it_is_not() -> None:
    (lack,) = without_success().lacks
    assert lack.missing_w is not None
    assert enough(lack, more_w=lack.missing_w)
    assert not enough(lack, more_w=0.5 * lack.missing_w)


def test_a_lack_is_told_with_all_the_things_of_the_list() -> None:
    (lack,) = without_success().lacks
    assert (lack.packs, lack.panels) == (((BOX, 2),), ((CLOTH, 2),))
    assert lack.words == f"{lack.missing_wh:.0f} Wh of pack, or {lack.missing_w:.0f} W of panel"


def test_a_solar_input_that_stands_in_the_way_is_named() -> None:
    glass = Candidate("glass", "panel", rated_w=200.0, count_max=2)
    (lack,) = kits(make_designs(small()), [NARROW, glass]).lacks
    assert lack.limit == "a larger solar input (it takes 25 W of 400 W)"
    assert lack.missing_w is None
    change = kit_change(small(), lack.packs, lack.panels)
    assert not budget(small().replace(**change)).yes
    assert budget(small().replace(**change | {"pack.solar_input.max_w": 1e6})).yes


def test_two_packs_do_not_run_a_tool_that_neither_runs_alone() -> None:
    # together they give 600 W, each 300 W: a saw that asks 500 W hangs on one of them
    boxes = replace(BOX, capacity_wh=1500.0, inverter_w=1500.0, surge_w=3000.0)
    found = kits(make_designs(SAWING), [boxes, CLOTH])
    assert not found.yes
    assert "it gives 300 W" in found.lacks[0].words
    strong = replace(boxes, discharge_max_w=900.0)
    assert kits(make_designs(SAWING), [strong, CLOTH]).yes


def test_the_nearest_comes_first_and_what_nothing_helps_last() -> None:
    weak = replace(BOX, name="weak", inverter_w=100.0, capacity_wh=5000.0)
    packs = [
        replace(BOX, name="small", capacity_wh=200.0, count_max=2, discharge_max_w=900.0),
        weak,
    ]
    packs.append(replace(CHEST, name="nearly", capacity_wh=260.0))
    found = kits(make_designs(SAWING), packs)
    names = [lack.packs[0][0].name for lack in found.lacks if len(lack.packs) == 1]
    assert names == ["small", "nearly", "weak"]


def test_what_kits_lack_stands_in_the_json_beside_the_notes() -> None:
    found = without_success().as_dict()
    assert found["kits"] == []
    assert found["kit_notes"][0].startswith("2 x box: ")
    lack = found["kit_lacks"][0]
    assert set(lack) == {"things", "panel_w", "battery_wh", "missing_wh", "missing_w", "limit"}
    assert lack["things"] == [
        {"name": "box", "kind": "pack", "count": 2},
        {"name": "cloth", "kind": "panel", "count": 2},
    ]
    assert (lack["panel_w"], lack["battery_wh"]) == (80.0, 500.0)


def test_the_first_kit_is_run_through_the_plans_weathers() -> None:
    plan: Plan = small()
    found = kits(make_designs(plan), [CHEST, CLOTH])
    assert found.budget is not None
    assert found.budget.yes
    again = budget(plan.replace(**found.best[0].change))
    assert found.budget.chance.worked == again.chance.worked


# --- as words ---------------------------------------------------------------------------------


def glance(answer: Size, found: Kits) -> str:
    return at_a_glance(lambda width: sheet(answer, width, None, found))


def test_the_first_word_answers_for_the_kits_and_the_ideal_is_a_remark() -> None:
    text = glance(sized(), without_success())
    assert sized().yes
    assert "NO  No kit of the list reaches 90 %; the nearest, 2 x box, lacks " in text
    assert "YES" not in text
    pick = sized().pick
    assert pick is not None
    ideal = f"The ideal would be {pick.panel_w:.0f} W of panel and a pack of"
    assert f"{ideal} {pick.battery_wh:.0f} Wh" in unfolded(text)


@cache
def two_of_a_kind() -> Kits:
    return kits(make_designs(small()), [replace(CHEST, capacity_wh=500.0, count_max=3), CLOTH])


def test_several_packs_are_said_not_to_pool_in_one_line_of_the_default_answer() -> None:
    text = glance(sized(), two_of_a_kind())
    assert any(sum(n for _, n in kit.packs) > 1 for kit in two_of_a_kind().best)
    assert NOT_POOLED in text.splitlines()
    assert "do not pool" not in glance(sized(), without_success())


def test_the_answer_with_kits_fits_the_screen_and_shows_cheapest_and_lightest() -> None:
    dear = replace(CHEST, name="feather", kg=4.0, price=2000.0)
    mine = kits(make_designs(small()), [BOX, CHEST, dear, NARROW, CLOTH])
    text = glance(sized(), mine)
    assert len(text.splitlines()) <= LINES
    assert max(map(len, text.splitlines())) <= 80
    assert text.index("reach the goal") < text.index("do not, with all") < text.index("The ideal")
    rows_of = text[text.index("reach the goal") :].splitlines()
    assert "cheapest" in rows_of[1]
    assert "lightest" in " ".join(rows_of[2:4])


# --- as a map ---------------------------------------------------------------------------------


def test_the_kits_are_on_the_map_with_labels_that_do_not_overlap() -> None:
    page = size_map(sized(), two_of_a_kind())
    panel = page.axes[0]
    texts = [text for text in panel.texts if text.get_text() and text.get_position() != (1.0, 0.0)]
    words = [text.get_text() for text in texts]
    for kit in two_of_a_kind().best:
        assert any(f"{in_words(kit.packs)}: " in label for label in words)
    page.canvas.draw()
    boxes = [text.get_window_extent() for text in texts]
    for one, other in combinations(boxes, 2):
        assert not one.overlaps(other)
    edge = panel.get_window_extent()
    assert all(box.x0 >= edge.x0 - 1 and box.x1 <= edge.x1 + 1 for box in boxes[1:])


# --- whole years ------------------------------------------------------------------------------


def test_the_first_line_of_whole_years_names_the_worst_month() -> None:
    months = tuple(Month(k, {2: 12.5, 11: 30.6}.get(k, 0.0), 5.0) for k in range(1, 13))
    spell = Spell(date(2024, 11, 3), date(2024, 11, 6), 400.0, 10.0)
    fares = Through(200.0, 1000.0, 1, True, 3.5, months, spell)
    answer = replace(sized(), whole_years=WholeYears(fares, None, fares, ()))
    word, text = headline(answer)
    assert word == "YES"
    assert "it loses the load on 4 % of days, and in November, the worst month, on 31 %" in text
    word, text = headline(replace(answer, pick=None, why="No pack does"))
    assert word == "NO"
    assert "November, the worst month" in text

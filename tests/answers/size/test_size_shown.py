"""Sizes as words and as a map: what stands there, where the lines lie, what an interrupt says."""

from __future__ import annotations

import io
import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console
from size_plans import PHONE, sized, small
from told import at_a_glance, told, unfolded

from energy.answers.size import words as sizes
from energy.answers.size.candidates import Candidate
from energy.answers.size.kits import Kit, Kits
from energy.answers.size.lacks import Lack
from energy.answers.size.picture import size_map
from energy.answers.size.size import GOALS, Size, size
from energy.answers.size.through import Month, Spell, Through
from energy.answers.size.worksheet import worksheet
from energy.answers.size.year_words import worst_line
from energy.plan import Plan
from energy.show import files
from energy.show.progress import progress


def printed(answer: Size, *details: str, kits: Kits | None = None) -> str:
    by_hand = worksheet(answer.designs.groups[0])
    return told(lambda width: sizes.sheet(answer, width, by_hand, kits, every=True), *details)


def test_the_text_names_pick_chance_weathers_and_reason() -> None:
    text, pick = unfolded(printed(sized())), sized().pick
    assert pick is not None
    assert f"Take {pick.panel_w:.0f} W of panel and a pack of {pick.battery_wh:.0f} Wh" in text
    assert "of 31 weathers" in text
    assert re.search(r"Weather +typical year.*works in \d+ of 31 weathers \(worth about \d", text)
    assert "best of weight and price together" in text


def test_the_text_marks_common_practice_and_sends_to_the_wiring() -> None:
    text = " ".join(printed(sized()).split())
    assert "by common practice, not the plan's: weight of the panels" in text
    assert "leave fixed wiring to licensed people" in text


def test_the_sheet_by_hand_stands_beside_the_simulation() -> None:
    text = unfolded(printed(sized(), "sheet"))
    assert "the same by hand" in text
    assert "array-to-load ratio" in text
    assert "The sheet takes a mean day's sun" in text


def test_a_size_that_is_not_there_is_none_and_explained() -> None:
    answer = size(small(size={"panel_w": [10, 20], "battery_wh": [20, 60]}))
    assert "NO  No pack up to 60 Wh reaches 90 %" in printed(answer)
    text = printed(answer, "frontier")
    assert "No pack up to 60 Wh reaches 90 %" in text
    assert "none: not with a pack up to 60 Wh" in text


def test_the_limit_of_a_weak_pack_is_told() -> None:
    assert "Wh and less is too weak" in printed(sized("a saw on an inverter"))


def test_a_small_solar_input_is_told() -> None:
    text = " ".join(printed(sized("a small solar input and a slow charger")).split())
    assert "The solar input takes 90 W" in text


def test_a_solar_input_that_takes_all_of_the_pick_and_the_plan_is_not_told() -> None:
    answer = size(small(pack={"solar_input": {"max_w": 120}}))
    assert answer.pick is not None
    assert answer.pick.panel_w <= 120 < answer.frontier.panel_w[-1]
    assert "solar input" not in printed(answer)


def test_no_kit_says_so_with_the_reasons() -> None:
    box = Candidate("box", "pack", capacity_wh=500.0)
    text = unfolded(printed(sized(), kits=Kits((), (Lack(((box, 1),), missing_wh=120.0),))))
    assert "NO No kit of the list reaches 90 %" in text
    assert re.search(r"1 x box +500 Wh +120 Wh of pack", text)


def test_several_packs_and_unlike_panels_are_told_what_they_count_for() -> None:
    box, case = (Candidate(name, "pack", capacity_wh=500.0) for name in ("box", "case"))
    cloth, glass = (Candidate(name, "panel", rated_w=50.0) for name in ("cloth", "glass"))
    one = Kit(((box, 1),), ((cloth, 2),), best=("cheapest",))
    mixed = Kit(((box, 1), (case, 1)), ((cloth, 1), (glass, 1)), best=("cheapest",))
    text = printed(sized(), kits=Kits((one,), ()))
    assert "Several packs count as one" not in text
    assert "Unlike panels" not in text
    text = unfolded(printed(sized(), kits=Kits((mixed,), ())))
    assert "1 x box + 1 x case, 1 x cloth + 1 x glass" in text
    assert "Several packs count as one" in text
    assert "never unlike ones" in text
    assert "Unlike panels count for what each gives alone" in text


def test_a_pack_that_is_the_least_looked_at_is_marked_below_the_table() -> None:
    answer = size(small(task=[PHONE], size={"panel_w": [0, 50], "battery_wh": [900, 2000]}))
    text = printed(answer, "frontier")
    assert "900 Wh: the smallest looked at, smaller ones may do" in text
    assert "smallest pack looked at" in text


def test_the_map_has_a_line_for_each_goal_at_the_frontier() -> None:
    answer = sized()
    axes = size_map(answer).axes[0]
    lines = [line.get_xydata() for line in axes.lines if len(line.get_xydata()) > 2]
    lines = [line[np.isfinite(line[:, 1])] for line in lines]
    for goal in GOALS:
        known = [
            (watts, label)
            for watts, label in zip(
                answer.frontier.panel_w, answer.frontier.battery_wh(goal), strict=True
            )
            if label is not None
        ]
        x, y = np.array(known).T
        assert any(
            np.allclose(np.interp(x, line[:, 0], line[:, 1]), y, rtol=0.02) for line in lines
        )


@pytest.mark.parametrize("name", ["lithium kept warm", "a saw on an inverter", "a long thin cable"])
def test_no_two_words_on_the_map_lie_over_one_another(name: str) -> None:
    figure = size_map(sized(name))
    figure.canvas.draw()
    boxes = [text.get_window_extent() for text in figure.axes[0].texts if text.get_text()]
    for k, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[k + 1 :])


def test_the_map_names_goals_pick_and_the_plans_own() -> None:
    answer = sized()
    words = [text.get_text() for text in size_map(answer).axes[0].texts]
    assert answer.pick is not None
    assert {"80 %", "90 %, the goal", "95 %", "99 %"} <= set(words)
    assert f"the pick: {answer.pick.panel_w:.0f} W, {answer.pick.battery_wh:.0f} Wh" in words
    assert "the plan's own: 100 W, 700 Wh" in words


def test_a_map_without_a_pick_is_drawn_too(tmp_path: Path) -> None:
    answer = size(small(size={"panel_w": [10, 20], "battery_wh": [20, 60]}))
    files.save(size_map(answer), tmp_path / "map.svg")
    assert (tmp_path / "map.svg").stat().st_size > 1000


def test_an_interrupt_says_how_far_it_came() -> None:
    out = Console(file=io.StringIO(), width=100)

    def interrupted() -> None:
        with progress(out, "sizes") as told:
            told(12, 52)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert isinstance(out.file, io.StringIO)
    assert out.file.getvalue() == "Stopped: sizes, 12 of 52 done; nothing was written.\n"


def test_progress_is_silent_where_nobody_looks() -> None:
    out = Console(file=io.StringIO(), width=100)
    with progress(out, "sizes") as told:
        size(small(), told)
    assert isinstance(out.file, io.StringIO)
    assert out.file.getvalue() == ""


def test_the_progress_of_a_sweep_ends_where_all_is_settled() -> None:
    seen: list[tuple[int, int]] = []
    size(small(), lambda done, total: seen.append((done, total)))
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


@pytest.mark.parametrize(
    ("lost", "last", "dated", "words"),
    [
        (2.0, date(2022, 1, 27), True, "8 days on end, 20 January 2022 to 27 January 2022"),
        (2.0, date(2022, 1, 20), False, "the worst spell is one day, 20 January, 500 Wh missing"),
        (0.0, date(2022, 1, 20), False, "never loses the load; lowest 12 % on 20 January"),
    ],
)
def test_the_worst_spell_is_told_with_its_dates(
    lost: float, last: date, dated: bool, words: str
) -> None:
    spell = Spell(date(2022, 1, 20), last, 500.0, 12.0)
    months = tuple(Month(k, 0.0, 0.0) for k in range(1, 13))
    assert words in worst_line(Through(100.0, 1000.0, 1, dated, lost, months, spell))


def test_no_reason_says_that_it_saves_nothing_in_figures_or_twice_how_sure() -> None:
    light = size(small(task=[PHONE], size={"panel_w": [0, 50], "battery_wh": [900, 2000]}))
    text = " ".join(printed(light).split())
    assert "more panel saves no pack" in text
    assert "-0 Wh" not in text
    for point in light.points:
        assert point.why.count("surer") <= 1
    assert "surer" not in light.points[0].why


def test_a_pick_beyond_the_solar_input_is_told_so_first() -> None:
    answer = size(Plan.read("builtin:january-job"))
    text = unfolded(at_a_glance(lambda width: sizes.sheet(answer, width)))
    head, after = text.split("YES Take 1400 W of panel", 1)
    assert "solar input" not in head
    assert after.split(". ")[0].endswith("%")
    assert after.split(". ")[1].startswith("That is more than the 1000 W the solar input takes")

"""What the answer about the day says and draws: few lines, the same figures everywhere. Plans are
invented."""

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

import pytest
from rich.cells import cell_len

from energy import Plan, cautions, check, when
from energy.answers.when import words
from energy.answers.when.picture import strips
from energy.answers.when.seasons import Season
from energy.answers.when.when import StartDay, When
from energy.show.layout import Part


@cache
def demo() -> When:
    return when(Plan.read("builtin:cloudy-repair"))


@cache
def year() -> When:
    """A year of a clear sky, in which a lamp from dusk to dawn lasts through the short nights."""
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 70, "between": ["sunset", "sunrise"]}
    asked = Plan.from_dict(
        {
            "title": "Lamp",
            "place": {"latitude_deg": 47, "longitude_deg": 9, "timezone": "Europe/Zurich"},
            "span": {"start": "2026-10-10T12:00", "end": "2026-10-11T12:00"},
            "weather": {"kind": "clear"},
            "pack": {"capacity_wh": 1000, "temperature": 25},
            "task": [lamp],
        }
    )
    return when(asked, end=date(2027, 10, 9), step=15)


def lines(answer: When, width: int = 80, **how) -> list[str]:
    parts = words.sheet(answer, width, **how).parts
    shown = [part if isinstance(part, Part) else part() for part in parts]
    return [line.plain for part in shown for line in part.lines]


def test_a_row_says_of_each_day_what_the_answer_knows():
    said = lines(demo(), every_day=True)
    for day in demo().days:
        name = f"{day.start:%a} {day.start.day} {day.start:%b}"
        (row,) = [line for line in said if line.startswith(name)]
        assert f" {day.answer} " in row
        assert f" {day.worked} of {day.tried} " in row
        assert f" {day.lowest_percent:.0f} %" in row
        assert f" {day.dull_tenth_percent:.0f} %" in row
    marks = [line.split("  ")[-1].strip() for line in said]
    assert (marks.count("best"), marks.count("first yes"), marks.count("worst")) == (1, 1, 1)


def test_the_counts_of_a_rough_place_are_headed_by_where_they_are_counted():
    climate = demo().plan.replace(weather={"kind": "climate"})
    rough = when(climate, end=demo().days[1].start)
    heads = [next(row for row in lines(a) if row.startswith("start ")) for a in (demo(), rough)]
    counts = [re.findall("works in|dull corner", head) for head in heads]
    assert counts == [["works in"], ["dull corner"]]


def test_the_headline_tells_to_wait_and_what_today_lacks():
    text = " ".join(line.strip() for line in lines(demo()))
    assert "YES Wait until Tue 15 Sep: it works in 29 of 31 weathers, on Mon 14 Sep in 27;" in (
        re.sub(" +", " ", text)
    )
    assert "28 are needed" in text
    assert "knows the season, not which day is better" in text


def test_what_the_cold_holds_back_is_told_beside_the_lowest_charge():
    day = demo().days[0]
    lowest = check(demo().plan).lowest
    reserve = demo().plan.pack.reserve_percent
    assert lowest.cold_unavailable_percent > 1.0
    assert day.floor_percent == pytest.approx(reserve + lowest.cold_unavailable_percent)
    (row,) = [line for line in lines(demo()) if line.startswith("Mon 14 Sep")]
    assert f" {day.floor_percent:.0f} %" in row
    assert not year().cold_counts  # a pack kept at 25 degrees
    assert "cold" not in " ".join(lines(year()))


def test_a_year_is_told_by_month_and_by_its_season():
    (season,) = year().seasons
    said = lines(year())
    text = " ".join(said)
    assert words.season_words([season]) in text
    (asked,) = [line.split()[2:] for line in said if line.startswith("starts asked")]
    (yes,) = [line.split()[4:] for line in said if line.startswith("of them a yes")]
    assert len(asked) == 12
    assert sum(map(int, asked)) == len(year().days)
    assert sum(map(int, yes)) == sum(day.yes for day in year().days)
    assert [line for line in said if line.lstrip().startswith("Jan  Feb")]


@pytest.mark.parametrize("width", [40, 60, 80, 100])
@pytest.mark.parametrize("ask", [demo, year], ids=["days", "year"])
def test_no_line_is_wider_than_the_terminal(ask, width):
    said = lines(ask(), width, every=True, every_day=True)
    assert max(map(cell_len, said)) <= width


def test_what_the_dullest_month_needs_is_told_after_the_months():
    from energy.answers.when.dullest import dullest

    need = dullest(year())
    text = " ".join(lines(year(), dullest=lambda: need))
    assert "December is the hardest month; the worst start is" in text
    assert "makes it a yes" in text


def test_many_seasons_are_told_by_the_longest():
    several = [Season(date(2026, m, 1), date(2026, m, 5 + m)) for m in (1, 3, 5, 7, 9)]
    assert words.season_words(several) == (
        "Start from 1 May to 10 May, from 1 July to 12 July and from 1 September to 14 September,"
        " and in 2 shorter times"
    )
    assert words.season_words([Season(date(2026, 5, 1), date(2026, 5, 1))]) == "Start on 1 May"


def figures(*days: tuple[str, int, float]) -> When:
    """An answer with other days: answer, weathers of 31, lowest charge."""
    start = date(2026, 9, 14)
    several = tuple(
        StartDay(
            start + timedelta(k), word, "file", demo().budget.chance, n, 31, low, 15.0, low, low
        )
        for k, (word, n, low) in enumerate(days)
    )
    return When(demo().plan, demo().budget, several, 1)


def test_waiting_gains_and_costs_in_weathers_or_else_in_charge():
    assert words.waiting(figures(("yes", 30, 40.0), ("yes", 30, 40.0))) == "gains nothing"
    assert words.waiting(figures(("no", 20, 9.0), ("yes", 29, 30.0), ("no", 12, 9.0))) == (
        "until Tue 15 Sep gains 9 weathers; until Wed 16 Sep costs 8 weathers"
    )
    assert words.waiting(figures(("yes", 31, 40.0), ("yes", 31, 47.2), ("yes", 31, 39.8))) == (
        "until Tue 15 Sep gains 7 points of charge; until Wed 16 Sep costs hardly anything"
    )


def test_work_whose_window_is_empty_on_some_starts_is_told():
    cut = {"name": "cut", "supply": "dc12", "working_w": 9, "between": ["sunrise", "sunset"]}
    place = {"latitude_deg": 70, "longitude_deg": 27, "timezone": "Europe/Helsinki"}
    north = year().plan.replace(**{"place": place, "task": [cut], "span.start": "2026-10-10T00:00"})
    answer = when(north, date(2026, 11, 20), date(2026, 11, 30), step=5)
    assert [day.not_asked for day in answer.days] == [(), (), ("cut",)]
    text = " ".join(line.strip() for line in lines(answer))
    assert 'nothing of "cut" on 1 of 3 starts, the first Mon 30 Nov 2026' in text


def test_a_month_without_a_judged_day_has_no_figures():
    odd = StartDay(date(2026, 10, 16), "no", "file", why="plan: 9 times do not fit")
    day = replace(figures(("yes", 31, 40.0)).days[0], floor_percent=41.0)
    told = words.month_lines(When(demo().plan, demo().budget, (day, odd), 1), 80)
    october = [line.split()[-1] for line in told if line.strip()]
    assert october == ["Oct", "1", "0", "-", "-", "-", "-"]


def test_an_almost_gains_over_a_no_that_works_in_more_weathers():
    assert words.waiting(figures(("no", 20, 9.0), ("almost", 18, 12.0))) == (
        'until Tue 15 Sep gains "almost" in place of "no"'
    )


def test_a_single_day_is_called_by_its_name():
    said = " ".join(line.strip() for line in lines(figures(("no", 20, 9.0))))
    assert "is not a yes: it works in 20 of 31 weathers; 28 are needed." in said
    assert "Waiting" not in said


def test_a_day_without_figures_is_told_with_its_reason():
    odd = StartDay(date(2026, 9, 16), "no", "file", why="plan: 9 times do not fit")
    answer = figures(("yes", 31, 40.0), ("yes", 30, 39.0))
    answer = When(answer.plan, answer.budget, (*answer.days, odd), 1)
    assert words.waiting(answer) == "gains nothing; until Wed 16 Sep it cannot be done as planned"
    text = " ".join(lines(answer))
    assert "9 times do not fit" in text
    assert len(strips(answer).axes) == 2


@pytest.mark.parametrize("ask", [demo, year], ids=["days", "year"])
def test_the_picture_holds_a_number_a_day_and_frames_a_yes(ask):
    answer = ask()
    page = answer.plot(cautions(answer.budget))
    days, charge = page.axes
    assert len(days.texts) - 2 == len(answer.days)  # two of the heading
    at = {text.get_position() for text in days.texts[2:]}
    framed = [patch for patch in days.patches if patch.get_linewidth() > 1.5]
    middles = [(p.get_x() + p.get_width() / 2.0, p.get_y() + p.get_height() / 2.0) for p in framed]
    assert len(at & {*middles}) == sum(day.yes for day in answer.days)
    curves = [line for line in charge.lines if len(line.get_xdata()) == len(answer.days)]
    assert curves[0].get_ydata() == pytest.approx([day.lowest_percent for day in answer.days])
    title = " ".join(text.get_text() for text in page.texts)
    assert f"{answer.answer.upper()}: " in title


def test_a_strip_of_the_picture_ends_with_its_month_and_leaves_no_day_white():
    answer = year()
    days, _ = strips(answer).axes
    first, latest = answer.days[0].start, answer.days[-1].start
    covered = []
    for patch in days.patches:
        months = first.month - 1 + round(patch.get_y())
        start = date(first.year + months // 12, months % 12 + 1, round(patch.get_x()))
        covered += [start + timedelta(k) for k in range(round(patch.get_width()))]
        assert covered[-1].month == start.month
    asked = [first + timedelta(k) for k in range((latest - first).days + answer.step)]
    assert sorted(covered) == [day for day in asked if day <= latest or day.month == latest.month]


def test_darker_is_more_also_in_grey():
    answer = figures(*(("no", n, 20.0) for n in range(0, 31, 5)), ("yes", 31, 40.0))
    days, _ = strips(answer).axes
    patches = sorted(days.patches, key=lambda patch: patch.get_x())
    grey = [0.3 * r + 0.59 * g + 0.11 * b for r, g, b, _ in (p.get_facecolor() for p in patches)]
    assert all(darker < paler - 0.01 for paler, darker in pairwise(grey))

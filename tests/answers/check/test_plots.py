"""The picture and the sketch of a budget: what they say, that it can be read, and how it is saved.

Legibility is checked against the web's accessibility standard (WCAG 2.2, W3C Recommendation 2023)
and the lightness of CIE 1976; what the panels show against the plan itself and conservation.
"""

import re
from functools import cache
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from matplotlib.text import Text

from energy.answers.aim.aim import aim
from energy.answers.check import picture as plots
from energy.answers.check.check import Check, task_answers
from energy.answers.check.checkpoints import checkpoints
from energy.answers.check.panels import means, task_rows
from energy.answers.check.sketch import sketch
from energy.answers.check.words import sheet
from energy.answers.when.when import when
from energy.plan import Plan, PlanError
from energy.show import files
from energy.show.labels import shorten, wrap
from energy.show.palette import COLOURS
from energy.show.time_axis import clock_marks, midnights, nights
from energy.simulation.budget import budget

DEMOS = ("cloudy-repair", "january-job", "two-night-trip")
LAMP = {"supply": "dc12", "working_w": 10}


def made(
    start, end, tasks=({"name": "lamp", **LAMP},), place=(52.5, 13.4, "Europe/Berlin"), **more
):
    """A budget in one stated weather, of an invented plan."""
    latitude, longitude, zone = place
    where = {"latitude_deg": latitude, "longitude_deg": longitude, "timezone": zone}
    tables = {
        "title": "invented",
        "place": {**where, "elevation_m": 10},
        "span": {"start": start, "end": end},
        "weather": {"kind": "sky", "sky": "broken"},
        "panel": [{"rated_w": 200}],
        "pack": {"capacity_wh": 1000, "inverter": {"rated_w": 1000}},
        "task": [dict(task) for task in tasks],
        **more,
    }
    return budget(Plan.from_dict(tables))


def twenty_tasks():
    names = [
        f"number {k} of the very long names of things to do before the tide" for k in range(20)
    ]
    tasks = [
        {"name": name, "times": 3, "each_min": 2, "must": k % 3 == 0, "between": ["07:00", "19:00"]}
        | {"supply": "dc12", "working_w": 5}
        for k, name in enumerate(names)
    ]
    return made("2026-06-01T06:00", "2026-06-01T20:00", tasks, title="word " * 39)


def refusing():
    """A saw whose start passes the inverter's surge, beside a lamp that runs."""
    saw = {"name": "saw", "supply": "ac", "working_w": 900, "start_w": 2700, "start_s": 0.3}
    tasks = [{**saw, "times": 30, "each_s": 45, "between": ["09:00", "12:00"]}, {**LAMP}]
    tasks[1]["name"] = "lamp"
    return made("2026-06-01T08:00", "2026-06-01T18:00", tasks)


def running_flat():
    pump = {"name": "pump", "supply": "dc12", "working_w": 100, "must": True}
    return made("2026-12-01T12:00", "2026-12-02T18:00", [pump], panel=[])


PLANS = {
    **{name: lambda name=name: budget(Plan.read(f"builtin:{name}")) for name in DEMOS},
    "one hour": lambda: made("2026-06-01T09:10", "2026-06-01T10:10"),
    "five days": lambda: made("2026-06-01T06:00", "2026-06-06T20:00"),
    "twenty tasks with long names": twenty_tasks,
    "a night without panels": lambda: made("2026-12-01T18:00", "2026-12-02T06:00", panel=[]),
    "refused": refusing,
    "flat": running_flat,
    "polar day": lambda: made(
        "2026-06-20T12:00", "2026-06-22T12:00", place=(69.6, 19.0, "Europe/Oslo")
    ),
    "clock put forward": lambda: made("2026-03-28T20:00", "2026-03-29T12:00"),
    "two weeks": lambda: made("2026-06-24T06:00", "2026-07-08T20:00"),
    "two months": lambda: made("2026-06-01T06:00", "2026-08-01T20:00"),
}


LONG = ("two weeks", "two months")
EVERY_PLAN = [
    pytest.param(name, marks=pytest.mark.oracle) if name in LONG else name for name in PLANS
]


@cache
def of(name):
    """The budget of one of the plans and its checkpoints, worked out once."""
    result = PLANS[name]()
    return result, checkpoints(result)


@pytest.fixture(scope="module", params=EVERY_PLAN)
def drawn(request):
    """A budget, its picture and its checkpoints."""
    result, points = of(request.param)
    cautions = [SimpleNamespace(text="invented, and longer than a line of the page has room " * 3)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plots, "checkpoints", lambda budget: points if budget is result else None)
        return result, plots.charge(result, cautions * 5), points


def words(figure):
    """Every text that is seen, with its corners in pixels."""
    renderer = figure.canvas.get_renderer()
    texts = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in texts]


def said(figure):
    return [text for text, _ in words(figure)]


def test_no_two_texts_overlap(drawn):
    for (one, box), (other, its_box) in combinations(words(drawn[1]), 2):
        apart = (
            box.x1 <= its_box.x0 + 0.5
            or its_box.x1 <= box.x0 + 0.5
            or box.y1 <= its_box.y0 + 0.5
            or its_box.y1 <= box.y0 + 0.5
        )
        assert apart, f"{one!r} overlaps {other!r}"


def test_no_text_leaves_the_page(drawn):
    page = drawn[1].bbox
    for text, box in words(drawn[1]):
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, f"{text!r} is cut"


def test_the_lowest_point_is_named_with_its_percent_and_clock(drawn):
    b, figure, _ = drawn
    lowest = b.lowest()
    label = rf"lowest: {lowest.percent:.0f} %, .*{b.local(lowest.at_s):%H:%M}"
    assert any(re.fullmatch(label, text) for text in said(figure))


def test_the_reserve_is_named(drawn):
    b, figure, _ = drawn
    assert any(t.startswith(f"reserve {b.plan.pack.reserve_percent:.0f} %") for t in said(figure))


def test_the_panels_share_one_time_axis_over_the_whole_span(drawn):
    b, figure, _ = drawn
    hours = (b.time_s[-1] - b.time_s[0]) / 3600.0
    assert [panel.get_xlim() for panel in figure.axes] == [(0.0, pytest.approx(hours))] * 3


def test_at_most_fourteen_rows_of_tasks_are_drawn():
    rows = task_rows(twenty_tasks())
    assert len(rows) == 14
    assert rows[-1].name == "and 7 more"


def test_the_summed_row_holds_every_use_of_the_tasks_it_stands_for():
    b = twenty_tasks()
    assert sum(len(row.runs) for row in task_rows(b)) == len(b.bursts) == 20 * 3


def test_what_must_run_keeps_its_row():
    assert sum(row.must for row in task_rows(twenty_tasks())) == 7


def bars(panel):
    """The bars of a panel as left and right ends in pixels."""
    found = []
    for drawn_bars in panel.collections:
        for path in drawn_bars.get_paths():
            across = panel.transData.transform(path.vertices)[:, 0]
            if not np.isnan(across).any():
                found.append((across.min(), across.max()))
    return found


def test_a_burst_of_seconds_in_five_days_can_be_seen():
    tap = {"name": "tap", "times": 2, "each_s": 5, "between": ["08:00", "18:00"], **LAMP}
    figure = plots.charge(made("2026-06-01T06:00", "2026-06-05T20:00", [tap]))
    widths = [right - left for left, right in bars(figure.axes[1])]
    assert len(widths) == 10
    assert min(widths) >= 1.9  # pixels; a screen cannot show less than one


def test_a_refused_burst_is_hollow_and_crossed():
    panel = plots.charge(refusing()).axes[1]
    hollow = [c for c in panel.collections if np.allclose(c.get_facecolor(), 1.0) and c.get_paths()]
    crosses = [line for line in panel.lines if line.get_marker() == "x" and line.get_xdata().size]
    assert len(hollow) == len(crosses) == 1


@pytest.mark.parametrize("plan", ["cloudy-repair", "january-job", "refused", "flat", "one hour"])
def test_the_title_says_what_the_terminal_says(plan):
    result = of(plan)[0]
    word, text = plots.finding(result).split(": ", 1)
    told = sheet(Check(result, task_answers(result)), 10_000).parts[1].lines[0].plain
    assert told == f"{word}  {text}."


def test_the_title_says_first_what_is_refused():
    assert plots.finding(refusing()).startswith('NO: "saw" cannot run')


def test_the_title_says_from_when_something_stops():
    # 1000 Wh at 95 % outlet efficiency and 3 W of its own last 100 W less than 10 h from noon, and
    # less still by what the usual air of December holds back.
    assert re.search(r"from about Tue 1 Dec (20:[0-5]|21:[0-5])\d", plots.finding(running_flat()))


def at_turn_back(panel):
    """Where the panel's bars and crosses of the readings to turn back at stand."""
    marks = [line for line in panel.lines if line.get_marker() in ("_", "x")]
    return sorted((float(m.get_xdata()[0]), float(m.get_ydata()[0])) for m in marks)


def test_the_checkpoints_are_marked_with_their_readings(drawn):
    b, figure, points = drawn
    marks = [
        (
            (p.at.timestamp() - b.time_s[0]) / 3600.0,
            100 if p.least_percent is None else p.least_percent,
        )
        for p in points
    ]
    assert at_turn_back(figure.axes[0]) == [pytest.approx(mark) for mark in marks]
    readings = [f"{p.least_percent} %" for p in points if p.least_percent]
    assert all(said(figure).count(reading) >= readings.count(reading) for reading in readings)


def test_a_dull_day_has_a_line_of_its_own():
    b = of("cloudy-repair")[0]
    panel = plots.charge(b).axes[0]
    lowest = np.percentile(b.charge_percent, 10, axis=1)
    x = (b.time_s - b.time_s[0]) / 3600.0
    (line,) = [
        line
        for line in panel.lines
        if len(line.get_xdata()) == x.size and np.allclose(line.get_ydata(), lowest)
    ]
    assert line.get_linewidth() >= 1.2
    assert "a dull day: one in ten is lower" in said(panel.figure)


def test_names_with_signs_of_formulas_are_shown_as_they_are():
    name = r"$5 \frac{of} rope^2 & $"
    figure = plots.charge(made("2026-06-01T08:00", "2026-06-01T18:00", [{"name": name, **LAMP}]))
    assert name in said(figure)


def test_cautions_stand_below_the_panels():
    b = made("2026-06-01T08:00", "2026-06-01T18:00")
    assert "Take care: keep it dry" in said(plots.charge(b, [SimpleNamespace(text="keep it dry")]))


def test_the_clock_skips_the_hour_that_is_skipped():
    # The EU's summer time begins on the last Sunday of March at 01:00 UTC (directive 2000/84/EC).
    b = made("2026-03-29T00:00", "2026-03-29T05:00")
    marks = clock_marks(b, 6)
    assert [f"{b.local(t):%H}" for t in marks] == ["00", "01", "03", "04", "05"]
    assert set(np.diff(marks)) == {3600.0}


def test_the_clock_shows_twice_the_hour_that_comes_twice():
    # It ends on the last Sunday of October at 01:00 UTC (the same directive).
    b = made("2026-10-25T01:00", "2026-10-25T04:00")
    assert [f"{b.local(t):%H}" for t in clock_marks(b, 6)] == ["01", "02", "02", "03", "04"]


def test_clock_labels_are_round_where_the_zone_is_off_by_a_quarter():
    # Nepal keeps UTC+5:45 (IANA time zone database).
    b = made("2026-06-01T06:00", "2026-06-02T06:00", place=(27.7, 85.3, "Asia/Kathmandu"))
    assert {f"{b.local(t):%M}" for t in clock_marks(b, 9)} == {"00"}


def test_a_date_begins_at_local_midnight():
    b = made("2026-06-01T06:00", "2026-06-03T20:00")
    assert [b.local(t).isoformat() for t in midnights(b)] == [
        "2026-06-02T00:00:00+02:00",
        "2026-06-03T00:00:00+02:00",
    ]


def test_a_polar_day_has_no_night():
    # Tromso: the sun does not set from 18 May to 26 July (from memory, an almanac's figure).
    oslo = (69.65, 18.96, "Europe/Oslo")
    assert nights(made("2026-06-20T12:00", "2026-06-23T12:00", place=oslo)) == []


def test_a_polar_night_is_one_night():
    # Tromso: the sun does not rise from 27 November to 15 January (from memory, an almanac's).
    oslo = (69.65, 18.96, "Europe/Oslo")
    b = made("2026-12-20T12:00", "2026-12-23T12:00", place=oslo)
    assert nights(b) == [(b.time_s[0], b.time_s[-1])]


def test_an_equinox_night_at_the_equator_lasts_twelve_hours():
    # Less the minutes by which refraction and the sun's disc lengthen every day (6 to 8 minutes).
    place = (0.0, 0.0, "UTC")
    ((dusk, dawn),) = nights(made("2026-03-20T12:00", "2026-03-21T12:00", place=place))
    assert 11.8 < (dawn - dusk) / 3600.0 < 12.0


def test_means_keep_the_energy():
    rng = np.random.default_rng(1)
    time_s = np.cumsum(rng.uniform(10.0, 700.0, 200)) + 1.7e9
    watts = rng.uniform(0.0, 1000.0, 199)
    edges, mean = means(time_s, watts)
    assert (mean * np.diff(edges)).sum() == pytest.approx((watts * np.diff(time_s)).sum())
    assert np.diff(edges).max() == pytest.approx(900.0)


def lightness(colour):
    """L* of CIE 1976 from sRGB (IEC 61966-2-1), 0 black to 100 white."""
    y = luminance(colour)
    return 116.0 * np.cbrt(y) - 16.0 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it."""
    rgb = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colour", ["ink", "charge", "load", "quiet", "limit", "sun"])
def test_words_stand_out_from_white(colour):
    assert contrast(COLOURS[colour], "#ffffff") >= 4.5  # WCAG 2.2, 1.4.3


@pytest.mark.parametrize("colour", ["charge", "load", "limit", "sun", "task"])
def test_lines_and_bars_stand_out_from_white_and_night(colour):
    assert contrast(COLOURS[colour], "#ffffff") >= 3.0  # WCAG 2.2, 1.4.11
    assert contrast(COLOURS[colour], COLOURS["night"]) >= 2.7  # shade is not a ground of its own


@pytest.mark.parametrize(
    "together",
    [("charge", "limit", "locked", "band", "night"), ("ink", "task", "night"),
     ("load", "sun", "daylight")],
)  # fmt: skip
def test_what_stands_together_differs_in_grey(together):
    greys = sorted(lightness(COLOURS[name]) for name in together)
    assert min(np.diff(greys)) > 10.0


@pytest.mark.parametrize(
    ("suffix", "begins"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")]
)
def test_a_picture_is_written_by_its_suffix(tmp_path, suffix, begins):
    place = tmp_path / f"picture.{suffix}"
    files.save(plots.charge(made("2026-06-01T08:00", "2026-06-01T18:00")), place)
    assert place.read_bytes().startswith(begins)
    assert [found.name for found in tmp_path.iterdir()] == [place.name]


@pytest.mark.parametrize("name", ["picture.jpeg", "picture", "picture.png.bak"])
def test_another_suffix_is_refused_in_one_line(tmp_path, name):
    with pytest.raises(PlanError) as refused:
        files.save(plots.charge(made("2026-06-01T08:00", "2026-06-01T18:00")), tmp_path / name)
    (line,) = refused.value.problems
    assert name in line
    assert ".png, .svg or .pdf" in line
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written_is_refused_in_one_line(tmp_path):
    with pytest.raises(PlanError) as refused:
        files.save(
            plots.charge(made("2026-06-01T08:00", "2026-06-01T18:00")),
            tmp_path / "missing" / "picture.png",
        )
    (line,) = refused.value.problems
    assert "cannot be written" in line


def test_a_picture_that_fails_leaves_the_old_one(tmp_path, monkeypatch):
    place = tmp_path / "picture.png"
    place.write_bytes(b"the old one")
    whole = Path.write_bytes

    def fail(path, content):
        whole(path, content[: len(content) // 2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", fail)
    drawn = SimpleNamespace(savefig=lambda place, **_: place.write(b"a picture"), dpi=100)
    with pytest.raises(PlanError, match="No space left"):
        files.save(drawn, place)
    assert place.read_bytes() == b"the old one"
    assert [found.name for found in tmp_path.iterdir()] == ["picture.png"]


def test_drawing_leaves_the_global_state_of_matplotlib_alone():
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    plots.charge(made("2026-06-01T08:00", "2026-06-01T18:00"))
    assert dict(mpl.rcParams) == before


def test_a_long_word_is_cut_rather_than_lost():
    assert wrap("abcdefghij klm", 6, len, 3) == ["abcde…", "klm"]


def test_nothing_is_cut_that_fits():
    assert shorten("saw", 3, len) == "saw"


@pytest.mark.parametrize("plan", ["cloudy-repair", "one hour", "flat", *EVERY_PLAN[-1:]])
@pytest.mark.parametrize("size", [(80, 7), (80, 5), (60, 6), (40, 6), (120, 16)])
def test_a_sketch_keeps_its_size_and_has_no_colour(plan, size):
    width, rows = size
    lines = sketch(of(plan)[0], width, rows=rows).split("\n")
    assert len(lines) == rows
    assert max(len(line) for line in lines) <= width
    assert "\x1b" not in "".join(lines)


def test_a_sketch_marks_the_reserve_and_the_local_clock():
    text = sketch(made("2026-06-01T08:00", "2026-06-01T18:00"))
    (line,) = [line for line in text.split("\n") if line.startswith("reserve")]
    assert line.count("-") > 50
    assert "10:00" in text.split("\n")[-1]


def test_a_sketch_of_a_pack_running_down_falls_from_left_to_right():
    rows = sketch(running_flat(), 72, 12).split("\n")[:-1]
    dots = [[col for col, c in enumerate(row) if "\u2800" < c <= "\u28ff"] for row in rows]
    firsts = [min(cols) for cols in dots if cols]
    assert firsts == sorted(firsts)


def test_a_sketch_shows_a_dull_day_as_dots_below_the_middling_one():
    b = of("cloudy-repair")[0]
    rows = [row[8:] for row in sketch(b, 80, 16).split("\n")[:-1]]
    drawn = [
        [row for row in rows if len(row) > k and "\u2800" < row[k] <= "\u28ff"] for k in range(70)
    ]
    apart = [k for k in range(70) if len(drawn[k]) > 1]
    assert len(apart) > 25  # of the columns in which the lines lie apart, two in three have a dot
    single = of("one hour")[0]
    assert single.success.size > 1 or "\u2801" not in sketch(single)


@pytest.mark.parametrize("reserve", [0, 10, 15, 24, 30, 50, 60, 90])
@pytest.mark.parametrize("rows", [5, 6, 7])
def test_no_two_figures_of_a_sketch_share_a_row(reserve, rows):
    text = sketch(
        made(
            "2026-06-01T08:00",
            "2026-06-01T18:00",
            pack={"capacity_wh": 1000, "temperature": 25, "reserve_percent": reserve},
        ),
        80,
        rows,
    )
    figures = [line.split("┤")[0].strip() for line in text.split("\n") if "┤" in line]
    assert set(figures) <= {"reserve", "0 %", "50 %", "100 %"}
    assert "reserve" in figures


def test_the_zone_of_a_plan_is_named():
    b = made("2026-06-01T08:00", "2026-06-01T18:00")
    assert b.calendar.zone == ZoneInfo("Europe/Berlin")
    assert any("Clock: Europe/Berlin" in text for text in said(plots.charge(b)))


def test_the_zone_of_a_plan_at_sea_is_named_by_its_hours():
    b = made("2026-06-01T08:00", "2026-06-01T18:00", place=(-1.0, 179.9, "Etc/GMT-12"))
    for figure in (plots.charge(b), aim(b).plot(), when(b.plan).plot()):
        assert any("Clock: UTC+12" in text for text in said(figure))
        assert not any("Etc/" in text for text in said(figure))


def test_a_no_for_the_low_ends_sake_says_so_in_the_title():
    plan = Plan.read("builtin:cloudy-repair").replace(
        **{"weather": {"kind": "climate", "temp_air_c": [5, 12]}, "pack.capacity_wh": 1080}
    )
    result = budget(plan)
    many = budget(plan.replace(**{"goal.chance_percent": result.chance.percent}))
    assert not many.yes
    assert "in a dull corner of the region" in plots.finding(many)

"""The page in the hand, in a real browser: what is pressed on it, and what Python says of that.

All plans are invented.
"""

from __future__ import annotations

import re
import tomllib
from datetime import datetime
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from browser import browser_of_tests
from checkout import ROOT
from page_plans import DEMOS, demo, hostile, page_of, plan_of, three_days

from energy import page
from energy.answers.check.check import Check, task_answers
from energy.answers.check.words import what_decides
from energy.answers.learn.readings import parse_readings
from energy.plan import Plan
from energy.simulation.random_factors import lognormal

pytestmark = pytest.mark.xdist_group("browser")
AXE = ROOT / "tests/answers/page/js/node_modules/axe-core/axe.min.js"
ANCHORAGE = "America/Anchorage"
PAGES = re.compile(rb"/Type\s*/Page\b")  # each page of a PDF is such an object: ISO 32000, 7.7.3.3
AT = datetime(2026, 9, 14, 13, 20, tzinfo=ZoneInfo(ANCHORAGE))
NOW = AT.replace(tzinfo=None)
NO_STORAGE = """
Object.defineProperty(window, "localStorage",
  { get() { throw new DOMException("refused", "SecurityError"); } });
"""
FULL_STORAGE = """
Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
"""


@pytest.fixture(scope="module")
def chromium():
    with browser_of_tests() as opened:
        yield opened


@cache
def html_of(plan: Plan) -> str:
    return page(plan).html


@pytest.fixture
def shown(chromium, tmp_path):
    """Open a plan's page from a file at a time; requests and faults are kept."""
    contexts = []

    def show(plan="cloudy-repair", at=AT, script="", file=None, **options):
        of = plan_of(plan) if isinstance(plan, str) else plan
        usual = {"viewport": {"width": 360, "height": 640}, "timezone_id": ANCHORAGE}
        context = chromium.new_context(**usual | options)
        contexts.append(context)
        tab = context.new_page()
        tab.set_default_timeout(10_000)
        tab.clock.set_fixed_time(at)
        tab.asked, tab.faults, tab.plan = [], [], of
        tab.on("request", lambda request: tab.asked.append(request.url))
        tab.on("pageerror", lambda error: tab.faults.append(str(error)))
        tab.on("console", lambda line: tab.faults.append(line.text))
        tab.on("dialog", lambda dialog: tab.faults.append(dialog.message))
        if script:
            tab.add_init_script(script)
        if file is None:
            file = tmp_path / "page.html"
            file.write_text(html_of(of), encoding="utf-8")
        tab.goto(file.as_uri())
        return tab

    yield show
    for context in contexts:
        context.close()


# What a hand does


def read(tab, percent):
    tab.fill("#reading input", percent)
    tab.click("#reading button.main")


def card(tab, name):
    return tab.locator("#tasks .tasks > li").filter(has=tab.get_by_role("heading", name=name))


def change(tab, name, button):
    """Press a button behind a task's Change."""
    mine = card(tab, name)
    if not mine.locator(".actions").first.is_visible():
        mine.get_by_role("button", name="Change").first.click()
    mine.get_by_role("button", name=button).first.click()


def said(tab):
    """The answer's word and what decides it."""
    return tab.inner_text("#answer .live .word").lower(), tab.inner_text("#answer .why")


def wait(tab, condition):
    """Until a condition holds; `wait_for_function` is forbidden by the page's own policy."""
    for _ in range(200):
        if tab.evaluate(condition):
            return
        tab.wait_for_timeout(50)
    raise AssertionError(condition)


def saved(tab, button):
    """The text of a file that a button gives."""
    tab.get_by_role("button", name=button).click()
    wait(tab, "document.querySelector('#log .out [role=status]').textContent !== ''")
    if tab.get_by_role("button", name="Save it as a file").is_visible():
        with tab.expect_download() as download:
            tab.get_by_role("button", name="Save it as a file").click()
        return Path(download.value.path()).read_text(encoding="utf-8")
    raise AssertionError("nothing to save")


def python_says(name, plan, **asked):
    """The same of the real simulation, on what the page carries."""
    budget = page_of(name).budget(plan, **asked)
    return budget.answer, f"{what_decides(Check(budget, task_answers(budget)))}."


# The answer after each action


@pytest.mark.parametrize("name", DEMOS)
def test_it_opens_with_the_answer_to_the_plan_on_what_it_carries(shown, name):
    tab = shown(name, at=datetime(2026, 1, 1, tzinfo=ZoneInfo("UTC")))
    assert said(tab) == python_says(name, plan_of(name))
    assert tab.faults == []


def test_a_reading_asks_the_rest_from_there(shown):
    tab = shown()
    read(tab, "62,5 %")
    plan = plan_of("cloudy-repair")
    assert said(tab) == python_says("cloudy-repair", plan, now=NOW, percent=62.5)
    assert "62.5 %" in tab.inner_text("#log ol")
    assert "62.5 % read at Mon 13:20" in tab.inner_text("#reading")
    assert tab.inner_text("#now .number >> nth=0") == "62 %"  # half to the even one


@pytest.mark.parametrize("typed", ["0.45", "140", "much", ""])
def test_what_is_no_reading_is_asked_back_beside_the_field(shown, typed):
    tab = shown()
    read(tab, typed)
    assert tab.locator("#reading .problem").is_visible()
    assert tab.evaluate("document.activeElement.matches('#reading input')")
    assert tab.locator("#log ol li").count() == 0


def test_what_is_said_with_a_reading_counts_at_once(shown):
    tab = shown()
    read(tab, "70")
    mine = card(tab, "drill the new holes")
    assert mine.locator("input").input_value() == "4"  # of 24 in equal shares from 13:00 to 15:00
    for _ in range(3):
        mine.get_by_role("button", name="More done").click()
    assert mine.locator("input").input_value() == "7"
    plan = plan_of("cloudy-repair")
    done = {"drill the new holes": 7}
    assert said(tab) == python_says("cloudy-repair", plan, now=NOW, percent=70, done=done)
    card(tab, "charge the driver's packs").locator("input").fill("2")
    read(tab, "70")
    done = {"drill the new holes": 7, "charge the driver's packs": 2}
    assert said(tab) == python_says("cloudy-repair", plan, now=NOW, percent=70, done=done)
    assert "next reading" not in mine.inner_text()


def test_moving_dropping_and_adding_are_the_plan_so_changed(shown):
    tab = shown()
    read(tab, "55")
    asked = {"now": NOW, "percent": 55}
    plan = plan_of("cloudy-repair")
    change(tab, "sand the frame", "15 minutes later")
    plan = plan.replace(**{"task.5.between": ["15:15", "17:15"]})
    assert said(tab) == python_says("cloudy-repair", plan, **asked)
    change(tab, "sand the frame", "Leave out")
    dropped = plan.replace(**{"task.5": None})
    assert said(tab) == python_says("cloudy-repair", dropped, **asked)
    change(tab, "sand the frame", "Bring back")
    assert said(tab) == python_says("cloudy-repair", plan, **asked)


def test_doing_it_now_is_the_plan_that_it_gives(shown):
    tab = shown()
    change(tab, "sand the frame", "Do now")
    assert "reads now" in tab.inner_text(".foot")
    read(tab, "55")
    change(tab, "sand the frame", "Do now")
    plan = Plan.from_dict(tomllib.loads(saved(tab, "Plan as changed")))
    task = next(task for task in plan.task if task.at == ("clock", 800.0))
    assert (task.name, task.minutes, task.days) == ("sand the frame", 20.0, (1,))
    asked = {"now": NOW, "percent": 55, "done": {"sand the frame": 0}}
    assert said(tab) == python_says("cloudy-repair", plan, **asked)


def test_an_added_tool_takes_the_spare_factors(shown):
    tab = shown()
    read(tab, "80")
    tab.click("#tasks summary")
    tab.fill("#tasks input[type=search]", "kettle-small")
    tab.get_by_label("How much").fill("12")
    tab.get_by_label("Begins today at").fill("14:05")
    tab.click("#tasks form button.main")
    plan = Plan.from_dict(tomllib.loads(saved(tab, "Plan as changed")))
    added = plan.task[-1]
    assert (added.tool, added.minutes, added.at) == ("kettle-small", 12.0, ("clock", 845.0))
    factor = lognormal(page_of("cloudy-repair").spare[0], added.spread_percent)
    asked = {"now": NOW, "percent": 80, "factors": {added.name: factor}}
    assert said(tab) == python_says("cloudy-repair", plan, **asked)


def test_a_task_that_a_limit_turns_away_says_the_limit(shown):
    tab = shown()
    tab.click("#tasks summary")
    tab.fill("#tasks input[type=search]", "angle-grinder-125")
    tab.locator("#tasks form select").first.select_option("angle-grinder-125")
    tab.get_by_label("How much").fill("5")
    tab.get_by_label("Begins today at").fill("18:00")
    tab.click("#tasks form button.main")
    assert said(tab)[0] == "no"
    last = tab.locator("#tasks .tasks > li").last
    assert "cannot run: starts at" in last.inner_text()
    assert "the inverter surges to 2000 W" in last.inner_text()
    tab.clock.set_fixed_time(AT.replace(hour=19))
    read(tab, "60")
    last.get_by_role("button", name="Change").click()
    assert last.get_by_label("Done of").input_value() == "0"
    assert not last.get_by_role("button", name="As planned").is_visible()


def test_a_sky_is_no_chance_and_says_so(shown):
    tab = shown()
    read(tab, "62")
    tab.locator("#sky").get_by_label("overcast").check()
    assert "under that sky, not a chance" in tab.inner_text("#answer")
    overcast = tab.get_attribute("#curve .live polyline.middling", "points")
    tab.locator("#sky").get_by_label("as foreseen").check()
    assert "not a chance" not in tab.inner_text("#answer")
    foreseen = tab.get_attribute("#curve .live polyline.middling", "points")
    # the last height of each line, counted downwards
    ends = [float(points.split()[-1].split(",")[1]) for points in (overcast, foreseen)]
    assert ends[0] > ends[1]


def test_undo_and_start_again(shown):
    tab = shown()
    first = said(tab)
    read(tab, "20")
    change(tab, "tea", "Leave out")
    assert said(tab)[0] == "no"
    tab.locator("#log").get_by_role("button", name="Start again").click()
    assert said(tab) == first
    assert tab.locator("#log ol li").count() == 0
    tab.locator("#log").get_by_role("button", name="Undo").click()
    assert tab.locator("#log ol li").count() == 2
    tab.locator(".foot").get_by_role("button", name="Undo").click()
    assert tab.locator("#log ol li").count() == 1


def test_what_still_fits_is_worked_out_while_nothing_else_is_done(shown):
    tab = shown()
    read(tab, "99")
    for name in ("sand the frame", "charge the driver's packs"):
        change(tab, name, "Leave out")
    wait(tab, "[...document.querySelectorAll('#fits .count')].every((c) => c.textContent)")
    lines = tab.locator("#fits li").all_inner_texts()
    assert any("more" in line for line in lines)
    assert not any("is being worked out" in line for line in lines)


# Where it is kept


def test_what_was_entered_is_there_again_when_it_is_opened_again(shown):
    tab = shown()
    read(tab, "64")
    change(tab, "tea", "Leave out")
    before = said(tab), tab.inner_text("#log ol")
    tab.reload()
    assert (said(tab), tab.inner_text("#log ol")) == before
    assert "kept in this browser" in tab.inner_text("#log")


@pytest.mark.parametrize("script", [NO_STORAGE, FULL_STORAGE])
def test_where_nothing_is_kept_it_works_and_says_that_it_forgets(shown, script):
    tab = shown(script=script)
    read(tab, "64")
    assert "is forgotten" in tab.inner_text("#log")
    assert "64 % read" in tab.inner_text("#reading")
    assert tab.faults == []


def test_two_plans_keep_apart_and_a_changed_one_says_where_entries_are(shown, tmp_path):
    tab = shown()
    read(tab, "64")
    for other, words in ((demo(**{"pack.start_percent": 90}), True), (plan_of(DEMOS[1]), False)):
        file = tmp_path / "other.html"
        file.write_text(html_of(other), encoding="utf-8")
        tab.goto(file.as_uri())
        assert tab.locator("#log ol li").count() == 0
        assert ("stay with that version" in tab.inner_text("#log")) == words


def test_what_is_kept_but_is_no_state_is_left_alone(shown):
    tab = shown()
    read(tab, "64")
    tab.evaluate("for (const key of Object.keys(localStorage)) localStorage.setItem(key, '{}')")
    tab.reload()
    assert tab.faults == []
    assert said(tab)[0] == "almost"
    assert "set aside" in tab.inner_text("#log")


def test_the_saved_page_takes_everything_along(shown, tmp_path):
    tab = shown()
    read(tab, "64")
    change(tab, "tea", "Leave out")
    before = said(tab), tab.inner_text("#log ol")
    with tab.expect_download() as download:
        tab.get_by_role("button", name="Save this page").click()
    moved = tmp_path / "moved.html"
    download.value.save_as(moved)
    other = shown(file=moved)
    assert other.faults == []
    assert (said(other), other.inner_text("#log ol")) == before
    assert "saved inside this file" in other.inner_text("#log")


# What leaves it


def test_the_readings_are_those_that_learning_reads(shown):
    tab = shown()
    tab.click("#reading summary")
    tab.get_by_label("Sun", exact=False).first.fill("41 W")
    tab.get_by_label("Load").fill("7")
    tab.get_by_label("Sky since").select_option("overcast")
    read(tab, "71")
    card(tab, "drill the new holes").get_by_role("button", name="More done").click()
    readings = parse_readings(saved(tab, "Readings for the evening"), tab.plan)
    assert readings.problems == ()
    row, counted = readings.rows
    assert (row.battery_percent, row.solar_w, row.load_w, row.sky) == (71.0, 41.0, 7.0, 8)
    assert (counted.tool, counted.count, counted.at) == ("drill-10", 5, NOW)


def test_the_share_sheet_gets_a_file_where_there_is_one(shown):
    tab = shown(
        script="""
        navigator.canShare = () => true;
        navigator.share = async ({ files }) => { window.given = files[0].name; };
        """
    )
    read(tab, "71")
    tab.get_by_role("button", name="Readings for the evening").click()
    wait(tab, "Boolean(window.given)")
    assert tab.evaluate("window.given") == "cloudy-repair-readings.csv"
    assert "Handed over" in tab.inner_text("#log .out [role=status]")


def test_where_nothing_else_is_allowed_the_file_is_downloaded(shown):
    refused = "navigator.clipboard.writeText = async () => { throw new Error('refused'); };"
    tab = shown(script=refused)
    with tab.expect_download() as download:
        tab.get_by_role("button", name="Plan as changed").click()
    assert download.value.suggested_filename == "cloudy-repair-changed.toml"
    plan = Plan.from_dict(tomllib.loads(Path(download.value.path()).read_text(encoding="utf-8")))
    assert plan.task == tab.plan.task


def test_it_asks_for_nothing_whatever_is_pressed(shown):
    tab = shown()
    address = tab.url
    read(tab, "64")
    change(tab, "tea", "Leave out")
    saved(tab, "Readings for the evening")
    saved(tab, "Plan as changed")
    assert {url for url in tab.asked if not url.startswith("blob:")} == {address}
    assert tab.faults == []


# The clock


@pytest.mark.parametrize(
    ("at", "zone", "line"),
    [
        ("2026-09-10T12:00:00Z", ANCHORAGE, "The plan begins Mon 14 Sep 07:00: its start is shown"),
        ("2026-09-14T21:20:00Z", ANCHORAGE, "Now Mon 13:20"),
        ("2026-09-14T21:20:00Z", "Europe/Oslo", "Now Mon 13:20, Anchorage time"),
        ("2026-09-20T12:00:00Z", ANCHORAGE, "The plan ended Tue 15 Sep 08:00: its end is shown"),
    ],
)
def test_it_says_in_a_line_what_it_takes_as_now(shown, at, zone, line):
    tab = shown(at=datetime.fromisoformat(at), timezone_id=zone)
    assert line in tab.inner_text("#now h2")
    assert tab.faults == []


def test_outside_the_span_the_time_can_be_entered_by_hand(shown):
    tab = shown(at=datetime(2026, 9, 20, tzinfo=ZoneInfo("UTC")))
    read(tab, "64")
    assert "set the time" in tab.inner_text(".foot")
    tab.get_by_role("button", name="Set time").click()
    tab.get_by_label("Day", exact=True).select_option(index=0)
    tab.get_by_label("Time at the plan's place").fill("13:20")
    tab.get_by_role("button", name="Take this as now").click()
    assert tab.inner_text("#now h2") == "Now Mon 13:20, set by hand"
    read(tab, "64")
    plan = plan_of("cloudy-repair")
    assert said(tab) == python_says("cloudy-repair", plan, now=NOW, percent=64)
    tab.reload()
    assert "set by hand" in tab.inner_text("#now h2")
    tab.get_by_role("button", name="Set time").click()
    tab.get_by_role("button", name="Use this device's clock").click()
    assert "The plan ended" in tab.inner_text("#now h2")


# For eyes and hands

WIDTHS = (360, 768, 1280)


def worked_on(tab):
    """A page with everything open and something entered."""
    read(tab, "64")
    closed = [
        tab.get_by_role("button", name="Set time"),
        *tab.locator("main summary").all(),
        *tab.get_by_role("button", name="Change").all()[:3],
    ]
    for each in closed:
        each.press("Enter")


def test_the_first_screen_holds_what_it_must(shown):
    tab = shown("two-night-trip", at=datetime(2026, 10, 10, 16, tzinfo=ZoneInfo("UTC")))
    parts = (
        "#answer .live .word",
        "#answer .why",
        "#now .number >> nth=0",
        "#now .number >> nth=1",
    )
    for part in (*parts, "#curve .live svg.curve"):
        box = tab.locator(part).first.bounding_box()
        assert box["y"] >= 0, part
        assert box["y"] + box["height"] <= 640, part
    assert tab.locator("#curve .live line.now").count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing(shown, width, scheme):
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: npm ci in tests/answers/page/js")
    tab = shown(viewport={"width": width, "height": 800}, color_scheme=scheme)
    for prepare in (lambda tab: None, worked_on):
        prepare(tab)
        tab.evaluate(AXE.read_text(encoding="utf-8") + "; null")
        found = tab.evaluate("axe.run().then(({ violations }) => violations)")
        told = [
            (each["id"], node["html"][:200], node["failureSummary"])
            for each in found
            for node in each["nodes"]
        ]
        assert told == []


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_to_press_is_small_and_no_words_are(shown, width):
    tab = shown(viewport={"width": width, "height": 800})
    worked_on(tab)
    small = tab.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, label.pill, input")]
          .filter((e) => e.checkVisibility() && !e.matches(".pill input"))
          .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
          .filter(([, box]) => box.height < 43.9 || box.width < 43.9)
          .map(([html]) => html)"""
    )
    assert small == []
    tiny = tab.evaluate(
        """() => [...document.querySelectorAll("body *")]
          .filter((e) => e.checkVisibility() && [...e.childNodes].some(
            (n) => n.nodeType === 3 && n.textContent.trim()))
          .filter((e) => parseFloat(getComputedStyle(e).fontSize) < 15.9)
          .map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert tiny == []


@pytest.mark.parametrize("plan", ["cloudy-repair", "60 tasks", "hostile", "long"])
@pytest.mark.parametrize(
    ("width", "height", "text"), [(360, 640, 100), (320, 640, 200), (640, 360, 100)]
)
def test_nothing_is_wider_than_the_screen(shown, plan, width, height, text):
    plans = {"hostile": hostile, "long": lambda: hostile("W" * 150)}
    tab = shown(
        plans.get(plan, lambda: plan_of(plan))(), viewport={"width": width, "height": height}
    )
    tab.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
    worked_on(tab)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width


def test_the_focus_stays_where_the_hand_is(shown):
    tab = shown()
    more = card(tab, "drill the new holes").get_by_role("button", name="More done")
    more.focus()
    for _ in range(2):
        tab.keyboard.press("Enter")
    assert more.evaluate("e => e === document.activeElement")
    change(tab, "tea", "Leave out")
    focused = tab.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == "Bring back: tea"
    tab.keyboard.press("Enter")
    assert tab.evaluate("document.activeElement.getAttribute('aria-label')") == "Leave out: tea"


def test_the_answer_is_announced_and_every_control_has_a_name(shown):
    tab = shown()
    worked_on(tab)
    assert tab.get_attribute("#answer", "aria-live") == "polite"
    nameless = tab.evaluate(
        """() => [...document.querySelectorAll("button, input, select")].filter((e) =>
          !(e.getAttribute("aria-label") || e.textContent.trim()
            || e.labels?.[0]?.textContent.trim()))
          .map((e) => e.outerHTML)"""
    )
    assert nameless == []


@pytest.mark.parametrize(
    "words", ["</script><img src=x onerror=alert(1)>", "پمپ آب را بشوی", "🔧🪚"]
)
def test_words_of_any_kind_stay_words_whatever_is_done(shown, words):
    tab = shown(hostile(words))
    assert tab.locator("#tasks h3").first.inner_text() == words
    assert tab.get_attribute("#tasks h3 >> nth=0", "dir") == "auto"
    read(tab, "64")
    change(tab, words, "Leave out")
    assert f"{words}: left out" in tab.inner_text(".foot")
    tab.reload()
    assert f"{words}: left out" in tab.inner_text("#log ol")
    assert tab.locator("img").count() == 0
    assert tab.faults == []


def test_sixty_tasks_have_a_card_each(shown):
    tab = shown("60 tasks")
    assert tab.locator("#tasks .tasks > li").count() == 60
    read(tab, "64")
    change(tab, "saw 9", "Leave out")
    assert tab.faults == []


def test_without_a_script_it_is_the_plan(shown):
    tab = shown(java_script_enabled=False)
    assert tab.locator("#tasks table").is_visible()
    assert tab.locator(".live, .foot").count() == 0


def test_on_paper_it_is_the_plan_on_one_sheet_though_something_was_entered(shown):
    tab = shown(three_days())
    read(tab, "64")
    assert len(PAGES.findall(tab.pdf(format="A4"))) == 1
    tab.emulate_media(media="print")
    assert tab.locator("#tasks table").is_visible()
    assert tab.locator("button:visible, input:visible").count() == 0


@pytest.mark.parametrize(("day", "times"), [(23, "18:22 "), (26, "17:16 ")])
def test_the_suns_moments_have_the_clock_of_the_day(shown, day, times):
    """The clock goes back on 25 October 2026 in Germany; at 51.5 N, 7 E the sun sets at about 18:22
    on the 23rd and 17:16 on the 26th, from memory."""
    zone = ZoneInfo("Europe/Berlin")
    lamp = {"name": "lamp", "supply": "dc12", "working_w": 5, "between": ["sunset", "sunrise"]}
    place = {"latitude_deg": 51.5, "longitude_deg": 7.0, "timezone": zone.key}
    sky = {"kind": "sky", "sky": "clear", "futures": 1, "temp_air_c": 10}
    span = {"start": "2026-10-23T12:00:00", "end": "2026-10-28T12:00:00"}
    tables = {"place": place, "span": span, "weather": sky, "pack": {"capacity_wh": 1000}}
    at = datetime(2026, 10, day, 13, tzinfo=zone)
    tab = shown(Plan.from_dict({**tables, "task": [lamp]}), at=at)
    assert f"Fri to Tue {times}(at sunset)" in card(tab, "lamp").inner_text()

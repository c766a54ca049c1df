"""The page in a real browser, as it is without its script: on paper, hostile, and quiet.

All plans are invented.
"""

import re

import pytest
from browser import browser_of_tests
from page_plans import DEMOS, HOSTILE, hostile, plan_of, three_days

from energy import page

pytestmark = pytest.mark.xdist_group("browser")
PAGES = re.compile(rb"/Type\s*/Page\b")  # each page of a PDF is such an object: ISO 32000, 7.7.3.3


@pytest.fixture(scope="module")
def chromium():
    with browser_of_tests() as opened:
        yield opened


@pytest.fixture
def shown(chromium, tmp_path):
    """Open a plan's page from a file; what it asks for, says and throws is kept."""
    contexts = []

    def show(plan, script=True, width=360):
        context = chromium.new_context(
            viewport={"width": width, "height": 640}, java_script_enabled=script, offline=True
        )
        contexts.append(context)
        tab = context.new_page()
        tab.asked, tab.faults = [], []
        tab.on("request", lambda request: tab.asked.append(request.url))
        tab.on("pageerror", lambda error: tab.faults.append(str(error)))
        tab.on("console", lambda line: tab.faults.append(line.text))
        tab.on("dialog", lambda dialog: tab.faults.append(dialog.message))
        file = tmp_path / "page.html"
        page(plan).write(file)
        tab.goto(file.as_uri())
        tab.file = file.as_uri()
        return tab

    yield show
    for context in contexts:
        context.close()


@pytest.mark.parametrize("script", [True, False])
@pytest.mark.parametrize("name", DEMOS)
def test_it_asks_for_nothing_and_complains_of_nothing(shown, name, script):
    tab = shown(plan_of(name), script)
    assert tab.asked == [tab.file]
    assert tab.faults == []


@pytest.mark.parametrize("script", [True, False])
def test_a_hostile_plan_stays_words(shown, script):
    tab = shown(hostile(), script)
    assert tab.asked == [tab.file]
    assert tab.faults == []
    assert tab.locator("img").count() == 0
    assert tab.locator("h1").inner_text().split() == HOSTILE.split()


def test_a_preview_without_scripts_says_where_to_open_it(shown):
    assert "browser" in shown(plan_of("cloudy-repair"), script=False).inner_text("#preview")
    assert shown(plan_of("cloudy-repair")).locator("#preview").count() == 0


def test_nothing_is_wider_than_a_telephone(shown):
    for plan in (plan_of("two-night-trip"), three_days()):
        tab = shown(plan, script=False)
        assert tab.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
@pytest.mark.parametrize("make", [three_days, *(lambda n=n: plan_of(n) for n in DEMOS[::2])])
def test_three_days_and_twenty_tasks_fit_one_sheet(shown, make, sheet):
    tab = shown(make(), script=False)
    assert len(PAGES.findall(tab.pdf(format=sheet))) == 1


def test_more_takes_more_sheets(shown):
    tab = shown(plan_of("60 tasks"), script=False)
    assert len(PAGES.findall(tab.pdf(format="A4"))) > 1


def test_paper_has_the_tasks_and_no_knobs(shown):
    tab = shown(three_days(), script=False)
    tab.emulate_media(media="print")
    assert tab.locator("#tasks tbody tr").count() >= 20
    assert tab.locator("button:visible, input:visible").count() == 0
    assert (
        tab.evaluate("parseFloat(getComputedStyle(document.querySelector('#tasks td')).fontSize)")
        > 9
    )

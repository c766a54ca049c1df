"""The page as a file: whole without a script, small, quiet, and no plan's words can break out.

All plans are invented.
"""

import html
import json
import re
from base64 import b64encode
from hashlib import sha256
from html.parser import HTMLParser

import pytest
from page_plans import DEMOS, HOSTILE, NAMES, PLANS, demo, hostile, plan_of

from energy import Plan, PlanError, check, page
from energy.answers.caution.cautions import CLOSING, cautions
from energy.answers.check.words import what_decides
from energy.answers.page.page import as_data

KB = 1000
SUN_HOURS = [0.5, 1.0, 2.0, 3.5, 4.5, 5.0, 4.5, 3.5, 2.2, 1.2, 0.6, 0.3]


class Elements(HTMLParser):
    """Elements by name with their attributes, and the text of scripts, styles and ids."""

    VOID = ("meta", "link", "img", "br", "input", "rect", "line", "circle", "polyline")

    def __init__(self, text):
        super().__init__()
        self.names, self.attributes, self.texts, self.open = [], [], {}, []
        self.feed(text)

    def handle_starttag(self, name, attributes):
        self.names.append(name)
        self.attributes.append((name, dict(attributes)))
        if name not in self.VOID:
            self.open.append((name, dict(attributes).get("id")))

    def handle_endtag(self, name):
        if name not in self.VOID:
            assert self.open.pop()[0] == name

    def handle_data(self, data):
        for name, own in self.open:
            for key in (name, own):
                self.texts[key] = self.texts.get(key, "") + data


@pytest.fixture(scope="module")
def pages():
    made = {}

    def of(name):
        if name not in made:
            made[name] = page(plan_of(name))
        return made[name]

    return of


def words(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", DEMOS)
def test_without_a_script_it_is_still_the_plan(pages, name):
    made, answer = pages(name), check(plan_of(name))
    parts = Elements(made.html).texts
    assert words(parts["h1"]) == answer.budget.plan.title
    expected = f"{answer.answer.upper()} {what_decides(answer)}."
    assert words(parts["answer"]) == words(expected)
    for point in answer.checkpoints:
        assert f"{point.at:%H:%M}" in parts["checkpoints"]
        assert f"{point.expected_percent:.0f} %" in parts["checkpoints"]
    for task in answer.budget.plan.task:
        assert task.name in parts["tasks"]
    for caution in cautions(answer.budget):
        assert words(caution.text) in words(parts["care"])
    assert CLOSING in parts["care"]
    assert answer.budget.weather.source in parts["rests"]
    assert "points" in parts["rests"]
    assert "browser" in parts["noscript"]


def test_the_elements_that_the_script_fills_are_there_once(pages):
    found = [own.get("id") for _, own in Elements(pages("cloudy-repair").html).attributes]
    for name in ("answer", "now", "curve", "reading", "tasks", "fits", "sky", "log", "data"):
        assert found.count(name) == 1


def test_the_charge_is_drawn_as_it_goes(pages):
    """The line begins at the start's charge and has the lowest point where the answer says."""
    made = pages("two-night-trip")
    (line,) = re.findall(r'class="middling" points="([^"]*)"', made.html)
    points = [tuple(map(float, pair.split(","))) for pair in line.split()]
    percents = {
        text: float(y)
        for y, text in re.findall(r'class="percent" x="[^"]*" y="([^"]*)">(\d+) %', made.html)
    }
    full, empty = (percents[text] - 5.0 for text in ("100", "0"))
    charge = [100.0 * (empty - y) / (empty - full) for _, y in points]
    assert charge[0] == pytest.approx(100.0, abs=0.1)
    assert min(charge) == pytest.approx(made.lowest.percent, abs=0.1)
    assert [x for x, _ in points] == sorted(x for x, _ in points)


def test_panels_that_can_destroy_the_input_are_told_above_the_answer():
    plan = demo("cloudy-repair").replace(**{"panel.1.profile": "folding-400"})
    made = page(plan.replace(**{"pack.solar_input.max_v": 30}))
    texts = Elements(made.html).texts
    assert words(texts["warning"]).startswith("Take care The panels' strings do not suit")
    assert made.html.index('id="warning"') < made.html.index("<main>")


def test_panels_that_suit_the_input_are_no_word_on_the_page(pages):
    assert 'id="warning"' not in pages("cloudy-repair").html


def test_a_task_that_a_limit_turns_away_says_why():
    tasks = [{"name": "big saw", "supply": "ac", "working_w": 9000, "times": 2, "each_s": 9}]
    made = page(demo(task=tasks, run=[]))
    assert "9000" in Elements(made.html).texts["em"]


def test_a_task_outside_the_span_has_a_row():
    tasks = [*demo().source["task"], {"tool": "kettle-small", "minutes": 5, "at": "05:00"}]
    assert "nothing of it lies inside the span" in page(demo(task=tasks)).html


@pytest.mark.parametrize("name", NAMES)
def test_it_is_small(pages, name):
    """Three days in 400 kB, 600 kB with the low end, a month in 2 MB."""
    most = {"a month": 2000, "climate": 600}.get(name, 400)
    assert len(pages(name).html.encode()) <= most * KB


@pytest.mark.oracle
def test_three_days_in_many_weathers_are_small_too():
    span = {"start": "2026-09-14T07:00", "end": "2026-09-17T07:00"}
    monthly = {"kind": "monthly", "sun_hours": SUN_HOURS, "futures": 200}
    climate = {"kind": "climate", "futures": 200}
    sizes = [len(page(demo(span=span, weather=w)).html.encode()) for w in (monthly, climate)]
    assert sizes[0] <= 400 * KB
    assert sizes[1] <= 600 * KB


@pytest.mark.parametrize("name", DEMOS)
def test_the_same_plan_gives_the_same_bytes(pages, name):
    assert page(PLANS[name]()).html == pages(name).html


def test_nothing_is_asked_of_anywhere(pages):
    elements = Elements(pages("cloudy-repair").html)
    for name, own in elements.attributes:
        assert name not in ("img", "link", "iframe", "object", "embed", "base", "form")
        assert not set(own) & {"src", "href", "action", "style", "srcset"}
        assert not [key for key in own if key.startswith("on")]


def test_the_policy_lets_only_the_pages_own_style_and_script_in(pages):
    text = pages("cloudy-repair").html
    (policy,) = (
        own["content"]
        for name, own in Elements(text).attributes
        if name == "meta" and own.get("http-equiv") == "Content-Security-Policy"
    )
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))
    assert rules["default-src"] == "'none'"
    assert set(rules) <= {"default-src", "base-uri", "form-action", "style-src", "script-src"}
    for rule, element in (("style-src", "style"), ("script-src", "script")):
        inner = re.findall(rf"<{element}>(.*?)</{element}>", text, re.DOTALL)
        hashes = [b64encode(sha256(part.encode()).digest()).decode() for part in inner]
        assert rules.get(rule, "").split() == [f"'sha256-{one}'" for one in hashes]


def test_no_scripts_text_ends_its_element(pages):
    (script,) = re.findall(r"<script>(.*?)</script>", pages("cloudy-repair").html, re.DOTALL)
    assert "<!--" not in script
    assert "\r" not in script
    assert script.rstrip().endswith(("}", ";"))


def test_words_of_a_plan_stay_words():
    made, quiet = page(hostile()), page(hostile("words"))
    assert Elements(made.html).names == Elements(quiet.html).names
    texts = Elements(made.html).texts
    assert words(texts["h1"]) == words(HOSTILE)
    data = json.loads(texts["data"])
    assert data["title"] == HOSTILE
    assert HOSTILE in data["normals"]
    assert html.escape("<img src=x") in made.html
    assert "<img" not in made.html
    assert "49" not in words(texts["h1"])


def test_data_is_json_that_no_word_can_end():
    text = as_data({"name": HOSTILE})
    assert json.loads(text) == {"name": HOSTILE}
    assert not set(text) & set("<>&")


def test_it_is_written_and_replaced_and_nothing_else_is(tmp_path, pages):
    made, target, other = pages("cloudy-repair"), tmp_path / "my.html", tmp_path / "other.html"
    made.write(target)
    made.write(target)
    assert target.read_text(encoding="utf-8") == made.html
    other.write_text("<p>somebody's own</p>")
    with pytest.raises(PlanError, match="not written by energy"):
        made.write(other)
    assert other.read_text() == "<p>somebody's own</p>"
    made.write(other, force=True)
    assert other.read_text(encoding="utf-8") == made.html


def test_it_does_not_replace_its_own_plan(tmp_path):
    file = tmp_path / "plan.toml"
    file.write_text("# offgrid-workshop-energy\n" + PLAIN)
    made = page(Plan.read(file))
    with pytest.raises(PlanError, match="is read for this answer"):
        made.write(file)


PLAIN = """
place = { latitude_deg = 46.5, longitude_deg = 8.0, timezone = "Europe/Zurich" }
span = { start = 2026-10-14T08:00:00, end = 2026-10-14T20:00:00 }
weather = { kind = "clear" }
pack = { profile = "pack-1000" }
task = [{ name = "lamp", supply = "dc12", working_w = 5, hours = 3 }]
"""

"""The page's script gives the numbers of the Python simulation fed with the same rounded weather.

The script runs in an embedded V8 on the data that the page carries. Charge in every scenario at
every edge agrees within 1e-9 of the pack's capacity, and what follows from it is the same.
All plans are invented.
"""

import json
from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np
import page_script
import pytest
from page_plans import DEMOS, page_of, plan_of
from script_questions import asked, random_questions

from energy import budget
from energy.answers.check.check import task_answers
from energy.answers.page.carried import carried
from energy.answers.page.coarse import rounded
from energy.model.timeline import to_utc
from energy.simulation.overloads import why_not_beside
from energy.simulation.random_factors import lognormal

SHARE_OF_C = 1e-9
AT_START = (None, None, {})
NAMES = (*DEMOS, "frost", "lead-acid", "climate", "few weathers", "one weather", "no panels")
NAMES += ("polar day", "60 tasks")
MANY = ("cloudy-repair", "two-night-trip", "frost", "lead-acid", "climate", "few weathers")
ASK = """
let kit = null;
function give(text) {
  kit = decode(JSON.parse(text));
  return true;
}
function answered(question) {
  const asked = JSON.parse(question, typed);
  const { outcomes, ...answer } = ask(kit, asked);
  const { answer: word, verdict, success, powered, count, mayFail, middle, lowest } = answer;
  const { overloads: refused, tasks, dullTenthPercent } = answer;
  return JSON.stringify({
    word, verdict, success, powered, count, mayFail, middle, lowest, refused, tasks,
    dullTenthPercent, edges: answer.edges,
    outcomes: outcomes.map(({ simulated, success: holds, above, unmetWh }) => (
      { storeWh: simulated.storeWh, firstShortS: simulated.firstShortS, holds, above, unmetWh })),
  }, plain);
}
"""


@cache
def context(name):
    """The script with the data of a plan."""
    engine = page_script.loaded(ASK)
    engine.call("give", json.dumps(page_of(name).data()))
    return engine


def script_answer(name, question, tasks=None, sky=None):
    """What the script answers to a question about a plan, its tasks changed or under a sky."""
    page = page_of(name)
    tables = page.data()["tasks"] if tasks is None else tasks
    whole = asked(page.plan, tables, question) | {"sky": sky}
    text = json.dumps(whole).replace(": Infinity", ': "Infinity"')
    return page_script.read(context(name).call("answered", text))


def assert_same(name, question):
    page = page_of(name)
    assert_same_numbers(script_answer(name, question), page.budget(page.plan, *question))


def assert_same_numbers(mine, ours):
    assert mine["edges"] == ours.time_s.tolist()
    for outcome, end in zip(mine["outcomes"], ours.deciding, strict=True):
        store = np.array(outcome["storeWh"]).reshape(end.simulated.store_wh.shape)
        off = np.abs(store - end.simulated.store_wh) / end.capacity_wh
        assert off.max() <= SHARE_OF_C
        assert outcome["holds"] == end.success.astype(int).tolist()
        first = end.simulated.first_short_s
        assert outcome["firstShortS"] == pytest.approx(first, abs=0.01)
        unmet = np.array(outcome["unmetWh"]).reshape(end.unmet_wh.shape)
        assert np.abs(unmet - end.unmet_wh).max() <= SHARE_OF_C * end.capacity_wh.max()
    assert_same_words(mine, ours)


def assert_same_words(mine, ours):
    assert (mine["word"], mine["verdict"]) == (ours.answer, ours.verdict)
    counts = ours.success.sum(), ours.powered.sum(), ours.success.size, ours.may_fail, ours.middle
    keys = "success", "powered", "count", "mayFail", "middle"
    assert tuple(mine[key] for key in keys) == counts
    lowest = ours.lowest()
    assert mine["lowest"]["percent"] == pytest.approx(lowest.percent, abs=1e-4)
    assert mine["lowest"]["atS"] == lowest.at_s
    assert mine["dullTenthPercent"] == pytest.approx(ours.dull_tenth_percent, abs=1e-4)
    for k, (task, said) in enumerate(zip(mine["tasks"], task_answers(ours), strict=True)):
        assert task["runs"] == said.runs
        if said.runs:
            assert task["whyNot"] == said.why_not
        else:  # `energy check` looks further, for whether it could run at any other time
            refused = why_not_beside(ours, k, len(ours.bursts_by_task[k]))
            assert task["whyNot"] in (said.why_not, refused)


@pytest.mark.parametrize("name", NAMES)
def test_the_whole_plan(name):
    assert_same(name, AT_START)


@pytest.mark.parametrize("name", MANY)
def test_from_some_moment_on_with_what_was_read_and_done(name):
    random = np.random.default_rng(14)
    for question in random_questions(random, plan_of(name), 8):
        assert_same(name, question)


def test_an_added_task_takes_its_factors_from_the_spare_numbers():
    page, noon = page_of("cloudy-repair"), datetime(2026, 9, 14, 12)
    more = {"tool": "kettle-small", "name": "more tea", "at": "15:00", "times": 2, "each_s": 300}
    plan = page.plan.replace(task=[*page.plan.source["task"], more])
    *_, added = carried(budget(plan)).data()["tasks"]
    tasks = [*page.data()["tasks"], added | {"spare": 3}]
    factors = {"more tea": lognormal(page.spare[3], added["spread_percent"])}
    question = noon, 66.0, {"tea": "none"}
    mine = script_answer("cloudy-repair", question, tasks)
    assert_same_numbers(mine, page.budget(plan, *question, factors))
    assert np.ptp(factors["more tea"]) > 0.1


@pytest.mark.parametrize("sky", ["clear", "few", "broken", "overcast"])
def test_under_a_sky_until_the_evening(sky):
    """The sun of the sky's cells is put into the carried weather, rounded as that is."""
    page = page_of("two-night-trip")
    noon, evening = datetime(2026, 10, 10, 12), datetime(2026, 10, 11)
    from_s, until_s = (to_utc(at, page.full.calendar.zone) for at in (noon, evening))
    (weather,) = page.weathers
    watts, starts_s = weather.sun_w.copy(), page.cells[page.lit]
    under = (starts_s >= from_s) & (starts_s < until_s)
    watts[under] = page.skies[sky][under, None]
    ours = replace(page, weathers=(rounded(watts, weather.temp_c),)).budget(page.plan, noon, 60.0)
    mine = script_answer(
        "two-night-trip",
        (noon, 60.0, {}),
        sky={"name": sky, "fromS": from_s, "untilS": until_s},
    )
    store = np.array(mine["outcomes"][0]["storeWh"]).reshape(ours.simulated.store_wh.shape)
    assert (np.abs(store - ours.simulated.store_wh) / ours.capacity_wh).max() < 1e-4
    assert mine["success"] == ours.success.sum()
    assert np.ptp(store[-1]) < np.ptp(page.budget(page.plan, noon, 60.0).simulated.store_wh[-1])

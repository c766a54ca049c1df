"""What every answer that rests on a budget says directly: the answer, the chance, the verdict and
the lowest charge."""

import pytest

from energy.answers.aim.aim import aim
from energy.answers.check.check import check
from energy.answers.choose.choose import choose
from energy.answers.choose.how_many import how_many
from energy.answers.fix.fix import fixes
from energy.answers.page.page import page
from energy.plan import Plan

NO = Plan.read("builtin:cloudy-repair")
YES = NO.replace(**{"pack.capacity_wh": 3000})
ASKED = {
    "check": lambda plan: [check(plan)],
    "choose": lambda plan: [choose(plan)],
    "page": lambda plan: [page(plan)],
    "how many": lambda plan: [how_many(plan, "drill-6")],
    "aim": lambda plan: [(answer := aim(plan)), answer.best, answer.flat],
    "fixes": lambda plan: fixes(plan).found,
}


@pytest.mark.parametrize("question", ASKED)
@pytest.mark.parametrize("plan", [NO, YES], ids=["no", "yes"])
def test_an_answer_says_directly_what_its_budget_says(question, plan):
    for answer in ASKED[question](plan):
        result = answer.budget
        assert (answer.answer, answer.yes) == (result.answer, result.yes)
        assert (answer.chance, answer.verdict) == (result.chance, result.verdict)
        assert answer.lowest == result.lowest()


def test_where_nothing_can_be_chosen_the_answer_is_no():
    answer = choose(NO.replace(**{"pack.start_percent": 1, "panel": [], "goal.chance_percent": 99}))
    assert not answer.possible
    assert (answer.yes, answer.answer) == (False, "no")

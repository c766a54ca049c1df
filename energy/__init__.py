"""Will a day of work or a night out, away from the mains, stay powered?

The Python side of the commands, a name a question; most take a plan first:

>>> from energy import Plan, check
>>> answer = check(Plan.read("builtin:cloudy-repair"))
>>> answer.answer, answer.chance.scenarios
('almost', 31)

`budget` is the simulation that they all ask. Importing this costs nothing until a name is used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from energy.answers.aim.aim import aim as aim
    from energy.answers.caution.cautions import cautions as cautions
    from energy.answers.check.check import check as check
    from energy.answers.choose.choose import choose as choose
    from energy.answers.choose.how_many import how_many as how_many
    from energy.answers.fix.fix import fixes as fixes
    from energy.answers.learn.learn import learn as learn
    from energy.answers.learn.next_reading import what_to_read as what_to_read
    from energy.answers.learn.score import score as score
    from energy.answers.many.many import many as many
    from energy.answers.meter.trace import trace as trace
    from energy.answers.page.page import page as page
    from energy.answers.size.size import size as size
    from energy.answers.size.worksheet import worksheet as worksheet
    from energy.answers.size.year_size import year_size as year_size
    from energy.answers.start.tools import tools as tools
    from energy.answers.when.when import when as when
    from energy.answers.wire.wire import wire as wire
    from energy.plan import Plan as Plan
    from energy.plan import PlanError as PlanError
    from energy.simulation.budget import budget as budget

from energy.version import __version__ as __version__

_HOMES = {
    "Plan": "energy.plan",
    "PlanError": "energy.plan",
    "budget": "energy.simulation.budget",
    "check": "energy.answers.check.check",
    "choose": "energy.answers.choose.choose",
    "fixes": "energy.answers.fix.fix",
    "how_many": "energy.answers.choose.how_many",
    "cautions": "energy.answers.caution.cautions",
    "learn": "energy.answers.learn.learn",
    "score": "energy.answers.learn.score",
    "trace": "energy.answers.meter.trace",
    "many": "energy.answers.many.many",
    "page": "energy.answers.page.page",
    "what_to_read": "energy.answers.learn.next_reading",
    "size": "energy.answers.size.size",
    "year_size": "energy.answers.size.year_size",
    "worksheet": "energy.answers.size.worksheet",
    "aim": "energy.answers.aim.aim",
    "when": "energy.answers.when.when",
    "wire": "energy.answers.wire.wire",
    "tools": "energy.answers.start.tools",
}
__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'energy' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])

"""Cautions about tools: what they can do to hands and eyes, and what their sparks set alight."""

import re

from energy.answers.cautioning.caution import Caution, first_few, named, told_by, words
from energy.budget import Budget
from energy.model.battery import LITHIUM
from energy.plan.schema import Task

SPARKS = {
    "sparks-near-fuel": "Sparks near fuel: move one or the other well away and let vapour clear,"
    " with an extinguisher at hand before the first spark.",
    "sparks-near-lead-acid": "A spark can set off the gas above a lead-acid battery, which then"
    " bursts and throws acid: make sparks well away from it, never while it charges.",
    "sparks": "Sparks fly far: turn them away from the pack, the panels and anything that burns.",
}
MAKES_SPARKS = re.compile(r"\b(?:\w*grinders?|grinding|welders?|welding)\b")
# Tools that cut without turning, and saws that people described themselves.
BLADE = re.compile(
    r"\b(?:\w*saws?|\w*shears|\w*trimmers?|nibblers?|multi ?tools?|\w*planers?|electric kni(?:fe|ves))\b"
)
NO_WELDER = re.compile(r"\b(?:plastic|hot air|pipe|film|foil) (?:weld\w+|sealers?)")
WELDING = re.compile(r"\bweld(?:ers?|ing|s)?\b")


def _sparking(b: Budget) -> list[Task]:
    return [task for task in b.plan.task if task.sparks or _sparks_by_name(task)]

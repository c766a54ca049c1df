"""Cautions about tools: what they do to hands and eyes, and what their sparks set alight.

A tool is known by its flags; one that a person described without a profile, by its name too.
"""

import re

from energy.answers.cautioning.caution import Caution, named, words
from energy.budget import Budget
from energy.model.battery import LITHIUM
from energy.plan.task import Task

SPARKS = {
    "sparks-near-fuel": "Sparks near fuel: move one or the other well away and let vapour clear,"
    " with an extinguisher at hand before the first spark.",
    "sparks-near-lead-acid": "A spark can set off the gas above a lead-acid battery, which then"
    " bursts and throws acid: make sparks well away from it, never while it charges.",
    "sparks": "Sparks fly far: turn them away from the pack, the panels and anything that burns.",
}
WELDS = r"(?<!plastic )\bweld(?:ers?|ing|s)?\b"
GRINDS = r"(?<!coffee )(?<!spice )(?<!meat )(?<!grain )\bgrind(?:ers?|ing)?\b"
MAKES_SPARKS = re.compile(rf"{WELDS}|{GRINDS}")
TURNS = re.compile(
    rf"{GRINDS}|\b(?:circular|table|mitre|miter|chop|band|chain) ?saws?\b"
    r"|\b(?:drills?|sanders?|lathes?|planers?|polishers?|wood routers?)\b"
)
CUTS = re.compile(r"\b(?:\w*saws?|shears|hedge ?trimmers?|nibblers?|multi ?tools?)\b")


def _called(task: Task, name: re.Pattern[str]) -> bool:
    """Whether a task without a profile has such a name, and not that of a battery on charge."""
    plain = task.tool is None and task.kind != "charging"
    return plain and name.search(words(task)) is not None


def _sparking(b: Budget) -> list[Task]:
    return [task for task in b.plan.task if task.sparks or _called(task, MAKES_SPARKS)]


def _rotating(b: Budget) -> list[Task]:
    return [task for task in b.plan.task if task.rotating or _called(task, TURNS)]


def _cutting(b: Budget) -> list[Task]:
    """The tasks with a blade that goes to and fro, or with a saw of no known kind."""
    others = [*_rotating(b), *_sparking(b)]
    return [
        task
        for task in b.plan.task
        if task not in others and (task.group == "cutting" or _called(task, CUTS))
    ]


def sparks(b: Budget, caution: str) -> Caution | None:
    """Sparks near fuel, near a lead-acid battery, or near neither."""
    tasks = _sparking(b)
    near = {
        "sparks-near-fuel": "fuel" in b.plan.place.around,
        "sparks-near-lead-acid": b.plan.pack.chemistry not in LITHIUM,
    }
    near["sparks"] = not any(near.values())
    if not tasks or not near[caution]:
        return None
    return Caution(caution, SPARKS[caution], named(tasks))


def fuel_vapour(b: Budget) -> Caution | None:
    """Fuel around, and nothing in the plan that throws sparks on purpose."""
    around = b.plan.place.around
    if "fuel" not in around or _sparking(b):
        return None
    afloat = "afloat" in around
    return Caution(
        "fuel-vapour",
        "Fuel vapour is heavy and lies in bilges, lockers and corners, where a plug, a switch or a"
        " motor sets it off: air the place first, and keep pack, plugs and hot tools away from it.",
        "[place] around: fuel" + ", enclosed" * ("enclosed" in around),
        "boats' electrical gear near petrol protected against ignition: ISO 8846" if afloat else "",
    )  # from memory


def alone(b: Budget) -> Caution | None:
    """Nobody near, and a tool that can maim or burn."""
    tasks = [*_rotating(b), *_cutting(b)]
    tasks += [task for task in _sparking(b) if task not in tasks]
    if "alone" not in b.plan.place.around or not tasks:
        return None
    return Caution(
        "alone-with-tools",
        "You are alone with tools that can maim: agree when you will call and who comes if you do"
        " not, and keep a way to call and a dressing that stops bleeding on you. Leave the worst"
        " cuts until somebody is there.",
        named(tasks) + " (alone)",
    )


def rotating(b: Budget) -> Caution | None:
    """A bit, a disc or a blade that turns."""
    tasks = _rotating(b)
    if not tasks:
        return None
    return Caution(
        "rotating-tools",
        "Rotating tools: guard on, eyes, ears and hands protected, nothing loose near the shaft,"
        " both hands on a hand-held tool, unplugged before the bit or disc is touched.",
        named(tasks),
    )


def blades(b: Budget) -> Caution | None:
    """A blade that does not turn."""
    tasks = _cutting(b)
    if not tasks:
        return None
    return Caution(
        "blade-tools",
        "A blade runs on after the switch is let go: eyes protected, the work clamped, hands and"
        " lead out of its line, unplugged before the blade is touched.",
        named(tasks),
    )


def _welds(task: Task) -> bool:
    """Whether a task without a profile is called welding, and not grinding a weld."""
    return _called(task, re.compile(WELDS)) and not _called(task, re.compile(GRINDS))


def welding_arc(b: Budget) -> Caution | None:
    """An electric arc."""
    tasks = [task for task in _sparking(b) if task.group == "welding" or _welds(task)]
    if not tasks:
        return None
    return Caution(
        "welding-arc",
        "A welding arc burns eyes and skin, also those of who stands by, and fire smoulders on:"
        " wear helmet and gloves, screen it, let fumes clear, and watch for fire long after.",
        named(tasks),
        "filters for welders' eyes by current: EN 169",
    )  # from memory

"""Cautions about tools: what they do to hands, eyes and lungs, and what they set alight.

Which tool does what: `telling`.
"""

from energy.answers.caution.caution import Caution, named, raised_by
from energy.answers.caution.telling import carries
from energy.model.battery import LITHIUM
from energy.plan.task import Task
from energy.simulation.budget import Budget

SPARKS = {
    "sparks-near-fuel": "Sparks near fuel: move one or the other well away and let vapour clear,"
    " with an extinguisher at hand before the first spark.",
    "sparks-near-lead-acid": "A spark can set off the gas above a lead-acid battery, which then"
    " bursts and throws acid: make sparks well away from it, never while it charges.",
    "sparks": "Sparks fly far: turn them away from the pack, the panels and anything that burns.",
}


def _carrying(result: Budget, risk: str) -> list[Task]:
    return [task for task in result.plan.task if carries(task, risk)]


def _cuts(task: Task) -> bool:
    """Whether a task has a blade that goes to and fro, or a saw of no known kind."""
    turns_or_sparks = carries(task, "rotating") or carries(task, "sparks")
    return not turns_or_sparks and (task.group == "cutting" or carries(task, "blade"))


def _cutting(result: Budget) -> list[Task]:
    return [task for task in result.plan.task if _cuts(task)]


def _welds(task: Task) -> bool:
    """Whether a task has an electric arc; grinding a weld has none."""
    return carries(task, "sparks") and (task.group == "welding" or carries(task, "arc"))


def sparks(result: Budget, caution: str) -> Caution | None:
    """Sparks near fuel, near a lead-acid battery, or near neither."""
    tasks = _carrying(result, "sparks")
    near = {
        "sparks-near-fuel": "fuel" in result.plan.place.around,
        "sparks-near-lead-acid": result.plan.pack.chemistry not in LITHIUM,
    }
    near["sparks"] = not any(near.values())
    if not tasks or not near[caution]:
        return None
    return Caution(caution, SPARKS[caution], named(tasks))


def fuel_vapour(result: Budget) -> Caution | None:
    """Fuel around, and nothing in the plan that throws sparks on purpose."""
    around = result.plan.place.around
    if "fuel" not in around or _carrying(result, "sparks"):
        return None
    afloat = "afloat" in around
    return Caution(
        "fuel-vapour",
        "Fuel vapour is heavy and lies in bilges, lockers and corners, where a plug, a switch or a"
        " motor sets it off: air the place first, and keep pack, plugs and hot tools away from it.",
        "[place] around: fuel" + ", enclosed" * ("enclosed" in around),
        "boats' electrical gear near petrol protected against ignition: ISO 8846" if afloat else "",
    )  # from memory


def alone(result: Budget) -> Caution | None:
    """Nobody near, and a tool that can maim or burn."""
    tasks = [*_carrying(result, "rotating"), *_cutting(result)]
    tasks += [task for task in _carrying(result, "sparks") if not carries(task, "rotating")]
    if "alone" not in result.plan.place.around or not tasks:
        return None
    return Caution(
        "alone-with-tools",
        "You are alone with tools that can maim: agree when you will call and who comes if you do"
        " not, and keep a way to call and a dressing that stops bleeding on you. Leave the worst"
        " cuts until somebody is there.",
        named(tasks) + " (alone)",
    )


def rotating(result: Budget) -> Caution | None:
    """A bit, a disc or a blade that turns."""
    return raised_by(
        _carrying(result, "rotating"),
        "rotating-tools",
        "Rotating tools: guard on, eyes, ears and hands protected, nothing loose near the shaft,"
        " both hands on a hand-held tool, unplugged before the bit or disc is touched.",
    )


def blades(result: Budget) -> Caution | None:
    """A blade that does not turn."""
    return raised_by(
        _cutting(result),
        "blade-tools",
        "A blade runs on after the switch is let go: eyes protected, the work clamped, hands and"
        " lead out of its line, unplugged before the blade is touched.",
    )


def welding_arc(result: Budget) -> Caution | None:
    """An electric arc."""
    return raised_by(
        [task for task in result.plan.task if _welds(task)],
        "welding-arc",
        "A welding arc burns eyes and skin, also those of who stands by: helmet, gloves, a screen,"
        " and air that takes the fumes away. Clear away what burns, and watch for fire for an hour"
        " after the last arc.",
        "filters for welders' eyes: EN 169; fire watch of an hour: NFPA 51B",
    )  # from memory


def hot(result: Budget) -> Caution | None:
    """What melts, glows or blows hot air; welding has a caution of its own."""
    return raised_by(
        [task for task in _carrying(result, "hot") if not _welds(task)],
        "hot-tools",
        "Hot tools and heaters burn skin and set fire to what is near: clear away what burns, rest"
        " them on a stand, and never leave them alone while on or still hot.",
    )


def dust(result: Budget) -> Caution | None:
    """What makes dust that harms the lungs."""
    return raised_by(
        _carrying(result, "dust"),
        "dust",
        "Dust of stone, concrete and tile (silica), of wood and of metal harms lungs for good: use"
        " extraction at the tool and a mask that is made for it (FFP3, P100).",
        "crystalline silica in construction: US 29 CFR 1926.1153",
    )  # from memory

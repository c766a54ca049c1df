"""Which risks a task carries: told by its keys or its profile, else by the words of its name.

Whole words; a plural, a hyphen or no space at all (chain saws, chain-saw, chainsaw) is the same.
What only sounds like a tool (a pepper grinder, a table-saw lamp, a drill on charge) is left out.
"""

import re
from functools import cache

from energy.answers.caution.caution import LIGHT, plain
from energy.plan.profiles import built_in
from energy.plan.task import Task

# What people call a tool, and its risks (common practice, no source): keys of a profile, two that a
# profile's group tells, a blade and an arc, and a flame, which only a name tells.
CALLED = {
    "grind, grinder, grinding, dis[ck] cutter": "sparks rotating dust hand_held",
    "(?<!the )(?<!a )(?<!old )(?<!grind )(?<!grinding )(?<!plastic )weld, "
    "(?<!plastic )(?<!air )(welder|welding)": "sparks arc hot hand_held",
    "plasma cutter, plasma cutting": "sparks hot hand_held",
    "cut off saw, (metal|abrasive) chop saw": "sparks rotating dust",
    "(concrete|stone|brick|masonry) (saw|cutter)": "rotating dust wet_work",
    "mig, tig, mma (set|machine|torch)": "sparks arc hot hand_held",
    "(circular|circ|track|plunge) saw": "rotating dust hand_held",
    "table saw, (mitre|miter) saw, chop saw, drop saw, band saw, router table": "rotating dust",
    "chain saw, pole saw, (string|grass|weed|edge) (trimmer|whacker), strimmer, brush cutter, mow, "
    "mower, mowing, lawn (mower|edger), polisher, impact wrench, impact driver": (
        "rotating hand_held"
    ),
    "jig saw, reciprocating saw, sabre saw, multi tool": "blade dust hand_held",
    "scroll saw": "blade dust",
    "hedge trimmer, hedge cutter, nibbler, shears": "blade hand_held",
    r"\w*saw, sawing": "blade",
    "sander, sanding, sand (the|a|down|off|back|deck|floor|hull|board|door|wall|frame), planer, "
    "plane (the|a|down|off), (wood|trim) router": "rotating dust hand_held",
    "rotary tool": "sparks rotating dust hand_held",
    "(?<!pillar )drill(?! press), drilling": "rotating hand_held",
    "pillar drill, drill press, lathe, milling machine, auger, chipper, wood chipper, "
    "(garden|branch) shredder": "rotating",
    "(hammer|sds|core) drill, (hammer|sds|core) drilling, rotary hammer": "rotating dust hand_held",
    "(demolition|chipping|jack) hammer, wall chaser, (concrete|road) breaker": "dust hand_held",
    r"(cut|drill|chase|break)\w*\b[^,;]*\b(concrete|stone|brick|tile|masonry|paving|slab|kerb), "
    "(concrete|stone|brick|tile) (cutting|sawing|drilling)": "dust",
    "(cement|concrete) mixer": "rotating wet_work",
    "(mortar|plaster|paddle) mixer": "rotating dust hand_held wet_work",
    "(jet|pressure|power) (wash|washer|washing|cleaner)": "hand_held wet_work",
    "wet (saw|cutter), tile (saw|cutter)": "rotating wet_work",
    "concrete (vibrator|poker), poker vibrator, pump out, pumping out, (submersible|sump"
    "|drain|drainage|dewatering|utility|bilge|pond|fountain|pool|well|garden|water|trash"
    "|bore ?hole) pump": "wet_work",
    "heat gun, heat shrink gun, hot air (gun|welder), (hot melt|glue) gun, "
    "(de)?solder, (de)?soldering, plastic (weld|welder|welding)": "hot hand_held",
    r"\w*heater, hob, hot plate, (electric|induction) (stove|cooker|grill), cook top, oven, "
    "toaster, kiln, (clothes|steam|travel) iron, ironing, hot (wire|knife), "
    "3d (printer|printing)": "hot",
    "(diesel|petrol|gasoline|gas|lpg|propane|butane|paraffin|kerosene|pellet|wood|charcoal|coal) "
    "(?:(?:fired|air|cabin|night|parking|patio|space|tent|water) ){0,2}"
    "(heater|heating|boiler|furnace|stove|cooker|hob|oven|grill|burner), "
    "parking heater": "hot flame",
    "leaf blower": "hand_held",
    "[abcv] ?i?pap, apno?ea, breathing (machine|device|aid), ventilator, oxygen(?! sensor), "
    "o2 concentrator, nebuli[sz]er, dialysis, insulin, medicine(?! ball| cabinet), medication, "
    "meds, medical, vaccine, (feeding|infusion) pump, defibrillator, pulse oximeter, "
    "(glucose|heart) (meter|monitor), (wheel|power) chair, mobility scooter, "
    "hearing aid": "medical",
    "hoist, hoisting, winch, winching, windlass, crane(?! fl), jack up, jacking up, chain block, "
    "(car|trolley|electric) jack, (car|vehicle|boat|patient) lift": "lifts",
}


@cache
def _whole_words(phrases: str) -> re.Pattern[str]:
    """Phrases with a comma and a space between them, each with its plural, spaces or none."""
    joined = re.sub(r"(?<=[\w)]) (?=[\w(])", " ?", phrases.replace(", ", "|"))
    return re.compile(rf"\b(?:{joined})(?:s|es)?\b")


FOOD = r"(?:pepper|salt|coffee|spice|meat|grain|corn|flour|nut|bean|herb|burr)s?"
BESIDE = (  # what goes with a tool, and draws the watts in its stead
    rf"{LIGHT}|chargers?|docks?|batter(?:y|ies)|packs?|radios?|extractors?|vacuums?|sensors?"
    "|thermometers?"
)
WHERE = "for|of|over|above|at|beside|by|near|behind|under|on|while|next to"
TOOL = r"(?:\w+ing )?\w*(?:(?<!sold)er|saw|drill|lathe|gun|iron|hob|plate|tool|oven)"
REST = r"(?:(?! and (?!the |my )| then |[,;+&/]).)*"  # of what is done there
NOT_MEANT = (
    rf"\b(?:{FOOD} grind\w*|grind\w* (?:the |some )?{FOOD}|jig ?saw puzzles?|see ?saws?"
    r"|saw ?(?:horse|blade)s?|fire drills?|cold weld\w*|welding (?:helmet|glove|mask|screen|fume)s?"
    rf"|(?:laptop|tablet|film|movie|video)s?\b{REST}|(?:re)?charg(?:e|es|ing) {REST}"
    rf"|(?:{BESIDE}|fans?) (?:{WHERE})\b{REST}"
    rf"|{TOOL}(?:'s|s'|s)?(?: (?!the\b|an?\b)\w+)? (?:{BESIDE})(?= ?[,;:]|$))"
)


def carries(task: Task, risk: str) -> bool:
    """Whether a task carries a risk, a key of a tool profile or one of `CALLED`.

    A key that is stated decides, and a built-in profile states all. What is charged does not work;
    but medicine in a fridge, or a wheelchair on charge, is told by its name whatever the profile.
    """
    works = task.tool not in built_in("tools") and task.kind != "charging"
    if risk in task.model_fields_set or not (works or risk == "medical"):
        return bool(getattr(task, risk, False))
    name = f"{task.name}, {task.tool or ''}"
    return any(_tells(name, called) for called, risks in CALLED.items() if risk in risks.split())


def risks_in(name: str) -> set[str]:
    """The risks that a name tells of.

    >>> sorted(risks_in("Hedge-trimmers")), risks_in("pepper grinder")
    (['blade', 'hand_held'], set())
    """
    return {
        risk for called, risks in CALLED.items() if _tells(name, called) for risk in risks.split()
    }


def _tells(name: str, called: str) -> bool:
    """Whether a name holds one of the phrases of `CALLED`, and means it."""
    medical = CALLED[called] == "medical"
    return bool(_whole_words(called).search(plain(name) if medical else _meant(name)))


@cache
def _meant(name: str) -> str:
    """The words of a name without what only sounds like a tool."""
    return re.sub(NOT_MEANT, "", plain(name))

"""Cautions as lines of an answer: the most serious in a few words, or all of them in full."""

from collections.abc import Iterator, Sequence

from rich.text import Text

from energy.answers.caution.cautions import CLOSING, Caution
from energy.answers.caution.electric import can_destroy, strings_suit
from energy.plan.words import and_list
from energy.show.layout import Part, folded, labelled, part
from energy.simulation.budget import Budget
from energy.simulation.bursts import days_of, inside_s

LABEL_WORDS = "Take care"
CLOSING_SHORT = "local codes and licensed practice come first"
SHORT = {
    "acid": "acid: goggles, gloves, water",
    "alone-with-tools": "alone: agree when you call",
    "battery-short-circuit": "rings and tools off the posts",
    "blade-tools": "blades run on: clamp the work",
    "cable-too-long": "a cable loses too many volts",
    "cable-too-thin": "a cable is too thin: it can burn",
    "carbon-monoxide": "engine: carbon monoxide, keep it in the open",
    "carbon-monoxide-burner": "burning fuel: carbon monoxide, air the place",
    "carbon-monoxide-enclosed": "never run an engine inside: carbon monoxide kills",
    "charging-below-freezing": "never charge lithium in frost",
    "coiled-lead": "unwind leads whole",
    "cold-string-voltage": "in the cold the panels' volts can destroy the solar input",
    "damaged-lithium": "swollen or hot pack: out, no charging",
    "dark-boat": "no light by which others see the boat",
    "dust": "dust: extraction and mask",
    "extreme-heat": "heat kills: shade, water, rest, company",
    "forecast-old": "the forecast is old",
    "fridge-may-warm": "the fridge may warm",
    "frost-not-judged": "frost is judged by the usual air",
    "fuel-vapour": "fuel vapour: air first, no plugs near it",
    "fuse-near-battery": "fuse close to the battery",
    "gear-in-the-rain": "gear below IPX4 under cover",
    "heavy-lift": "heavy: lift it with two",
    "hot-pack": "hot pack: rest, no charging",
    "hot-tools": "hot tools: burns, fire, never left alone",
    "hydrogen": "lead-acid gas: air, no flames or sparks",
    "inverter-earth": "leave the inverter's earth to its maker",
    "lead-acid-freezes": "a low lead-acid battery freezes: fuller or warmer",
    "lead-acid-low": "lead-acid lasts longer kept above half",
    "lifeline-near-reserve": "carry a spare light, pump, radio",
    "live-panel": "panels are live in light",
    "mains-in-the-wet": "mains in the wet: 30 mA RCD, keep plugs dry",
    "mains-lead-thin": "a mains lead is thinner than usual on site",
    "medical-load": "medical: a second source ready",
    "not-a-promise": "a chance, no promise",
    "pack-follows-air": "the pack may be warmer or colder than the air",
    "pack-in-the-sun": "pack in the shade, vents free",
    "pack-too-cold": "the pack gets too cold to give: keep it warm",
    "pack-without-air": "closed cabin: vents free, way out clear",
    "rotating-tools": "rotating tools: guard, eyes, ears, hands",
    "second-light": "a second light with its own battery",
    "sparks": "sparks fly far",
    "sparks-near-fuel": "sparks near fuel: part them, let vapour clear",
    "sparks-near-lead-acid": "no sparks near lead-acid",
    "start-not-stated": "a start is not stated: it may trip",
    "string-amps": "the panels give more amps than the input takes",
    "string-can-shock": "the panels' volts can shock",
    "surge-near-limit": "a start comes near the inverter's limit",
    "surge-when-low": "starts trip a low pack",
    "weather-from-afar": "the weather is another place's",
    "welding-arc": "arc: helmet, screen, fire watch",
    "wind-on-panel": "tie down propped panels",
}


def warning(result: Budget) -> str:
    """What must not be overlooked beside the first line of every answer: panels that must not be
    connected as they are, and tasks of which nothing is counted; empty where there is neither."""
    return " ".join(filter(None, (_unsuited(result), _uncounted(result))))


def _unsuited(result: Budget) -> str:
    if strings_suit(result):
        return ""
    do = ": ask energy wire first"
    if can_destroy(result):
        do = " and can destroy it: do not connect them, ask energy wire first"
    return f"The panels' strings do not suit the solar input{do}."


def _uncounted(result: Budget) -> str:
    """Tasks of which nothing lies inside the span, whatever of them is chosen."""
    plan, bursts = result.plan, result.bursts_by_task
    empty = [k for k in range(len(plan.task)) if not bursts.get(k)]
    if not empty or result.now is not None:
        return ""
    every = days_of(plan, result.calendar)
    tasks = [
        plan.task[k]
        for k in empty
        if not any(inside_s(day.intervals, result.days.span) for day in every[k])
    ]
    if not tasks:
        return ""
    names = and_list([f'"{task.name}"' for task in tasks])
    begins = ""
    if any(task.between is None and task.at is None for task in tasks):
        begins = ": with neither between nor at it begins at midnight"
    return f"Nothing of {names} lies inside the span, nothing of it is counted{begins}."


def warning_part(result: Budget, width: int) -> Part:
    """`warning` as lines, which never give way."""
    words = warning(result)
    return part([*labelled(LABEL_WORDS, words, width), ""] if words else [], "bold red")


def care_part(cautions: Sequence[Caution], width: int, *, every: bool) -> Part:
    """What to take care of: as many as two lines hold, or one where room lacks; or every caution
    with what raised it and the rule behind it."""
    if every:
        full = [Text(LABEL_WORDS, style="bold")] if cautions else []
        for caution in cautions:
            full += [Text(line) for line in folded(f"- {caution.text}", width, 2)]
            about = ": ".join(filter(None, (caution.about, caution.rule)))
            full += [Text(line, "dim") for line in folded(f"  {about}", width, 2)]
        return Part([[*full, *(Text(line) for line in folded(CLOSING, width))]])
    versions = []
    for most in (2, 1):
        lines, left = _short(cautions, width, most)
        more = f"{left} more: --care; " if left else "the same in full: --care; " * bool(cautions)
        closing = labelled("" if lines else LABEL_WORDS, f"{more}{CLOSING_SHORT}", width)
        versions.append([Text(line) for line in (*lines, *closing)])
    return Part(versions, gives=2)


def care_notes(cautions: Sequence[Caution], most: int) -> Iterator[str]:
    """The first cautions as notes below a picture, and how many more there are."""
    yield from (f"Take care: {caution.text}" for caution in cautions[:most])
    if (more := len(cautions) - most) > 0:
        yield f"and {more} more caution{'s' * (more > 1)} with the answer in words"


def _short(cautions: Sequence[Caution], width: int, most: int) -> tuple[list[str], int]:
    """The most serious cautions in a few words, as many as so many lines hold; how many more."""
    words = [SHORT[caution.id] for caution in cautions]
    for count in range(len(words), 0, -1):
        lines = labelled(LABEL_WORDS, " · ".join(words[:count]), width)
        if len(lines) <= most or count == 1:
            return lines, len(words) - count
    return [], 0

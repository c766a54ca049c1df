"""The answer of `energy size` as words and tables: pick, points, frontier, kits, sheet by hand.

The map is drawn in `picture`; what whole years add is worded in `year_words`.
"""

from collections.abc import Iterator

from energy.answers.caution.words import warning_part
from energy.answers.size.bundles import in_words
from energy.answers.size.designs import panel_watts
from energy.answers.size.figures import size_text
from energy.answers.size.kits import Kit, Kits
from energy.answers.size.size import GOALS, Size
from energy.answers.size.worksheet import Worksheet
from energy.answers.size.year_words import GENERATOR, month_lines, worst_month, years_lines
from energy.plan.words import and_list
from energy.show import table
from energy.show.chance import chance_line
from energy.show.layout import (
    Detail,
    Part,
    Sheet,
    ended,
    folded,
    labelled,
    listed,
    notes_part,
    part,
    texts,
)
from energy.show.numbers import watt_hours
from energy.show.table import Column, rows
from energy.show.title import answer_part, title_part
from energy.simulation.budget import Budget

MOST_ROWS = 10  # panel sizes shown of the frontier
WIRING = (
    "other sizes mean other volts and amps: ask energy wire anew, and leave fixed wiring to"
    " licensed people"
)
SEVERAL_PACKS = (
    "Several packs count as one: what they hold, charge and discharge adds up, where somebody"
    " shares out panels and tools between them. A tool runs on one pack alone, whichever has charge"
    " left: each must run any tool by itself, and of their inverters the smallest counts. Join"
    " them by wire only where their makers allow it, and never unlike ones."
)
NOT_POOLED = "Several packs do not pool: a tool runs on one; the smallest inverter counts."
UNLIKE_PANELS = (
    "Unlike panels count for what each gives alone, laid as the plan's. Joined to one input they"
    " may pull each other down: see energy wire."
)


def sheet(
    answer: Size,
    width: int,
    by_hand: Worksheet | None = None,
    kits: Kits | None = None,
    *,
    demo: bool = False,
    every: bool = False,
) -> Sheet:
    """The kits of the list, or the pick and the few sizes worth considering, and the details.

    by_hand and kits are shown where they are given: neither belongs to whole years. With kits, the
    pick is a remark. demo: the plan is the built-in one. every: every kit and remark.
    """
    word, text = headline(answer, kits)
    own = answer.designs.groups[0]  # whatever its amps: they differ with the size
    parts = [title_part(own, width, demo=demo), answer_part(word, text, width)]
    judged = own if kits is None else kits.budget
    parts += [] if judged is None else [warning_part(judged, width)]
    parts += [] if kits is None else kits_parts(kits, width, every=every)
    remarks = [*summary(answer)] if kits is None or every else [ideal(answer)]
    lines = [line for words in remarks for line in folded(words, width)]
    parts += [part([*lines, ""] if lines else [])]
    if answer.points and (kits is None or every):
        parts += [points_part(answer, width)]
    parts += [part(labelled("Weather", _weather_line(answer, kits), width), "dim")]
    parts += [notes_part([*_assumed(answer), WIRING], width, every)]
    return Sheet(parts, dict(_details(answer, by_hand, kits)))


def _details(
    answer: Size, by_hand: Worksheet | None, kits: Kits | None
) -> Iterator[tuple[str, Detail]]:
    if not answer.designs.overloads:
        yield (
            "frontier",
            lambda width: [
                *(points_part(answer, width).lines if answer.points else ()),
                *texts(frontier_lines(answer, width)),
            ],
        )
    if kits is not None:
        yield (
            "kits",
            lambda width: [line for p in kits_parts(kits, width, every=True) for line in p.lines],
        )
    if answer.whole_years is not None:
        years = answer.whole_years
        yield (
            "months",
            lambda width: texts([*month_lines(years, width), *folded(GENERATOR, width)]),
        )
    if by_hand is not None:
        yield "sheet", lambda width: texts(sheet_lines(by_hand, width))


def headline(answer: Size, kits: Kits | None = None) -> tuple[str, str]:
    """Whether some size, or a kit of the list where there is one, does, and which; or why none."""
    if kits is not None:
        return _of_kits(answer.goal, kits)
    years = answer.whole_years
    if answer.pick is None:
        own = "" if years is None else worst_month(years.own, "; the plan's own size")
        return "NO", f"{answer.why}{'' if years is None or years.own_limit else own}."
    sizes = both(*answer.pick.sizes)
    if years is not None and years.pick is not None:
        worst = worst_month(years.pick, "it")
        return "YES", f"To stay, take {sizes}: {worst}; the goal is {answer.goal:g} % of all days."
    reached = _reached(answer.budget)
    return "YES", f"Take {sizes}{reached}; the goal is {answer.goal:g} %."


def _of_kits(goal: float, kits: Kits) -> tuple[str, str]:
    """The first kit of the list, or the nearest and what it lacks."""
    if kits.best:
        first = kits.best[0]
        named = f"{kit_words(first)} ({first.best[0]})" if first.best else kit_words(first)
        return "YES", f"Take {named}{_reached(kits.budget)}; the goal is {goal:g} %."
    reaches = "was found that reaches" if kits.notes else "of the list reaches"
    nearest = ""
    if kits.lacks:
        lack = kits.lacks[0]
        nearest = f"; the nearest, {in_words(lack.packs)}, lacks {lack.words}"
        if lack.missing_wh is None and lack.missing_w is None:
            nearest = f"; {in_words(lack.packs)}: {lack.words}"
    return "NO", f"No kit {reaches} {goal:g} %{nearest}."


def _reached(judged: Budget | None) -> str:
    if judged is None or judged.chance.scenarios == 1:
        return ""
    return f": works in {judged.chance.worked} of {judged.chance.scenarios} weathers"


def ideal(answer: Size) -> str:
    """The pick on the scale, as a remark beside kits."""
    if answer.pick is None:
        return f"{answer.why}."
    return f"The ideal would be {both(*answer.pick.sizes)} (why: --all)."


def both(panel_w: float, battery_wh: float) -> str:
    """Panel and pack in words.

    >>> both(200.0, 1000.0), both(0.0, 500.0)
    ('200 W of panel and a pack of 1000 Wh', 'no panel and a pack of 500 Wh')
    """
    panel = f"{size_text(panel_w)} W of panel" if panel_w > 0.0 else "no panel"
    return f"{panel} and a pack of {size_text(battery_wh)} Wh"


def summary(answer: Size) -> Iterator[str]:
    """Why the pick, and what limits it."""
    years = answer.whole_years
    yield from _beyond_the_input(answer)
    if answer.pick is not None:
        yield f"{answer.why}."
    if answer.limit is not None and (years is not None or answer.pick is not None):
        yield f"{answer.limit[0].upper()}{answer.limit[1:]}."
    if years is not None:
        yield from years_lines(years)


def _assumed(answer: Size) -> Iterator[str]:
    """What was taken for granted, without its full stop."""
    if answer.whole_years is not None:
        yield from answer.whole_years.notes
    elif answer.costs.assumed and answer.pick is not None:
        assumed = and_list(list(answer.costs.assumed))
        yield f"by common practice, not the plan's: {assumed} (prices in US dollars)"


def _weather_line(answer: Size, kits: Kits | None) -> str:
    """Which weathers the sizes were run through."""
    judged = answer.budget if kits is None else kits.budget
    own, years = answer.designs.groups[0], answer.whole_years
    text = own.weather.source
    if years is not None:
        count = "one whole year" if years.own.years == 1 else f"{years.own.years} whole years"
        return f"{text}; {count}, the plan's days repeated over and over"
    if judged is not None:
        return f"{text}: with that it {chance_line(judged.chance)}"
    return f"{text}: {own.success.size} weathers tried"


def _beyond_the_input(answer: Size) -> Iterator[str]:
    """Panels of the pick or the plan of which the solar input does not take all, and how they are
    joined behind PWM."""
    designs, most_w = answer.designs, float(answer.frontier.panel_w[-1])
    panel_w = most_w if answer.pick is None else answer.pick.panel_w
    takes = designs.takes_w(panel_w)
    own_w = most_w if answer.pick is None else panel_watts(answer.plan)
    if answer.pick is not None and panel_w > takes:
        yield (
            f"That is more than the {takes:.0f} W the solar input takes: the rest helps in dull"
            " light only. Ask its maker whether it bears such panels."
        )
    elif (takes := designs.takes_w(own_w)) < own_w:
        yield f"The solar input takes {takes:.0f} W: more panel than that helps in dull light only."
    for note in designs.joined_words(panel_w):
        yield f"{note}."


def points_part(answer: Size, width: int) -> Part:
    """The few sizes worth considering."""
    points = answer.points
    columns = (
        Column("worth considering", [point.why for point in points]),
        Column("panel", [f"{size_text(point.panel_w)} W" for point in points], right=True),
        Column("pack", [f"{size_text(point.battery_wh)} Wh" for point in points], right=True),
        Column("reaches", [f"{point.goal:g} %" for point in points], right=True),
        Column("weighs", [kilograms(point.kg) for point in points], right=True, drop=1),
        Column("price", [watt_hours(point.price) for point in points], right=True, drop=2),
    )
    heading, *items = rows(columns, width)
    shown = listed(heading, items, lambda n: f"{n} more: --frontier", most=8, least=3, gives=2)
    return ended(shown, "")


def kilograms(kg: float | None) -> str:
    """A weight, empty where it is not known.

    >>> kilograms(9.26), kilograms(19.6), kilograms(None)
    ('9.3 kg', '20 kg', '')
    """
    if kg is None:
        return ""
    return f"{kg:.0f} kg" if kg >= 10.0 else f"{kg:.1f} kg"


def frontier_lines(answer: Size, width: int) -> list[str]:
    """The smallest pack for panels of some sizes, at each goal."""
    frontier = answer.frontier
    count = frontier.panel_w.size
    step = max(1, -(-count // MOST_ROWS))
    shown = range((count - 1) % step, count, step)
    packs = {goal: frontier.battery_wh(goal) for goal in GOALS}
    columns = [Column("panel", [f"{size_text(frontier.panel_w[k])} W" for k in shown], right=True)]
    for goal, sizes in packs.items():
        packs_of = [sizes[k] for k in shown]
        cells = ["none" if wh is None else f"{size_text(wh)} Wh" for wh in packs_of]
        columns.append(Column(f"pack for {goal:g} %", cells, right=True))
    lines = table.lines(columns, width)
    if any(None in sizes for sizes in packs.values()):
        lines.append(f"none: not with a pack up to {size_text(frontier.sizes_wh[-1])} Wh")
    if frontier.floor_wh is not None:
        least = f"{size_text(frontier.floor_wh)} Wh"
        lines.append(f"{least}: the smallest looked at, smaller ones may do")
    return lines


def kits_parts(kits: Kits, width: int, *, every: bool) -> list[Part]:
    """The best kits of the list, what the others lack, and what several packs are taken for; a few
    of them, or all."""
    parts = []
    tables = ((kit_rows(kits, width), "kits", 2), (lack_rows(kits, width), "that do not", 1))
    for (heading, *items), what, gives in tables:
        if not items:
            continue
        count, more = len(items) if every else 3, f"{{}} more {what}: --kits".format
        parts += [listed(heading, items, more, most=count, least=1, gives=gives), part([""])]
    remarks = [*kits.notes]
    if any(sum(count for _, count in kit.packs) > 1 for kit in kits.best):
        remarks.insert(0, SEVERAL_PACKS if every else NOT_POOLED)
    if every and any(len(kit.panels) > 1 for kit in kits.best):
        remarks.append(UNLIKE_PANELS)
    if kits.not_told:
        remarks.append(f"{kits.not_told[0].upper()}{kits.not_told[1:]}.")
    return [*parts, part([line for text in remarks for line in folded(text, width)])]


def kit_words(kit: Kit) -> str:
    """The things of a kit.

    >>> from energy.answers.size.candidates import Candidate
    >>> kit_words(Kit(((Candidate("box", "pack"), 2),), ()))
    '2 x box, no panel'
    """
    return f"{in_words(kit.packs)}, {in_words(kit.panels) or 'no panel'}"


def kit_rows(kits: Kits, width: int) -> list[list[str]]:
    """The kits that reach the goal, with what they are best by: the heading, then a kit each, the
    cheapest and the lightest before the second and third."""
    best = sorted(kits.best, key=lambda kit: kit.rank)
    prices = [kit.total("price") for kit in best]
    columns = (
        Column("reach the goal", [kit_words(kit) for kit in best]),
        Column("panel", [f"{size_text(kit.panel_w)} W" for kit in best], right=True, drop=1),
        Column("pack", [f"{size_text(kit.battery_wh)} Wh" for kit in best], right=True, drop=2),
        Column("weighs", [kilograms(kit.total("kg")) for kit in best], right=True),
        Column("price", ["" if p is None else f"{p:.0f}" for p in prices], right=True),
        Column("best by", [", ".join(kit.best) for kit in best]),
    )
    return rows([column for column in columns if any(column.cells)], width) if best else [[]]


def lack_rows(kits: Kits, width: int) -> list[list[str]]:
    """The packs that do not reach the goal, with what they lack: the heading, then a row each."""
    if not kits.lacks:
        return [[]]
    panel_w = size_text(kits.lacks[0].panel_w)
    columns = (
        Column(f"do not, with all {panel_w} W", [in_words(lack.packs) for lack in kits.lacks]),
        Column("pack", [f"{size_text(lack.battery_wh)} Wh" for lack in kits.lacks], right=True),
        Column("lacks", [lack.words for lack in kits.lacks]),
    )
    return rows(columns, width)


def sheet_lines(by_hand: Worksheet, width: int) -> list[str]:
    """The classical sheet, step by step."""
    steps = by_hand.steps
    values = [
        watt_hours(step.value) if abs(step.value) >= 20.0 else f"{step.value:.2f}" for step in steps
    ]
    columns = (
        Column("the same by hand", [step.what for step in steps]),
        Column("value", values, right=True),
        Column("unit", [step.unit for step in steps]),
        Column("how", [step.how for step in steps]),
    )
    lines = table.lines(columns, width)
    return [*lines, *folded(by_hand.why, width)]

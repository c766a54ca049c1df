"""What readings and logs taught, as words and tables for a terminal or a pipe, through rich.

What it rests on comes from the answers; the pictures are drawn in `picture`.
"""

from collections.abc import Sequence

from rich.text import Text

from energy.answers.learn.confounded import Confounded, is_draw
from energy.answers.learn.items import Item
from energy.answers.learn.learn import Learned
from energy.answers.learn.next_reading import Suggestion
from energy.answers.learn.own_figures import Own
from energy.answers.learn.posterior import words
from energy.answers.learn.score import Score
from energy.show import table
from energy.show.layout import LABEL, Part, Sheet, ended, folded, labelled, listed, notes_part, part
from energy.show.numbers import measured
from energy.show.table import Column, rows

MOST_READINGS, MOST_UNUSED = 10, 10
FIGURES = 3  # of the person's own that are named
SAID = 2  # figures in the headline


def learned_sheet(answer: Learned, width: int, *, every: bool = False) -> Sheet:
    """What was learned: the figures, what is not separable, what to read next.

    width: columns. every: all figures and remarks.
    """
    said = [finding(answer), *answer.doubts, *not_told_apart(answer)]
    head = [Text(line, "bold") for text in said for line in folded(text, width)]
    parts = [Part([[*head, Text()]]), items_part(answer.items, width, every=every)]
    apart = [
        f"not separable by these readings: {group.line}"
        for group in answer.apart
        if group not in _of_draws(answer)
    ]
    elsewhere = {*answer.doubts, *answer.unused, *answer.to_count}
    notes = [note for note in answer.notes if note not in elsewhere]
    to_count = [
        line for text in answer.to_count for line in labelled("To use it", f"{text}.", width)
    ]
    parts.append(part(to_count))
    if answer.next_reading:
        parts.append(part(labelled("Next", answer.next_reading, width)))
    parts.append(unused_part(answer.unused, width, every=every))
    return Sheet(
        [*parts, notes_part([*apart, *notes], width, every)],
        {"figures": lambda width: items_part(answer.items, width, every=True).lines},
    )


def unused_part(lines: Sequence[str], width: int, *, every: bool) -> Part:
    """What was written and could not be used, whatever room there is."""
    shown = lines if every else lines[:MOST_UNUSED]
    sentences = [line if line.endswith("?") else f"{line}." for line in shown]
    texts = [text for line in sentences for text in labelled("Not used", line, width)]
    if left := len(lines) - len(shown):
        texts.append(f"{' ' * LABEL}{left} more not used: --all")
    return part(texts)


def finding(answer: Learned) -> str:
    """What was learned, in a sentence: what readings took most doubt of first."""
    learned = sorted(
        (item for item in answer.items if item.learned),
        key=lambda item: (item.what.startswith("sky:"), item.doubt_left_percent),
    )
    read = len(answer.day.observed)
    values = f"{read} value" + ("" if read == 1 else "s")
    if not learned and _of_draws(answer):
        return f"No figure is learned by itself from {values}."
    if not learned:
        return f"Nothing learned from {values}: they move too little, or too much at once."
    parts = [_changed(item) for item in learned[:SAID]]
    more = len(learned) - len(parts)
    text = f"Learned from {values}: {'; '.join(parts)}"
    return f"{text}; and {more} more." if more else f"{text}."


def not_told_apart(answer: Learned) -> list[str]:
    """A sentence about draws of which only the sum is known: none of them is to be relied on."""
    groups = _of_draws(answer)
    if not groups:
        return []
    named = "; ".join(group.what for group in groups[:SAID])
    more = f"; and {len(groups) - SAID} more" if len(groups) > SAID else ""
    return [f"Not told apart: {named}{more}. Read between them before you rely on any one."]


def _of_draws(answer: Learned) -> list[Confounded]:
    """The draws that could not be told apart and were not known otherwise."""
    return [group for group in answer.apart if any(map(is_draw, group.keys))]


def _changed(item: Item) -> str:
    """One figure as it was stated and as it is."""
    if item.what.startswith("sky:"):
        return f"the sun of {item.what[4:]} was {item.after:.0f} % of what was expected"
    is_now = "takes" if item.what.startswith("tool:") else "is"
    after, before = measured(item.after), measured(item.before)
    instead = "as stated" if after == before else f"not {before}"
    return f"{item.name} {is_now} {after} {item.unit}, {instead}"


def items_part(items: Sequence[Item], width: int, *, every: bool) -> Part:
    """Each figure before and after with its 80 % interval, and how much of the doubt is still open;
    those that the readings taught most of first, or all in their order."""
    shown = [*items] if every else sorted(items, key=lambda item: not (item.learned or item.moved))
    raw = [item.raw_wh for item in shown]
    moved = any(item.moved and not item.learned for item in shown)
    columns = [
        Column("what", [item.name for item in shown]),
        Column("before", [measured(item.before) for item in shown], right=True),
        Column("after", [_after(item) for item in shown], right=True),
        Column("8 in 10", [_between(item) for item in shown], right=True, drop=2),
        Column("unit", [item.unit for item in shown]),
        Column("still open", [_open(item) for item in shown], right=True),
        Column(
            "before learning",
            ["" if wh is None else f"{measured(wh)} Wh" for wh in raw],
            right=True,
            drop=1,
        ),
    ]
    heading, *rest = rows([column for column in columns if any(column.cells)], width)
    remark = "(moved): not learned by itself, but used as it goes with the others"
    closing = folded(remark, width) if moved else []
    if every:
        return part([*heading, *(line for row in rest for line in row), *closing, ""])
    learned = sum(item.learned or item.moved for item in shown)
    most = max(min(learned, 9), 3)
    few = listed(heading, rest, lambda n: f"{n} more: --figures", most=most, least=3, gives=1)
    return ended(few, *closing, "")


def _after(item: Item) -> str:
    if item.learned:
        return measured(item.after)
    return f"(moved) {measured(item.after)}" if item.moved else "not learned"


def _between(item: Item) -> str:
    return f"{measured(item.low)} to {measured(item.high)}" if item.learned else ""


def _open(item: Item) -> str:
    return f"{min(item.doubt_left_percent, 100.0):.0f} %"


def score_sheet(answer: Score, width: int, *, every: bool = False) -> Sheet:
    """How far the prediction lay off: the readings that lay furthest off, or each."""
    head = [Text(line, "bold") for line in folded(score_finding(answer), width)]
    parts = [Part([[*head, Text()]]), _compared(answer, width, every)]
    unused = answer.readings.problems
    notes = [note for note in answer.notes if note not in unused]
    return Sheet(
        [*parts, unused_part(unused, width, every=every), notes_part(notes, width, every)],
        {"readings": lambda width: _compared(answer, width, True).lines},
    )


def _compared(answer: Score, width: int, every: bool) -> Part:
    """The readings beside what was predicted: those furthest off, or all."""
    ranked = sorted(answer.compared, key=lambda reading: -abs(reading.off_points))
    kept = answer.compared if every else ranked[:MOST_READINGS]
    shown = sorted(kept, key=lambda reading: reading.at)
    columns = [
        Column("time", [f"{reading.at:%a %H:%M}" for reading in shown]),
        Column("measured", [f"{r.measured_percent:.0f} %" for r in shown], right=True),
        Column("predicted", [f"{r.predicted_percent:.0f} %" for r in shown], right=True),
    ]
    if answer.weathers > 1:
        ranges = [f"{r.low_percent:.0f} to {r.high_percent:.0f} %" for r in shown]
        heading = f"8 in 10 of {answer.weathers} weathers"
        columns.append(Column(heading, ranges, right=True, drop=1))
    columns.append(Column("off", [f"{r.off_points:+.0f} points" for r in shown], right=True))
    lines = table.lines(columns, width)
    if left := len(answer.compared) - len(shown):
        lines.append(f"{left} more, nearer: --readings")
    return part([*lines, ""])


def score_finding(answer: Score) -> str:
    """How far off the prediction was, and usually is here, in a sentence."""
    text = f"Off by {answer.typical_points:.0f} points of charge"
    if abs(answer.bias_points) >= 0.5 * answer.typical_points and answer.typical_points >= 1.0:
        text += f", mostly too {'low' if answer.bias_points > 0 else 'high'}"
    if answer.weathers > 1:
        text += f"; {answer.inside} of {len(answer.compared)} readings in the range of 8 in 10"
        text += f" of {answer.weathers} weathers"
    usual = f"{answer.typical_on_record:.0f} points over {answer.days} days on record"
    return text + (f". Here it is usually off by {usual}." if answer.days > 1 else ".")


def suggestions_sheet(suggestions: Sequence[Suggestion], width: int) -> Sheet:
    """The readings that would teach most about a plan."""
    if not suggestions:
        none = "No reading would teach anything about this plan's lowest charge."
        return Sheet([part([*folded(none, width), ""])])
    head = "These readings would teach most about this plan, the best first:"
    lines = []
    for number, suggestion in enumerate(suggestions, start=1):
        left = f"{suggestion.doubt_left_percent:.0f} % of the kit's doubt"
        text = (
            f" {number}  {suggestion.text} After it {left} about the lowest charge is still open."
        )
        lines += folded(text, width, 4)
    return Sheet([part(folded(head, width), "bold"), part([*lines, ""])])


def own_part(own: Own, width: int, *, every: bool) -> Part:
    """Which figures of an answer come from the person's own readings, a few or `every` one with the
    doubt about it that is still open, and how far off predictions usually are at this site."""
    names = [words(item.what) for item in own.figures]
    doubts = [item.doubt_left_percent for item in own.figures]
    if every:
        names = [
            f"{name} ({open_:.0f} % of its doubt open)"
            for name, open_ in zip(names, doubts, strict=True)
        ]
    elif len(names) > FIGURES:
        names = [*names[:FIGURES], f"{len(names) - FIGURES} more from your readings: --all"]
    lines = labelled("Yours", f"{', '.join(names)}.", width) if names else []
    if own.usual is not None:
        days = f"{own.usual.days} day{'' if own.usual.days == 1 else 's'} scored"
        usual = f"usual error here {own.usual.points:.0f} points of charge over {days}."
        lines += labelled("" if lines else "Yours", usual, width)
    return part(lines)

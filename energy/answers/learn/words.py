"""What readings and logs taught, as words and tables for a terminal or a pipe, through rich.

What it rests on comes from the answers; the pictures are drawn in `picture`.
"""

from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.learn.items import Item
from energy.answers.learn.learn import Learned
from energy.answers.learn.next_reading import Suggestion
from energy.answers.learn.own_figures import Own
from energy.answers.learn.posterior import words
from energy.answers.learn.score import Score
from energy.show.numbers import measured

SAID = 2  # figures in the headline


def show_learned(answer: Learned, out: Console) -> None:
    """Print what was learned: the table, what cannot be told apart, what to read next."""
    out.print(Text(finding(answer), style="bold"))
    out.print(item_table(answer.items))
    if answer.apart:
        out.print(Text("Not to be told apart by these readings", style="bold"))
    for line in answer.apart:
        out.print(Text(f"- {line[0].upper()}{line[1:]}."))
    if answer.next_reading:
        out.print(Text("Next time this would teach most", style="bold"))
        out.print(Text(f"- {answer.next_reading}"))
    for note in answer.notes:
        out.print(Text(f"Note: {note}."))


def finding(answer: Learned) -> str:
    """What was learned, in a sentence: what readings took most doubt of first."""
    learned = sorted(
        (item for item in answer.items if item.learned),
        key=lambda item: (item.what.startswith("sky:"), item.doubt_left_percent),
    )
    read = len(answer.day.observed)
    values = f"{read} value" + ("" if read == 1 else "s")
    if not learned:
        return f"Nothing learned from {values}: they move too little, or too much at once."
    parts = [_changed(item) for item in learned[:SAID]]
    more = len(learned) - len(parts)
    text = f"Learned from {values}: {'; '.join(parts)}"
    return f"{text}; and {more} more." if more else f"{text}."


def _changed(item: Item) -> str:
    """One figure as it was stated and as it is."""
    if item.what.startswith("sky:"):
        return f"the sun of {item.what[4:]} was {item.after:.0f} % of what was expected"
    is_now = "takes" if item.what.startswith("tool:") else "is"
    return f"{item.name} {is_now} {measured(item.after)} {item.unit}, not {measured(item.before)}"


def item_table(items: Sequence[Item]) -> Table:
    """Each figure before and after with its 80 % interval, and how much doubt is left."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    raw = any(item.raw_wh is not None for item in items)
    table.add_column("what", overflow="fold")
    headings = ["before", "after", "8 in 10", "unit", "doubt left"]
    for heading in [*headings, *(["raw Wh"] if raw else [])]:
        table.add_column(heading, justify="left" if heading == "unit" else "right", no_wrap=True)
    for item in items:
        after = measured(item.after) if item.learned or item.moved else "not learned"
        after = f"(moved) {after}" if item.moved and not item.learned else after
        between = f"{measured(item.low)} to {measured(item.high)}" if item.learned else ""
        left = f"{min(item.doubt_left_percent, 100.0):.0f} %"
        cells = [item.name, measured(item.before), after, between, item.unit, left]
        if raw:
            cells.append("" if item.raw_wh is None else measured(item.raw_wh))
        table.add_row(*(Text(cell) for cell in cells))
    captions = ["raw Wh: one of it from the pack by the percentages alone, as labelled"] * raw
    if any(item.moved and not item.learned for item in items):
        captions.append("(moved): not learned by itself, but used as it goes with the others")
    if captions:
        table.caption, table.caption_justify = "; ".join(captions), "left"
    return table


def show_score(answer: Score, out: Console) -> None:
    """Print how far the prediction lay off."""
    out.print(Text(score_finding(answer), style="bold"))
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("time")
    several = answer.weathers > 1
    between = [f"8 in 10 of {answer.weathers} weathers"] if several else []
    for heading in ("measured", "predicted", *between, "off, points"):
        table.add_column(heading, justify="right")
    for reading in answer.compared:
        low, high = reading.low_percent, reading.high_percent
        table.add_row(
            f"{reading.at:%a %H:%M}",
            f"{reading.measured_percent:.0f} %",
            f"{reading.predicted_percent:.0f} %",
            *([f"{low:.0f} to {high:.0f} %"] if several else []),
            f"{reading.off_points:+.0f}",
        )
    out.print(table)
    for note in answer.notes:
        out.print(Text(f"Note: {note}."))


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


def show_suggestions(suggestions: Sequence[Suggestion], out: Console) -> None:
    """Print the readings that would teach most about a plan."""
    if not suggestions:
        out.print("No reading would teach anything about this plan's lowest charge.")
        return
    out.print(Text("These readings would teach most about this plan, the best first", style="bold"))
    for suggestion in suggestions:
        left = f"{suggestion.doubt_left_percent:.0f} % of the kit's doubt"
        out.print(Text(f"- {suggestion.text} After it {left} about the lowest charge is left."))


def lines_of_own(own: Own) -> Iterable[str]:
    """For the end of an answer: which of its figures come from the person's own readings, with
    the doubt about each that is left, and how far off predictions usually are at this site."""
    if own.figures:
        parts = [
            f"{words(item.what)} ({item.doubt_left_percent:.0f} % of its doubt left)"
            for item in own.figures
        ]
        yield f"From your own readings: {', '.join(parts)}."
    if own.usual is not None:
        days = f"{own.usual.days} day{'' if own.usual.days == 1 else 's'} scored"
        yield f"Usual error here: {own.usual.points:.0f} points of charge over {days}."

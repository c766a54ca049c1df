"""How an answer is laid out for a person: its parts in one order, on 24 lines of 80 columns.

A part has versions, the fullest first; where the lines do not suffice, the parts that may give way
do, in their order. Lines are folded between words, and a number never parts from its unit.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

LINES = 24
MOST_NOTES = 4
LABEL = 10  # columns, before what an answer rests on
TIE = "\u00a0"  # holds a number and its unit together while lines are folded
UNITS = "% Wh W VA V A Ah kg km cm mm mm2 m h min s C more points? days? times? charges?"
UNIT = "|".join([*UNITS.split(), "weathers?", "degrees?"])
NUMBER_AND_UNIT = re.compile(
    rf"(?<=\d) (?=(?:{UNIT})(?!\w)|of \d|to \d)|(?<=\d of) (?=\d)|(?<=\d to) (?=\d)"
    r"|(?<=\d degrees) (?=(?:C|true)\b)"
)
DATE = re.compile(r"(?<=\b\w{3}) (?=\d{1,2} \w{3}\b)|(?<=\d) (?=[A-Z][a-z]{2}\b)")
CLOCK = re.compile(r"(?<=\w{3}) (?=\d\d:\d\d)")


def tied(text: str) -> str:
    """Text whose numbers hold on to their units, and dates to their clocks.

    >>> tied("charge 54 % at Tue 15 Sep 08:00").replace(TIE, "~")
    'charge 54~% at Tue~15~Sep~08:00'
    """
    for pattern in (NUMBER_AND_UNIT, DATE, CLOCK):
        text = pattern.sub(TIE, text)
    return text


def folded(text: str, width: int, hanging: int = 0) -> list[str]:
    """Text in lines of at most `width` columns, all but the first set in by `hanging` columns.

    A word wider than a line is cut.

    >>> folded("the charge falls to 54 % at 08:00", 24, hanging=2)
    ['the charge falls to 54 %', '  at 08:00']
    """
    bare = text.lstrip(" ")
    lines = [" " * (len(text) - len(bare))]
    for k, word in enumerate(tied(bare).split(" ")):
        first, *rest = _cut(word, width - hanging)
        joined = f"{lines[-1]}{' ' * (k > 0)}{first}"
        if cell_len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(" " * hanging + first)
        lines += [" " * hanging + piece for piece in rest]
    return [line.replace(TIE, " ") for line in lines]


def _cut(word: str, width: int) -> list[str]:
    """A word in pieces of at most so many columns."""
    pieces = [""]
    for letter in word:
        if cell_len(pieces[-1] + letter) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def labelled(label: str, text: str, width: int) -> list[str]:
    """A line with its label on the left, folded under itself.

    >>> labelled("Weather", "typical year, Sand Point, 31 like days", 36)
    ['Weather   typical year, Sand Point,', '          31 like days']
    """
    return folded(f"{label:<{LABEL - 1}} {text}", width, LABEL)


@dataclass(frozen=True)
class Part:
    """Lines that belong together.

    versions: the fullest first; the last is what must be there.
    gives: when it gives way, 1 first; 0 never.
    counted: whether its lines count; those of a timetable do not.
    """

    versions: Sequence[Sequence[Text]]
    gives: int = 0
    counted: bool = True

    @property
    def lines(self) -> Sequence[Text]:
        """The fullest of the versions that are left."""
        return self.versions[0]


Slow = Callable[[], Part]  # what takes a moment to find: it is asked after the rest is printed
Detail = Callable[[int], Sequence[Text]]  # of a width [columns]


@dataclass(frozen=True)
class Sheet:
    """An answer as a person reads it.

    parts: from the top; what takes a moment to find may be a function.
    details: what stands behind each option of the command, by the option's name.
    """

    parts: Sequence[Part | Slow]
    details: Mapping[str, Detail] = field(default_factory=dict)


def part(lines: Sequence[str], style: str = "") -> Part:
    """Lines that never give way."""
    return Part([[Text(line, style) for line in lines]])


def texts(lines: Iterable[str]) -> list[Text]:
    """Lines without a style, as a detail holds them."""
    return [Text(line) for line in lines]


def ended(shown: Part, *closing: str) -> Part:
    """A part with the same lines after each of its versions, whatever room there is."""
    return replace(shown, versions=[[*version, *texts(closing)] for version in shown.versions])


def listed(
    heading: Sequence[str],
    items: Sequence[Sequence[str]],
    more: Callable[[int], str],
    *,
    most: int,
    least: int,
    gives: int,
) -> Part:
    """A list of which `most` to `least` items are shown, and how many more there are."""
    versions = []
    for count in range(min(most, len(items)), min(least, len(items)) - 1, -1):
        lines = [*heading, *(line for item in items[:count] for line in item)]
        left = len(items) - count
        versions.append([Text(line) for line in (*lines, *([more(left)] if left else []))])
    return Part(versions or [[]], gives)


def fitted(parts: Sequence[Part], room: int) -> list[Part]:
    """The parts in the versions that the room allows, as full as it does."""
    fitting = list(parts)
    for k in sorted((k for k, p in enumerate(parts) if p.gives), key=lambda k: parts[k].gives):
        while _height(fitting) > room and len(fitting[k].versions) > 1:
            fitting[k] = replace(fitting[k], versions=fitting[k].versions[1:])
    return fitting


def notes_part(notes: Sequence[str], width: int, every: bool) -> Part:
    """Remarks without their full stops: the first of them, or all."""
    items = [labelled("Note", f"{note}.", width) for note in notes]
    if every:
        return part([line for item in items for line in item])

    def more(count: int) -> str:
        return f"{' ' * LABEL}{count} more note{'s' if count > 1 else ''}: --all"

    shown = listed([], items, more, most=MOST_NOTES, least=1, gives=1)
    none = [Text(f"{'Notes':<{LABEL}}{len(notes)}: --all")] if notes else []
    return Part([*shown.versions, none], shown.gives)


def _height(parts: Sequence[Part]) -> int:
    return sum(len(p.lines) for p in parts if p.counted)


def show(sheet: Sheet, out: Console, *, room: int = LINES, reserve: int = 5) -> None:
    """Print the parts of a sheet, in so many lines where the parts can give way.

    reserve: lines that are kept for what is still to be found.
    """
    now: list[Part] = []
    for p in sheet.parts:
        if not isinstance(p, Part):
            break
        now.append(p)
    later = sheet.parts[len(now) :]
    kept = sum(len(p.versions[-1]) if isinstance(p, Part) else reserve for p in later)
    fitting = fitted(now, room - kept)
    for p in fitting:
        for line in p.lines:
            out.print(line, soft_wrap=True)
    if later:
        slow = later[0]
        assert not isinstance(slow, Part)
        rest = Sheet([slow(), *later[1:]])
        show(rest, out, room=room - _height(fitting), reserve=reserve)


def show_details(details: Sequence[Detail], out: Console) -> None:
    """Print what stands behind options, a blank line before each."""
    for detail in details:
        out.print()
        for line in detail(out.width):
            out.print(line, soft_wrap=True)

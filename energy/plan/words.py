"""The words of a message: wrong input as lines, values as they may be shown, the nearest word.

What is wrong with a plan is found elsewhere; here it only becomes text that a terminal can bear.
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from difflib import get_close_matches
from typing import Any

LONGEST_LINE = 600  # a path and a sentence
LONGEST_VALUE = 43
MOST_GUESSES = 40  # as many lines as are shown; where names are many, each costs a search
LONGEST_GUESS = 60  # longer words are nobody's slip of the pen, and slow to compare


class PlanError(Exception):
    """Wrong input; `problems` holds one printable line for each thing that is wrong.

    >>> PlanError(["two\\nlines"]).problems
    ['two lines']
    """

    status = 2  # of a command that ends with it

    def __init__(self, problems: Iterable[str]):
        self.problems = [one_line(problem, LONGEST_LINE) for problem in problems]
        super().__init__("\n".join(self.problems))


def one_line(text: str, longest: int) -> str:
    """Text as one line of printable characters, cut where it is too long.

    >>> one_line("a\\tb  c", 10), one_line("abcdef", 4)
    ('a b c', 'abc…')
    """
    text = " ".join(text[: 4 * longest].split())
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= longest else text[: longest - 1] + "…"


def visible(text: str) -> str:
    """A text of a stranger's with control, bidirectional and zero-width characters written out, so
    that it cannot steer a terminal.

    >>> visible("a\\x1b[2Jb")
    'a\\\\x1b[2Jb'
    """
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


def shown(value: Any) -> str:
    """A value as it may stand in a message: short, on one line.

    >>> shown("a" * 100), shown(True), shown({"a": 1})
    ('"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…"', 'true', 'a table')
    """
    if isinstance(value, str):
        return f'"{one_line(value, LONGEST_VALUE - 2)}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and value.bit_length() > 200:
        return "a very large number"  # Python refuses to write out more than 4300 digits
    if isinstance(value, list | tuple):
        return one_line(f"[{', '.join(shown(item) for item in value[:12])}]", LONGEST_VALUE)
    return one_line(str(value), LONGEST_VALUE)


def meant(word: Any, names: Iterable[str]) -> str:
    """A question after the nearest known word, or nothing where none is near.

    >>> meant("tlit_deg", ["tilt_deg", "count"])
    '; did you mean "tilt_deg"?'
    """
    if not isinstance(word, str) or len(word) > LONGEST_GUESS:
        return ""
    by_lower = {name.casefold(): name for name in names}
    near = get_close_matches(word.casefold(), by_lower, n=1, cutoff=0.6)
    return f'; did you mean "{by_lower[near[0]]}"?' if near else ""


def nearest_of(names: Collection[str]) -> Callable[[Any], str]:
    """`meant` among names that a plan holds many of: a question for the first words alone.

    >>> guess = nearest_of(["lamp", "saw"])
    >>> guess("lomp")
    '; did you mean "lamp"?'
    """
    left = iter(range(MOST_GUESSES))
    return lambda word: meant(word, names) if next(left, None) is not None else ""


def and_list(words: Sequence[str]) -> str:
    """Words in a row.

    >>> and_list(["a", "b", "c"]), and_list(["a"]), and_list([])
    ('a, b and c', 'a', '')
    """
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))

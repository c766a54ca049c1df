"""The answer about cables and strings as tables for a terminal or a pipe, through rich.

What is judged, and by which rule, comes from the answer.
"""

from collections.abc import Sequence
from itertools import chain

from rich.text import Text

from energy.answers.wire.strings import String
from energy.answers.wire.wire import Wire, Wired
from energy.model.conductors import awg_words
from energy.plan.words import and_list
from energy.show.layout import LABEL, Part, Sheet, ended, folded, labelled, listed, notes_part, part
from energy.show.table import Column, rows
from energy.show.title import answer_part

CLOSING = (
    "Check polarity before plugging, put the fuse close to the battery, uncoil leads; a DC arc does"
    " not go out by itself: never unplug under load."
)
HEADS = {True: "YES", False: "NO", None: "NOT KNOWN"}
FITS = {True: "yes", False: "NO", None: "not known"}


def sheet(answer: Wire, title: Part, width: int, *, every: bool = False) -> Sheet:
    """The cables and strings, and which rules they follow.

    title: the plan's. width: columns. every: all notes.
    """
    word, text = headline(answer)
    parts = [title, answer_part(word, text, width)]
    if answer.runs:
        parts.append(_table_part(run_rows(answer.runs, width), most=8))
        parts.append(_fuses(answer.runs, width, every))
    if answer.strings:
        parts.append(_table_part(string_rows(answer.strings, width), most=6))
    notes = [note for note in answer.notes if note not in text]
    parts += [notes_part(notes, width, every), part(folded(CLOSING, width))]
    return Sheet(parts, {"runs": lambda width: _rules(answer, width)})


def _table_part(table: Sequence[Sequence[str]], *, most: int) -> Part:
    heading, *items = table
    shown = listed(heading, items, lambda n: f"{n} more: --runs", most=most, least=3, gives=2)
    return ended(shown, "")


def _about(label: str, lines: list[str], width: int) -> list[list[str]]:
    """What is said of the runs, a line for each: each once, with the runs it is said of; empty
    ones left out."""
    runs_of_line: dict[str, list[str]] = {}
    for number, line in enumerate(lines, start=1):
        if line:
            runs_of_line.setdefault(line, []).append(str(number))
    return [
        labelled(label, f"run {and_list(numbers)}: {line}.", width)
        for line, numbers in runs_of_line.items()
    ]


def _fuses(runs: Sequence[Wired], width: int, every: bool) -> Part:
    """The fuses of the first runs, or of all."""
    items = _about("Fuse", [cable.fuse_words for cable in runs], width)
    if every:
        return part([line for item in items for line in item])
    blank = " " * LABEL
    shown = listed([], items, lambda n: f"{blank}{n} more: --runs", most=2, least=1, gives=1)
    none = labelled("Fuse", "volts and breaking capacity of each: --runs", width) if items else []
    return Part([*shown.versions, [Text(line) for line in none]], shown.gives)


def _rules(answer: Wire, width: int) -> list[Text]:
    """The runs and strings with the rules and fuses behind them, in full."""
    lines = [line for row in run_rows(answer.runs, width) for line in row] if answer.runs else []
    lines += chain(*_about("Rule", [cable.rule for cable in answer.runs], width))
    lines += chain(*_about("Fuse", [cable.fuse_words for cable in answer.runs], width))
    if answer.strings:
        lines += ["", *(line for row in string_rows(answer.strings, width) for line in row)]
    return [Text(line) for line in lines]


def headline(answer: Wire) -> tuple[str, str]:
    """The answer's word, and what decides it."""
    wrong = [(k, cable.instead) for k, cable in enumerate(answer.runs, start=1) if not cable.fits]
    taken = [s for s in answer.strings if s.taken]
    misfits = [s for s in taken if s.fits is False and not s.fits_alone]
    unknown = any(s.fits is None for s in taken)
    words = [f"run {k} needs another cable: {instead}" for k, instead in wrong]
    if len(wrong) > 1:
        numbers = and_list([str(k) for k, _ in wrong])
        words = [f"runs {numbers} need another cable, as the table says"]
    words += [_misfit_words(misfit, answer.strings) for misfit in misfits]
    if any(s.fits is False and s.fits_alone for s in taken):
        words.append(
            f"together the strings can short to {sum(s.i_sc for s in taken):.3g} A, the solar input"
            f" takes {taken[0].limit_a:g} A"
        )
    if not words:
        words = ["the plan names no cable ([[run]])"]
        if answer.runs:
            words = ["the cables keep their drop and carry their current"]
        words += [] if unknown or not answer.strings else ["the strings suit the solar input"]
        words += ["whether the strings suit the solar input is not known"] if unknown else []
    words += answer.asks if answer.verdict is not False else ()
    text = "; ".join(words)
    return HEADS[answer.verdict], f"{text[0].upper()}{text[1:]}."


def _misfit_words(misfit: String, strings: tuple[String, ...]) -> str:
    """Why the strings expected of a panel do not suit the input, and what would."""
    own = [string for string in strings if string.panel == misfit.panel]
    for string in own:
        if string.in_season:
            return string.in_season
    better = [string for string in own if string.fits is not False] if own == [*strings] else []
    if not better:
        return f'no way to join "{misfit.panel}" suits the solar input'
    best = max(better, key=lambda string: string.fits is True)
    would = "would" if best.fits else "may"
    return (
        f'"{misfit.panel}", {misfit.panels_in_series} in series, does not suit the solar input;'
        f" {best.panels_in_series} in series {would}"
    )


def run_rows(runs: Sequence[Wired], width: int) -> list[list[str]]:
    """The runs: from, to, amps, drop, loss, copper and fuse."""
    numbers = range(1, len(runs) + 1)
    fuses = ["" if r.fuse_a is None or not r.fits else f"{r.fuse_a:g} A" for r in runs]
    dips = ["" if r.start_dip_percent is None else f"{r.start_dip_percent:.1f} %" for r in runs]
    columns = [
        Column(
            "run", [f"{k}  {run.from_} to {run.to}" for k, run in zip(numbers, runs, strict=True)]
        ),
        Column("long", [f"{run.length_m:g} m" for run in runs], right=True),
        Column("volts", [f"{run.volts:.3g} V" for run in runs], right=True, drop=3),
        Column("amps", [f"{run.amps:.3g} A" for run in runs], right=True),
        Column("drop", [f"{run.drop_percent:.1f} %" for run in runs], right=True),
        Column("lost", [f"{run.loss_w:.3g} W" for run in runs], right=True, drop=1),
        Column("copper", [f"{run.mm2:g} mm2" for run in runs], right=True),
        Column(
            "AWG", ["-" if r.awg is None else awg_words(r.awg) for r in runs], right=True, drop=2
        ),
        Column("fuse", fuses, right=True),
        Column("start dips", dips, right=True, drop=4),
        Column("instead", [run.instead for run in runs]),
    ]
    return rows([column for column in columns if any(column.cells)], width)


def string_rows(strings: Sequence[String], width: int) -> list[list[str]]:
    """The ways to join the panels: cold volts and short-circuit amps against the input's limits."""
    cold = ["?" if s.v_oc_cold is None else f"{s.v_oc_cold:.1f} V" for s in strings]
    limit_v = ["?" if s.limit_v is None else f"{s.limit_v:g} V" for s in strings]
    limit_a = ["?" if s.limit_a is None else f"{s.limit_a:g} A" for s in strings]
    names = [f"{'taken: ' * s.taken}{s.panel}" for s in strings]
    joined = [f"{s.panels_in_series} x {s.strings}" for s in strings]
    columns = (
        Column("panels", names),
        Column("series x strings", joined, right=True),
        Column("in the cold", cold, right=True),
        Column("limit", limit_v, right=True),
        Column("can short to", [f"{s.i_sc:.1f} A" for s in strings], right=True),
        Column("limit", limit_a, right=True),
        Column("fits", [FITS[s.fits] for s in strings], right=True),
    )
    return rows(columns, width)

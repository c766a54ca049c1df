"""The answer about cables and strings as tables for a terminal or a pipe, through rich.

What is judged, and by which rule, comes from the answer.
"""

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from energy.answers.wire.strings import String
from energy.answers.wire.wire import Wire, Wired
from energy.model import conductors as conductors

CLOSING = (
    "Cables: local codes, the makers' instructions and licensed practice come first. Check"
    " polarity before plugging, put the fuse close to the battery, uncoil leads; a DC arc does not"
    " go out by itself, so never unplug under load."
)
HEADS = {True: ("YES", "bold green"), False: ("NO", "bold red"), None: ("NOT KNOWN", "bold")}
LONGEST_WORD = 14  # that a column is kept wide enough for
FITS = {True: "yes", False: "NO", None: "not known"}


def show_wire(answer: Wire, out: Console, *, demo: bool = False) -> None:
    """Print the whole answer; `demo` says that the plan is the built-in one."""
    if demo:
        out.print("No plan given: this is the built-in demo, an invented example.")
    head = headline(answer)
    out.print(head)
    if answer.runs:
        out.print(run_table(answer.runs))
        for rule, numbers in _grouped([cable.rule for cable in answer.runs]).items():
            out.print(Text(f"Rule for run {', '.join(numbers)}: {rule}."))
        for words, numbers in _grouped([cable.fuse_words for cable in answer.runs]).items():
            out.print(Text(f"Fuse for run {', '.join(numbers)}: {words}."))
    if answer.strings:
        out.print(string_table(answer.strings))
    for note in answer.notes:
        if note not in head.plain:
            out.print(Text(f"Note: {note}."))
    out.print(Text(CLOSING))


def headline(answer: Wire) -> Text:
    """The answer in one line."""
    wrong = [str(k) for k, cable in enumerate(answer.runs, start=1) if not cable.fits]
    taken = [s for s in answer.strings if s.taken]
    misfits = [s for s in taken if s.fits is False and not s.fits_alone]
    unknown = any(s.fits is None for s in taken)
    words = [f"run {wrong[0]} needs another cable"] if wrong else []
    if len(wrong) > 1:
        words = [f"runs {', '.join(wrong[:-1])} and {wrong[-1]} need another cable"]
    words += [_misfit_words(misfit, answer.strings) for misfit in misfits]
    if any(s.fits is False and s.fits_alone for s in taken):
        words.append(
            f"together the strings can short to {sum(s.i_sc for s in taken):.3g} A, the solar input"
            f" takes {taken[0].limit_a:g} A"
        )
    if not words:
        words = ["the cables keep their drop and carry their current"] if answer.runs else []
        words += [] if unknown or not answer.strings else ["the strings suit the solar input"]
        words += ["whether the strings suit the solar input is not known"] if unknown else []
    words += answer.asks if answer.verdict is not False else ()
    head, style = HEADS[answer.verdict]
    return Text(head, style=style).append(f": {'; '.join(words) or 'nothing to judge'}.", "bold")


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


def run_table(runs: tuple[Wired, ...]) -> Table:
    """The runs: from, to, amps, drop, loss, copper and fuse."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    table.add_column("run", justify="right")
    for heading, names in (
        ("from", [cable.from_ for cable in runs]),
        ("to", [cable.to for cable in runs]),
    ):
        longest = max(len(word) for name in names for word in name.split())
        table.add_column(heading, overflow="fold", min_width=min(longest, LONGEST_WORD))
    starts = any(cable.start_dip_percent is not None for cable in runs)
    headings = ["m", "V", "A", "drop, V", "drop", "lost, W", "mm2", "AWG", "fuse, A"]
    for heading in [*headings, *(["start dips"] if starts else [])]:
        table.add_column(heading, justify="right")
    for number, cable in enumerate(runs, start=1):
        dip = "" if cable.start_dip_percent is None else f"{cable.start_dip_percent:.1f} %"
        table.add_row(
            str(number),
            Text(cable.from_),
            Text(cable.to),
            f"{cable.length_m:g}",
            f"{cable.volts:.3g}",
            f"{cable.amps:.3g}",
            f"{cable.drop_v:.2f}",
            Text(f"{cable.drop_percent:.1f} %", style="bold red" if cable.drops_too_much else ""),
            f"{cable.loss_w:.1f}",
            Text(f"{cable.mm2:g}", style="bold red" if cable.too_thin else ""),
            "-" if cable.awg is None else conductors.awg_words(cable.awg),
            "-" if cable.fuse_a is None else f"{cable.fuse_a:g}",
            *([dip] if starts else []),
        )
    return table


def _grouped(lines: list[str]) -> dict[str, list[str]]:
    """Each line once, with the numbers of the runs it is about; empty ones left out."""
    runs_of_line: dict[str, list[str]] = {}
    for number, line in enumerate(lines, start=1):
        if line:
            runs_of_line.setdefault(line, []).append(str(number))
    return runs_of_line


def string_table(strings: tuple[String, ...]) -> Table:
    """The ways to join the panels: cold volts and short-circuit amps against the input's limits."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("panels", overflow="fold")
    for heading in ("in series", "strings", "cold, V", "limit, V", "Isc, A", "limit, A", "fits"):
        table.add_column(heading, justify="right")
    for string in strings:
        table.add_row(
            Text(string.panel, style="bold" if string.taken else ""),
            str(string.panels_in_series),
            str(string.strings),
            "?" if string.v_oc_cold is None else f"{string.v_oc_cold:.1f}",
            "?" if string.limit_v is None else f"{string.limit_v:g}",
            f"{string.i_sc:.1f}",
            "?" if string.limit_a is None else f"{string.limit_a:g}",
            Text(FITS[string.fits], style="bold red" if string.fits is False else ""),
        )
    return table

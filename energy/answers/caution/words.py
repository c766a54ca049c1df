"""Cautions as lines of an answer."""

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from energy.answers.caution.cautions import CLOSING, Caution

CAUTIONS_SHOWN = 6


def show_cautions(cautions: Sequence[Caution], out: Console, *, every: bool) -> None:
    """The cautions that apply, most serious first: no more than fit a screen, or all of them with
    what raised them and the rule behind them."""
    if cautions:
        out.print(Text("Take care", style="bold"))
    shown = cautions if every else cautions[:CAUTIONS_SHOWN]
    for caution in shown:
        out.print(Text(f"- {caution.text}"))
        if every:
            out.print(
                Text(f"  {': '.join(filter(None, (caution.about, caution.rule)))}", style="dim")
            )
    if len(cautions) > len(shown):
        out.print(f"- and {len(cautions) - len(shown)} more: --all-cautions")
    out.print(Text(CLOSING))

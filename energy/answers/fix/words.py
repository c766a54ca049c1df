"""The changes that make it a yes, as lines."""

from collections.abc import Iterator

from rich.text import Text

from energy.answers.fix.fix import Fixes


def fix_lines(fixes: Fixes) -> Iterator[Text]:
    """The changes that make the answer a yes, each with its chance; and what does not suffice."""
    if fixes.found:
        yield Text("One of these makes it a yes, the easiest first", style="bold")
    for fix in fixes.found:
        chance = fix.budget.chance
        reached = f" ({chance.worked} of {chance.scenarios})" if chance.scenarios > 1 else ""
        yield Text(f"- {fix.text}{reached}")
    if fixes.not_enough:
        alone = "Not enough alone" if fixes.found else "Nothing tried is enough"
        yield Text(f"{alone}: {'; '.join(fixes.not_enough)}.")

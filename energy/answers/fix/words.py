"""The changes that make it a yes, as lines."""

from rich.cells import cell_len

from energy.answers.fix.fix import Fix, Fixes
from energy.show.layout import Part, ended, folded, listed, part

SHOWN, MOST_LINES = 3, 4  # changes, and lines of one
CUT_SHORT = "Not every change was tried: the plan is long."
ELSEWHEN = "energy choose looks for another time for what cannot run beside the rest."


def fix_part(fixes: Fixes, width: int, *, every: bool, clash: bool) -> Part:
    """The changes that make the answer a yes, each with its chance: a few, or every one and what
    does not suffice. `clash`: something is turned away beside the rest that runs at other times."""
    items = [_item(number, fix, width) for number, fix in enumerate(fixes.found, start=1)]
    if not every:
        items = [_shortened(item, width) for item in items]
    alone = "Not enough alone" if fixes.found else "Nothing tried is enough"
    failed = f"{alone}: {'; '.join(fixes.not_enough)}." if fixes.not_enough else ""
    heading = ["Any one of these makes it a yes, the easiest first:"] if items else []
    if len(items) == 1:
        heading = ["This makes it a yes:"]
    elsewhen = clash and all("another-time" not in fix.kind for fix in fixes.found)
    closing = [*folded(ELSEWHEN, width) * elsewhen, *folded(CUT_SHORT, width) * fixes.cut_short]
    if fixes.none_sought:
        closing += folded(f"No changes were looked for: {fixes.none_sought}.", width)
    if every or not items:
        rows = [row for item in items for row in item]
        rest = folded(failed, width, 2) if failed else []
        return part([*heading, *rows, *rest, *closing, ""])
    shown = listed(heading, items, lambda n: f"    {n} more: --fixes", most=SHOWN, least=1, gives=3)
    return ended(shown, *closing, "")


def _shortened(item: list[str], width: int) -> list[str]:
    """A change in no more lines than a few; what is cut stands behind the option."""
    if len(item) <= MOST_LINES:
        return item
    reached = item[-1][-12:].strip() if item[-1].endswith(tuple("0123456789")) else ""
    end = "    ... all of it: --fixes"
    return [*item[: MOST_LINES - 1], end + " " * (width - len(end) - len(reached)) + reached]


def _item(number: int, fix: Fix, width: int) -> list[str]:
    """A numbered change, and on the right in how many weathers it works."""
    chance = fix.budget.chance
    reached = f"{chance.worked} of {chance.scenarios}" if chance.scenarios > 1 else ""
    *lines, last = folded(f" {number}  {fix.text}", width - len(reached) - 2, 4)
    blanks = " " * (width - cell_len(last) - len(reached))
    return [*lines, (last + blanks + reached).rstrip()]

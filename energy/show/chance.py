"""The chance as a line, always with how many weathers it was tried in."""

from energy.simulation.success import Chance

DULL_CORNER = " in a dull corner of the region"  # where weathers lie that decide for a rough place


def chance_line(chance: Chance) -> str:
    """The chance, always with how many weathers it was tried in and what that is worth.

    >>> chance_line(Chance(87.1, 52.0, 98.0, 31, 7.8, 90.0, None, 100.0, None))
    'works in 27 of 31 weathers (worth about 8): 52 to 98 %'
    >>> chance_line(Chance(74.5, 48.0, 94.0, 200, None, 90.0, None, 100.0, None))
    'works in 149 of 200 weathers tried; 48 to 94 % with the doubt about the place'
    """
    if chance.scenarios == 1:
        return "tried in one weather only: an example, not a chance"
    share = f"works in {chance.worked} of {chance.scenarios} weathers"
    between = ""
    if chance.low is not None and chance.high is not None:
        between = percents(chance.low, chance.high)
    if chance.effective_sample_size is not None:
        worth = max(round(chance.effective_sample_size), 1)
        return f"{share} (worth about {worth})" + f": {between}" * bool(between)
    if between:
        return f"{share} tried; {between} with the doubt about the place"
    return f"{share} tried under the stated sky"


def percents(low: float, high: float) -> str:
    """A range in whole percent, never twice the same figure.

    >>> percents(47.6, 94.2), percents(99.7, 100.0), percents(0.0, 0.4)
    ('48 to 94 %', 'over 99 %', 'under 1 %')
    """
    first, last = round(low), round(high)
    if first < last:
        return f"{first} to {last} %"
    return {0: "under 1 %", 100: "over 99 %"}.get(first, f"about {first} %")

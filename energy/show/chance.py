"""The chance as a line, always with how many weathers it was tried in."""

from energy.show.numbers import whole_percent
from energy.simulation.success import Chance


def chance_line(chance: Chance) -> str:
    """The chance, always with how many weathers it was tried in and what they are worth.

    >>> chance_line(Chance(87.1, 52.0, 98.0, 31, 7.8, 90.0, None, 100.0, None))
    'worked in 27 of 31 weathers (87 %), worth about 8 independent ones: 52 to 98 %'
    """
    if chance.scenarios == 1:
        return "tried in one weather only: an example, not a chance"
    share = f"worked in {chance.worked} of {chance.scenarios}"
    percent = whole_percent(chance.percent)
    if chance.effective_sample_size is None and chance.low is not None and chance.high is not None:
        return (
            f"{share} drawn weathers ({percent} %); with the doubt about the means"
            f" {chance.low:.0f} to {chance.high:.0f} %"
        )
    if chance.effective_sample_size is None:
        return f"{share} futures under the stated sky ({percent} %)"
    text = f"{share} weathers ({percent} %)"
    worth = max(round(chance.effective_sample_size), 1)
    text += f", worth about {worth} independent {'one' if worth == 1 else 'ones'}"
    if chance.low is not None and chance.high is not None:
        text += f": {chance.low:.0f} to {chance.high:.0f} %"
    return text

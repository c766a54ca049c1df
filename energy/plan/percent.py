"""A percentage as a person says it."""

from energy.plan.fields import number
from energy.plan.words import PlanError, shown


def percent_of(text: str, what: str) -> float:
    """A percentage from 45, 45 % or 45%; a share such as 0.45 is asked back. Raises PlanError.

    what: what it is of, as the message names it.

    >>> percent_of("45 %", "--battery")
    45.0
    """
    bare = text.strip().removesuffix("%").strip()
    try:
        value = number(float(bare))
    except ValueError:
        value = None
    if value is None:
        raise PlanError([f"{what} must be a percentage, such as 45 (got {shown(text)})"])
    if 0.0 < value < 1.0 and "%" not in text:
        raise PlanError([f"{what} is in percent (got {bare}): did you mean {100.0 * value:g}?"])
    return value

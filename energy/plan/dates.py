"""A plan asked for another start date, and whether its days are over.

Nothing here looks at a clock: whoever asks says what time it is.
"""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from energy.plan.read import Plan
from energy.plan.words import PlanError, shown

FIRST_YEAR, LAST_YEAR = 1950, 2099


def start_date(text: str, now: datetime, timezone: str, option: str = "--date") -> date:
    """The date that a person names: 2026-10-20, today or tomorrow.

    now: the time, with its offset. timezone: IANA name of the place whose days count. option: where
    it was named. Raises PlanError.

    >>> from datetime import UTC
    >>> start_date("tomorrow", datetime(2026, 10, 19, 23, tzinfo=UTC), "Europe/Oslo")
    datetime.date(2026, 10, 21)
    """
    word, today = text.strip().casefold(), now.astimezone(ZoneInfo(timezone)).date()
    if word in ("today", "tomorrow"):
        return today + timedelta(days=1 if word == "tomorrow" else 0)
    try:
        day = date.fromisoformat(word)
    except ValueError:
        day = date.min
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise PlanError(
            [f"{option} must be a date such as 2026-10-20, today or tomorrow (got {shown(text)})"]
        )
    return day


def starting(plan: Plan, day: date) -> dict[str, Any]:
    """Changes to a plan (see `Plan.replace`) that let it start on a day, at its own clock time.

    All else in a plan counts its days from the start, and moves with it.

    >>> changes = starting(Plan.read("builtin:cloudy-repair"), date(2026, 10, 20))
    >>> str(changes["span.end"])
    '2026-10-21 08:00:00'
    """
    by = day - plan.span.start.date()
    return {"span.start": plan.span.start + by, "span.end": plan.span.end + by}


def to_choose_from(plan: Plan, now: datetime, days: int) -> date:
    """The first day that a person may choose from: today at the plan's place, or the plan's own
    start where that is more than so many days ahead.

    now: the time, with its offset.

    >>> from datetime import UTC
    >>> plan = Plan.read("builtin:cloudy-repair")  # starts on 14 September 2026
    >>> noon = datetime(2026, 9, 10, 12, tzinfo=UTC)
    >>> [str(to_choose_from(plan, noon, days)) for days in (3, 14)]
    ['2026-09-14', '2026-09-10']
    """
    today = now.astimezone(ZoneInfo(plan.place.timezone)).date()
    own = plan.span.start.date()
    return own if own > today + timedelta(days=days) else today


def over(plan: Plan, now: datetime) -> str | None:
    """A line that says that a plan's days are over by today at its place; None where they are not.

    now: the time, with its offset.
    """
    last = (plan.span.end - timedelta(seconds=1)).date()
    today = now.astimezone(ZoneInfo(plan.place.timezone)).date()
    if today <= last:
        return None
    return (
        f"The plan's days are over: the last was {last}, today is {today} there."
        " --date tomorrow asks it for other days."
    )

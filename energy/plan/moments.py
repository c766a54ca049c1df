"""Times of day and windows as people write them: "09:30", "sunset+30min", ["20:00", "06:00"].

Here they become plain pairs; which instant of which day they mean is worked out elsewhere.
"""

import re
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from energy.plan.words import PlanError, shown

Moment = tuple[str, float]
Window = tuple[Moment, Moment]

DAY_MIN = 1440.0
FURTHEST_FROM_SUN_MIN = 720.0
ALLOWED = 'a time such as "09:30", "24:00", sunrise, sunset or "sunset+30min"'
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")
_SUN = re.compile(r"(sunrise|sunset)\s*(?:([+-])\s*([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*(min|h))?")


def moment(value: Any) -> Moment:
    """Read a time of day: ("clock", minutes) or ("sunrise" | "sunset", minutes after it).

    Raises ValueError for anything else.

    >>> moment("sunset+30min"), moment("24:00")
    (('sunset', 30.0), ('clock', 1440.0))
    """
    if isinstance(value, time):
        seconds = value.second + value.microsecond / 1e6
        return "clock", value.hour * 60.0 + value.minute + seconds / 60.0
    if isinstance(value, str):
        text = value.strip()
        if match := _CLOCK.fullmatch(text):
            hour, minute, second = (int(part or 0) for part in match.groups())
            total = hour * 60.0 + minute + second / 60.0
            if minute < 60 and second < 60 and total <= DAY_MIN:
                return "clock", total
        if match := _SUN.fullmatch(text):
            anchor, sign, amount, unit = match.groups()
            away = float(amount or 0.0) * (60.0 if unit == "h" else 1.0)
            if away <= FURTHEST_FROM_SUN_MIN:
                return anchor, -away if sign == "-" else away
    raise ValueError(f"must be {ALLOWED} (got {shown(value)})")


def window(value: Any) -> Window | None:
    """Read a window: two times of day, or "all-day", which is None.

    Raises ValueError for anything else, equal ends included.

    >>> window(["20:00", "06:00"])
    (('clock', 1200.0), ('clock', 360.0))
    """
    if value is None or value == "all-day":
        return None
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError(f'must be two times, or "all-day" (got {shown(value)})')
    start, end = moment(value[0]), moment(value[1])
    if start == end:
        raise ValueError(f"starts and ends at {shown(value[0])}; give two different times")
    if start == ("clock", DAY_MIN):
        raise ValueError('cannot start at "24:00"; give "00:00"')
    return start, end


def clock_minutes(between: Window | None) -> float | None:
    """Length of a window in minutes on an ordinary day; None where the sun decides it.

    >>> clock_minutes(window(["22:00", "06:00"])), clock_minutes(None)
    (480.0, 1440.0)
    """
    if between is None:
        return DAY_MIN
    (opens, first), (closes, last) = between
    if (opens, closes) != ("clock", "clock"):
        return None
    return last - first if last > first else last - first + DAY_MIN


def moment_in_span(text: str, start: datetime, timezone: str) -> datetime:
    """A time on a plan's own clock: "13:20" is the first 13:20 from the span's start on.

    With a date it may lie anywhere; the clock's offset from UTC then tells the second of two (fold
    1). timezone: IANA name of the plan's. Raises PlanError where it cannot be read.

    >>> start = datetime(2027, 10, 30, 7)
    >>> moment_in_span("02:00", start, "Europe/Oslo").day
    31
    >>> moment_in_span("2027-10-31T02:30+01:00", start, "Europe/Oslo").fold
    1
    """
    wrong = f"{shown(text)} is not a time; give 13:20, or with its date 2026-09-14T13:20"
    try:
        if "-" in text.strip():
            dated = datetime.fromisoformat(text.strip())
            if dated.tzinfo is not None:
                local = dated.astimezone(ZoneInfo(timezone))
                if local.utcoffset() != dated.utcoffset():
                    own = local.isoformat(timespec="minutes")
                    wrong = f"{shown(text)}: on the plan's own clock that is {own}; give that"
                    raise ValueError
                return local.replace(tzinfo=None)
            return dated
        clock, minutes = moment(text)
        if clock != "clock":
            raise ValueError
    except (ValueError, OverflowError):  # the latter at the ends of the calendar
        raise PlanError([wrong]) from None
    midnight = datetime(start.year, start.month, start.day)
    first = midnight + timedelta(minutes=minutes)
    return first if first >= start else first + timedelta(days=1)

"""Dates and clocks as a person reads them, on the plan's own clock."""

from datetime import date, datetime

from energy.model.timeline import Calendar, comes_twice


def day_name(at: date) -> str:
    """A date without its year.

    >>> day_name(date(2026, 9, 14))
    'Mon 14 Sep'
    """
    return f"{at:%a} {at.day} {at:%b}"


def hour_minute(at: datetime) -> str:
    """The clock of a moment, with its offset from UTC in an hour that the clock shows twice.

    >>> from zoneinfo import ZoneInfo
    >>> at = datetime(2027, 10, 31, 2, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    >>> hour_minute(at), hour_minute(at.replace(fold=1)), hour_minute(at.replace(hour=3))
    ('02:30+02:00', '02:30+01:00', '03:30')
    """
    if comes_twice(at):
        return at.isoformat(timespec="minutes").partition("T")[2]
    return f"{at:%H:%M}"


def clock(calendar: Calendar, time_s: float) -> str:
    """A moment [UTC s], with its date where the span has several.

    >>> from zoneinfo import ZoneInfo
    >>> night = Calendar(date(2026, 3, 20), date(2026, 3, 21), ZoneInfo("UTC"), 0.0, 0.0)
    >>> clock(night, 1774029600.0)
    'Fri 20 Mar 18:00'
    """
    local = calendar.moment(time_s)
    if calendar.first == calendar.last:
        return hour_minute(local)
    return f"{day_name(local)} {hour_minute(local)}"


def at_clock(calendar: Calendar, time_s: float) -> str:
    """The same inside a sentence.

    >>> from zoneinfo import ZoneInfo
    >>> night = Calendar(date(2026, 3, 20), date(2026, 3, 21), ZoneInfo("UTC"), 0.0, 0.0)
    >>> at_clock(night, 1774029600.0)
    'on Fri 20 Mar at 18:00'
    """
    *day, time = clock(calendar, time_s).rsplit(" ", 1)
    return f"on {day[0]} at {time}" if day else f"at {time}"


def short_clock(calendar: Calendar, time_s: float) -> str:
    """The same in as few words as tell the day.

    >>> from zoneinfo import ZoneInfo
    >>> night = Calendar(date(2026, 3, 20), date(2026, 3, 21), ZoneInfo("UTC"), 0.0, 0.0)
    >>> short_clock(night, 1774029600.0)
    'Fri 18:00'
    """
    local, days = calendar.moment(time_s), (calendar.last - calendar.first).days
    if days == 0:
        return hour_minute(local)
    return f"{f'{local:%a}' if days < 7 else f'{local.day} {local:%b}'} {hour_minute(local)}"

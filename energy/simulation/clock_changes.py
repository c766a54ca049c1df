"""What is said where a plan states a time that its clock skips, or begins at one that it shows
twice."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from itertools import groupby

from energy.model.timeline import Calendar, Moment, comes_twice, to_utc
from energy.plan import Plan
from energy.plan.words import and_list
from energy.weather.days import Days

REACH = 3  # a window may begin two dates before the one on which it meets the change
ROUNDING = timedelta(seconds=1)
Window = tuple[Moment, Moment] | None


def clock_notes(days: Days, now: datetime | None = None) -> list[str]:
    """Lines about the times of a plan inside its days' span that its clock skips, and about a start
    that it shows twice.

    now: the time from which on the plan is judged, on its clock; None: from its start.
    """
    calendar, (start_s, end_s) = days.calendar, days.span
    near = _near_changes(calendar)
    if not near:
        return []
    begins = now or days.plan.span.start
    moved = {}
    for stated, time_s in (
        *((at, to_utc(at, calendar.zone)) for at in (begins, days.plan.span.end)),
        *_of_days(days.plan, calendar, near),
    ):
        taken = calendar.moment(time_s).replace(tzinfo=None)
        if abs(taken - stated) > ROUNDING and start_s <= time_s <= end_s:
            moved[stated] = taken
    notes = skipped_words(moved)
    if begins.fold == 0 and comes_twice(first := begins.replace(tzinfo=calendar.zone)):
        notes.append(
            f"{begins:%H:%M} on {_day(begins)} comes twice there, the clock is put back: the first"
            f" is taken, {first.isoformat(timespec='minutes')}"
        )
    return notes


def skipped_words(moved: Mapping[datetime, datetime]) -> list[str]:
    """A line a date about times that its clock skips, by what is taken for each.

    >>> at = datetime(2027, 3, 28, 2, 30)
    >>> skipped_words({at: at.replace(hour=3)})
    ['02:30 on Sun 28 Mar does not exist there, the clock is put forward: 03:30 is taken']
    """
    lines = []
    for _, same in groupby(sorted(moved), lambda at: at.date()):
        stated = [*same]
        clocks, taken = (
            and_list([f"{at:%H:%M}" for at in times])
            for times in (stated, [moved[at] for at in stated])
        )
        do, are = ("does", "is") if len(stated) == 1 else ("do", "are")
        lines.append(
            f"{clocks} on {_day(stated[0])} {do} not exist there, the clock is put forward:"
            f" {taken} {are} taken"
        )
    return lines


def _near_changes(calendar: Calendar) -> set[date]:
    """The dates whose windows may meet a change of the clock."""

    def offset(day: date) -> timedelta | None:
        return datetime(day.year, day.month, day.day, 12, tzinfo=calendar.zone).utcoffset()

    near: set[date] = set()
    before = offset(calendar.first - timedelta(1))
    for number in range((calendar.last - calendar.first).days + 2):
        day = calendar.first + timedelta(number)
        if (after := offset(day)) != before:
            near |= {day - timedelta(k) for k in range(REACH)}
        before = after
    return near


def _of_days(plan: Plan, calendar: Calendar, near: set[date]) -> Iterator[tuple[datetime, float]]:
    """The times of day of a plan on some dates, as stated and as taken [UTC s]."""
    panels, on = plan.panel, plan.pack.inverter.on if plan.pack.inverter else ()
    windows: list[tuple[Window, tuple[int, ...] | None]] = [
        *((task.between, task.days) for task in plan.task),
        *((charger.between, charger.days) for charger in plan.charger),
        *((panel.out_between, None) for panel in panels),
        *((shade.between, None) for panel in panels for shade in panel.shade),
        *((window, None) for window in (on if isinstance(on, tuple) else ())),
    ]
    moments = [
        *((task.at, task.days) for task in plan.task if task.at is not None),
        *((at, None) for panel in panels for at in panel.re_aim_at),
    ]
    ends: list[tuple[Moment, float]] = []
    for between, numbers in windows:
        if between is not None:
            for day in near.intersection(calendar.days(numbers)):
                ends += zip(between, calendar.window(between, day) or (), strict=False)
    for at, numbers in moments:
        ends += [(at, calendar.at(at, day)) for day in calendar.days(numbers) if day in near]
    for (anchor, minutes), time_s in ends:
        if anchor == "clock":
            midnight = calendar.moment(time_s).replace(
                tzinfo=None, hour=0, minute=0, second=0, microsecond=0
            )
            yield midnight + timedelta(minutes=minutes % 1440.0), time_s


def _day(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%b}"

"""Figures with their units as a person reads them, and as `--json` prints them; dates and clocks
are in `moments`."""

from dataclasses import asdict, is_dataclass
from datetime import datetime
from typing import Any


def for_json(value: Any, digits: int | None) -> Any:
    """A value as `--json` prints it: floats rounded, times as ISO on their own clock to the second.

    value: a number, a time, text or None; or a result (a dataclass), list or table of such. digits
    are those after the point; None turns floats into whole numbers.

    >>> for_json({"at": datetime(2026, 9, 14, 7, 30), "percent": 41.26, "task": "tea"}, 1)
    {'at': '2026-09-14T07:30:00', 'percent': 41.3, 'task': 'tea'}
    >>> for_json(1234.5678, None), for_json(None, 1)
    (1235, None)
    """
    if isinstance(value, float):
        return round(value, digits)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, dict):
        return {key: for_json(item, digits) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [for_json(item, digits) for item in value]
    return value


def watt_hours(value: float) -> str:
    """Wh: whole, and from 1000 on in tens.

    >>> [watt_hours(x) for x in (0.04, 7.26, 123.4, 1234.0, -1234.0)]
    ['0', '7', '123', '1230', '-1230']
    """
    digits = 0 if abs(value) < 1000.0 else -1
    return f"{round(value, digits) + 0.0:.0f}"


def measured(value: float) -> str:
    """What was measured or learned, in any unit: three figures up to 1000, then tens.

    >>> measured(1043.0), measured(12.345), measured(0.4321)
    ('1040', '12.3', '0.43')
    """
    if abs(value) >= 100.0:
        return watt_hours(value)
    return f"{value:.1f}" if abs(value) >= 1.0 else f"{value:.2f}"


def whole_percent(value: float) -> str:
    """Whole percent that never call a doubt certain.

    >>> [whole_percent(x) for x in (0.0, 0.4, 87.1, 99.6, 100.0)]
    ['0', 'under 1', '87', 'over 99', '100']
    """
    if 0.0 < value < 1.0:
        return "under 1"
    return "over 99" if 99.0 < value < 100.0 else f"{value:.0f}"


def loss_percent(value: float) -> str:
    """A loss in percent, never called none.

    >>> loss_percent(0.0), loss_percent(0.97), loss_percent(12.3)
    ('under 1 %', '1 %', '12 %')
    """
    return "under 1 %" if value < 0.95 else f"{value:.0f} %"


def minutes(value: float) -> str:
    """A time in hours and minutes.

    >>> minutes(47.0), minutes(261.0), minutes(240.0)
    ('47 min', '4 h 21 min', '4 h')
    """
    hours, rest = divmod(round(value), 60)
    if not rest and hours:
        return f"{hours} h"
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def amount(value: float, unit: str) -> str:
    """So much of a task in its unit: times, charges, minutes or hours.

    >>> amount(4, "times"), amount(1, "charges"), amount(40, "minutes"), amount(1.5, "hours")
    ('4', '1 charge', '40 min', '1.5 h')
    """
    if unit == "charges":
        return f"{value:g} charge{'' if value == 1 else 's'}"
    return f"{round(value, 1):g}" + {"times": "", "minutes": " min", "hours": " h"}[unit]

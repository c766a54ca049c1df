"""Every rounding and unit that a person reads, and that `--json` prints."""

from dataclasses import asdict, is_dataclass
from datetime import datetime
from typing import Any


def for_json(value: Any, digits: int | None) -> Any:
    """A value as `--json` prints it: floats rounded, times as ISO on their own clock to the second.

    value: a number, a time, text or None; or a result (a dataclass) or table of such. digits are
    those after the point; None turns floats into whole numbers.

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
    return value


def watt_hours(value: float) -> str:
    """Wh rounded to three figures at most.

    >>> [watt_hours(x) for x in (0.04, 7.26, 123.4, 1234.0, -1234.0)]
    ['0', '7', '123', '1230', '-1230']
    """
    digits = 0 if abs(value) < 1000.0 else -1
    return f"{round(value, digits) + 0.0:.0f}"


def whole_percent(value: float) -> str:
    """Whole percent that never call a doubt certain.

    >>> [whole_percent(x) for x in (0.0, 0.4, 87.1, 99.6, 100.0)]
    ['0', 'under 1', '87', 'over 99', '100']
    """
    if 0.0 < value < 1.0:
        return "under 1"
    return "over 99" if 99.0 < value < 100.0 else f"{value:.0f}"


def figure(value: float) -> str:
    """A figure as it is shown: three digits at most, no more than is known.

    >>> figure(1043.0), figure(12.345), figure(0.4321)
    ('1040', '12.3', '0.43')
    """
    if abs(value) >= 100.0:
        return f"{round(value, 0 if abs(value) < 1000.0 else -1):.0f}"
    return f"{value:.1f}" if abs(value) >= 1.0 else f"{value:.2f}"

"""Every rounding and unit that a person reads."""


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

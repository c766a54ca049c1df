"""Round sizes, and how sizes are written: on screen, and as numbers in JSON."""

import math


def size_text(value: float) -> str:
    """A size as people write it: whole from 20 on, else three figures.

    >>> size_text(1234.0), size_text(1.28), size_text(0.0)
    ('1234', '1.28', '0')
    """
    return f"{value:.0f}" if value >= 20.0 else f"{value:.3g}"


def json_number(value: float | None) -> float | int | None:
    """A whole number without its point.

    >>> json_number(200.0), json_number(0.5)
    (200, 0.5)
    """
    if value is None:
        return None
    return int(value) if value == int(value) else round(value, 2)


def round_step(value: float, up: bool = False) -> float:
    """The nearest of 1, 2 and 5 tens below a value, or above it.

    >>> round_step(32.0), round_step(80.0, up=True)
    (20.0, 100.0)
    """
    tens = 10.0 ** math.floor(math.log10(value))
    steps = [k * tens for k in (1.0, 2.0, 5.0, 10.0)]
    if up:
        return next(s for s in steps if s >= value * (1.0 - 1e-9))
    return max(s for s in steps if s <= value * (1.0 + 1e-9))

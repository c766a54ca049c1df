"""Places as people write them: degrees, minutes and seconds, compass letters, decimal commas.

And whether one is open water, where nobody unfolds a panel by mistake.
"""

import re
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from energy.plan.words import PlanError, shown

SOUTHMOST_DEG = -60.0  # nobody means Antarctica by a lost sign
OCEAN = ("Etc/", "UTC")  # how the zones begin that no country keeps
FURTHEST_H = 3.5  # that a country's clock lies from the sun's (common practice, no source)
MARKS = "°º˚'′’‘\"″”“"
_COMMA_OF_A_NUMBER = re.compile(r"(?<=\d),(?=\d)")
_BETWEEN = re.compile(r"\s*[;,]\s+|\s+[;,]\s*|;|\s+")
_BEFORE_DEGREES = re.compile(r"(?<=[^\d.,+-])(?=[+-]?\d+(?:[.,]\d+)?\s*[°º˚])")
_NUMBER = re.compile(r"[+-]?\d{1,3}(?:\.\d{1,12})?")


def place_of(text: str) -> tuple[float, float]:
    """Latitude and longitude [degrees] of a place as a person writes it. Raises PlanError.

    >>> place_of("55.317,-160.517"), place_of("59 21 N, 17 12 E")
    ((55.317, -160.517), (59.35, 17.2))
    """
    try:
        latitude, longitude = _degrees(text)
    except ValueError:
        raise PlanError(
            [
                f"{shown(text)} is not a place; give latitude, longitude such as"
                ' "55.317, -160.517" or "59 21.5 N, 17 12 E"'
            ]
        ) from None
    if not _is_on_earth(latitude, longitude):
        swapped = f"; did you mean {longitude:g}, {latitude:g}?"
        raise PlanError(
            [
                f"{shown(text)}: latitude must lie within -90 to 90 and longitude within -180 to"
                f" 180{swapped if _is_on_earth(longitude, latitude) else ''}"
            ]
        )
    return latitude, longitude


def zone_at(latitude_deg: float, longitude_deg: float) -> str:
    """The IANA zone of a place; out at sea the nautical one.

    >>> zone_at(52.5, 13.4)
    'Europe/Berlin'
    """
    import tzfpy

    return tzfpy.get_tz(longitude_deg, latitude_deg) or "UTC"


def zone_in_words(timezone: str) -> str:
    """A time zone as people read it: the ocean's by their hours from UTC, as the signs in their
    names run the other way (IANA); others by name.

    >>> zone_in_words("Etc/GMT-12"), zone_in_words("Europe/Oslo")
    ('UTC+12', 'Europe/Oslo')
    """
    if not timezone.startswith("Etc/"):
        return timezone
    east_h = -int(re.sub("[^0-9+-]", "", timezone) or 0)
    return f"UTC{east_h:+d}" if east_h else "UTC"


def at_sea(latitude_deg: float, longitude_deg: float, *, afloat: bool = False) -> str | None:
    """A line that asks back where a place is open water, with the land that a lost sign or a swap
    would make of it; None for land, and for water in the zone of a country (12 nautical miles).
    Afloat it is asked only where there is such land.

    >>> at_sea(60.4, -5.3), at_sea(60.4, 5.3)
    ('60.4, -5.3 is open water: did you mean 60.4, 5.3?', None)
    """
    if not is_open_water(latitude_deg, longitude_deg):
        return None
    line = f"{latitude_deg:g}, {longitude_deg:g} is open water"
    if land := land_meant(latitude_deg, longitude_deg):
        return f"{line}: did you mean {land[0]:g}, {land[1]:g}?"
    return None if afloat else f"{line}, more than 12 nautical miles from land"


def land_meant(latitude_deg: float, longitude_deg: float) -> tuple[float, float] | None:
    """The land that a lost sign or a swap would make of open water [degrees]; None without.

    >>> land_meant(60.4, -5.3), land_meant(-40.0, -150.0)
    ((60.4, 5.3), None)
    """
    slips = [
        (latitude_deg, -longitude_deg),
        (-latitude_deg, longitude_deg),
        (longitude_deg, latitude_deg),
        (-latitude_deg, -longitude_deg),
    ]
    for latitude, longitude in slips:
        likely = _is_on_earth(latitude, longitude) and latitude > SOUTHMOST_DEG
        if likely and not is_open_water(latitude, longitude):
            return latitude, longitude
    return None


def may_be_misplaced(longitude_deg: float, timezone: str, at: datetime) -> bool:
    """Whether a place's clock leaves room for open water: an ocean's zone, or one that is hours
    away from the sun's. It spares most plans the lookup of a zone, which takes longest.

    >>> may_be_misplaced(5.3, "Europe/Oslo", datetime(2026, 6, 1))
    False
    """
    if timezone.startswith(OCEAN):
        return True
    offset = ZoneInfo(timezone).utcoffset(at)
    hours = (offset.total_seconds() / 3600.0 if offset else 0.0) - longitude_deg / 15.0
    return abs((hours + 12.0) % 24.0 - 12.0) > FURTHEST_H


def is_open_water(latitude_deg: float, longitude_deg: float) -> bool:
    """Whether no country's time zone holds there, only that of the ocean.

    >>> is_open_water(60.4, -5.3), is_open_water(60.4, 5.3)
    (True, False)
    """
    return zone_at(latitude_deg, longitude_deg).startswith(OCEAN)


def _is_on_earth(latitude_deg: float, longitude_deg: float) -> bool:
    return -90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 180.0


def _degrees(text: str) -> tuple[float, float]:
    """Latitude and longitude, whatever they are. Raises ValueError."""
    text = text.strip().upper().replace("−", "-")
    if letters := re.findall("[NSEW]", text):
        return _lettered(text, letters)
    halves = _BEFORE_DEGREES.split(text)
    if len(halves) == 2:
        return _angle(_numbers(halves[0])), _angle(_numbers(halves[1]))
    if len(text.split()) == 1 and text.count(",") == 1:
        text = text.replace(",", " ")
    numbers = _numbers(text)
    half, left_over = divmod(len(numbers), 2)
    if left_over:
        raise ValueError
    return _angle(numbers[:half]), _angle(numbers[half:])


def _lettered(text: str, letters: Sequence[str]) -> tuple[float, float]:
    """Two angles that say N or S, and E or W, before or after, in either order."""
    if len(letters) != 2 or len({letter in "NS" for letter in letters}) != 2:
        raise ValueError
    before, between, after = (part.strip(" ,;") for part in re.split("[NSEW]", text))
    if (before == "") == (after == ""):
        raise ValueError
    angles = {}
    for letter, part in zip(letters, (before or between, after or between), strict=True):
        if "-" in part or "+" in part:
            raise ValueError
        angle = _angle(_numbers(part))
        angles[letter in "NS"] = -angle if letter in "SW" else angle
    return angles[True], angles[False]


def _numbers(text: str) -> list[str]:
    """The numbers of one angle or two, with decimal points. Raises ValueError."""
    for mark in MARKS:
        text = text.replace(mark, " ")
    numbers = [_COMMA_OF_A_NUMBER.sub(".", w) for w in _BETWEEN.split(text.strip(" ,;")) if w]
    if not all(_NUMBER.fullmatch(number) for number in numbers):
        raise ValueError
    return numbers


def _angle(numbers: Sequence[str]) -> float:
    """Degrees from degrees, minutes and seconds, of which only the last may have a fraction."""
    if not 1 <= len(numbers) <= 3 or any("." in number for number in numbers[:-1]):
        raise ValueError
    degrees, *rest = numbers
    if any(number[0] in "+-" or float(number) >= 60.0 for number in rest):
        raise ValueError
    size = abs(float(degrees)) + sum(float(n) / 60.0**k for k, n in enumerate(rest, start=1))
    return -size if degrees.startswith("-") else size

"""The parts of the year in which something holds, from days that go round it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Season:
    """From which day of the year to which, both included; it may pass the year's end."""

    first: date
    last: date

    @property
    def days(self) -> int:
        """From the first day to the last."""
        return (self.last - self.first).days

    def as_dict(self) -> dict[str, str]:
        """The season as `--json` prints it: month and day."""
        return {"from": f"{self.first:%m-%d}", "to": f"{self.last:%m-%d}"}


def seasons(days: Sequence[tuple[date, bool]]) -> tuple[Season, ...]:
    """The unbroken stretches of days on which something holds, the last day followed by the first.

    Where it holds on every day, the whole year from the first of these days on.

    >>> holds = [(date(2026, 1, 1) + timedelta(73 * k), k != 2) for k in range(5)]
    >>> [season.as_dict() for season in seasons(holds)]
    [{'from': '08-08', 'to': '03-15'}]
    """
    every = [holds for _, holds in days]
    if all(every):
        first = days[0][0]
        return (Season(first, first + timedelta(364)),) if days else ()
    gap = every.index(False)
    round_the_year = [*days[gap:], *days[:gap]]
    stretches: list[Season] = []
    before = False
    for day, holds in round_the_year:
        if holds and before:
            stretches[-1] = Season(stretches[-1].first, day)
        elif holds:
            stretches.append(Season(day, day))
        before = holds
    return tuple(sorted(stretches, key=lambda season: season.first.timetuple().tm_yday))

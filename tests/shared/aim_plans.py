"""A lamp and a panel, for where to point it; no test lives here."""

from functools import cache

from plan_tables import plan

from energy.answers.aim.aim import aim
from energy.plan import Plan

LAMP = {"name": "lamp", "supply": "dc12", "working_w": 20}
DAY = ("2026-06-21T00:00", "2026-06-22T00:00")
CLEAR = {"kind": "clear", "temp_air_c": 25}


def one_panel(latitude=45.0, day=DAY, weather=CLEAR, place=(), pack=(), **panel):
    """A lamp and a panel at longitude 0, by the clock of Greenwich."""
    where = {"latitude_deg": latitude, "longitude_deg": 0.0, "timezone": "UTC", "elevation_m": 0}
    return plan(
        place=where | dict(place),
        span={"start": day[0], "end": day[1]},
        weather=weather,
        panel=[{"rated_w": 100, **panel}],
        pack={"capacity_wh": 5000, "start_percent": 20, **dict(pack)},
        task=[LAMP],
    )


@cache
def aim_of(name):
    """What `aim` says of a built-in example, worked out once."""
    return aim(Plan.read(f"builtin:{name}"))

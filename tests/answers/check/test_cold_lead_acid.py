"""How far a lead-acid pack in the cold can be emptied: the answer says where it really stops."""

import re

import pytest

from energy.answers.check.details import lowest_words
from energy.plan import Plan
from energy.simulation.budget import budget


def long_dark_weeks(temperature_c, reserve_percent=10):
    """A small lamp on a lead-acid pack without sun, until nothing comes any more (invented)."""
    return Plan.from_dict(
        {
            "place": {"latitude_deg": 45.0, "longitude_deg": 10.0, "timezone": "UTC"},
            "span": {"start": "2026-02-01T00:00", "end": "2026-02-15T00:00"},
            "weather": {"kind": "clear"},
            "pack": {
                "capacity_wh": 500,
                "chemistry": "agm",
                "temperature": temperature_c,
                "reserve_percent": reserve_percent,
            },
            "task": [{"name": "lamp", "supply": "dc12", "working_w": 3, "hours": 24}],
        }
    )


@pytest.mark.parametrize("temperature_c", [10, 0, -5, -15])
def test_the_level_that_is_told_is_the_one_where_it_stops(temperature_c):
    result = budget(long_dark_weeks(temperature_c))
    assert result.simulated.ran_short.all()
    (told,) = re.findall(r"the pack is empty at (\d+) %", lowest_words(result))
    stands_at = float(result.middle_charge_percent[-1])
    assert float(told) == pytest.approx(stands_at, abs=2.0)  # slow work leaves both wells level


def test_where_it_is_warm_nothing_is_told():
    assert "empty at" not in lowest_words(budget(long_dark_weeks(25)))


def test_the_level_where_the_reserve_begins_is_one_figure():
    result = budget(long_dark_weeks(-5, 50))
    lowest, text = result.lowest(), lowest_words(result)
    (wh, side, begins) = re.findall(
        r"(\d+) Wh (above|short of) the (\d+) % where the reserve begins in this cold", text
    )[0]
    assert float(begins) == pytest.approx(50.0 + lowest.cold_unavailable_percent, abs=0.5)
    assert side == ("above" if lowest.percent > float(begins) else "short of")
    assert float(wh) == pytest.approx(abs(lowest.spare_wh), rel=0.01, abs=1.0)
    assert "held back" not in text


def test_a_pack_that_is_empty_before_its_reserve_is_not_said_to_lie_above_it():
    text = lowest_words(budget(long_dark_weeks(-5, 10)))
    assert "above" not in text
    assert "before it comes to its reserve" in text

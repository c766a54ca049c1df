"""Places as people write them, and places that cannot be meant.

The same place in degrees, minutes and seconds: 59 deg 21.5 min are 59 + 21.5/60 degrees by the
definition of the minute of arc. Which points are land: an atlas (from memory).
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest

from energy.plan import Plan, PlanError
from energy.plan.assignments import assignments
from energy.plan.places import at_sea, place_of, zone_in_words

PLACE = (59.358333, 17.208333)  # 59 21.5 N, 17 12.5 E


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("59.35,17.2", (59.35, 17.2)),
        ("59.35, 17.2", (59.35, 17.2)),
        ("59.35 17.2", (59.35, 17.2)),
        (" 59.35 ; 17.2 ", (59.35, 17.2)),
        ("59,35 17,2", (59.35, 17.2)),
        ("59,35, 17,2", (59.35, 17.2)),
        ("59,35; 17,2", (59.35, 17.2)),
        ("59, 17", (59, 17)),
        ("59,17", (59, 17)),
        ("55.317,-160.517", (55.317, -160.517)),
        ("55.317 −160.517", (55.317, -160.517)),
        ("55.317N 160.517W", (55.317, -160.517)),
        ("N55.317 W160.517", (55.317, -160.517)),
        ("W 160.517, N 55.317", (55.317, -160.517)),
        ("160.517 w 55.317 n", (55.317, -160.517)),
        ("33.9 S, 151.2 E", (-33.9, 151.2)),
        ("33,9 S 151,2 E", (-33.9, 151.2)),
        ("59°21.5'N 17°12.5'E", PLACE),
        ("59 21.5 N, 17 12.5 E", PLACE),
        ("59 21,5 N, 17 12,5 E", PLACE),
        ("N 59° 21.5′, E 17° 12.5′", PLACE),
        ("59°21'30\"N 17°12'30\"E", PLACE),
        ("59° 21′ 30″ N 17° 12′ 30″ E", PLACE),
        ("59°21’30”N, 17°12’30”E", PLACE),
        ("59°21.5' 17°12.5'", PLACE),
        ("59 21.5 17 12.5", PLACE),
        ("-59 21.5, -17 12.5", (-PLACE[0], -PLACE[1])),
        ("59º21.5'S 17˚12.5'W", (-PLACE[0], -PLACE[1])),
        ("-0 30 0 15", (-0.5, 0.25)),
    ],
)
def test_a_place_is_read_as_people_write_it(text, place):
    assert place_of(text) == pytest.approx(place, abs=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "", "here", "59.35", "59.35 17.2 3", "59,35,17,2", "59.35 N 17.2 S", "59.35 N 17.2",
        "59.35 N", "-59.35 N 17.2 E", "59 61 N 17 12 E", "59.5 21 N 17 12 E",
        "59 21 70 N 17 12 0 E",
        "nan, 3", "1e1, 3", "inf inf", "NS 3 EW 4", "5 N 3 E 4",
    ],
)  # fmt: skip
def test_what_is_no_place_is_one_line_with_examples(text):
    with pytest.raises(PlanError) as refused:
        place_of(text)
    (line,) = refused.value.problems
    assert "is not a place" in line
    assert "59 21.5 N, 17 12 E" in line


def test_a_latitude_beyond_the_pole_is_asked_back_the_other_way_round():
    with pytest.raises(PlanError, match=r"-90 to 90.*did you mean 55\.3, -160\.5\?"):
        place_of("-160.5, 55.3")
    with pytest.raises(PlanError) as refused:
        place_of("200 300")
    assert "did you mean" not in refused.value.problems[0]


def test_open_water_is_asked_back_with_the_land_that_was_probably_meant():
    assert at_sea(60.4, -5.3) == "60.4, -5.3 is open water: did you mean 60.4, 5.3?"
    # Sydney without its minus lies east of Japan.
    assert at_sea(33.87, 151.2) == "33.87, 151.2 is open water: did you mean -33.87, 151.2?"
    # Sweden the wrong way round lies off Arabia.
    assert at_sea(17.2, 59.35) == "17.2, 59.35 is open water: did you mean 59.35, 17.2?"


def test_open_water_far_from_any_land_it_could_be_is_asked_back_all_the_same():
    line = at_sea(-40.0, -150.0)
    assert line is not None
    assert line.startswith("-40, -150 is open water")
    assert at_sea(-40.0, -150.0, afloat=True) is None


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        (60.4, 5.3),
        (25.7, -80.2),  # at anchor in a bay
        (59.30, 18.90),  # among islands
        (-17.53, -149.6),  # in a lagoon, mid-ocean
        (78.2, 15.6),  # land, though the climate table ends before
        (55.317, -160.517),
    ],
)
def test_land_and_an_anchorage_near_it_are_not_open_water(latitude, longitude):
    assert at_sea(latitude, longitude) is None


def test_a_plan_may_name_its_place_in_one_line():
    demo = Plan.read("builtin:cloudy-repair").source
    plan = Plan.from_dict({**demo, "place": "59 21 N, 17 12 E"})
    assert (plan.place.latitude_deg, plan.place.longitude_deg) == (59.35, 17.2)
    assert plan.place.timezone == "Europe/Stockholm"
    assert plan.replace(**{"place.elevation_m": 12}).place.elevation_m == 12
    with pytest.raises(PlanError) as refused:
        Plan.from_dict({**demo, "place": "somewhere"})
    (line,) = refused.value.problems
    assert line.startswith('plan: [place]: "somewhere" is not a place')


def test_a_place_given_for_once_takes_what_belonged_to_the_other_with_it():
    demo = Plan.read("builtin:cloudy-repair")
    plan = demo.replace(**assignments(["place=59.35, 17.2"], demo))
    assert plan.place.timezone == "Europe/Stockholm"
    assert plan.place.elevation_m is None
    assert plan.place.horizon == ()
    assert plan.place.ground == demo.place.ground
    with pytest.raises(PlanError, match=r"--set place: .*is not a place"):
        assignments(["place=somewhere"], demo)


@pytest.mark.parametrize("zone", sorted(z for z in available_timezones() if z.startswith("Etc/")))
def test_an_ocean_zone_is_called_by_its_hours_from_utc(zone):
    """The signs of these names run the other way (IANA, file etcetera): held against the zone."""
    hours = datetime(2026, 6, 1, tzinfo=ZoneInfo(zone)).utcoffset() / timedelta(hours=1)
    assert zone_in_words(zone) == (f"UTC{hours:+.0f}" if hours else "UTC")


@pytest.mark.parametrize("zone", ["Europe/Oslo", "UTC", "America/Argentina/Buenos_Aires"])
def test_other_zones_keep_their_names(zone):
    assert zone_in_words(zone) == zone

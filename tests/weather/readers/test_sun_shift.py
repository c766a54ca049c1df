"""Records whose hours stand early or late against the sun: how far, what is moved, what it costs.

Skies are invented: a cloudless one (Haurwitz 1945, under the sun of an almanac, both by pvlib),
dimmed at random. How far each was shifted is known. Records that are not shifted: the
typical years inside pvlib, and a satellite's quarter hours inside pvanalytics.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.plan import Plan, PlanError
from energy.simulation.case import calendar_of, days_of
from energy.weather.readers.files import BUILTIN, Record, read_record
from energy.weather.readers.sun_shift import sun_shift
from energy.weather.scenarios import weathers
from energy.weather.source import record_of

# latitude, longitude, zone, hours from UTC in standard time
PLACES = {
    "Berlin": (50.0, 10.0, "Europe/Berlin", 1.0),
    "far north": (64.0, 26.0, "Europe/Helsinki", 2.0),
    "equator": (0.5, 32.0, "Africa/Kampala", 3.0),
    "45 minutes": (27.7, 85.3, "Asia/Kathmandu", 5.75),
    "30 minutes, south": (-34.9, 138.6, "Australia/Adelaide", 9.5),
    "30 minutes, west": (47.5, -52.7, "America/St_Johns", -3.5),
    "south": (-45.0, 169.0, "Pacific/Auckland", 12.0),
}
GOLDEN = (39.742, -105.18)


@cache
def sky(name: str, minutes: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """Begin [UTC s] and light [W/m2] of a year of intervals; three days in ten are cloudless."""
    latitude, longitude, _, offset_h = PLACES[name]
    first = pd.Timestamp("2023-01-01", tz="UTC") - pd.Timedelta(hours=offset_h)
    pieces = pd.date_range(first, periods=365 * 288, freq="5min") + pd.Timedelta(minutes=2.5)
    sun = pvlib.solarposition.get_solarposition(pieces, latitude, longitude, method="ephemeris")
    clear = pvlib.clearsky.haurwitz(sun["apparent_zenith"])["ghi"].to_numpy()
    rng = np.random.default_rng(len(name))
    index = rng.uniform(0.2, 0.8, (365, 1)) * rng.uniform(0.6, 1.4, (365, 24))
    index[rng.uniform(size=365) < 0.3] = 1.0
    rows = clear.reshape(-1, minutes // 5).mean(axis=1)
    light = rows * np.repeat(index.ravel(), 60 // minutes)
    start_s = first.timestamp() + 60.0 * minutes * np.arange(light.size)
    return start_s, light


def written(path: Path, name: str, late_min: float, minutes: int = 60) -> str:
    """The year as a plain table whose stamps, in UTC, are late by so many minutes."""
    start_s, light = sky(name, minutes)
    stamps = pd.to_datetime(start_s + 60.0 * late_min, unit="s").strftime("%Y-%m-%dT%H:%MZ")
    pd.DataFrame({"time": stamps, "ghi": light.round(1)}).to_csv(path, index=False)
    return str(path)


def moved_min(record: Record) -> float:
    """By how many minutes the record says that its hours stood late."""
    lines = [note for note in record.notes if note.endswith("; moved")]
    if not lines:
        return 0.0
    (line,) = lines
    words = line.split()  # hours stand 38 min early; moved
    assert words[:2] == ["hours", "stand"]
    assert words[3] == "min"
    return float(words[2]) * {"late;": 1.0, "early;": -1.0}[words[4]]


def cases() -> list[Any]:
    """A place with each shift, and some others with one; the rest as oracles."""
    few = {("far north", -38), ("south", 31), ("30 minutes, west", -75)}
    return [
        pytest.param(
            name,
            late,
            marks=[] if name == "45 minutes" or (name, late) in few else [pytest.mark.oracle],
        )
        for name in PLACES
        for late in (-75, -38, 12, 31, 75)
    ]


@pytest.mark.parametrize(("name", "late_min"), cases())
def test_hours_off_the_sun_are_moved_back(tmp_path: Path, name: str, late_min: int) -> None:
    latitude, longitude, zone, _ = PLACES[name]
    source = written(tmp_path / "log.csv", name, late_min)
    record = read_record(source, timezone=zone, place=(latitude, longitude))
    assert moved_min(record) == pytest.approx(late_min, abs=3)
    true_s = sky(name)[0][0]
    assert abs(record.start_s[0] - true_s) <= 180
    np.testing.assert_allclose(record.ghi, sky(name)[1], atol=0.06)


@pytest.mark.parametrize("minutes", [pytest.param(15, marks=pytest.mark.oracle), 30])
def test_shorter_rows_are_moved_too(tmp_path: Path, minutes: int) -> None:
    source = written(tmp_path / "log.csv", "Berlin", -38, minutes)
    record = read_record(source, timezone="UTC", place=PLACES["Berlin"][:2])
    assert moved_min(record) == pytest.approx(-38, abs=2)


@pytest.mark.parametrize("name", ["Berlin", "far north", "45 minutes"])
def test_hours_that_stand_right_are_not_moved(tmp_path: Path, name: str) -> None:
    latitude, longitude, zone, _ = PLACES[name]
    source = written(tmp_path / "log.csv", name, 0)
    record = read_record(source, timezone=zone, place=(latitude, longitude))
    assert record.notes == ()
    np.testing.assert_array_equal(record.start_s, sky(name)[0])


@pytest.mark.parametrize("name", BUILTIN)
def test_typical_years_are_not_moved(name: str) -> None:
    assert moved_min(read_record(f"builtin:{name}", timezone="UTC")) == 0.0


def test_a_satellites_moments_are_moved_by_half_their_interval(tmp_path: Path) -> None:
    # Golden, Colorado, July to October 2016, from the NSRDB: pvanalytics, serf_east_psm3_data.csv
    table = pd.read_csv(pvanalytics_data() / "serf_east_psm3_data.csv")
    source = str(tmp_path / "log.csv")
    table[["measured_on", "ghi"]].to_csv(source, index=False)
    assert moved_min(read_record(source, timezone="UTC", place=GOLDEN)) == pytest.approx(7.5, abs=2)
    record = read_record(source, timezone="UTC", stamps="middle", place=GOLDEN)
    assert moved_min(record) == 0.0


def test_the_shift_is_that_of_the_middle_of_daylight() -> None:
    # halfway between the first and the last light of each day, against pvlib's solar transit
    latitude, longitude = PLACES["Berlin"][:2]
    start_s, light = sky("Berlin", 15)
    late_s = start_s + 60.0 * 38
    lit = pd.to_datetime(late_s[light > 0] + 450.0, unit="s", utc=True).tz_convert("Etc/GMT-1")
    ends = lit.to_series().groupby(lit.date).agg(["min", "max"])
    middle = ends["min"] + (ends["max"] - ends["min"]) / 2
    dates = pd.DatetimeIndex(middle.index).tz_localize("Etc/GMT-1") + pd.Timedelta(hours=12)
    noon = pvlib.solarposition.sun_rise_set_transit_spa(dates, latitude, longitude)["transit"]
    by_daylight = [(m - n).total_seconds() / 60 for m, n in zip(middle, noon, strict=True)]
    shift = sun_shift(late_s, 900.0, light, (latitude, longitude))
    assert shift is not None
    assert shift.middle_min == pytest.approx(np.mean(by_daylight), abs=2)


def pvanalytics_data() -> Path:
    spec = find_spec("pvanalytics")  # its data alone are wanted
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "data"


def test_a_typical_year_that_is_moved_stays_one(tmp_path: Path) -> None:
    folder = Path(pvlib.__file__).parent / "data"
    text = (folder / BUILTIN["greensboro"]).read_text()
    head, rest = text.split("\n", 1)
    cells = head.split(",")
    cells[3] = str(float(cells[3]) + 0.75)  # the zone: every hour 45 minutes earlier in UTC
    (tmp_path / "t.csv").write_text(",".join(cells) + "\n" + rest)
    record = read_record(str(tmp_path / "t.csv"), timezone="UTC")
    right = read_record("builtin:greensboro", timezone="UTC")
    assert record.typical
    assert moved_min(record) == pytest.approx(-45, abs=3)
    np.testing.assert_array_equal(record.ghi, right.ghi)
    assert np.abs(record.start_s - right.start_s).max() <= 180


def test_hours_too_far_off_are_refused_with_their_distance(tmp_path: Path) -> None:
    source = written(tmp_path / "log.csv", "Berlin", 110)
    with pytest.raises(PlanError, match=r"1\.8 h after true noon at 50\.00, 10\.00"):
        read_record(source, timezone="UTC", place=PLACES["Berlin"][:2])


def test_a_clock_that_was_changed_on_the_way_is_refused(tmp_path: Path) -> None:
    start_s, light = sky("Berlin")
    light = np.concatenate([light[:4380], light[4379:-1]])  # an hour later from July on
    stamps = pd.to_datetime(start_s, unit="s").strftime("%Y-%m-%dT%H:%MZ")
    pd.DataFrame({"time": stamps, "ghi": light}).to_csv(tmp_path / "log.csv", index=False)
    with pytest.raises(PlanError) as refused:
        read_record(str(tmp_path / "log.csv"), timezone="UTC", place=PLACES["Berlin"][:2])
    (problem,) = refused.value.problems
    assert "min late on others" in problem
    assert "write all its stamps on one clock" in problem


def test_without_a_clear_day_the_stamps_stand(tmp_path: Path) -> None:
    start_s, light = sky("Berlin")
    rng = np.random.default_rng(5)
    broken = light * rng.uniform(0.1, 1.0, light.size)
    stamps = pd.to_datetime(start_s + 1200.0, unit="s").strftime("%Y-%m-%dT%H:%MZ")
    pd.DataFrame({"time": stamps, "ghi": broken}).to_csv(tmp_path / "log.csv", index=False)
    record = read_record(str(tmp_path / "log.csv"), timezone="UTC", place=PLACES["Berlin"][:2])
    assert record.notes == ()
    assert record.start_s[0] == start_s[0] + 1200.0


def light_of_windows(source: str, name: str, month: int, day: int) -> float:
    """Mean light on the flat over three local days in all windows, Wh/m2."""
    latitude, longitude, zone, _ = PLACES[name]
    begin = datetime(2026, month, day)
    plan = Plan.from_dict(
        {
            "place": {"latitude_deg": latitude, "longitude_deg": longitude, "timezone": zone},
            "span": {"start": begin, "end": begin + timedelta(days=3)},
            "weather": {"kind": "file", "file": source},
            "pack": {"capacity_wh": 1000},
            "task": [{"name": "lamp", "supply": "dc12", "working_w": 5}],
        }
    )
    calendar = calendar_of(plan)
    clock = (plan.span.start, plan.span.end)
    span = tuple(moment.replace(tzinfo=calendar.zone).timestamp() for moment in clock)
    days = days_of(plan, record_of(plan), calendar, span)
    light, *_ = weathers(days)
    lit = light.light.lit
    inside = np.diff(np.clip(days.cells, *span))[lit] / 3600.0
    return float((light.light.ghi * inside[:, None]).sum(axis=0).mean())


@pytest.mark.parametrize(
    ("name", "late_min"),
    [
        pytest.param(name, late, marks=[] if name in few else [pytest.mark.oracle])
        for name in PLACES
        for late, few in ((-75, ("far north", "30 minutes, south")), (38, ("equator",)))
    ],
)
def test_moved_windows_keep_the_light(tmp_path: Path, name: str, late_min: int) -> None:
    right = written(tmp_path / "right.csv", name, 0)
    shifted = written(tmp_path / "shifted.csv", name, late_min)
    for month in (3, 6, 12):
        light = light_of_windows(shifted, name, month, 21)
        assert light == pytest.approx(light_of_windows(right, name, month, 21), rel=0.01)

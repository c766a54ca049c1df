"""Weather files with faults: what is mended and said, and what is refused in one line."""

from __future__ import annotations

import os
import random
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from energy.plan import PlanError
from energy.weather.readers.files import BUILTIN, Record, read_record

DATA = Path(pvlib.__file__).parent / "data"
PLACE = (50.0, 10.0)
ZONE = "Europe/Berlin"
START = pd.date_range("2024-06-01", periods=24 * 30, freq="h", tz=ZONE)


def sky() -> pd.DataFrame:
    """Thirty cloudless days (Haurwitz 1945, by pvlib), each a little dimmer than the last."""
    zenith = pvlib.solarposition.get_solarposition(START + pd.Timedelta("30min"), *PLACE)
    ghi = pvlib.clearsky.haurwitz(zenith["apparent_zenith"])["ghi"].to_numpy()
    ghi = ghi * np.repeat(np.linspace(1.0, 0.7, 30), 24)
    stamps = START.strftime("%Y-%m-%d %H:%M")
    return pd.DataFrame({"time": stamps, "ghi": ghi, "dhi": ghi / 5, "temp_air": 15.0})


def read(tmp_path: Path, table: pd.DataFrame, place: tuple[float, float] | None = PLACE) -> Record:
    path = tmp_path / "log.csv"
    table.to_csv(path, index=False)
    return read_record(str(path), timezone=ZONE, place=place)


def line(tmp_path: Path, table: pd.DataFrame, place: tuple[float, float] | None = PLACE) -> str:
    """The one line with which the table is refused."""
    with pytest.raises(PlanError) as refused:
        read(tmp_path, table, place)
    (problem,) = refused.value.problems
    assert problem.startswith("log.csv: ")
    assert "\n" not in problem
    return str(problem)


def test_a_sound_file_is_left_as_it_is(tmp_path: Path) -> None:
    table = sky()
    record = read(tmp_path, table)
    np.testing.assert_allclose(record.ghi, table["ghi"])
    assert record.notes == ()


# --- mended --------------------------------------------------------------------------------


@pytest.mark.parametrize("fill", [np.nan, -999, -9999, 9999])
def test_missing_hours_take_the_mean_of_the_days_around(tmp_path: Path, fill: float) -> None:
    table = sky()
    whole = table["ghi"].to_numpy().copy()
    gap = np.arange(24 * 10 + 9, 24 * 10 + 12)
    table.loc[gap, "ghi"] = fill
    record = read(tmp_path, table)
    np.testing.assert_allclose(record.ghi[gap], (whole[gap - 24] + whole[gap + 24]) / 2)
    assert record.notes[0].startswith("3 hours of missing irradiance filled")


def test_a_missing_row_is_a_missing_hour(tmp_path: Path) -> None:
    table = sky()
    record = read(tmp_path, table.drop(index=[300]))
    assert len(record.ghi) == len(table)
    assert record.notes[0].startswith("1 hour of missing irradiance filled")


def test_a_file_of_lit_hours_alone_has_dark_nights(tmp_path: Path) -> None:
    table = sky()
    record = read(tmp_path, table[(table["ghi"] > 0) | (table.index % 719 == 0)])
    np.testing.assert_allclose(record.ghi, table["ghi"])


def test_a_typical_year_mends_new_year_from_its_other_end(tmp_path: Path) -> None:
    rows = (DATA / BUILTIN["greensboro"]).read_text().splitlines()
    first, second, last = (rows[2 + hour].split(",") for hour in (12, 36, 8760 - 12))
    first[4] = "-9900"
    rows[2 + 12] = ",".join(first)
    (tmp_path / "t.csv").write_text("\n".join(rows))
    record = read_record(str(tmp_path / "t.csv"), timezone="UTC")
    assert record.ghi[12] == (float(second[4]) + float(last[4])) / 2


def test_light_below_nought_by_an_instruments_offset_is_nought(tmp_path: Path) -> None:
    table = sky()
    table.loc[table["ghi"] == 0, "ghi"] = -5
    record = read(tmp_path, table)
    assert record.ghi.min() == 0
    assert "slightly negative irradiance set to 0" in record.notes[0]


@pytest.mark.parametrize("bright", [2500, 1e300])
@pytest.mark.filterwarnings("error")
def test_an_impossibly_bright_hour_is_replaced(tmp_path: Path, bright: float) -> None:
    table = sky()
    table.loc[300, "ghi"] = bright
    record = read(tmp_path, table)
    assert record.ghi.max() < 1400
    assert record.notes[0].startswith("1 hour of impossibly bright light replaced")


def test_diffuse_above_global_is_cut(tmp_path: Path) -> None:
    table = sky()
    table.loc[300, "dhi"] = table.loc[300, "ghi"] + 50
    record = read(tmp_path, table)
    assert record.dhi[300] == pytest.approx(table.loc[300, "ghi"])
    (note,) = record.notes
    assert "more diffuse than global light in 1 of its" in note


def test_air_temperature_that_is_mostly_missing_is_not_used(tmp_path: Path) -> None:
    table = sky()
    table.loc[100:, "temp_air"] = np.nan
    record = read(tmp_path, table)
    assert np.isnan(record.temp_air).all()
    assert record.notes == ("air temperature is missing in 620 hours: not used",)


# --- refused -------------------------------------------------------------------------------


@pytest.mark.parametrize("place", [None, PLACE])
def test_a_gap_of_more_than_a_day_is_refused_with_its_beginning(
    tmp_path: Path, place: tuple[float, float] | None
) -> None:
    table = sky()
    table.loc[240:264, "ghi"] = np.nan
    said = line(tmp_path, table, place)
    assert "the longest gap 25 hours from 2024-06-10 23:00 UTC+1" in said


@pytest.mark.parametrize("place", [None, PLACE])
def test_a_gap_of_a_day_is_filled(tmp_path: Path, place: tuple[float, float] | None) -> None:
    table = sky()
    whole = table["ghi"].to_numpy().copy()
    day = np.arange(240, 264)
    table.loc[day, "ghi"] = np.nan
    record = read(tmp_path, table, place)
    expected = (whole[day - 24] + whole[day + 24]) / 2
    np.testing.assert_allclose(record.ghi[day], expected, atol=2)


def test_many_missing_hours_are_refused(tmp_path: Path) -> None:
    table = sky()
    table.loc[table.index % 12 == 0, "ghi"] = np.nan
    assert "irradiance is missing in 60 hours of 720" in line(tmp_path, table, None)


def test_many_missing_rows_are_refused(tmp_path: Path) -> None:
    table = sky()
    some = table[(table["ghi"] > 0) | (table.index % 719 == 0)]
    assert "hours of 720 are missing" in line(tmp_path, some, None)


def test_large_negative_light_is_refused(tmp_path: Path) -> None:
    table = sky()
    table.loc[300, "ghi"] = -40
    assert "irradiance of -40 W/m2 at 2024-06-13 11:00" in line(tmp_path, table)


@pytest.mark.parametrize(("shift_h", "said"), [(-6, "6.0 h before"), (6, "6.0 h after")])
def test_a_wrong_zone_is_refused_with_its_hours(tmp_path: Path, shift_h: int, said: str) -> None:
    table = sky()
    table["time"] = (START + pd.Timedelta(hours=shift_h)).strftime("%Y-%m-%d %H:%M")
    assert said in line(tmp_path, table)


def test_an_hour_off_is_moved(tmp_path: Path) -> None:
    table = sky()
    table["time"] = (START + pd.Timedelta(hours=1)).strftime("%Y-%m-%d %H:%M")
    (note,) = read(tmp_path, table).notes
    assert re.fullmatch(r"hours stand (59|60|61) min late; moved", note)


@pytest.mark.parametrize(
    ("column", "change", "said"),
    [
        ("ghi", lambda ghi: ghi / 1000, "is this kW/m2?"),
        ("ghi", lambda ghi: ghi * 4, "stamps, zone or unit"),
        ("temp_air", lambda celsius: celsius + 273.15, "kelvin?"),
        ("temp_air", lambda celsius: celsius * 1.8 + 32, "Fahrenheit?"),
    ],
)
def test_a_foreign_unit_is_guessed(tmp_path: Path, column: str, change: object, said: str) -> None:
    table = sky()
    table[column] = change(table[column])  # type: ignore[operator]
    assert said in line(tmp_path, table)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time,ghi\n", "no rows"),
        ("time,ghi\n2024-07-01 00:00,5\n", "less than two rows"),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-01 01:00,5\n", "2 hours; at least one whole day"),
        ("time,wind\n2024-07-01 00:00,5\n", "no column of global irradiance"),
        ("place,ghi\nhere,5\n", "no column of times"),
        ("time,irradiance,solar radiation\nx,5,5\n", "could all be ghi"),
        ("time,ghi (kWh/m2)\n2024-07-01 00:00,5\n", "W/m2 is needed"),
        ("time,ghi\nsoon,5\n", '"soon" is not a time'),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-01 01:00,much\n", 'line 3, column "ghi": "much"'),
        ("# my\n\ntime,ghi\n2024-07-01 00:00,5\n\n2024-07-01 01:00,much\n", "line 6, column"),
        ("# my\ntime,ghi\n2024-07-01 00:00,5\n\nsoon,5\n", 'line 5: "soon" is not a time'),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-01 02:00,5\n2024-07-01 01:00,5\n", "line 4 ("),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-01 00:07,5\n", "7 min apart"),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-02 00:00,5\n", "1440 min apart"),
        ("time,ghi\n2024-07-01 00:00,5\n2024-07-01 01:00,5\n2024-07-01 02:20,5\n", "min apart"),
        ("time,ghi,temp\n2024-07-01 00:00,5,2,3,1\n", "decimal comma"),
        (
            "time;ghi\n2024-07-01 00:00;1.005,2\n2024-07-01 01:00;5\n",
            "both decimal commas and points",
        ),
        ("time,ghi\n2024-07-01 00:00Z,5\n2024-07-01 01:00,5\n", "some do not"),
        ("LOCATION,a\n", "broken or cut"),
        ("\n\n\n", "is empty"),
        ("<html><body>not found</body></html>", "no column of global irradiance"),
    ],
)
def test_a_broken_table_is_refused_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(PlanError) as refused:
        read_record(str(path), timezone=ZONE)
    (problem,) = refused.value.problems
    assert said in problem
    assert "\n" not in problem


def problem_of(source: str) -> str:
    with pytest.raises(PlanError) as refused:
        read_record(source, timezone=ZONE)
    (problem,) = refused.value.problems
    return str(problem)


def test_a_misspelt_built_in_year_is_guessed() -> None:
    assert "builtin:miami was probably meant" in problem_of("builtin:maimi")


def test_a_misspelt_file_is_guessed(tmp_path: Path) -> None:
    (tmp_path / "roof.csv").write_text("x")
    assert "roof.csv was probably meant" in problem_of(str(tmp_path / "rof.csv"))


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "is a folder" in problem_of(str(tmp_path))


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "not an ordinary file" in problem_of(str(tmp_path / "pipe"))


def test_a_binary_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.epw").write_bytes(b"\x89PNG\0\0")
    assert "is not a text file" in problem_of(str(tmp_path / "a.epw"))


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "a.csv").open("wb") as file:
        file.truncate(201_000_000)
    assert "is 201 MB; at most 200 MB" in problem_of(str(tmp_path / "a.csv"))


def test_a_header_with_an_impossible_latitude_is_refused(tmp_path: Path) -> None:
    text = (DATA / BUILTIN["greensboro"]).read_text().replace("36.100", "136.100", 1)
    (tmp_path / "t.csv").write_text(text)
    assert "latitude is 136.1; -90 to 90 is allowed" in problem_of(str(tmp_path / "t.csv"))


def test_a_typical_year_with_rows_cut_out_is_refused(tmp_path: Path) -> None:
    rows = (DATA / BUILTIN["greensboro"]).read_text().splitlines()
    (tmp_path / "t.csv").write_text("\n".join(rows[:4000] + rows[4100:]))
    assert problem_of(str(tmp_path / "t.csv")).startswith("t.csv: row ")


@pytest.mark.parametrize("name", BUILTIN)
def test_damaged_bytes_never_end_in_a_traceback(tmp_path: Path, name: str) -> None:
    chance = random.Random(name)
    whole = (DATA / BUILTIN[name]).read_bytes()
    path = tmp_path / "damaged"
    for _ in range(25):
        damaged = bytearray(whole[: chance.choice([len(whole), chance.randrange(200_000)])])
        for _ in range(chance.choice([1, 3, 30])):
            if damaged:
                place = chance.randrange(min(chance.choice([100, 1500, 2_000_000]), len(damaged)))
                damaged[place] = chance.choice(b'\n,;" 9-xE\xff')
        path.write_bytes(damaged)
        assert outcome(path) in ("whole", "refused in one line")


def outcome(path: Path) -> str:
    try:
        record = read_record(str(path), timezone=ZONE)
    except PlanError as refused:
        one = len(refused.problems) == len(refused.problems[0].splitlines()) == 1
        return "refused in one line" if one else f"refused in more: {refused.problems}"
    return "whole" if np.isfinite(record.ghi).all() else "with holes"

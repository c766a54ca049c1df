"""The cache of fetched weather: what is held, for where, and that no accident spoils it.

The weather in it is invented. How it is fetched is tested in `test_online`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from checkout import ROOT
from held_weather import HOURS, NOW_S, a_forecast, a_record, about

from energy.plan import PlanError
from energy.weather.fetched.cache import (
    Forecast,
    cached,
    forecast_near,
    history_near,
    save_forecast,
    save_history,
)
from energy.weather.record import Record

DEGREE_KM = 111.2  # of latitude, on a sphere of the earth's mean radius


def same(one: Record | Forecast, other: Record | Forecast) -> bool:
    pairs = [(getattr(one, f.name), getattr(other, f.name)) for f in fields(one)]
    return all(
        np.array_equal(a, b, equal_nan=True) if isinstance(a, np.ndarray) else a == b
        for a, b in pairs
    )


def read(folder: Path, latitude: float = 50.0, longitude: float = 10.0) -> Forecast:
    found = forecast_near(latitude, longitude, folder)
    assert found is not None
    return found


# --- what is held -------------------------------------------------------------------------------


def test_a_history_comes_back_as_it_was(tmp_path: Path) -> None:
    save_history(a_record(), about(), tmp_path)
    found = history_near(50.0, 10.0, tmp_path)
    assert found is not None
    assert same(found, a_record())


def test_a_forecast_comes_back_as_it_was(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(), tmp_path)
    assert same(read(tmp_path), a_forecast())


def test_a_forecast_can_be_cut_to_its_first_members() -> None:
    cut = a_forecast().first(2)
    np.testing.assert_array_equal(cut.ghi, a_forecast().ghi[:, :2])
    np.testing.assert_array_equal(cut.temp_air, a_forecast().temp_air[:, :2])
    np.testing.assert_array_equal(cut.wind_speed, a_forecast().wind_speed[:, :2])


def test_the_list_tells_kind_place_time_and_reach(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(-33.9876, -70.5), tmp_path)
    (one,) = cached(tmp_path)
    assert (one.kind, one.latitude_deg, one.longitude_deg) == ("forecast", -33.988, -70.5)
    assert (one.fetched_s, one.source, one.licence) == (NOW_S, "invented runs", "free to use")
    assert (one.first_s, one.last_s) == (NOW_S, NOW_S + HOURS * 3600.0)
    assert one.path.parent == tmp_path
    assert one.problem is None


def test_saving_tells_what_the_list_tells(tmp_path: Path) -> None:
    saved = [
        save_forecast(a_forecast(), about(), tmp_path),
        save_history(a_record(), about(), tmp_path),
        save_history(a_record(), about(51.0, -0.0004), tmp_path),
    ]
    assert cached(tmp_path) == saved


def test_a_second_fetch_takes_the_place_of_the_first(tmp_path: Path) -> None:
    save_history(a_record("first"), about(), tmp_path)
    save_history(a_record("second"), about(50.0004), tmp_path)
    assert [one.source for one in cached(tmp_path)] == ["second"]


def test_files_of_others_are_not_listed(tmp_path: Path) -> None:
    (tmp_path / "history.npz").write_text("not ours")
    (tmp_path / "history_50_10.npz").write_text("not ours")
    (tmp_path / ".history_+50.000_+010.000-x.part").write_text("half")
    assert cached(tmp_path) == []


def test_the_cache_lies_where_the_system_keeps_caches(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the folder of the XDG base directory specification, which platformdirs follows on Linux
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    saved = save_forecast(a_forecast(), about())
    assert saved.path.parent == tmp_path / "offgrid-workshop-energy"
    assert cached() == [saved]
    assert forecast_near(50.0, 10.0) is not None


# --- which is near ------------------------------------------------------------------------------


def test_what_is_held_serves_places_within_25_km(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(50.0), tmp_path)
    assert forecast_near(50.0 + 24.9 / DEGREE_KM, 10.0, tmp_path) is not None
    assert forecast_near(50.0 + 25.1 / DEGREE_KM, 10.0, tmp_path) is None


def test_the_nearest_serves(tmp_path: Path) -> None:
    save_history(a_record("north"), about(50.2), tmp_path)
    save_history(a_record("here"), about(50.0), tmp_path)
    save_history(a_record("south"), about(49.9), tmp_path)
    found = history_near(50.01, 10.0, tmp_path)
    assert found is not None
    assert found.name == "here"


@pytest.mark.parametrize("latest", [0, 1])
def test_of_two_as_near_the_latest_serves(latest: int, tmp_path: Path) -> None:
    names = ["one", "other"]
    for number, latitude in enumerate([50.0, 50.002]):
        saved = save_history(a_record(names[number]), about(latitude), tmp_path)
        when_s = NOW_S + (number == latest)
        os.utime(saved.path, (when_s, when_s))
    found = history_near(50.001, 10.0, tmp_path)
    assert found is not None
    assert found.name == names[latest]


def test_near_works_across_the_date_line(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(-17.0, 179.95), tmp_path)
    assert forecast_near(-17.0, -179.95, tmp_path) is not None


def test_a_forecast_is_no_history(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(), tmp_path)
    assert history_near(50.0, 10.0, tmp_path) is None


# --- accidents ----------------------------------------------------------------------------------


def spoilt(tmp_path: Path, number: int) -> bytes:
    """A forecast's file with one byte turned over, or cut short."""
    good = save_forecast(a_forecast(), about(), tmp_path).path.read_bytes()
    rng = np.random.default_rng(number)
    at = int(rng.integers(len(good)))
    if number % 4 == 0:
        return good[:at]
    return good[:at] + bytes([good[at] ^ int(rng.integers(1, 256))]) + good[at + 1 :]


def test_a_spoilt_file_is_refused_in_one_line_or_was_spoilt_where_it_does_not_matter(
    tmp_path: Path,
) -> None:
    refused = 0
    for number in range(300):
        path = tmp_path / "forecast_+50.000_+010.000.npz"
        path.write_bytes(spoilt(tmp_path, number))
        try:
            assert same(read(tmp_path), a_forecast())
        except PlanError as error:
            refused += 1
            (line,) = error.problems
            assert line.startswith(f"{path}: can no longer be read;")
            assert line.endswith("fetch the weather of this place anew")
            assert cached(tmp_path)[0].problem == line
    assert refused > 150


@pytest.mark.parametrize("content", [b"", b"not an archive", b"\x93NUMPY\x01\x00"])
def test_a_file_that_cannot_be_read_is_listed_with_its_problem(
    content: bytes, tmp_path: Path
) -> None:
    path = save_forecast(a_forecast(), about(), tmp_path).path
    path.write_bytes(content)
    os.utime(path, (NOW_S, NOW_S))
    (one,) = cached(tmp_path)
    assert (one.kind, one.latitude_deg, one.longitude_deg) == ("forecast", 50.0, 10.0)
    assert (one.fetched_s, one.source) == (NOW_S, "")
    assert one.problem is not None
    assert "can no longer be read" in one.problem


def test_an_array_that_would_run_code_is_not_read(tmp_path: Path) -> None:
    path = save_forecast(a_forecast(), about(), tmp_path).path
    with np.load(path) as file:
        parts = dict(file)
    np.savez(path, **parts | {"ghi": parts["ghi"].astype(object)})
    with pytest.raises(PlanError, match="can no longer be read"):
        read(tmp_path)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda f: replace(f, start_s=f.start_s[:-1]),
        lambda f: replace(f, start_s=f.start_s * 2.0),
        lambda f: replace(f, ghi=f.ghi[:, 0]),
        lambda f: replace(f, wind_speed=f.wind_speed[:, :2]),
        lambda f: replace(f, temp_air=f.temp_air.astype(np.float32)),
        lambda f: f.first(0),
    ],
)
def test_arrays_that_do_not_fit_together_are_refused(spoil: object, tmp_path: Path) -> None:
    assert callable(spoil)
    save_forecast(spoil(a_forecast()), about(), tmp_path)
    with pytest.raises(PlanError, match="can no longer be read"):
        read(tmp_path)


def test_a_spoilt_file_elsewhere_does_not_matter(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(40.0), tmp_path).path.write_bytes(b"")
    save_forecast(a_forecast(), about(), tmp_path)
    assert same(read(tmp_path), a_forecast())


def test_a_spoilt_file_is_mended_by_a_new_one(tmp_path: Path) -> None:
    save_forecast(a_forecast(), about(), tmp_path).path.write_bytes(b"")
    save_forecast(a_forecast(), about(), tmp_path)
    assert same(read(tmp_path), a_forecast())


WRITES_LONG = """
import sys
from pathlib import Path
from energy.weather.fetched.cache import save_forecast
from held_weather import a_forecast, about
save_forecast(a_forecast(40, 40_000), about(), Path(sys.argv[1]))
"""


def test_a_run_killed_while_it_writes_leaves_what_was_held(tmp_path: Path) -> None:
    path = save_forecast(a_forecast(), about(), tmp_path).path
    before = path.read_bytes()
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests" / "shared")])
    writing = subprocess.Popen(
        [sys.executable, "-c", WRITES_LONG, str(tmp_path)], env=os.environ | {"PYTHONPATH": paths}
    )
    until_s = time.monotonic() + 60.0
    while not any(part.stat().st_size > 100_000 for part in tmp_path.glob(".*.part")):
        assert time.monotonic() < until_s
        assert writing.poll() is None
        time.sleep(0.002)
    writing.kill()
    assert writing.wait() < 0
    assert path.read_bytes() == before
    assert same(read(tmp_path), a_forecast())
    assert len(cached(tmp_path)) == 1


def test_who_reads_the_old_file_reads_it_to_its_end(tmp_path: Path) -> None:
    path = save_forecast(a_forecast(), about(), tmp_path).path
    before = path.read_bytes()
    with path.open("rb") as reading:
        save_forecast(a_forecast(9), about(), tmp_path)
        assert reading.read() == before


def test_what_a_killed_run_left_goes_with_a_later_write(tmp_path: Path) -> None:
    old, young = tmp_path / ".forecast_+50-a.part", tmp_path / ".forecast_+50-b.part"
    for part in (old, young):
        part.write_text("half")
    two_hours_ago_s = time.time() - 7200.0
    os.utime(old, (two_hours_ago_s, two_hours_ago_s))
    save_forecast(a_forecast(), about(), tmp_path)
    assert not old.exists()
    assert young.exists()  # another run may be writing it just now


def test_a_part_that_another_run_moves_meanwhile_spoils_no_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    part = tmp_path / ".forecast_+50-a.part"
    part.write_text("half")
    listed = Path.glob

    def glob(folder: Path, pattern: str) -> list[Path]:
        found = list(listed(folder, pattern))
        part.unlink(missing_ok=True)  # between its being listed and looked at
        return found

    monkeypatch.setattr(Path, "glob", glob)
    save_forecast(a_forecast(), about(), tmp_path)
    assert not part.exists()
    assert forecast_near(50.0, 10.0, tmp_path) is not None


CHECKS_WITHOUT_NETWORK = """
import sys

def no_network(event, arguments):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.bind"):
        raise RuntimeError(event)

sys.addaudithook(no_network)
import energy
print(energy.check(energy.Plan.read("builtin:cloudy-repair")).yes)
print("energy.weather.fetched.online" in sys.modules)
"""


@pytest.mark.oracle
def test_a_check_touches_no_network() -> None:
    done = subprocess.run(
        [sys.executable, "-c", CHECKS_WITHOUT_NETWORK],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert done.stderr == ""
    assert done.stdout.splitlines()[1:] == ["False"]

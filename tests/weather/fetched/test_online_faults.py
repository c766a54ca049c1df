"""Fetching weather goes wrong: one clear line, what was held as it was, nothing left lying about.

The real client against a server on this machine that fails in each way that was thought of.
"""

from __future__ import annotations

import os
import resource
import shutil
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import weather_server as ws
from weather_server import LIGHT, Change, Reply, drop, ends, forecast, history, put, without

from energy.weather.fetched.online import Unavailable

CONTROL = "shortwave_radiation"


@pytest.fixture(scope="module")
def fetched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a year and a forecast as the services give them."""
    folder = tmp_path_factory.mktemp("fetched")
    history(ws.service(), folder)
    forecast(ws.service(), folder)
    return folder


@pytest.fixture
def kept(fetched: Path, tmp_path: Path) -> Path:
    """The same as the test's own."""
    return Path(shutil.copytree(fetched, tmp_path / "kept"))


def bytes_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def line_of(fetch: Callable[..., object], reply: Reply, kept: Path, **options: Any) -> str:
    """The line that a failed fetch ends in; what was held is as it was, and nothing is beside."""
    before = bytes_in(kept)
    with pytest.raises(Unavailable) as caught:
        fetch(reply, kept, **options)
    assert bytes_in(kept) == before
    assert caught.value.line.isprintable()
    return caught.value.line


def test_the_line_says_of_whom_what_came_and_what_to_do(kept: Path) -> None:
    line = line_of(forecast, ws.answers(500, b"oops"), kept, days=7)
    port = line.partition("127.0.0.1:")[2].partition(")")[0]
    assert line == (
        f"Open-Meteo (127.0.0.1:{port}), asked for the forecast of the next 7 days"
        " (dwd_icon_seamless_eps) at 50.000, 10.000: HTTP 500; try again later;"
        " what was held before is as it was"
    )


# --- the connection -----------------------------------------------------------------------------


@pytest.mark.parametrize("fetch", [forecast, history])
@pytest.mark.parametrize("reply", [ws.silent, ws.trickles_head, ws.trickles_body])
def test_a_slow_service_is_given_up_in_time(
    fetch: Callable[..., object], reply: Reply, kept: Path
) -> None:
    begin = time.monotonic()
    line = line_of(fetch, reply, kept, timeout_s=0.3)
    assert time.monotonic() - begin < 20 * 0.3  # the service would go on for ever
    assert "no whole answer came within 0.3 s; try again later" in line


def test_a_service_that_refuses_the_connection(kept: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, but nobody listens
        address = f"http://127.0.0.1:{taken.getsockname()[1]}/"
        line = line_of(forecast, ws.silent, kept, address=address)
    assert "the connection failed (Connection refused); check that this machine is online" in line


def test_a_name_that_no_network_knows(kept: Path) -> None:
    # .invalid is kept free of names: RFC 2606
    line = line_of(forecast, ws.silent, kept, address="http://weather.invalid/", timeout_s=20.0)
    assert "(weather.invalid)" in line
    assert "the connection failed" in line or "no whole answer" in line


def test_a_service_that_hangs_up(kept: Path) -> None:
    assert "the connection failed" in line_of(forecast, ws.hangs_up, kept)


def test_half_of_a_body_of_known_length(kept: Path) -> None:
    assert "its answer broke off in the middle" in line_of(forecast, ws.stops_half_way, kept)


def test_half_of_a_body_of_unknown_length(kept: Path) -> None:
    assert "its answer is cut off or is no JSON" in line_of(forecast, ws.ends_half_way, kept)


def test_a_body_without_end(kept: Path) -> None:
    assert "its answer is longer than 50 MB" in line_of(forecast, ws.never_ends, kept)


def test_a_body_that_is_not_what_its_head_says(kept: Path) -> None:
    broken = ws.answers(200, b"no gzip", **{"Content-Encoding": "gzip"})
    assert "its answer broke off in the middle" in line_of(forecast, broken, kept)


# --- answers that are none ----------------------------------------------------------------------


def test_a_services_own_reason_is_quoted_on_one_printable_line(kept: Path) -> None:
    told = ws.answers(400, {"error": True, "reason": ws.REASON})
    line = line_of(forecast, told, kept)
    assert 'HTTP 400, "Cannot do this ?[31m today"; check the place' in line


def test_a_long_reason_is_cut(kept: Path) -> None:
    line = line_of(history, ws.answers(422, {"messages": ["too long " * 1000]}), kept)
    assert 'HTTP 422, "too long too long' in line
    assert len(line) < 500


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (ws.answers(429, {"reason": "limit"}), 'HTTP 429, "limit"; too much was asked of it: wait'),
        (ws.answers(404, b"<html>Not here</html>"), "HTTP 404; check the place"),
        (ws.answers(503, b"\xff\xfe\x00"), "HTTP 503; try again later"),
        (ws.answers(500, b"[" * 100_000), "HTTP 500; try again later"),
        (ws.answers(204, b""), "HTTP 204; try again later"),
        (ws.answers(200, b""), "is cut off or is no JSON"),
        (ws.answers(200, b"<html>Log in to this network</html>"), "is cut off or is no JSON"),
        (ws.answers(200, b"[" * 100_000), "is cut off or is no JSON"),
        (ws.answers(200, b'{"latitude": NaN}'), "is cut off or is no JSON"),
    ],
)
@pytest.mark.parametrize("fetch", [forecast, history])
def test_an_answer_that_is_none(
    fetch: Callable[..., object], reply: Reply, words: str, kept: Path
) -> None:
    assert words in line_of(fetch, reply, kept)


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_question_is_not_sent_on_to_another_host(status: int, kept: Path) -> None:
    with ws.serving(ws.service()) as other:
        sends_on = ws.answers(status, Location=other.address)
        line = line_of(forecast, sends_on, kept)
    assert other.questions == []
    assert "sends the question on to 127.0.0.1:" in line
    assert "which is not followed" in line


# --- answers of the wrong shape -----------------------------------------------------------------


@pytest.mark.parametrize("body", [None, [], 7, "text", {}, {"hourly": 1, "utc_offset_seconds": 0}])
@pytest.mark.parametrize("fetch", [forecast, history])
def test_json_of_another_shape(fetch: Callable[..., object], body: object, kept: Path) -> None:
    assert "its answer has no " in line_of(fetch, ws.answers(200, body), kept)


HOUR = ("properties", "parameter", LIGHT, "2025061012")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (drop("properties", "parameter", "T2M"), "its answer has no properties.parameter.T2M"),
        (drop(*HOUR), f"{LIGHT} lacks 1 of 8760 hours, the first 2025-06-10 12:00 UTC"),
        (put([], *HOUR[:-1]), f"{LIGHT} lacks 8760 of 8760 hours"),
        (put("12", *HOUR), f'{LIGHT} in its answer holds "12", not numbers'),
        (put(True, *HOUR), "holds true, not numbers"),
        (put(10**400, *HOUR), "not numbers"),
        (drop("header", "fill_value"), "its answer has no header.fill_value"),
        (put(None, "header", "fill_value"), "has no number for header.fill_value"),
        (put("MJ/hr", "parameters", LIGHT, "units"), f'{LIGHT} is in "MJ/hr", which is not'),
        (put("K", "parameters", "T2M", "units"), 'T2M is in "K", which is not the unit'),
        (put([10.0, 50.0], "geometry", "coordinates"), "does not say for which place"),
        (put([10.0, 52.0, 9.0], "geometry", "coordinates"), "is for 52.00, 10.00, 222 km away"),
        (put([10.0, None, 9.0], "geometry", "coordinates"), "is for nan"),
        (put([10.0, 50.0, 1e6], "geometry", "coordinates"), "puts the place at 1e+06 m"),
    ],
)
def test_a_history_of_the_wrong_shape(change: Change, words: str, kept: Path) -> None:
    assert words in line_of(history, ws.service(change), kept)


def test_a_history_with_too_much_missing_in_a_year(kept: Path) -> None:
    keys = pd.date_range("2025-06-01", "2025-06-30", freq="h").strftime("%Y%m%d%H")
    line = line_of(history, ws.service(without(*keys)), kept)
    assert "NASA POWER 2025: irradiance is missing in" in line
    assert "5 % and gaps of 24 hours are allowed; ask for other years" in line


def test_a_history_on_another_clock(kept: Path) -> None:
    def six_hours_late(answer: dict[str, Any]) -> None:
        for name, column in answer["properties"]["parameter"].items():
            values = list(column.values())
            late = dict(zip(column, values[-6:] + values[:-6], strict=True))
            answer["properties"]["parameter"][name] = late

    line = line_of(history, ws.service(six_hours_late), kept)
    assert "NASA POWER 2025: the middle of its days comes 6.0 h after true noon" in line


def test_a_history_that_fails_in_its_last_year(kept: Path) -> None:
    good = ws.service()

    def reply(to: Any, question: dict[str, str], seen: ws.Seen) -> None:
        (good if len(seen.questions) < 3 else ws.hangs_up)(to, question, seen)

    lines: list[str] = []
    assert "the connection failed" in line_of(history, reply, kept, years=3, progress=lines.append)
    assert lines[-1] == "NASA POWER: 2025 (3 of 3)"


FIRST = ("hourly", CONTROL)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (drop("hourly_units"), "its answer has no hourly_units"),
        (drop(*FIRST), f"its answer has no {CONTROL} for the control run"),
        (drop("hourly", "temperature_2m_member03"), "has no temperature_2m for member 3"),
        (put([1.0], *FIRST), f"{CONTROL} has 1 hours and the times have 72"),
        (put(5, *FIRST), f"{CONTROL} in its answer holds 5, not numbers"),
        (put("bright", *FIRST, 12), 'holds "bright", not numbers'),
        (put(-0.5, *FIRST, 12), f"{CONTROL} of -0.5 is not possible; 0 to 1500 is"),
        (put(1600, *FIRST, 12), f"{CONTROL} of 1600 is not possible"),
        (put(float("1e308") * 10, *FIRST, 12), "is cut off or is no JSON"),
        (put(290, "hourly", "temperature_2m", 3), "temperature_2m of 290 is not possible"),
        (put(80, "hourly", "wind_speed_10m_member02", 3), "wind_speed_10m_member02 of 80 is not"),
        (
            put("km/h", "hourly_units", "wind_speed_10m"),
            'wind_speed_10m is in "km/h", which is not',
        ),
        (put("°F", "hourly_units", "temperature_2m"), 'temperature_2m is in "°F", which is not'),
        (drop("hourly_units", f"{CONTROL}_member01"), "has no shortwave_radiation_member01"),
        (put(3600, "utc_offset_seconds"), "its times are not in UTC"),
        (put([], "hourly", "time"), "its answer holds 0 hours, not the 72 asked for"),
        (put(7, "hourly", "time"), "its answer has times that are none"),
        (put("soon", "hourly", "time", 3), "its answer has times that are none"),
        (put("2026-01-01T00:00", "hourly", "time", 3), "the times in its answer are not an hour"),
        (put(53.0, "latitude"), "its answer is for 53.00, 9.98, 334 km away"),
        (drop("elevation"), "its answer has no elevation"),
        (ends(CONTROL, 20), "its control run holds 19 hours, less than a day"),
        (ends(CONTROL, 0), "its control run holds 0 hours"),
    ],
)
def test_a_forecast_of_the_wrong_shape(change: Change, words: str, kept: Path) -> None:
    assert words in line_of(forecast, ws.service(change), kept)


def test_a_forecast_without_members(kept: Path) -> None:
    def control_alone(answer: dict[str, Any]) -> None:
        answer["hourly"] = {k: v for k, v in answer["hourly"].items() if "member" not in k}

    line = line_of(forecast, ws.service(control_alone), kept)
    assert "holds no member beside the control run; try another model" in line


def test_a_forecast_of_two_models(kept: Path) -> None:
    def twice(answer: dict[str, Any]) -> None:
        for part in ("hourly", "hourly_units"):
            answer[part][f"{CONTROL}_other"] = answer[part][CONTROL]

    assert "of more than one model" in line_of(forecast, ws.service(twice), kept)


def test_a_forecast_of_last_year(kept: Path) -> None:
    def old(answer: dict[str, Any]) -> None:
        stamps = pd.DatetimeIndex(answer["hourly"]["time"]) - pd.Timedelta(days=365)
        answer["hourly"]["time"] = stamps.strftime("%Y-%m-%dT%H:%M").tolist()

    assert "UTC, which is not now" in line_of(forecast, ws.service(old), kept)


# --- this machine -------------------------------------------------------------------------------


@contextmanager
def files_no_longer_than(size: int) -> Iterator[None]:
    """As on a full disk: the system refuses to write on."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("fetch", [forecast, history])
def test_a_disk_without_room(fetch: Callable[..., object], kept: Path) -> None:
    with files_no_longer_than(2000):
        line = line_of(fetch, ws.service(), kept)
    assert f"it came, but cannot be written to {kept} (File too large); make room there" in line


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(Unavailable, match="cannot be written to"):
        forecast(ws.service(), tmp_path / "file" / "cache")


@pytest.mark.parametrize("fetch", [forecast, history])
def test_an_interruption_passes_and_leaves_all_as_it_was(
    fetch: Callable[..., object], kept: Path
) -> None:
    heeded = signal.signal(signal.SIGINT, signal.default_int_handler)  # a job behind ignores it

    def interrupts(to: Any, question: dict[str, str], seen: ws.Seen) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        seen.over.wait()

    before = bytes_in(kept)
    try:
        with pytest.raises(KeyboardInterrupt):
            fetch(interrupts, kept)
    finally:
        signal.signal(signal.SIGINT, heeded)
    assert bytes_in(kept) == before
